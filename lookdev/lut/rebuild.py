"""The LUTs of a handoff baked again from the look inside it, and held against those that it contains.

What is needed lies in the package: the look in ``look/``, the casts of its places in ``look/casts.json``, and
what each LUT takes and gives in its own words. A LUT whose checksum was made to fit is found out, unless the
look was changed with it. CDLs are fitted to the scout's stills and are not made again.
"""

from __future__ import annotations

import json
import tempfile
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding, get_encoding
from lookdev.errors import LookdevError, LutError, RequestError
from lookdev.files import write_json
from lookdev.looks.cast import Cast
from lookdev.looks.model import Look
from lookdev.looks.pipeline import LookLike
from lookdev.lut.aces_look import aces_look_text, aces_plain_text
from lookdev.lut.bake import TABLE_DECIMALS, bake_cube
from lookdev.lut.clf import clf_text
from lookdev.lut.cube import CubeLut, cube_bytes, parse_cube, read_cube
from lookdev.lut.package import DAMAGE, STAGE
from lookdev.lut.received import open_look
from lookdev.lut.said import said

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

CASTS = "look/casts.json"
PLAIN_TITLE = "Plain rendering"
_CLOSE = 2.1 * 10.0**-TABLE_DECIMALS  # the last digit may fall either way on another machine


@dataclass
class Rebuilt:
    """What came of it: files that are as they are baked again, and a line for each that is not."""

    same: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def write_casts(folder: Path, casts: Mapping[str, Iterable[Cast]]) -> None:
    """Write look/casts.json: by .cube, with forward slashes, the casts that it may have been baked with."""
    content = {
        name: [
            {
                "light_xy": list(cast.white_xy),
                "camera_xy": list(cast.camera_xy),
                "whole_xy": None if cast.whole is None else [list(xy) for xy in cast.whole],
            }
            for cast in some
        ]
        for name, some in sorted(casts.items())
    }
    write_json(folder / CASTS, content)


def rebuild(package: Path | str) -> Rebuilt:
    """Bake every .cube and .clf of a handoff's folder or zip again and compare.

    Raises
    ------
    RequestError : there is no such package, or no look in it that can be read.
    """
    package = Path(package)
    if package.is_dir():
        return _rebuilt(package)
    if not (package.is_file() and zipfile.is_zipfile(package)):
        raise RequestError("no such package", file=package, wanted="a folder or zip that handoff wrote")
    with tempfile.TemporaryDirectory() as aside:
        try:
            with zipfile.ZipFile(package) as archive:
                wanted = [n for n in archive.namelist() if _is_needed(n)]
                archive.extractall(aside, wanted)
        except DAMAGE as error:
            raise RequestError(f"the zip is damaged: {error}", file=package) from None
        tops = [p for p in Path(aside).iterdir() if p.is_dir()]
        if len(tops) != 1:
            raise RequestError("holds no handoff", file=package, wanted="one folder at the top")
        return _rebuilt(tops[0])


def _is_needed(name: str) -> bool:
    parts = PurePosixPath(name).parts
    return ".." not in parts and (name.endswith((".cube", ".clf")) or parts[1:2] == ("look",))


def _rebuilt(folder: Path) -> Rebuilt:
    look, casts, done = _look(folder), _casts(folder), Rebuilt()
    files = sorted(p for s in (".cube", ".clf") for p in folder.rglob(f"*{s}") if p.is_file())
    for path in files:
        name = path.relative_to(folder).as_posix()
        if name.startswith((f"{STAGE}/", "look/")):
            continue
        try:
            if path.suffix == ".cube":
                apart = _cube_apart(path, look, casts.get(name))
            else:
                apart = _clf_apart(path, look)
        except (LookdevError, ValueError, KeyError) as error:
            done.problems.append(f"{name}: cannot be baked again: {error}")
            continue
        if apart is None:
            done.problems.append(f"{name}: baked again it has another form")
        elif apart > _CLOSE:
            done.problems.append(f"{name}: baked again it differs by up to {apart * 1023:.3g} codes of 1023")
        else:
            done.same.append(name)
    if not files:
        done.problems.append("there is no LUT in it")
    return done


def _look(folder: Path) -> LookLike:
    found = sorted((folder / "look").glob("*.toml"))
    if len(found) != 1:
        raise RequestError("has not one look in look/", file=folder, wanted="a package that handoff wrote")
    return open_look(found[0])


