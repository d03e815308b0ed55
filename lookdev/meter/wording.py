"""A reading's numbers in words; the numbers themselves are written by ``text.numbers``."""

from __future__ import annotations

from lookdev.text import numbers
from lookdev.text.numbers import fixed as signed
from lookdev.text.numbers import plain, rough
from lookdev.text.numbers import seconds as seconds_words

__all__ = ["light_words", "plain", "rough", "seconds_words", "signed"]


def light_words(lux: float | None) -> str:
    """Lux and foot-candles.

    >>> light_words(1076.391)
    '1076 lx · 100 fc'
    """
    return "light not metered" if lux is None else numbers.lux(lux)
