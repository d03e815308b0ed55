"""A look compiled to a .cube: bake, measure, name, write."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lookdev.colorimetry.encodings import Encoding
from lookdev.errors import RequestError
from lookdev.looks.cast import Cast
from lookdev.looks.pipeline import LookLike, Transform, shared_transform
from lookdev.lut.cube import CubeLut, Shaper, Triple, lattice_points, write_cube
from lookdev.lut.error import Difference, lut_error, own_error

Array = NDArray[np.float64]

SIZES = (17, 33, 65)
SHAPER_POINTS = 65536
LINEAR_TOP = 16.0
"""A linear input is cut above this light: 6.5 stops over mid grey, past any camera's white."""
_LOG_OFFSET = 0.0025
"""Light at which the shaper of linear input turns from straight to logarithmic, six stops under mid grey: of
0.00125 to 0.02 the least off on dark greys that is no worse on the sample scout (table in DEVELOPERS.md)."""
_LOG_SPAN = float(np.log2(LINEAR_TOP / _LOG_OFFSET + 1.0))
_BLACK_OFF = 2 / 1023
"""What black may be off for want of a point at the code of no light: half an 8-bit code."""
TABLE_DECIMALS = 5
"""Of a baked table in a file: steps finer than a 16-bit code, off by at most 0.005 code of 1023, in four
fifths of the room that six take. Linear light keeps six, and so does the identity, whose points have them."""
_CLOSE = 0.99  # of a cell: so close to a point it may as well stand there
_CHUNK = 1 << 16


def bake_cube(
    transform: Transform, size: int = 65, domain: tuple[float, float] = (0.0, 1.0), title: str = ""
) -> CubeLut:
    """The 3D LUT of ``size`` whose points are exactly what ``transform`` gives.

    All but those round black, where no point stands at a log encoding's code of no light: they are set so
    that it gives exactly what the look gives, see :func:`_with_black`.

    Linear input would waste a cube on highlights: it gets a 1D shaper of ``SHAPER_POINTS`` in front, and the
    cube is spaced by the shaper.

    Raises
    ------
    RequestError : the size is not from 2 to 256, or the domain is empty.
    """
    if not 2 <= size <= 256:
        raise RequestError("cube size out of range", found=size, wanted="17, 33 or 65 (2 to 256 are allowed)")
    low, high = domain
    if not low < high:
        raise RequestError("empty domain", found=f"{low} {high}", wanted="a minimum below the maximum")
    if transform.source.is_linear:
        shaper = linear_shaper()
        points = shaper_inverse(lattice_points(size))
        table = _evaluate(transform, points)
        return CubeLut(table, title=title, shaper=shaper, decimals=_decimals(transform))
    corners: tuple[Triple, Triple] = ((low,) * 3, (high,) * 3)
    table = _evaluate(transform, lattice_points(size, *corners))
    table = _with_black(table, transform, low, high)
    return CubeLut(table, *corners, title=title, decimals=_decimals(transform))


def _decimals(transform: Transform) -> int:
    return 6 if transform.is_identity or transform.target.is_linear else TABLE_DECIMALS


def bake_curve(transform: Transform, size: int = 1024, title: str = "") -> CubeLut:
    """The 1D LUT of a separable look.

    Raises
    ------
    RequestError : the look mixes channels, so no 1D LUT can hold it.
    """
    if not is_separable(transform):
        raise RequestError(
            "a 1D LUT cannot hold this look: it mixes the channels", wanted="--size 17, 33 or 65 (3D)"
        )
    axis = np.linspace(0.0, 1.0, size)
    return CubeLut(transform(np.repeat(axis[:, None], 3, axis=1)), title=title)


def is_separable(transform: Transform) -> bool:
    """Whether each output channel depends on its own input channel alone, to a 16-bit code."""
    axis = np.linspace(0.0, 1.0, 12)
    cube = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    out = transform(cube)
    apart = [np.ptp(out[..., c], axis=tuple(a for a in range(3) if a != c)).max() for c in range(3)]
    return bool(max(apart) < 0.5 / 65535)


def _with_black(table: Array, transform: Transform, low: float, high: float) -> Array:
    """The table with black where the look has it, as if a point stood at the code of no light.

    A picture's curve starts steeply at black. Where that lies between two points of a log encoding, 20 to 50
    codes of 1023 came out of no light at all. The points round it are laid on the straight lines, each
    channel by itself, from black to the next point on grey, so that the code of no light reads right by
    tetrahedral and by trilinear interpolation alike; under it the lines stay level. Those points come to lie
    under zero, which float readers keep and others cut: those read then what they read before. Moving the
    table's ends instead (DOMAIN_MAX) would ask of every reader to heed them, and many a monitor does not.
    """
    no_light = transform.source.from_working(np.zeros(3))
    last = len(table) - 1
    place = (float(no_light.max()) - low) / (high - low) * last
    k = int(np.floor(place))
    if transform.target.state != "output" or transform.is_identity or not 0 <= k < last or place == k:
        return table
    if transform.target.code_range == "narrow":  # what takes it cuts at 64, and its makers check for that
        return table
    share = place - k
    black, dark, above = np.asarray(transform(no_light[None]))[0], table[k, k, k], table[k + 1, k + 1, k + 1]
    if np.abs(dark + share * (above - dark) - black).max() <= _BLACK_OFF or share > _CLOSE:
        return table
    along = np.append(np.full(k + 1, share / (share - 1.0)), 1.0)
    block = np.stack(np.meshgrid(along, along, along, indexing="ij"), axis=-1)
    table = table.copy()
    table[: k + 2, : k + 2, : k + 2] = black + block * (above - black)
    return table


