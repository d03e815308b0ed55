"""What a handoff is asked for, what is made of it, and what its parts are written from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.colorimetry.encodings import BT709, Encoding
from lookdev.jobs.choices import Settled
from lookdev.looks.pipeline import LookLike
from lookdev.lut.bake import CubeReport
from lookdev.lut.cdl import CdlFit
from lookdev.lut.error import Difference
from lookdev.survey.footage import FootagePlace

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout

STILL_EDGE = 360
STILL_BITS = 12
"""What sixteen-bit stills hold beyond these hardly compresses: 22 in and out take 9.7 MB, with all sixteen
12.9. They are off by at most an eighth of a 10-bit code."""
PLAIN = "plain_rendering"


@dataclass(frozen=True)
class HandoffRequest:
    """What was asked for.

    ``sizes`` of the look's own .cube, the first one also for each location; ``still_edge`` long edge of the
    reference stills in pixels; ``choices`` the director's, as text; ``reads`` further files that are read:
    the look's.
    """

    scout: Scout
    look: LookLike
    source: Encoding
    target: Encoding
    out: Path
    sizes: tuple[int, ...] = (65, 33, 17)
    only: tuple[str, ...] = ()
    paper: str = "a4"
    still_edge: int = STILL_EDGE
    choices: str | None = None
    reads: tuple[Path, ...] = ()

    @property
    def shown(self) -> Encoding:
        """What the plain rendering gives: the package's own target, or BT.709 where that is no picture."""
        return self.target if self.target.state == "output" else BT709


@dataclass(frozen=True)
class ReferenceStill:
    """One still of the package: its names, its place, and how far LUT and look are apart on it.

    ``from_sheet`` : how far the graded still, which stands as footage, is from the picture on the sheet.
    """

    name: str
    location: str
    place: FootagePlace | None
    cube: str
    apart: Difference
    from_sheet: Difference


@dataclass
class Handoff:
    """What was made; ``kept``: files in the folder that no handoff wrote; ``settled``: what was chosen.

    ``before_display`` : the look alone, from the footage's encoding to the same, to stand before whatever
    shows it. ``monitors`` : in narrow range, for boxes and monitors. ``plain`` : the plain rendering, which
    shows footage without a look. ``manifest_sha256`` : of manifest.json; to be told by another way than the
    package itself.
    """

    folder: Path
    archive: Path
    cubes: list[CubeReport] = field(default_factory=list)
    before_display: CubeReport | None = None
    plain: CubeReport | None = None
    monitors: list[CubeReport] = field(default_factory=list)
    manifest_sha256: str = ""
    cdls: list[tuple[str, CdlFit]] = field(default_factory=list)
    stills: list[ReferenceStill] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    settled: Settled = field(default_factory=Settled)


@dataclass(frozen=True)
class Parts:
    """What every part of a package is written from.

    ``folder`` : of the package, under its working name. ``places`` : those that share a LUT as one;
    ``labels`` : their names in files. ``made`` : what each part adds to. ``tell`` : hears of each step.
    """

    folder: Path
    slug: str
    request: HandoffRequest
    places: Sequence[FootagePlace]
    labels: Mapping[str, str]
    made: Handoff
    tell: Callable[[str], None]
