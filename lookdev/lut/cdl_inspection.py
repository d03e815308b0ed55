"""A CDL file that came in: each of its corrections in words and numbers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from lookdev.looks.stages.cdl import CDL, cdl_step
from lookdev.looks.steps import run
from lookdev.lut.cdl import ReadCorrection, read_cdl

_CODES = (0.0, 0.18, 0.5, 1.0)


@dataclass(frozen=True)
class CorrectionFound:
    """One correction: ``greys`` are (code, red, green, blue) of what becomes of equal codes."""

    identifier: str
    cdl: CDL
    notes: tuple[str, ...]
    greys: tuple[tuple[float, ...], ...]

    @property
    def identity(self) -> bool:
        """Whether it changes nothing."""
        return self.cdl.model_copy(update={"encoding": CDL().encoding}).is_identity

    def words(self) -> list[str]:
        """A line for each thing that is to be said."""
        c = self.cdl
        if self.identity:
            return ["changes nothing: it is the identity"]
        lines = [
            f"slope {_three(c.slope)}, offset {_three(c.offset)}, power {_three(c.power)}, "
            f"saturation {c.saturation:.4g}; acts in {c.encoding}"
        ]
        codes = "; ".join(
            f"{code:g} becomes " + " ".join(f"{v:.3f}" for v in grey) for code, *grey in self.greys
        )
        lines.append(f"of equal codes {codes}")
        if c.saturation == 0:
            lines.append("gives no colour: its saturation is 0 (monochrome)")
        if min(c.slope) <= 0:
            lines.append("a channel's slope is 0: it becomes flat")
        low, high = self.greys[0][1:], self.greys[-1][1:]
        if min(low) < 0:
            lines.append(f"pushes black under code 0, to {min(low):.3f}: lost where a reader clamps")
        if max(high) > 1:
            lines.append(f"pushes code 1 over 1, to {max(high):.3f}: lost where a reader clamps")
        spread = max(max(g[1:]) - min(g[1:]) for g in self.greys)
        if spread < 5e-4 and c.saturation == 1:
            lines.append("keeps grey neutral")
        return lines

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        c = self.cdl
        return {
            "id": self.identifier,
            "slope": list(c.slope),
            "offset": list(c.offset),
            "power": list(c.power),
            "saturation": c.saturation,
            "encoding": c.encoding,
            "identity": self.identity,
            "notes": list(self.notes),
            "greys": [list(grey) for grey in self.greys],
        }


def inspect_cdl(path: Path | str, encoding: str | None = None) -> list[CorrectionFound]:
    """Each correction of a .cc, .ccc or .cdl; ``encoding`` : in which they act, where they do not say.

    Raises
    ------
    LutError : the file is none of these.
    """
    return [_found(each) for each in read_cdl(Path(path), encoding)]


def _found(read: ReadCorrection) -> CorrectionFound:
    c = read.cdl
    step = cdl_step(c.slope, c.offset, c.power, c.saturation)
    out = run((step,), np.repeat(np.array(_CODES)[:, None], 3, axis=1))
    greys = tuple((code, *(round(v, 6) for v in row)) for code, row in zip(_CODES, out.tolist(), strict=True))
    return CorrectionFound(read.identifier, c, read.notes, greys)


def _three(values: tuple[float, float, float]) -> str:
    return " ".join(f"{v:.4g}" for v in values)
