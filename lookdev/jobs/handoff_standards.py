"""What a handoff holds by open standards: an OpenColorIO configuration, ACES Metadata Files."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from lookdev.colorimetry.encodings import BT709, Encoding
from lookdev.files import write_whole
from lookdev.looks.pipeline import LookLike
from lookdev.lut.aces_look import aces_look_text, aces_plain_text
from lookdev.lut.amf import Referred, cdl_amf, look_amf
from lookdev.lut.bake import CubeReport
from lookdev.lut.cdl import CdlFit
from lookdev.lut.clf import write_clf
from lookdev.lut.ocio_config import FILE_NAME, Trimmed, Viewed, config_text
from lookdev.lut.package import HASH_LISTS, MANIFEST

_ACES_SIZE = 33
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def write_standards(
    folder: Path,
    slug: str,
    look: LookLike,
    source: Encoding,
    target: Encoding,
    by_place: Mapping[str | None, CubeReport],
    cdls: Sequence[tuple[str, CdlFit]],
    plain: CubeReport | None,
    before_display: CubeReport | None,
    date: str | None,
) -> list[str]:
    """Write config.ocio and the files of ``aces``; gives what is there by open standards or left, in words.

    Parameters
    ----------
    by_place : the LUT of each place by its name, that of the look alone by None; several may share one.
    cdls : by identifier, all of them in cdl/SLUG.ccc.
    date : the scout's, which an ACES Metadata File must have; anything but a full date counts as none.
    """
    write_whole(
        folder / FILE_NAME,
        config_text(
            look,
            source,
            target,
            _views(folder, look, by_place),
            plain=None if plain is None else _viewed(folder, plain, "plain rendering"),
            before_display=None if before_display is None else _viewed(folder, before_display, look.title),
            cdls=[Trimmed(f"cdl/{slug}.ccc", name, _of(look, fit)) for name, fit in cdls],
        ),
    )
    lines = [f"{FILE_NAME}: an OpenColorIO configuration (2.1): a view for each LUT, a look for each CDL."]
    return lines + _write_aces(folder / "aces", slug, look, source, target, cdls, date)


def day_of(date: str | None) -> str | None:
    """The day of a scout's date, "2031-03-04", where it is a whole date.

    >>> day_of("2031-03-04 to 06"), day_of("March"), day_of("2031-02-30")
    ('2031-03-04', None, None)
    """
    try:
        return datetime.date.fromisoformat((date or "")[:10]).isoformat() if _DAY.match(date or "") else None
    except ValueError:
        return None


def _views(folder: Path, look: LookLike, by_place: Mapping[str | None, CubeReport]) -> list[Viewed]:
    """A view for each place, of the LUT that is its own or that it shares."""
    views = [_viewed(folder, by_place[None], look.title)]
    for place, report in by_place.items():
        if place is not None:
            views.append(_viewed(folder, report, f"{look.title} at {place}", place))
    return views


def _viewed(folder: Path, report: CubeReport, words: str, place: str = "") -> Viewed:
    file = report.path.relative_to(folder).as_posix()
    return Viewed(file, f"{report.path.stem} {place}".strip(), words)


def _of(look: LookLike, fit: CdlFit) -> str:
    return look.title if fit.place is None else f"{look.title} at {fit.place}"


def _write_aces(
    folder: Path,
    slug: str,
    look: LookLike,
    source: Encoding,
    target: Encoding,
    cdls: Sequence[tuple[str, CdlFit]],
    date: str | None,
) -> list[str]:
    """The look for ACES, and the files that say where it belongs."""
    name = f"{slug}.aces.clf"
    notes = [look.describe(), "a look transform: ACES2065-1 in and out; no location's balance is in it"]
    text = aces_look_text(look, f"{slug}.aces", size=_ACES_SIZE, notes=notes)
    write_clf(folder / name, text)
    lines = [f"aces/{name}: the look alone for an ACES pipeline, ACES2065-1 in and out."]
    day = day_of(date)
    if day is None:
        what = "ACES Metadata File and no ASC Media Hash List"
        lines.append(f"No {what}: each must bear a date, and the scout has none (scout.toml).")
        return lines
    lines.append(
        f"{HASH_LISTS}: an ASC Media Hash List (2.0) of all files but {MANIFEST}, by C4; it bears the "
        "scout's date and names no host."
    )
    referred = Referred(name, text.encode(), f"{look.title}, the look alone")
    write_whole(folder / f"{slug}.amf", look_amf(look.title, day, referred))
    lines.append(f"aces/{slug}.amf: an ACES Metadata File (S-2019-001, 2.0) that points at it.")
    if source.name != "ACEScct":
        return [*lines, f"None points at the CDLs: they act in {source.name}, ACES knows them in ACEScct."]
    shown = target if target.state == "output" else BT709
    plain_text = aces_plain_text(
        shown, "plain_rendering.aces", size=_ACES_SIZE, notes=["no look: ACES2065-1 shown plainly"]
    )
    write_clf(folder / "plain_rendering.aces.clf", plain_text)
    plain = Referred("plain_rendering.aces.clf", plain_text.encode(), f"the plain rendering to {shown.name}")
    collection = folder.parent / "cdl" / f"{slug}.ccc"
    for identifier, fit in cdls:
        cdl = Referred(f"../cdl/{slug}.ccc", collection.read_bytes(), f"{_of(look, fit)}, as ten numbers")
        write_whole(folder / f"{identifier}.cdl.amf", cdl_amf(_of(look, fit), day, cdl, identifier, plain))
    lines.append("aces/*.cdl.amf: one for each CDL, by its id, before the plain rendering.")
    return lines
