"""What can be said of a LUT's table by itself: whole numbers, coarse steps, no change, no colour, order."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import NARROW_BLACK, NARROW_WHITE
from lookdev.lut.cube import CubeLut
from lookdev.lut.error import trial_inputs
from lookdev.lut.examine import GreyAxis

Array = NDArray[np.float64]

_DEPTHS = (8, 10, 12, 16)
_LEADS = 1.3  # times as much as to any other, and an output channel is said to answer to an input
_CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True)
class Traits:
    """What stands out in a table.

    ``whole_bits`` : its numbers are whole ones, codes of so many bits, and were divided by their full scale.
    ``step_bits`` : its values stand on the codes of so many bits. ``largest_change`` over the whole input, of
    a full scale of 1. ``monochrome``, ``constant``, ``separable`` (each channel by itself). ``leading`` : the
    input channel (0, 1, 2) to which each output channel answers most near grey.
    """

    whole_bits: int | None
    step_bits: int | None
    largest_change: float
    monochrome: bool
    constant: bool
    separable: bool
    leading: tuple[int, int, int]

    @property
    def identity(self) -> bool:
        """Whether nothing is changed, to a 16-bit code."""
        return self.largest_change < 1.0 / 65535

    @property
    def crossed(self) -> bool:
        """Whether red answers to blue and blue to red: swapped channels, or a table in the other order."""
        return self.leading == (2, 1, 0)

    def words(self) -> list[str]:
        """A line for each thing that stands out."""
        lines = []
        if self.whole_bits is not None:
            full = 2**self.whole_bits - 1
            lines.append(
                f"its table is in whole numbers, codes of {self.whole_bits} bits, and read here divided by "
                f"{full}; most readers take them for light far over white"
            )
        if self.step_bits is not None:
            lines.append(f"its values stand on {self.step_bits}-bit codes: coarser than the table could hold")
        if self.constant:
            lines.append("gives one colour, whatever comes in")
        elif self.identity:
            lines.append("changes nothing: it is the identity, for any encoding")
        elif self.largest_change < 0.5 / 1023:
            lines.append("changes less than half a 10-bit code: the identity, nearly")
        if self.monochrome and not self.constant:
            lines.append("gives no colour: the three channels are alike (monochrome)")
        elif self.separable and not self.identity and not self.constant:
            lines.append("acts on each channel by itself: a 1D LUT would do")
        if sorted(self.leading) == [0, 1, 2] and self.leading not in ((0, 1, 2), (2, 1, 0)):
            order = ", ".join(f"{_CHANNELS[i]} from {_CHANNELS[j]}" for i, j in enumerate(self.leading))
            lines.append(f"its channels are exchanged: {order}")
        return lines

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        return {
            "whole_numbers_of_bits": self.whole_bits,
            "steps_of_bits": self.step_bits,
            "identity": self.identity,
            "largest_change": round(self.largest_change, 6),
            "monochrome": self.monochrome,
            "constant": self.constant,
            "each_channel_by_itself": self.separable,
            "leading_channels": [_CHANNELS[j] for j in self.leading],
        }


def traits(lut: CubeLut) -> tuple[CubeLut, Traits]:
    """``lut`` with a table in whole numbers brought to a full scale of 1, and what stands out in it."""
    whole = _whole_bits(lut.table)
    if whole is not None:
        lut = replace(lut, table=lut.table / (2.0**whole - 1.0))
    inputs = trial_inputs(lut.size if lut.kind == "3D" else 17, lut.input_min, lut.input_max)
    change = float(np.abs(lut(inputs) - inputs).max())
    found = Traits(
        whole,
        None if change < 1e-4 else _step_bits(lut.table),
        change,
        lut.kind == "3D" and bool(np.ptp(lut.table, axis=-1).max() < 1e-4),
        bool(np.ptp(lut(inputs), axis=0).max() < 1e-6),
        _separable(lut),
        _leading(lut),
    )
    return lut, found


def _whole_bits(table: Array) -> int | None:
    top = float(table.max())
    if top <= 1.5 or table.min() < 0 or np.any(table != np.round(table)):
        return None
    return next((bits for bits in _DEPTHS if top <= 2**bits - 1), None)


def _step_bits(table: Array) -> int | None:
    """The fewest bits on whose codes all values stand, to the six decimals that files have."""
    if table.min() < -0.5 or table.max() > 1 + 1e-6 or len(np.unique(table[..., 1].round(6))) < 32:
        return None
    even = table * (len(table) - 1)
    if np.abs(even - np.round(even)).max() < 1e-4:  # a lattice of its own size
        return None
    for bits in _DEPTHS[:3]:
        codes = table * (2**bits - 1)
        if np.abs(codes - np.round(codes)).max() < 0.004 * 2 ** (bits - 8):
            return bits
    return None


def _separable(lut: CubeLut) -> bool:
    if lut.kind == "1D":
        return True
    apart = (np.ptp(lut.table[..., c], axis=tuple(a for a in range(3) if a != c)).max() for c in range(3))
    return all(a < 0.5 / 65535 for a in apart)


def _leading(lut: CubeLut) -> tuple[int, int, int]:
    """Where the output of grey is neither black nor white, by how much each channel answers to each."""
    low, high = np.array(lut.input_min), np.array(lut.input_max)
    share = np.linspace(0.15, 0.7, 12)[:, None]
    greys = low + (high - low) * (share if max(lut.input_max) <= 1.5 else share**3)
    answers = np.zeros((3, 3))
    for channel in range(3):
        away = np.zeros(3)
        away[channel] = 0.05
        up, down = lut(greys * (1 + away)), lut(greys * (1 - away))
        answers[:, channel] = np.abs(up - down).sum(axis=0)
    if np.ptp(answers, axis=1).max() < 1e-6 or np.ptp(lut.table, axis=-1).max() < 1e-4:
        return (0, 1, 2)
    ranked = np.sort(answers, axis=1)
    if np.any(ranked[:, 2] < _LEADS * ranked[:, 1]):
        return (0, 1, 2)
    first, second, third = (int(i) for i in np.argmax(answers, axis=1))
    return first, second, third


def ranges(lut: CubeLut, grey: GreyAxis) -> tuple[str, str, list[str]]:
    """Code ranges in and out, "full" or "narrow", by the file's marks or by where grey stands still and ends;
    and why."""
    close, node = 3.0 / 1023, 1.0 / max(lut.size - 1, 1)
    low, high = float(grey.outputs.min()), float(grey.outputs.max())
    reasons = []
    still_black = -close - node < grey.black_up_to - NARROW_BLACK < close
    still_white = -close < grey.white_from - NARROW_WHITE < close + node
    narrow_in = still_black and still_white and grey.black_up_to > 0.03 and grey.white_from < 0.97
    if narrow_in:
        reasons.append("grey stands still below code 64 and above 940 of 1023")
    black = low if low >= NARROW_BLACK - close or abs(low) < close else NARROW_BLACK  # points under black
    narrow_out = abs(black - NARROW_BLACK) < close and abs(high - NARROW_WHITE) < close
    if narrow_out:
        reasons.append("output runs from code 64 to 940 of 1023")
    for mark in lut.flags:
        narrow_in |= mark == "LUT_IN_VIDEO_RANGE"
        narrow_out |= mark == "LUT_OUT_VIDEO_RANGE"
        reasons.append(f"the file says {mark}")
    return ("narrow" if narrow_in else "full"), ("narrow" if narrow_out else "full"), reasons