def shaped(light: Array) -> Array:
    """[0, LINEAR_TOP] to [0, 1]: a logarithm that starts straight, from exactly 0."""
    return np.asarray(np.log2(np.maximum(light, 0.0) / _LOG_OFFSET + 1.0) / _LOG_SPAN)


def shaper_inverse(shaped: Array) -> Array:
    """Light whose shaper output is ``shaped``."""
    return np.asarray(_LOG_OFFSET * np.expm1(shaped * (_LOG_SPAN * np.log(2.0))))


def shaper_log() -> dict[str, float]:
    """The shaper as the parameters of a CLF Log node (S-2014-006, "linToLog"), base 2."""
    return {"linSideSlope": 1.0 / _LOG_OFFSET, "linSideOffset": 1.0, "logSideSlope": 1.0 / _LOG_SPAN}


def linear_shaper() -> Shaper:
    """The shaper in front of a cube for linear input."""
    axis = np.linspace(0.0, LINEAR_TOP, SHAPER_POINTS)
    top: Triple = (LINEAR_TOP,) * 3
    return Shaper(np.repeat(shaped(axis)[:, None], 3, axis=1), (0.0, 0.0, 0.0), top)


def _evaluate(transform: Transform, points: Array) -> Array:
    flat = points.reshape(-1, 3)
    out = [np.asarray(transform(flat[i : i + _CHUNK])) for i in range(0, len(flat), _CHUNK)]
    return np.concatenate(out).reshape(points.shape)


@dataclass(frozen=True)
class CubeReport:
    """What was written: the LUT, and its error over the whole cube, over picture colours, and over the stills
    of the scout where there are such."""

    path: Path
    lut: CubeLut
    whole: Difference
    picture: Difference
    own: Difference | None = None

    def words(self) -> str:
        """How far it is from the look, over the scout's own stills or else over picture colours."""
        over = "picture colours" if self.own is None else "the scout's own stills"
        return f"over {over} {(self.own or self.picture).words()}"

    def numbers(self) -> dict[str, object]:
        """For summary.json; ``path`` is the file's name."""
        return {
            "file": self.path.name,
            "kind": self.lut.kind,
            "size": self.lut.size,
            "error_whole_cube": self.whole.numbers(),
            "error_picture_colours": self.picture.numbers(),
            "error_own_stills": self.own.numbers() if self.own else None,
        }


def export_cube(
    look: LookLike,
    source: Encoding,
    target: Encoding,
    path: Path,
    *,
    size: int = 65,
    cast: Cast | None = None,
    place: str | None = None,
    balance: str = "",
    one_dimensional: bool = False,
    domain: tuple[float, float] = (0.0, 1.0),
    own: Array | None = None,
    readings: Sequence[str] = (),
) -> CubeReport:
    """Bake ``look`` between two encodings, measure it, and write it with comments that say what it is.

    Parameters
    ----------
    cast, place : a location's metered cast and its name; without a cast the look's own shift alone is in.
    balance : the footage that the cast holds for, in words: what the camera is balanced to.
    own : colours (n, 3) of the scout's stills, code values in ``source``: what the LUT will be put on.
    readings : the readings that the LUT stands for, a line each.
    """
    transform = shared_transform(look, source, target, cast)
    title = look.title if place is None else f"{look.title} - {place}"
    lut = bake_curve(transform, title=title) if one_dimensional else bake_cube(transform, size, domain, title)
    whole, picture = lut_error(lut, transform)
    mine = own_error(lut, transform, own) if own is not None and len(own) else None
    head = cube_comments(look, source, target, place, whole, picture, balance, mine, readings)
    lut = replace(lut, comments=tuple(head))
    write_cube(path, lut)
    return CubeReport(Path(path), lut, whole, picture, mine)


def cube_comments(
    look: LookLike,
    source: Encoding,
    target: Encoding,
    place: str | None,
    whole: Difference,
    picture: Difference,
    footage: str = "",
    own: Difference | None = None,
    readings: Sequence[str] = (),
) -> list[str]:
    """The lines at the head of a .cube file."""
    balance = f"the metered balance of {place} is in it" if place else "no location's balance is in it"
    if place and footage:
        balance += f", for {footage}"
    error = "error against the look, CIEDE2000, tetrahedral"
    return [
        f"look: {look.title}",
        f"does: {look.describe()}",
        f"balance: {balance}",
        *(f"reading: {line}" for line in readings),
        f"input: {source.name}, {source.state}-referred ({source.standard})",
        f"output: {target.name}, {target.state}-referred ({target.standard})",
        *([f"{error}, the scout's own stills: {own.words()}"] if own else []),
        f"{error}, whole input cube: {whole.words()}",
        f"{error}, picture colours: {picture.words()}",
        f"look fingerprint: {look.fingerprint()[:16]}",
    ]
