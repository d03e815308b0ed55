"""The look function in compiled code: as ``lookdev.looks.pipeline``, in one go, without the GIL.

The stages in ``lookdev.looks`` are the definition. This is their arithmetic in float64, written so that the
compiler works at four or eight colours at once; lattices are worked out by it. It agrees with the definition
to a millionth of an 8-bit code (``tests/unit/test_render_compiled.py`` compares them). Every constant comes
from the stages, as an argument: a compiled function keeps those that it was compiled with. A look with a CDL,
and a received LUT, are called as they are; so are encodings other than sRGB's and powers.

The elementary functions are ours because those that numba calls take a number at a time, ten times as long,
and NumPy's are quick on some processors only. Each is exact to 1e-13 (``test_render_compiled.py`` again).
"""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.encodings import Power, Transfer, linear
from lookdev.colorimetry.munsell import FAMILY_HUE_DEGREES
from lookdev.colorimetry.oklab import LAB_TO_LMS, LMS_TO_LAB, LMS_TO_WORKING, WORKING_TO_LMS
from lookdev.colorimetry.rgb_spaces import WORKING, RGBSpace, matrix_between
from lookdev.looks import rendering
from lookdev.looks.pipeline import Grade, Pipeline, Transform
from lookdev.looks.stages import colour, curve, gamut, toning
from lookdev.render.kernel import compiled

Array = NDArray[np.float64]

_BLOCK = 512  # colours at a time, so that what lies between two stages stays in the processor's nearest cache
_HALVINGS = 30  # of the way to the gamut's edge: to a part in a thousand million
_AS_IT_IS, _POWER, _SRGB = 0, 1, 2

_U = np.uint64
_MANTISSA, _ONE, _TWO_52_BITS = _U(0xFFFFFFFFFFFFF), _U(0x3FF0000000000000), _U(0x4330000000000000)
_52, _20 = _U(52), _U(20)
_TWO_52, _ROUNDING = 2.0**52, 1.5 * 2.0**52  # added, they leave a whole number in the last bits
_THIRD_OF_EXPONENT = 2929000000000.0  # two thirds of 1023 * 2^32, less what halves the first guess's error
_LN2, _2_OVER_LN2 = 0.6931471805599453, 2.8853900817779268
_PI = 3.141592653589793
_TAN_PI_8 = 0.41421356237309503


@compiled
def log2(x):  # type: ignore[no-untyped-def]
    """Of a positive, normal number: exponent, and the series of artanh for what is left, near one."""
    bits = np.float64(x).view(np.uint64)
    m = _U((bits & _MANTISSA) | _ONE).view(np.float64)
    e = _U((bits >> _52) | _TWO_52_BITS).view(np.float64) - (_TWO_52 + 1023.0)
    large = m > 1.4142135623730951
    m = 0.5 * m if large else m
    e = e + 1.0 if large else e
    f = (m - 1.0) / (m + 1.0)
    g = f * f
    s = g * (1 / 9 + g * (1 / 11 + g * (1 / 13 + g * (1 / 15 + g * (1 / 17 + g * (1 / 19))))))
    return e + _2_OVER_LN2 * f * (1.0 + g * (1 / 3 + g * (1 / 5 + g * (1 / 7 + s))))


@compiled
def exp2(x):  # type: ignore[no-untyped-def]
    """Of a number from -1020 to 1020, and as at these ends beyond: the series of exp, and the exponent."""
    x = min(max(x, -1020.0), 1020.0)
    whole = x + _ROUNDING
    r = _LN2 * (x - (whole - _ROUNDING))
    s = r * (1 / 5040 + r * (1 / 40320 + r * (1 / 362880 + r * (1 / 3628800 + r * (1 / 39916800)))))
    s = 1.0 + r * (1.0 + r * (1 / 2 + r * (1 / 6 + r * (1 / 24 + r * (1 / 120 + r * (1 / 720 + s))))))
    return s * _U((np.float64(whole).view(np.uint64) << _52) + _ONE).view(np.float64)


