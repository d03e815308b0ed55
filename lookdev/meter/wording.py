"""Numbers as people write them: true minus signs, no powers of ten, lux beside foot-candles."""

from __future__ import annotations

import math

from lookdev.meter.cells import LUX_PER_FC


def signed(value: float, digits: int) -> str:
    """A number with its sign, a true minus, and no negative zero.

    >>> signed(-0.00004, 3), signed(131.4, 0)
    ('0.000', '+131')
    """
    text = f"{value:+.{digits}f}"
    if float(text) == 0:
        return text[1:]
    return text.replace("-", "\N{MINUS SIGN}")


def plain(value: float) -> str:
    """Three figures, never in powers of ten, all digits before the point.

    >>> plain(18654.2), plain(29.73), plain(0.4567)
    ('18654', '29.7', '0.457')
    """
    if abs(value) >= 100:
        return f"{value:.0f}"
    text = f"{value:.3g}"
    return text if "e" not in text else f"{value:.6f}".rstrip("0")


def rough(value: float) -> str:
    """Two figures, never in powers of ten: what a light meter and a swatch of gel are good for.

    >>> rough(89.7), rough(167.2), rough(0.0834)
    ('90', '170', '0.083')
    """
    if value == 0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 1)
    return plain(round(value / step) * step)


def light_words(lux: float | None) -> str:
    """Lux and foot-candles.

    >>> light_words(1076.391)
    '1076 lx · 100 fc'
    """
    return "light not metered" if lux is None else f"{plain(lux)} lx · {plain(lux / LUX_PER_FC)} fc"


def seconds_words(time_s: float) -> str:
    """An exposure time as a fraction.

    >>> seconds_words(1 / 48), seconds_words(0.5)
    ('1/48 s', '1/2 s')
    """
    inverse = 1 / time_s
    whole = inverse >= 30 or abs(inverse - round(inverse)) < 0.05
    return f"1/{inverse:.0f} s" if whole and inverse >= 1.5 else f"{time_s:.2g} s"
