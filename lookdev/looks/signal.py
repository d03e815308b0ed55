"""Signals as spaces: how code values become scene light, and scene light code values.

The transfer functions of sRGB, of ACEScct and of pure powers are compiled; the others act by array. What each
is, and its source, stands in ``colorimetry.transfer_functions``, against which the compiled ones are tested.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from lookdev.colorimetry import transfer_functions as tf
from lookdev.colorimetry.encodings import Encoding, Power, Transfer
from lookdev.colorimetry.rgb_spaces import WORKING as WORKING_RGB
from lookdev.colorimetry.rgb_spaces import matrix_between
from lookdev.compilation import compiled
from lookdev.looks.elementary import exp2, log2
from lookdev.looks.rendering import (
    holding_above,
    lift_from,
    lifting,
    rendering,
    show_to,
    showing_light,
)
from lookdev.looks.stages.gamut import lets_out, limiting
from lookdev.looks.steps import Space, Step, by_array, mixing, on_each

_SRGB_CUT = 0.04045
_CCT_CUT, _CCT_SLOPE, _CCT_OFFSET = 0.0078125, 10.5402377416545, 0.0729055341958355
_CCT_SIGNAL_CUT, _CCT_TOP = 0.155251141552511, 16.0


@lru_cache(maxsize=64)
def signal(encoding: Encoding, limit: float = 1.0, rendered: bool = True, graded: bool = False) -> Space:
    """Code values of a still or of a result, from scene light and to it.

    On the way there output-referred light is shown: rendered, and brought into the encoding's gamut, outside
    which the look is known to push colours as far as ``limit``. ``rendered`` : whether a camera had rendered
    the picture before; see ``rendering``. ``graded`` : whether a look acted: what it pushed out of a log
    encoding is held above code zero.
    """
    to, out = _decoding(encoding), _encoding(encoding)
    if encoding.state != "output":
        if graded and not encoding.is_linear:
            out = (out[0], holding_above(float(np.min(encoding.decode(np.zeros(3))))), *out[1:])
        return Space("signal", encoding, to, out)
    peak = encoding.peak
    inside = limiting(encoding.space, limit)
    if inside and peak > 1.0:
        inside = (mixing(np.eye(3) / peak), *inside, mixing(np.eye(3) * peak))
    to_black = (on_each(_cut_under_black),) if inside and lets_out(encoding.space) else ()
    shown = (*((show_to(peak),) if rendered else showing_light(peak)), *inside, out[0], *to_black, *out[1:])
    return Space("signal", encoding, (*to, lift_from(peak)), shown, bounded=True)


def brightest(encoding: Encoding) -> float:
    """The largest code value that a picture in an output-referred encoding has: 1, or that of its peak."""
    if encoding.state != "output" or encoding.peak <= 1.0:
        return 1.0
    code = float(np.max(encoding.from_working(np.full(3, encoding.peak))))
    return 1.0 if abs(code - 1.0) < 1e-6 else code


@lru_cache(maxsize=16)
def passing(encoding: Encoding) -> Space:
    """Code values that a stage changes on the way: nothing is held within bounds there."""
    to, out = _decoding(encoding), _encoding(encoding)
    if encoding.state != "output":
        return Space("signal", encoding, to, out)
    return Space(
        "signal on the way", encoding, (*to, lifting(encoding.peak)), (rendering(encoding.peak), *out)
    )


def _decoding(encoding: Encoding) -> tuple[Step, ...]:
    """Signal to working light of the same image state."""
    to_working = mixing(matrix_between(encoding.space, WORKING_RGB))
    return (*_transfer(encoding.decode), to_working) if not encoding.is_linear else (to_working,)


def _encoding(encoding: Encoding) -> tuple[Step, ...]:
    from_working = mixing(matrix_between(WORKING_RGB, encoding.space))
    return (from_working, *_transfer(encoding.encode)) if not encoding.is_linear else (from_working,)


def _transfer(transfer: Transfer) -> tuple[Step, ...]:
    kernels = {
        tf.srgb_decode: _decode_srgb,
        tf.srgb_encode: _encode_srgb,
        tf.acescct_decode: _decode_acescct,
        tf.acescct_encode: _encode_acescct,
    }
    for function, kernel in kernels.items():
        if transfer is function:
            return (on_each(kernel),)
    if transfer in (tf.bt1886_decode, tf.bt1886_encode):
        return (on_each(_power, (2.4 if transfer is tf.bt1886_decode else 1 / 2.4,)),)
    if isinstance(transfer, Power):
        return (on_each(_power, (1.0 / transfer.exponent if transfer.inverse else transfer.exponent,)),)
    return (by_array(transfer),)


@compiled
def _cut_under_black(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        x[i] = max(x[i], 0.0)


@compiled
def _decode_srgb(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        m = abs(x[i])
        high = exp2(2.4 * log2((max(m, _SRGB_CUT) + 0.055) * (1 / 1.055)))
        x[i] = x[i] * (1 / 12.92) if m <= _SRGB_CUT else np.copysign(high, x[i])


@compiled
def _encode_srgb(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        m = abs(x[i])
        high = 1.055 * exp2((1 / 2.4) * log2(max(m, 1e-3))) - 0.055
        x[i] = x[i] * 12.92 if m <= _SRGB_CUT / 12.92 else np.copysign(high, x[i])


@compiled
def _power(x, exponent):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        m = abs(x[i])
        high = exp2(exponent * log2(max(m, 1e-300)))
        x[i] = np.copysign(0.0 if m <= 1e-300 else high, x[i])


@compiled
def _decode_acescct(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        v = x[i]
        high = exp2(min(max(v, _CCT_SIGNAL_CUT), _CCT_TOP) * 17.52 - 9.72)
        x[i] = (v - _CCT_OFFSET) / _CCT_SLOPE if v <= _CCT_SIGNAL_CUT else high


@compiled
def _encode_acescct(x):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        v = x[i]
        high = (log2(max(v, _CCT_CUT)) + 9.72) / 17.52
        x[i] = _CCT_SLOPE * v + _CCT_OFFSET if v <= _CCT_CUT else high