@compiled
def cbrt(x):  # type: ignore[no-untyped-def]
    """A third of the exponent, then twice Halley's step."""
    m = abs(x) + 1e-300
    third = (_U((np.float64(m).view(np.uint64) >> _20) | _TWO_52_BITS).view(np.float64) - _TWO_52) * (1 / 3)
    y = _U(np.float64(third + (_TWO_52 + _THIRD_OF_EXPONENT)).view(np.uint64) << _20).view(np.float64)
    c = y * y * y
    y = y * (c + 2.0 * m) / (2.0 * c + m)
    c = y * y * y
    return np.copysign(y * (c + 2.0 * m) / (2.0 * c + m), x)


@compiled
def angle(y, x):  # type: ignore[no-untyped-def]
    """atan2: the series of arctan, after a turn by an eighth of a half circle where that is needed."""
    ax, ay = abs(x), abs(y)
    steep = ay > ax
    t = (ax if steep else ay) / max(ay if steep else ax, 1e-300)
    far = t > _TAN_PI_8
    t = (t - 1.0) / (t + 1.0) if far else t
    g = -t * t
    s = g * (1 / 19 + g * (1 / 21 + g * (1 / 23 + g * (1 / 25 + g * (1 / 27 + g * (1 / 29))))))
    s = g * (1 / 9 + g * (1 / 11 + g * (1 / 13 + g * (1 / 15 + g * (1 / 17 + s)))))
    turn = t + t * g * (1 / 3 + g * (1 / 5 + g * (1 / 7 + s)))
    turn = turn + _PI / 4 if far else turn
    turn = _PI / 2 - turn if steep else turn
    return np.copysign(_PI - turn if x < 0 else turn, y)


@compiled
def sine(x):  # type: ignore[no-untyped-def]
    """Of an angle within a quarter circle to either side."""
    g = -x * x
    s = 1.0 + g * (1 / 156) * (1.0 + g * (1 / 210) * (1.0 + g * (1 / 272) * (1.0 + g * (1 / 342))))
    s = 1.0 + g * (1 / 20) * (1.0 + g * (1 / 42) * (1.0 + g * (1 / 72) * (1.0 + g * (1 / 110) * s)))
    return x * (1.0 + g * (1 / 6) * s)


@compiled
def cosine(x):  # type: ignore[no-untyped-def]
    """As :func:`sine`."""
    g = -x * x
    s = 1.0 + g * (1 / 132) * (1.0 + g * (1 / 182) * (1.0 + g * (1 / 240) * (1.0 + g * (1 / 306))))
    s = 1.0 + g * (1 / 12) * (1.0 + g * (1 / 30) * (1.0 + g * (1 / 56) * (1.0 + g * (1 / 90) * s)))
    return 1.0 + g * (1 / 2) * s


class _Ends(NamedTuple):
    """How signals are decoded and encoded, by the numbers above, with the exponents of powers."""

    decoding: int
    decoding_power: float
    to_working: Array
    encoding: int
    encoding_power: float
    from_working: Array
    clips: bool


class _Stages(NamedTuple):
    """What acts between linear BT.2020 and linear BT.2020, in the order in which it acts."""

    lifts: bool
    mixes: bool
    matrix: Array  # exposure and balance
    curves: bool
    shape: curve.CurveShape
    colours: bool
    has_families: bool
    families: Array  # (11, 4): hue in degrees, shift in radians, chroma factor, value; the first one again
    full_chroma: float
    saturation: float
    tones: bool
    pulls: Array  # (3, 3) in Oklab
    ranges: Array  # (5, 2) in lightness
    renders: bool
    bends: tuple[float, ...]
    distances: tuple[float, float]
    to_lms: Array
    to_lab: Array
    from_lab: Array
    from_lms: Array


