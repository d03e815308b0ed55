"""An OpenColorIO configuration beside the LUTs of a handoff: a look and a view for each place.

Every view reads the very .cube that the package holds for it, interpolated by tetrahedra: it gives the same
numbers. The footage's encoding is the reference; nothing else is converted. Written by OpenColorIO itself,
for version 2.1 of the format, so that programs of the last years read it; paths are relative.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lookdev.colorimetry.encodings import BT709, Encoding

if TYPE_CHECKING:
    from lookdev.looks.pipeline import LookLike

FILE_NAME = "config.ocio"


@dataclass(frozen=True)
class Viewed:
    """A LUT of the package: its file, with forward slashes from the package's folder, and what it is called.

    ``identifier`` for the space that it makes, ``words`` for a menu.
    """

    file: str
    identifier: str
    words: str


@dataclass(frozen=True)
class Trimmed:
    """A CDL of the package, likewise; ``identifier`` is its own."""

    file: str
    identifier: str
    words: str


def config_text(
    look: LookLike,
    source: Encoding,
    target: Encoding,
    views: Sequence[Viewed],
    *,
    plain: Viewed | None = None,
    before_display: Viewed | None = None,
    cdls: Sequence[Trimmed] = (),
) -> str:
    """The text of config.ocio.

    Parameters
    ----------
    views : LUTs from ``source`` to ``target``: the look alone and with each place's balance.
    plain : what shows footage without a look; behind it the CDLs act.
    before_display : the look alone, ``source`` to the same.
    """
    import PyOpenColorIO as OCIO  # noqa: N814

    config = OCIO.Config()
    config.setVersion(2, 1)
    config.setSearchPath(".")
    config.setName(_plain(look.title))
    config.setDescription(f"{look.title}: footage in {source.name}, as the LUTs beside this file show it")
    footage = _plain(source.name)
    config.addColorSpace(_space(OCIO, footage, f"footage: {source.standard}", _means(source)))
    config.addColorSpace(
        OCIO.ColorSpace(name="raw", isData=True, description="numbers as they are", family="utility")
    )
    config.setRole("default", "raw")
    config.setRole(OCIO.ROLE_COLOR_TIMING, footage)
    if source.is_linear:
        config.setRole(OCIO.ROLE_SCENE_LINEAR, footage)
    showing = target if target.state == "output" else BT709
    display = _plain(showing.name)
    shown = [view for view in views if target.state == "output"]
    for view in shown:
        name = f"{view.identifier} shown"
        config.addColorSpace(_space(OCIO, name, view.words, _means(showing), _file(OCIO, view.file)))
        config.addDisplayView(display, _plain(view.words), name)
    looks = [(f"{cdl.identifier} CDL", cdl.file, cdl.identifier, cdl.words) for cdl in cdls]
    if before_display is not None:
        looks.insert(0, (before_display.identifier, before_display.file, "", before_display.words))
    for name, file, identifier, words in looks:
        transform = _file(OCIO, file, identifier)
        config.addLook(
            OCIO.Look(name=_plain(name), processSpace=footage, transform=transform, description=words)
        )
    if plain is not None:
        config.addColorSpace(
            _space(OCIO, "plain rendering", plain.words, _means(showing), _file(OCIO, plain.file))
        )
        config.addDisplayView(display, "plain rendering", "plain rendering")
        for cdl in cdls:
            menu, name = f"{_plain(cdl.words)} as ten numbers", _plain(f"{cdl.identifier} CDL")
            config.addDisplayView(display, menu, "plain rendering", name)
    config.addDisplayView(display, "raw", "raw")
    config.validate()
    return str(config.serialize())


def _space(ocio: Any, name: str, words: str, means: str, shown: Any = None) -> Any:
    space = ocio.ColorSpace(name=name, description=words, family="" if shown is None else "shown")
    space.setEncoding(means)
    if shown is not None:
        space.setTransform(shown, ocio.COLORSPACE_DIR_FROM_REFERENCE)
    return space


def _means(encoding: Encoding) -> str:
    """What OpenColorIO calls such values."""
    if encoding.is_linear:
        return "scene-linear"
    if encoding.state == "scene":
        return "log"
    return "hdr-video" if encoding.peak > 1.0 else "sdr-video"


def _file(ocio: Any, file: str, identifier: str = "") -> Any:
    transform = ocio.FileTransform(file, interpolation=ocio.INTERP_TETRAHEDRAL)
    if identifier:
        transform.setCCCId(identifier)
    return transform


def _plain(text: str) -> str:
    """A name without what OpenColorIO reads as a list of names, or as one taken back."""
    return " ".join("".join(" " if c in ",:;|/\\" else c for c in text).split()).lstrip("+-")
