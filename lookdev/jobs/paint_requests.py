"""What may be asked of paint, and what comes back; :func:`lookdev.jobs.paint.run` does it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout
    from lookdev.paint.apart import Pair
    from lookdev.paint.palette import PaletteColour
    from lookdev.paint.predict import SiteTable


MOST_ON_PAGES = 24
"""Chips up to which a whole deck gets pages unasked."""


@dataclass(frozen=True)
class OnScreenRequest:
    """What every question about paint on screen needs: where, through which look, and by what camera.

    Attributes
    ----------
    scout, looks, out : the walls, the looks, and the folder for tables and pages.
    chips : file of a fan deck, or None.
    only : locations, by name.
    balance_k : camera balance in place of the scout's own.
    level_stops : light on the wall against light on the grey card.
    wall_xy : chromaticity metered at the wall itself, where it differs from the card.
    encoding_in : what holds the picture before the look; None for the footage planned in scout.toml, else
        sRGB.
    as_still : predict what the scout's stills show, with the stills camera's balance, not the footage.
    paper : "a4" or "letter".
    reads : files that the looks were read from; nothing is written over them.
    """

    scout: Scout
    looks: tuple[LookLike, ...]
    out: Path
    _: KW_ONLY
    chips: Path | None = None
    only: tuple[str, ...] = ()
    balance_k: float | None = None
    level_stops: float = 0.0
    wall_xy: tuple[float, float] | None = None
    encoding_in: str | None = None
    as_still: bool = False
    paper: str = "a4"
    reads: tuple[Path, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PredictRequest(OnScreenRequest):
    """What chips become on screen, at each place through each look.

    Attributes
    ----------
    chip : single chips: a name or code in ``chips``, a Munsell notation, or #hex.
    pages : the painter's pages of all chips, however many; else for single chips and decks of up to
        ``MOST_ON_PAGES``.
    """

    chip: tuple[str, ...] = ()
    pages: bool = False


@dataclass(frozen=True, kw_only=True)
class MatchRequest(OnScreenRequest):
    """Which chip reads as a wanted colour; with several places or looks the best in the worst of them.

    Without ``chips`` the Munsell colours that a matt paint can have are searched.

    Attributes
    ----------
    target : the colour on screen: #hex, lab:L,a,b, a Munsell notation, or a patch STILL:x,y,w,h.
    card : "x,y,w,h" of the 18% grey card in the target's still, or None.
    count : how many chips to name.
    any_colour : without ``chips``, search also colours that no matt paint has; they are marked.
    """

    target: str
    card: str | None = None
    count: int = 8
    any_colour: bool = False


@dataclass(frozen=True, kw_only=True)
class ApartRequest(OnScreenRequest):
    """Whether wall, costumes and skins stay apart on screen.

    Attributes
    ----------
    surfaces : the wall first, then costumes: names or codes in ``chips``, Munsell notations, or #hex.
    skins : what is held against every surface: "models", the six of ``colorimetry.skins``; a chip file,
        measured spectra best; or None.
    """

    surfaces: tuple[str, ...]
    skins: Path | Literal["models"] | None = "models"


@dataclass(frozen=True)
class PaletteRequest:
    """The dominant colours of a graded still; ``colours`` how many at most, ``chips`` a fan deck or None;
    ``any_colour`` as in :class:`MatchRequest`."""

    still: Path
    out: Path
    chips: Path | None = None
    colours: int = 6
    paper: str = "a4"
    any_colour: bool = False


@dataclass(frozen=True)
class PaintResult:
    """What every one gives: files ``written``, and lines of what could not be done and what is in doubt."""

    written: list[Path]
    errors: list[str]
    warnings: list[str]

    def notes(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "written": [str(p) for p in self.written],
            "failed": self.errors,
            "warnings": self.warnings,
        }


@dataclass(frozen=True)
class PredictResult(PaintResult):
    """``predictions`` a place; ``with_pages``: the painter's pages were made; ``answer`` as in JSON."""

    predictions: Sequence[SiteTable]
    with_pages: bool
    answer: dict[str, Any]

    def data(self) -> dict[str, Any]:
        """The answer for JSON."""
        return self.answer | self.notes()


@dataclass(frozen=True)
class MatchResult(PaintResult):
    """``answer`` as plain data: target, viewings, chips in their order, verdict."""

    answer: dict[str, Any]

    def data(self) -> dict[str, Any]:
        """The answer for JSON."""
        return self.answer | self.notes()


@dataclass(frozen=True)
class PaletteResult(PaintResult):
    """``colours`` by share; ``answer`` the same as plain data."""

    colours: Sequence[PaletteColour]
    answer: dict[str, Any]

    def data(self) -> dict[str, Any]:
        """The answer for JSON."""
        return self.answer | self.notes()


@dataclass(frozen=True)
class ApartResult(PaintResult):
    """``pairs``, those nearest to each other first; ``merging``: a sentence for each that merges."""

    pairs: Sequence[Pair]
    merging: list[str]

    def data(self) -> dict[str, Any]:
        """The answer for JSON."""
        from lookdev.paint.apart import pair_json

        return {"pairs": [pair_json(p) for p in self.pairs], "merging": self.merging} | self.notes()