class _Edge(NamedTuple):
    """A display's gamut, and how far a look pushes colours past it; ``limit`` 1 leaves all as it is."""

    limit: float
    knee: float
    tolerance: float
    lms_to_display: Array
    to_lms: Array
    to_lab: Array
    from_lab: Array
    from_lms: Array


@compiled
def _mix(m, x, y, z):  # type: ignore[no-untyped-def]
    m00, m01, m02, m10, m11, m12 = m[0, 0], m[0, 1], m[0, 2], m[1, 0], m[1, 1], m[1, 2]
    m20, m21, m22 = m[2, 0], m[2, 1], m[2, 2]
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        x[i] = m00 * a + m01 * b + m02 * c
        y[i] = m10 * a + m11 * b + m12 * c
        z[i] = m20 * a + m21 * b + m22 * c


@compiled
def _to_oklab(p, x, y, z):  # type: ignore[no-untyped-def]
    _mix(p.to_lms, x, y, z)
    for i in range(x.size):
        x[i], y[i], z[i] = cbrt(x[i]), cbrt(y[i]), cbrt(z[i])
    _mix(p.to_lab, x, y, z)


@compiled
def _from_oklab(from_lab, from_lms, x, y, z):  # type: ignore[no-untyped-def]
    _mix(from_lab, x, y, z)
    for i in range(x.size):
        x[i], y[i], z[i] = x[i] * x[i] * x[i], y[i] * y[i] * y[i], z[i] * z[i] * z[i]
    _mix(from_lms, x, y, z)


@compiled
def _powered(kind, exponent, x, decodes):  # type: ignore[no-untyped-def]
    """Decoded, or encoded, in place."""
    if kind == _SRGB and decodes:
        for i in range(x.size):
            m = abs(x[i])
            high = exp2(2.4 * log2((max(m, 0.04045) + 0.055) * (1 / 1.055)))
            x[i] = x[i] * (1 / 12.92) if m <= 0.04045 else np.copysign(high, x[i])
    elif kind == _SRGB:
        for i in range(x.size):
            m = abs(x[i])
            high = 1.055 * exp2((1 / 2.4) * log2(max(m, 1e-3))) - 0.055
            x[i] = x[i] * 12.92 if m <= 0.04045 / 12.92 else np.copysign(high, x[i])
    elif kind == _POWER:
        for i in range(x.size):
            m = abs(x[i])
            high = exp2(exponent * log2(max(m, 1e-300)))
            x[i] = np.copysign(0.0 if m <= 1e-300 else high, x[i])


@compiled
def _lift(bends, x):  # type: ignore[no-untyped-def]
    grey, _, _, rise, bend, slope = bends
    steep = 1.0 / slope
    for i in range(x.size):
        y = x[i]
        over = min(max(y - grey, 0.0), rise)
        lifted = grey + over / (1.0 - bend * over) + max(y - 1.0, 0.0) * steep
        x[i] = y if y <= grey else lifted


@compiled
def _rendered(v, top, bends, distances):  # type: ignore[no-untyped-def]
    """One channel brought into the working gamut, and onto the display's scale."""
    grey, white, run, _, bend, slope = bends
    knee, limit = distances
    span = (limit - knee) / (1.0 - knee)
    safe = max(top, 1e-6)
    distance = (top - v) / safe
    d = min(max((distance - knee) / (1.0 - knee), 0.0), span)
    held = top - (knee + (1.0 - knee) * d / (1.0 + d * (1.0 - 1.0 / span))) * safe
    scene = held if (distance > knee) & (top > 1e-6) else v
    over = min(max(scene - grey, 0.0), run)
    shoulder = grey + over / (1.0 + bend * over) + max(scene - white, 0.0) * slope
    return scene if scene <= grey else shoulder


