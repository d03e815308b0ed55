"""The smallest largest difference on greys that an ASC CDL can reach, where nothing else counts."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.optimize import linprog

from lookdev.colorimetry.difference import ciede2000
from lookdev.colorimetry.encodings import ACESCCT, BT709, Encoding
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike
from lookdev.looks.stages.cdl import CDL
from lookdev.lut.cdl import grey_ramp, shown_through
from lookdev.lut.error import appearance

PLAIN = np.array([1.0] * 3 + [0.0] * 3 + [1.0] * 3)
LOW = np.array([0.05] * 3 + [-1.0] * 3 + [0.1] * 3)
HIGH = np.array([8.0] * 3 + [1.0] * 3 + [8.0] * 3)


def grey_limit(
    look: LookLike,
    start: CDL,
    shares: Sequence[float] = (1.0, 0.5, 0.0),
    source: Encoding = ACESCCT,
    target: Encoding = BT709,
) -> float:
    """The smallest largest CIEDE2000, 6 stops either way of mid grey, that slope, offset and power were found
    to reach: by linear programmes one after the other (the differences made straight round the numbers, the
    largest made smallest, within a region that shrinks where that did not help). They begin at ``shares`` of
    the way from no change to ``start``, whose saturation stays.
    """
    ramp = grey_ramp(source)
    wanted = appearance(shown_through(look, source, target, None)(ramp), target)

    def apart(p: np.ndarray) -> np.ndarray:
        cdl = CDL(
            slope=tuple(p[:3]),
            offset=tuple(p[3:6]),
            power=tuple(p[6:]),
            saturation=start.saturation,
            encoding=source.name,
        )
        shown = shown_through(Look(title="c", cdl=cdl), source, target, None)(ramp)
        return np.asarray(ciede2000(wanted, appearance(shown, target)))

    begin = np.array([*start.slope, *start.offset, *start.power])
    return min(_smallest_largest(apart, PLAIN + share * (begin - PLAIN)) for share in shares)


def _smallest_largest(apart: Callable[[np.ndarray], np.ndarray], p: np.ndarray) -> float:
    here, reach = apart(p), np.array([0.1] * 3 + [0.03] * 3 + [0.1] * 3)
    for _ in range(60):
        slope = np.stack([(apart(p + s) - here) / 1e-5 for s in 1e-5 * np.eye(9)], axis=1)
        rows = np.hstack([slope, -np.ones((len(here), 1))])  # here + slope · step <= largest
        sides = [(max(-r, lo - v), min(r, hi - v)) for r, lo, hi, v in zip(reach, LOW, HIGH, p, strict=True)]
        step = linprog([0.0] * 9 + [1.0], rows, -here, bounds=[*sides, (None, None)]).x[:9]
        there = apart(p + step)
        if there.max() < here.max():
            p, here = p + step, there
            reach = reach * 1.3
        else:
            reach = reach * 0.4
        if reach[0] < 1e-5:
            break
    return float(here.max())
