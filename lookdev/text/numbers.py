"""Numbers as people read them, one way each: units, digits, true minus signs, no powers of ten.

Digits, common practice: kelvin whole, as meters show them; Duv, x, y, u', v' four decimals; lux and
foot-candles three figures, all digits before the point.
"""

from __future__ import annotations

import math

MINUS = "\N{MINUS SIGN}"
LUX_PER_FC = 10.763910417
"""1 foot-candle is 1 lumen per square foot; 1 ft = 0.3048 m exactly, so 1 / 0.3048^2 lux."""


def fixed(value: float, digits: int) -> str:
    """A number with its sign, a true minus and all its digits; what rounds to zero has no sign.

    >>> fixed(-0.0031, 4), fixed(131.4, 0), fixed(-0.00002, 4)
    ('−0.0031', '+131', '0.0000')
    """
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else text.replace("-", MINUS)


def signed(value: float, digits: int) -> str:
    """A number with its sign, a true minus, at most ``digits`` decimals and no trailing zeros.

    >>> signed(-12.0, 1), signed(0.40, 2), signed(-0.004, 2)
    ('−12', '+0.4', '0')
    """
    text = fixed(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text


def unsigned(value: float, digits: int) -> str:
    """A number with all its digits, a true minus and no plus.

    >>> unsigned(-8.25, 1), unsigned(-0.01, 1)
    ('−8.2', '0.0')
    """
    return fixed(value, digits).removeprefix("+")


def times(value: float) -> str:
    """A factor, short.

    >>> times(0.55), times(1.0)
    ('0.55', '1')
    """
    return f"{value:.3f}".rstrip("0").rstrip(".")


def plain(value: float) -> str:
    """Three figures, never in powers of ten, all digits before the point.

    >>> plain(18654.2), plain(29.73), plain(0.4567), plain(99.97)
    ('18654', '29.7', '0.457', '100')
    """
    if abs(value) >= 100:
        return f"{value:.0f}"
    text = f"{value:.3g}"
    return text if "e" not in text else f"{value:.6f}".rstrip("0").rstrip(".")


def rough(value: float) -> str:
    """Two figures, never in powers of ten: what a light meter and a swatch of gel are good for.

    >>> rough(89.7), rough(167.2), rough(0.0834)
    ('90', '170', '0.083')
    """
    if value == 0:
        return "0"
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 1)
    return plain(round(value / step) * step)


BLUEST_K = 25000.0
"""Colour temperatures over this are said in words: there a few hundred thousand kelvin are one mired."""


def kelvin(cct_k: float | None, gap: str = " ") -> str:
    """A colour temperature in whole kelvin, as the meter showed it; "" for None.

    >>> kelvin(3994.2), kelvin(140000.0)
    ('3994 K', 'over 25000 K')
    """
    if cct_k is None:
        return ""
    if cct_k > BLUEST_K:
        return f"over {BLUEST_K:.0f}{gap}K"
    return f"{cct_k:.0f}{gap}K"


def duv(value: float, gap: str = " ") -> str:
    """Distance from the Planckian locus: four decimals, signed.

    >>> duv(-0.00312)
    'Duv −0.0031'
    """
    return f"Duv{gap}{fixed(value, 4)}"


def cct_duv(cct_k: float, off: float) -> str:
    """CCT with its Duv.

    >>> cct_duv(3994.2, 0.00121)
    '3994 K, Duv +0.0012'
    """
    return f"{kelvin(cct_k)}, {duv(off)}"


def pair(one: float, two: float) -> str:
    """Two coordinates of a chromaticity.

    >>> pair(0.534, 0.41512)
    '0.5340, 0.4151'
    """
    return f"{one:.4f}, {two:.4f}"


def x_y(x: float, y: float) -> str:
    """A chromaticity with its letters.

    >>> x_y(0.534, 0.41512)
    'x 0.5340, y 0.4151'
    """
    return f"x {x:.4f}, y {y:.4f}"


def lux(illuminance_lux: float | None) -> str:
    """Illuminance in lux and foot-candles.

    >>> lux(1076.391), lux(None)
    ('1076 lx · 100 fc', 'light not metered')
    """
    if illuminance_lux is None:
        return "light not metered"
    return f"{plain(illuminance_lux)} lx · {plain(illuminance_lux / LUX_PER_FC)} fc"


def seconds(time_s: float) -> str:
    """An exposure time as a fraction where people say one.

    >>> seconds(1 / 48), seconds(0.5), seconds(1.3)
    ('1/48 s', '1/2 s', '1.3 s')
    """
    inverse = 1 / time_s
    whole = inverse >= 30 or abs(inverse - round(inverse)) < 0.05
    return f"1/{inverse:.0f} s" if whole and inverse >= 1.5 else f"{time_s:.3g} s"