@compiled
def _render(p, x, y, z):  # type: ignore[no-untyped-def]
    bends, distances = p.bends, p.distances
    for i in range(x.size):
        a, b, c = x[i], y[i], z[i]
        top = max(max(a, b), c)
        x[i] = _rendered(a, top, bends, distances)
        y[i] = _rendered(b, top, bends, distances)
        z[i] = _rendered(c, top, bends, distances)


@compiled
def _bend(s, x):  # type: ignore[no-untyped-def]
    toe, shoulder, start, floor_span = s.spans
    slope_below, lift = s.contrast - s.toe_loss, 1.0 - s.black / s.pivot
    for i in range(x.size):
        v = x[i]
        stops = log2(max(v, s.floor) / s.pivot)
        down, up = max(-stops, 0.0), max(stops, 0.0)
        out = s.contrast * stops + s.toe_loss * _ramp_integral(down, toe)
        out -= s.shoulder_loss * _ramp_integral(up, shoulder)
        out -= (1.0 - slope_below) * _ramp_integral(max(down - start, 0.0), floor_span)
        below = min(v, 0.0)
        low = min(v, s.floor) * s.floor_gain - below * (s.floor_gain - 1.0) * (-below / (s.floor - below))
        x[i] = s.black + lift * (low if v <= s.floor else s.pivot * exp2(out))


@compiled
def _ramp_integral(distance, span):  # type: ignore[no-untyped-def]
    t = min(distance / span, 1.0)
    return span * (t * t * t * (1.0 - t * 0.5)) + max(distance - span, 0.0)


@compiled
def _move_families(p, x, y, z):  # type: ignore[no-untyped-def]
    table = p.families
    first = table[0, 0]
    for i in range(x.size):
        a, b = y[i], z[i]
        turned = angle(b, a) * (180.0 / _PI)
        turned = turned + 360.0 if turned < first else turned
        k = 0
        for edge in range(1, 10):
            k += turned >= table[edge, 0]
        share = (turned - table[k, 0]) / (table[k + 1, 0] - table[k, 0])
        rising = 0.5 + 0.5 * sine(_PI * (share - 0.5))
        shift = table[k, 1] + rising * (table[k + 1, 1] - table[k, 1])
        factor = table[k, 2] + rising * (table[k + 1, 2] - table[k, 2])
        value = table[k, 3] + rising * (table[k + 1, 3] - table[k, 3])
        rise = min(np.sqrt(a * a + b * b) / p.full_chroma, 1.0)
        coloured = rise * rise * (3.0 - 2.0 * rise)
        turn, scale = shift * coloured, 1.0 + (factor - 1.0) * coloured
        c, s = cosine(turn) * scale, sine(turn) * scale
        x[i] *= 1.0 + value * coloured
        y[i], z[i] = a * c - b * s, a * s + b * c


@compiled
def _ramp(x, start, end):  # type: ignore[no-untyped-def]
    t = min(max((x - start) / (end - start), 0.0), 1.0)
    return t * t * (3.0 - 2.0 * t)


@compiled
def _tone(p, x, y, z):  # type: ignore[no-untyped-def]
    r, pulls = p.ranges, p.pulls
    a0, b0, a1, b1, a2, b2 = pulls[0, 1], pulls[0, 2], pulls[1, 1], pulls[1, 2], pulls[2, 1], pulls[2, 2]
    r00, r01, r10, r11, r20, r21 = r[0, 0], r[0, 1], r[1, 0], r[1, 1], r[2, 0], r[2, 1]
    r30, r31, r40, r41 = r[3, 0], r[3, 1], r[4, 0], r[4, 1]
    for i in range(x.size):
        shadows = _ramp(x[i], r00, r01) * (1.0 - _ramp(x[i], r10, r11))
        middle = _ramp(x[i], r20, r21) * (1.0 - _ramp(x[i], r30, r31))
        high = _ramp(x[i], r40, r41)
        y[i] += shadows * a0 + middle * a1 + high * a2
        z[i] += shadows * b0 + middle * b1 + high * b2