def _casts(folder: Path) -> dict[str, list[Cast]]:
    try:
        content = json.loads((folder / CASTS).read_bytes())
        return {str(name): [_cast(one) for one in some] for name, some in content.items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise RequestError(f"its {CASTS} cannot be read: {error}", file=folder) from None


def _cast(one: Mapping[str, list[float]]) -> Cast:
    whole = one.get("whole_xy")
    pairs = None if whole is None else (_pair(whole[0]), _pair(whole[1]))
    return Cast(_pair(one["light_xy"]), _pair(one["camera_xy"]), "", pairs)


def _pair(values: object) -> tuple[float, float]:
    x, y = np.asarray(values, dtype=np.float64).tolist()
    return float(x), float(y)


def _cube_apart(path: Path, look: LookLike, casts: list[Cast] | None) -> float | None:
    """The largest difference of a .cube from what is baked again; None where the forms differ."""
    there = read_cube(path)
    ends = said(there.comments)
    if ends.source is None or ends.target is None:
        raise LutError("does not say what it takes and gives")
    named = next((c[6:] for c in there.comments if c.startswith("look: ")), "")
    acting: LookLike = Look(title=PLAIN_TITLE) if named == PLAIN_TITLE else look
    tried: list[Cast] | list[None] = casts if casts else [None]
    return min(
        (
            apart
            for cast in tried
            if (apart := _apart(there, _again(acting, ends.source, ends.target, cast, there))) is not None
        ),
        default=None,
    )


def _again(look: LookLike, source: Encoding, target: Encoding, cast: Cast | None, there: CubeLut) -> CubeLut:
    transform = look.transform(source, target, cast)
    domain = (there.domain_min[0], there.domain_max[0])
    return parse_cube(cube_bytes(bake_cube(transform, there.size, domain)).decode())


def _apart(one: CubeLut, other: CubeLut) -> float | None:
    if one.table.shape != other.table.shape or (one.domain_min, one.domain_max) != (
        other.domain_min,
        other.domain_max,
    ):
        return None
    shapers = (one.shaper, other.shaper)
    if (shapers[0] is None) != (shapers[1] is None):
        return None
    apart = float(np.abs(one.table - other.table).max())
    if shapers[0] is not None and shapers[1] is not None:
        if shapers[0].table.shape != shapers[1].table.shape:
            return None
        apart = max(apart, float(np.abs(shapers[0].table - shapers[1].table).max()))
    return apart


def _clf_apart(path: Path, look: LookLike) -> float | None:
    """As :func:`_cube_apart` for a process list: its nodes and every number in them."""
    there = _listed(path.read_bytes(), path)
    words = {_tag(e): (e.text or "").strip() for e in there if _tag(e).endswith("Descriptor")}
    arrays = [a for node in there if _tag(node) == "LUT3D" for a in node if _tag(a) == "Array"]
    size = int(arrays[0].get("dim", "33").split()[0]) if arrays else 33
    plain, identifier = there.get("name") == PLAIN_TITLE, there.get("id", "")
    if words.get("InputDescriptor") == "ACES2065-1" and path.parent.name == "aces":
        if plain:
            text = aces_plain_text(get_encoding(words["OutputDescriptor"]), identifier, size=size)
        else:
            text = aces_look_text(look, identifier, size=size)
    else:
        ends = (get_encoding(words["InputDescriptor"]), get_encoding(words["OutputDescriptor"]))
        text = clf_text(Look(title=PLAIN_TITLE) if plain else look, *ends, identifier, size=size)
    one, other = (_skeleton(root) for root in (there, _listed(text.encode(), path)))
    if [n for n, _ in one] != [n for n, _ in other] or [len(v) for _, v in one] != [len(v) for _, v in other]:
        return None
    pairs = ((a, b) for (_, a), (_, b) in zip(one, other, strict=True) if a.size)
    return max((float(np.abs(a - b).max()) for a, b in pairs), default=0.0)


def _listed(raw: bytes, path: Path) -> Element:
    from xml.etree import ElementTree

    if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw:
        raise LutError("has a document type or entities, which a process list never needs", file=path)
    try:
        return ElementTree.fromstring(raw)
    except ElementTree.ParseError as error:
        raise LutError(f"is not XML: {error}", file=path) from None


def _skeleton(root: Element) -> list[tuple[str, NDArray[np.float64]]]:
    """Every element of the nodes but descriptions: its name with its words, and its numbers."""
    found = []
    for element in root.iter():
        tag = _tag(element)
        if element is root or tag == "Description" or tag.endswith("Descriptor"):
            continue
        words, numbers = [tag], list[float]()
        for text in (*(part for item in sorted(element.items()) for part in item), element.text or ""):
            for part in text.split():
                try:
                    numbers.append(float(part))
                except ValueError:
                    words.append(part)
        found.append((" ".join(words), np.array(numbers)))
    return found


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]
