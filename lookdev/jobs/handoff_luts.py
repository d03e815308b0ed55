"""The LUTs of a handoff: the look alone and at each place, for monitors, before the display, and as CLF."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, with_range
from lookdev.files import safe_name, write_whole
from lookdev.jobs.handoff_parts import PLAIN, Parts
from lookdev.jobs.own_colours import of_stills
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike
from lookdev.lut.bake import CubeReport, export_cube
from lookdev.lut.clf import clf_text, write_clf
from lookdev.lut.cube import CubeLut
from lookdev.lut.naming import cube_tail, lut_file
from lookdev.lut.rebuild import PLAIN_TITLE, write_casts
from lookdev.names import Names

Array = NDArray[np.float64]

FINE_SIZE = 65
MONITOR_SIZE = 33


def write_luts(parts: Parts, own: Mapping[str, Array]) -> dict[str | None, CubeReport]:
    """Write ``luts``, but the process list; gives the LUT of each place by its name, the look alone by None.

    ``own`` : colours of the scout's stills, by their names, on which each LUT is measured.
    """
    request, made, slug = parts.request, parts.made, parts.slug
    look, source, target = request.look, request.source, request.target
    by_place: dict[str | None, CubeReport] = {}
    files = Names()
    for size in request.sizes:
        parts.tell(f"{size}³ LUT")
        name = lut_file(files, slug, "", cube_tail(source, target, size))
        path = parts.folder / "luts" / name
        made.cubes.append(export_cube(look, source, target, path, size=size, own=of_stills(own, None)))
    by_place[None] = made.cubes[0]
    for place in parts.places:
        parts.tell(f"LUT for {place.name}")
        name = lut_file(files, slug, parts.labels[place.name], cube_tail(source, target, request.sizes[0]))
        path = parts.folder / "luts" / name
        report = export_cube(
            look,
            source,
            target,
            path,
            size=request.sizes[0],
            cast=place.cast,
            place=place.name,
            balance=place.balance_words,
            own=of_stills(own, place.stills),
            readings=place.readings,
        )
        made.cubes.append(report)
        by_place[place.name] = report
    if ends := monitor_ends(source, target):
        parts.tell("LUTs for monitors")
        _write_monitors(parts, ends)
    parts.tell("the look before the display, and the plain rendering")
    _write_apart(parts, files)
    return by_place


def write_process_list(parts: Parts) -> None:
    """The look alone as a CLF."""
    request, slug = parts.request, parts.slug
    look = request.look
    text = clf_text(
        look,
        request.source,
        request.target,
        slug,
        size=request.sizes[0],
        notes=[look.describe(), "no location's balance is in it"],
    )
    write_clf(parts.folder / "luts" / f"{slug}.clf", text)


def write_place_casts(parts: Parts, by_place: Mapping[str | None, CubeReport]) -> None:
    """Which balance is in which LUT, for whoever bakes them again."""
    folder, places, made = parts.folder, parts.places, parts.made
    casts: dict[str, list[Cast]] = {}
    for place in places:
        file = by_place[place.name].path.relative_to(folder).as_posix()
        casts.setdefault(file, []).append(place.cast)
    for place, report in zip(places, made.monitors[1:], strict=False):  # there are none for light
        casts[report.path.relative_to(folder).as_posix()] = [place.cast]
    write_casts(folder, casts)


def _write_apart(parts: Parts, files: Names) -> None:
    """The look without what shows it, and what shows it without the look: .cube and CLF each."""
    folder, slug, made = parts.folder / "luts", parts.slug, parts.made
    look, source, shown = parts.request.look, parts.request.source, parts.request.shown
    name = lut_file(files, slug, "", cube_tail(source, source, FINE_SIZE))
    if (folder / name).exists():  # the package is from an encoding to the same: it is its LUT
        made.before_display = next(r for r in made.cubes if r.path.name == name)
    else:
        made.before_display = export_cube(look, source, source, folder / name, size=FINE_SIZE)
    plain = Look(title=PLAIN_TITLE)
    name = lut_file(files, PLAIN, "", cube_tail(source, shown, FINE_SIZE))
    made.plain = export_cube(plain, source, shown, folder / name, size=FINE_SIZE)
    behind = f"for {source.name} before the show's own display transform; its range is held to the encoding's"
    for one, target, stem, note in (
        (look, source, f"{slug}.before_display", f"the look alone, {behind}"),
        (plain, shown, PLAIN, f"no look: {source.name} shown as {shown.name}; what the CDLs stand before"),
    ):
        text = clf_text(one, source, target, stem, size=FINE_SIZE, notes=[one.describe(), note])
        write_clf(folder / f"{stem}.clf", text)


def monitor_ends(source: Encoding, target: Encoding) -> tuple[Encoding, Encoding] | None:
    """Both ends in narrow range, as boxes and monitors on a cable take it; None where there is no such thing,
    or the package is in it anyway."""
    if source.is_linear or target.state != "output" or "narrow" in (source.code_range, target.code_range):
        return None
    return with_range(source, "narrow"), with_range(target, "narrow")


def _write_monitors(parts: Parts, ends: tuple[Encoding, Encoding]) -> None:
    """The look alone and at each place, in 33 points and narrow range."""
    folder, slug, look, made = parts.folder / "luts" / "monitor", parts.slug, parts.request.look, parts.made
    names, tail = Names(), cube_tail(*ends, MONITOR_SIZE)
    path = folder / lut_file(names, slug, "", tail)
    made.monitors.append(export_cube(look, *ends, path, size=MONITOR_SIZE))
    for place in parts.places:
        path = folder / lut_file(names, slug, parts.labels[place.name], tail)
        report = export_cube(
            look,
            *ends,
            path,
            size=MONITOR_SIZE,
            cast=place.cast,
            place=place.name,
            balance=place.balance_words,
            readings=place.readings,
        )
        made.monitors.append(report)


def write_look(folder: Path, slug: str, look: LookLike) -> None:
    """The look's own file, whole: what it was based on is in it."""
    if isinstance(look, Look):
        from lookdev.looks.keys import look_text

        write_whole(folder / f"{slug}.toml", look_text(look))
        return
    from lookdev.lut.cube import write_cube
    from lookdev.lut.received import ReceivedLut

    if isinstance(look, ReceivedLut):
        name = safe_name(look.file_name or f"{slug}.cube")
        if isinstance(look.lut, CubeLut):
            write_cube(folder / name, look.lut)
        else:
            write_whole(folder / name, look.lut.raw)
        request = {"cube": f"{name}@{look.source.name}:{look.target.name}", "title": look.title}
        extra: dict[str, object] = {"keep": look.keep} if look.keep != 1.0 else {}
        import tomlkit

        write_whole(folder / f"{slug}.toml", tomlkit.dumps({**request, **extra}))