@compiled
def _grade(p, x, y, z):  # type: ignore[no-untyped-def]
    """Working light to working light, in place."""
    if p.lifts:
        for v in (x, y, z):
            _lift(p.bends, v)
    if p.mixes:
        _mix(p.matrix, x, y, z)
    if p.curves:
        for v in (x, y, z):
            _bend(p.shape, v)
    if p.colours:
        _to_oklab(p, x, y, z)
        if p.has_families:
            _move_families(p, x, y, z)
        for i in range(x.size):
            y[i], z[i] = p.saturation * y[i], p.saturation * z[i]
        if p.tones:
            _tone(p, x, y, z)
        _from_oklab(p.from_lab, p.from_lms, x, y, z)
    if p.renders:
        _render(p, x, y, z)


@compiled
def _mark_outside(edge, share, x, y, z, marks):  # type: ignore[no-untyped-def]
    """Marks the Oklab colours that lie outside with their chroma times ``share``."""
    red, green, blue = x.copy(), share * y, share * z
    _from_oklab(edge.from_lab, edge.lms_to_display, red, green, blue)
    for i in range(x.size):
        low, high = min(min(red[i], green[i]), blue[i]), max(max(red[i], green[i]), blue[i])
        marks[i] = (low < -edge.tolerance) | (high > 1.0 + edge.tolerance)


@compiled
def _find_edge(edge, most, x, y, z, low):  # type: ignore[no-untyped-def]
    """Halves the way from grey to ``most`` times a colour's chroma until the edge is found: its share."""
    n = x.size
    c = np.empty((12, n))  # a cubic each: the cube of a line, mixed by a matrix
    m, d = edge.from_lab, edge.lms_to_display
    c[:] = 0.0
    for cone in range(3):
        grey, red_green, yellow_blue = m[cone, 0], m[cone, 1], m[cone, 2]
        for channel in range(3):
            share = d[channel, cone]
            c0, c1, c2, c3 = c[4 * channel : 4 * channel + 4]
            for i in range(n):
                start, way = grey * x[i], red_green * y[i] + yellow_blue * z[i]
                c0[i] += share * start * start * start
                c1[i] += share * 3.0 * start * start * way
                c2[i] += share * 3.0 * start * way * way
                c3[i] += share * way * way * way
    low[:] = 0.0
    step = most
    least, greatest = -edge.tolerance, 1.0 + edge.tolerance
    r0, r1, r2, r3, g0, g1, g2, g3, b0, b1, b2, b3 = c
    for _ in range(_HALVINGS):
        step *= 0.5
        for i in range(n):
            s = low[i] + step
            red = ((r3[i] * s + r2[i]) * s + r1[i]) * s + r0[i]
            green = ((g3[i] * s + g2[i]) * s + g1[i]) * s + g0[i]
            blue = ((b3[i] * s + b2[i]) * s + b1[i]) * s + b0[i]
            inside = (min(min(red, green), blue) >= least) & (max(max(red, green), blue) <= greatest)
            low[i] = s if inside else low[i]


