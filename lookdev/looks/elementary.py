"""Elementary functions for kernels, written so that the compiler works at several numbers at once.

Measured (x86-64 with AVX-512, numba 0.68, NumPy 2.4; ns a number in blocks of 4096, one thread, the least of
300 runs, twice): ours in a compiled loop, the C library's as numba calls it there, and
NumPy's on an array, which a kernel cannot call and which would take a pass of its own through memory.

========  =====  =========  =====
function  ours   C library  NumPy
========  =====  =========  =====
log2      1.0    3.3        0.9
exp2      0.9    2.5        0.8
cbrt      0.8    11.0       1.0
sine      0.8    8.2        8.1
cosine    0.8    8.3        8.3
angle     1.9    11.5       2.2
========  =====  =========  =====

(angle is atan2.) A loop that calls the C library takes one number at a time in all else that it does too, so
that the kernels lose more than the table says. NumPy's are this quick on processors with AVX-512 only. Each
is exact to 1e-13 over its range (``tests/unit/test_looks_steps.py``, against mpmath).
"""

from __future__ import annotations

import numpy as np

from lookdev.compilation import inlined

_U = np.uint64
_MANTISSA, _ONE, _TWO_52_BITS = _U(0xFFFFFFFFFFFFF), _U(0x3FF0000000000000), _U(0x4330000000000000)
_52, _20 = _U(52), _U(20)
_TWO_52, _ROUNDING = 2.0**52, 1.5 * 2.0**52  # added, they leave a whole number in the last bits
_THIRD_OF_EXPONENT = 2929000000000.0  # two thirds of 1023 * 2^32, less what halves the first guess's error
_LN2, _2_OVER_LN2 = 0.6931471805599453, 2.8853900817779268
_PI = 3.141592653589793
_TAN_PI_8 = 0.41421356237309503


@inlined
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


@inlined
def exp2(x):  # type: ignore[no-untyped-def]
    """Of a number from -1020 to 1020, and as at these ends beyond: the series of exp, and the exponent."""
    x = min(max(x, -1020.0), 1020.0)
    whole = x + _ROUNDING
    r = _LN2 * (x - (whole - _ROUNDING))
    s = r * (1 / 5040 + r * (1 / 40320 + r * (1 / 362880 + r * (1 / 3628800 + r * (1 / 39916800)))))
    s = 1.0 + r * (1.0 + r * (1 / 2 + r * (1 / 6 + r * (1 / 24 + r * (1 / 120 + r * (1 / 720 + s))))))
    return s * _U((np.float64(whole).view(np.uint64) << _52) + _ONE).view(np.float64)


@inlined
def cbrt(x):  # type: ignore[no-untyped-def]
    """Of a number from 1e-230 to 1e200 or its negative: a third of the exponent, then twice Halley's step.

    Nearer to zero it gives less than 1e-76.
    """
    m = abs(x) + 1e-300
    third = (_U((np.float64(m).view(np.uint64) >> _20) | _TWO_52_BITS).view(np.float64) - _TWO_52) * (1 / 3)
    y = _U(np.float64(third + (_TWO_52 + _THIRD_OF_EXPONENT)).view(np.uint64) << _20).view(np.float64)
    c = y * y * y
    y = y * (c + 2.0 * m) / (2.0 * c + m)
    c = y * y * y
    return np.copysign(y * (c + 2.0 * m) / (2.0 * c + m), x)


@inlined
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


@inlined
def sine(x):  # type: ignore[no-untyped-def]
    """Of an angle within a quarter circle to either side."""
    g = -x * x
    s = 1.0 + g * (1 / 156) * (1.0 + g * (1 / 210) * (1.0 + g * (1 / 272) * (1.0 + g * (1 / 342))))
    s = 1.0 + g * (1 / 20) * (1.0 + g * (1 / 42) * (1.0 + g * (1 / 72) * (1.0 + g * (1 / 110) * s)))
    return x * (1.0 + g * (1 / 6) * s)


@inlined
def cosine(x):  # type: ignore[no-untyped-def]
    """As :func:`sine`."""
    g = -x * x
    s = 1.0 + g * (1 / 132) * (1.0 + g * (1 / 182) * (1.0 + g * (1 / 240) * (1.0 + g * (1 / 306))))
    s = 1.0 + g * (1 / 12) * (1.0 + g * (1 / 30) * (1.0 + g * (1 / 56) * (1.0 + g * (1 / 90) * s)))
    return 1.0 + g * (1 / 2) * s