@compiled
def _bring_inside(edge, x, y, z):  # type: ignore[no-untyped-def]
    """As gamut.bring_inside, in place."""
    knee = edge.knee
    lightness, a, b = x.copy(), y.copy(), z.copy()
    _to_oklab(edge, lightness, a, b)
    near, out = np.empty(x.size, np.bool_), np.empty(x.size, np.bool_)
    _mark_outside(edge, 1.0 / knee, lightness, a, b, near)
    _mark_outside(edge, 1.0, lightness, a, b, out)
    places, count = np.empty(x.size, np.intp), 0
    for i in range(x.size):
        if near[i] if 0.0 < lightness[i] < 1.0 else out[i]:
            places[count] = i
            count += 1
    if count == 0:
        return
    places = places[:count]
    lightness, a, b, share = lightness[places], a[places], b[places], np.empty(count)
    _find_edge(edge, 1.0 / knee, lightness, a, b, share)
    span = (edge.limit - knee) / (1.0 - knee)
    for i in range(count):
        ratio = 1.0 / max(share[i], 1e-6)
        d = min(max((ratio - knee) / (1.0 - knee), 0.0), span)
        factor = (knee + (1.0 - knee) * d / (1.0 + d * (1.0 - 1.0 / span))) / ratio
        factor = factor if (lightness[i] > 0.0) & (lightness[i] < 1.0) else 0.0
        lightness[i], a[i], b[i] = min(max(lightness[i], 0.0), 1.0), a[i] * factor, b[i] * factor
    _from_oklab(edge.from_lab, edge.from_lms, lightness, a, b)
    for i in range(count):
        x[places[i]], y[places[i]], z[places[i]] = lightness[i], a[i], b[i]


@compiled
def _through(signal, ends, stages, edge, out):  # type: ignore[no-untyped-def]
    xs, ys, zs = np.empty(_BLOCK), np.empty(_BLOCK), np.empty(_BLOCK)
    for start in range(0, signal.shape[0], _BLOCK):
        count = min(_BLOCK, signal.shape[0] - start)
        x, y, z = xs[:count], ys[:count], zs[:count]
        for i in range(count):
            x[i], y[i], z[i] = signal[start + i, 0], signal[start + i, 1], signal[start + i, 2]
        for v in (x, y, z):
            _powered(ends.decoding, ends.decoding_power, v, True)
        _mix(ends.to_working, x, y, z)
        _grade(stages, x, y, z)
        if edge.limit > 1.0:
            _bring_inside(edge, x, y, z)
        _mix(ends.from_working, x, y, z)
        for v in (x, y, z):
            _powered(ends.encoding, ends.encoding_power, v, False)
            if ends.clips:
                for i in range(count):
                    v[i] = min(max(v[i], 0.0), 1.0)
        for i in range(count):
            out[start + i, 0], out[start + i, 1], out[start + i, 2] = x[i], y[i], z[i]


@compiled
def _largest_ratio(light, stages, edge):  # type: ignore[no-untyped-def]
    """As gamut.gamut_limit of graded ``light``, not kept within bounds yet; 0 where none lies outside."""
    x, y, z = light[:, 0].copy(), light[:, 1].copy(), light[:, 2].copy()
    _grade(stages, x, y, z)
    _to_oklab(edge, x, y, z)
    out = np.empty(x.size, np.bool_)
    _mark_outside(edge, 1.0, x, y, z, out)
    worst = 1.0 if np.any(out) else 0.0
    out &= (x > 0.0) & (x < 1.0)
    places = np.flatnonzero(out)
    share = np.empty(places.size)
    _find_edge(edge, 2.0, x[places], y[places], z[places], share)
    for s in share:
        worst = max(worst, 1.0 / max(s, 1e-6))
    return worst


_OKLAB = {
    "to_lms": WORKING_TO_LMS,
    "to_lab": LMS_TO_LAB,
    "from_lab": np.ascontiguousarray(LAB_TO_LMS),
    "from_lms": np.ascontiguousarray(LMS_TO_WORKING),
}


def _curve_of(transfer: Transfer) -> tuple[int, float] | None:
    """A transfer function as compiled code knows it, or None."""
    if transfer in (tf.srgb_decode, tf.srgb_encode):
        return _SRGB, 1.0
    if transfer is linear:
        return _AS_IT_IS, 1.0
    if transfer in (tf.bt1886_decode, tf.bt1886_encode):
        return _POWER, 2.4 if transfer is tf.bt1886_decode else 1 / 2.4
    if isinstance(transfer, Power):
        return _POWER, 1.0 / transfer.exponent if transfer.inverse else transfer.exponent
    return None


def _stages(grade: Grade, lifted: bool, rendered: bool) -> _Stages:
    look = grade.look
    table = look.colour.families.table()
    hues = [*FAMILY_HUE_DEGREES, FAMILY_HUE_DEGREES[0] + 360.0]
    rows = np.column_stack([np.radians(table[:, 0]), table[:, 1:]])
    plain = grade.is_identity and lifted == rendered
    return _Stages(
        lifts=lifted and not plain,
        mixes=not grade.is_identity,
        matrix=np.ascontiguousarray(
            grade.balance.matrix * 2.0 ** (grade.exposure_stops + look.exposure.stops)
        ),
        curves=not look.curve.is_identity,
        shape=curve.shape_of(look.curve),
        colours=not (look.colour.is_identity and look.toning.is_identity),
        has_families=not look.colour.families.is_identity,
        families=np.column_stack([hues, np.vstack([rows, rows[:1]])]),
        full_chroma=colour.FULL_CHROMA,
        saturation=look.colour.saturation,
        tones=not look.toning.is_identity,
        pulls=toning.pulls(look.toning),
        ranges=np.array([ramp for ramps in toning.RANGES for ramp in ramps if ramp is not None]),
        renders=rendered and not plain,
        bends=rendering.BENDS,
        distances=gamut.DISTANCES,
        **_OKLAB,
    )


def _edge(space: RGBSpace, limit: float) -> _Edge:
    mix = np.ascontiguousarray(gamut.lms_to(space))
    return _Edge(limit, gamut.knee_for(limit), gamut.TOLERANCE, mix, **_OKLAB)


class CompiledPipeline:
    """A pipeline in compiled code; it is called as the pipeline is."""

    def __init__(self, pipeline: Pipeline) -> None:
        self.pipeline, self.source, self.target = pipeline, pipeline.source, pipeline.target
        self._shown = self.target.state == "output"
        self._stages = _stages(pipeline.grade, self.source.state == "output", self._shown)
        self._decoding, self._encoding = _curve_of(self.source.decode), _curve_of(self.target.encode)
        self._ends = _Ends(
            *(self._decoding or (_AS_IT_IS, 1.0)),
            np.ascontiguousarray(matrix_between(self.source.space, WORKING)),
            *(self._encoding or (_AS_IT_IS, 1.0)),
            np.ascontiguousarray(matrix_between(WORKING, self.target.space)),
            self._shown and self._encoding is not None,
        )

    @property
    def is_identity(self) -> bool:
        """Whether code values come back unchanged, to the bit."""
        return self.pipeline.is_identity

    @cached_property
    def _edge(self) -> _Edge:
        space, least = self.target.space, self.pipeline.least_limit
        if not self._shown:
            return _edge(space, 1.0)
        stages = _stages(self.pipeline.grade, lifted=True, rendered=True)
        ratio = float(_largest_ratio(self.pipeline.input_cube(), stages, _edge(space, 1.0)))
        return _edge(space, max(gamut.limit_from(ratio) if ratio else 1.0, least))

    def __call__(self, signal: ArrayLike) -> Array:
        """Code values (..., 3) through the look; output-referred results lie in [0, 1]."""
        values = np.asarray(signal, dtype=np.float64)
        if self.is_identity:
            return values
        decoded = values if self._decoding else self.source.decode(values)
        flat = np.ascontiguousarray(decoded, dtype=np.float64).reshape(-1, 3)
        out = np.empty_like(flat)
        _through(flat, self._ends, self._stages, self._edge, out)
        if self._encoding is None:
            out = self.target.encode(out)
            out = np.clip(out, 0.0, 1.0) if self._shown else out
        return out.reshape(values.shape)


def in_compiled_code(transform: Transform) -> Transform:
    """``transform``, compiled if it can be."""
    if isinstance(transform, Pipeline) and transform.grade.look.cdl.is_identity:
        return CompiledPipeline(transform)
    return transform
