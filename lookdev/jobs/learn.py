"""A look from frames that were graded by hand: its file, the rest that no key says, and what is left over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lookdev.errors import LookdevError, RequestError, one_line
from lookdev.files import write_whole
from lookdev.jobs.common import Line, Tell, counter, unheard
from lookdev.outputs import Inputs, refuse_any_scout, writing
from lookdev.text.numbers import unsigned

if TYPE_CHECKING:
    from lookdev.looks.learn.colours import Colours
    from lookdev.looks.learn.fit import Fitted
    from lookdev.looks.learn.pairs import Pair, Picture
    from lookdev.looks.model import Look

Array = NDArray[np.float64]

_THREADS = 2


@dataclass(frozen=True)
class LearnRequest:
    """What was asked for.

    Attributes
    ----------
    before, after : the frames as they stood, and as they were graded by hand; one of each to a pair.
    out : the look to write, NAME.toml.
    rest : write the rest too: ``NAME_rest.cube``, and ``NAME_with_rest.toml``, the look that is both.
    title : of the look; after its file's name unless given.
    replace : whether a look that is there already may be written over.
    """

    before: tuple[Path, ...]
    after: tuple[Path, ...]
    out: Path
    rest: bool = False
    title: str | None = None
    replace: bool = False


@dataclass(frozen=True)
class Error:
    """CIEDE2000 over a frame's pixels: ``mean``, and the 95th percentile."""

    mean: float
    most: float

    def words(self) -> str:
        """Both, for a line."""
        return f"mean {unsigned(self.mean, 2)}, 95th {unsigned(self.most, 2)}"

    def numbers(self) -> dict[str, float]:
        """For JSON."""
        return {"mean": round(self.mean, 3), "p95": round(self.most, 3)}


@dataclass(frozen=True)
class PairReport:
    """How near one frame was come.

    Attributes
    ----------
    name : the frame's file, as it stood.
    untouched : how far the grade lies from the frame as it stood.
    keys, both : by the look's keys alone, and with the rest.
    held_keys, held_both : the same, learned from the other pairs; None where there is no other.
    share_left : of the frame, which no point operation does.
    moved : whether the two had to be laid onto each other.
    """

    name: str
    untouched: Error
    keys: Error
    both: Error
    held_keys: Error | None
    held_both: Error | None
    share_left: float
    moved: bool

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        errors = {
            "as_it_stood": self.untouched,
            "look": self.keys,
            "look_and_rest": self.both,
            "held_back_look": self.held_keys,
            "held_back_look_and_rest": self.held_both,
        }
        told: dict[str, object] = {k: e.numbers() if e else None for k, e in errors.items()}
        more = {"share_no_point_operation": round(self.share_left, 4), "registered": self.moved}
        return {"pair": self.name, **told, **more}


@dataclass(frozen=True)
class KeyReport:
    """A key of the look: its value, the step that can just be seen, and whether the frames tell it apart.

    A tone counts as two: its pull in Oklab a and b.
    """

    key: str
    value: float
    just_noticeable: float
    told_apart: bool


@dataclass(frozen=True)
class LearnResult:
    """``look`` as learned, ``written`` files, a report a pair and a key; ``errors`` one line each."""

    look: Look
    written: list[Path]
    pairs: list[PairReport]
    keys: list[KeyReport]
    errors: list[str] = field(default_factory=list)

    def numbers(self) -> dict[str, object]:
        """For JSON."""
        from lookdev.looks.keys import parameters

        return {
            "look": {"title": self.look.title, "note": self.look.note, **parameters(self.look)},
            "written": [str(path) for path in self.written],
            "pairs": [pair.numbers() for pair in self.pairs],
            "keys": [
                {
                    "key": key.key,
                    "value": key.value,
                    "just_noticeable": float(f"{key.just_noticeable:.2g}"),
                    "told_apart": key.told_apart,
                }
                for key in self.keys
            ],
            "failed": self.errors,
        }


def run(request: LearnRequest, tell: Tell = unheard) -> LearnResult:
    """Learn the look and write it.

    Raises
    ------
    RequestError : the request is wrong.
    LookdevError : no pair can be used; the first one's reason.
    """
    from lookdev.looks.model import checked_title

    _check(request)
    title = checked_title(_title(request.out) if request.title is None else request.title)
    with one_thread_for_sums():
        return _learned(request, title, tell)


def _learned(request: LearnRequest, title: str, tell: Tell) -> LearnResult:
    from concurrent.futures import ThreadPoolExecutor

    from lookdev.looks.learn.fit import fit
    from lookdev.looks.learn.keys import all_keys

    step = counter(tell)
    pairs, errors = _read_pairs(request, tell)
    total = len(pairs) + 2
    step(len(pairs), total, f"{len(pairs)} pair{'s' if len(pairs) > 1 else ''} read")
    several = _extended(pairs)
    fitted = fit(several)
    offsets = _rest(fitted, several)
    step(len(pairs) + 1, total, "learned")

    def reported(pair: Pair) -> tuple[PairReport, NDArray[np.uint8]]:
        return _report(pair, fitted, offsets, [each for each in pairs if each is not pair])

    with ThreadPoolExecutor(_THREADS) as pool:
        reports, maps = (list(part) for part in zip(*pool.map(reported, pairs), strict=True))
    look = fitted.look.model_copy(update={"title": title, "note": _note(pairs)})
    written = _write(request, title, fitted, offsets, pairs, maps)
    step(total, total, "written")
    values = dict(zip(all_keys(), fitted.vector.tolist(), strict=True))
    keys = [KeyReport(key.words, values[key], step_of, apart) for key, step_of, apart in fitted.steps]
    return LearnResult(look, written, reports, keys, errors)


@contextmanager
def one_thread_for_sums() -> Iterator[None]:
    """Linear algebra on one thread: its matrices are small, and to share them takes half as much CPU again.

    What comes out does not hang on the number of cores then.
    """
    import scipy.linalg  # whose library has to be there to be told
    from threadpoolctl import threadpool_limits

    assert scipy.linalg
    with threadpool_limits(limits=1, user_api="blas"):
        yield


def _check(request: LearnRequest) -> None:
    if not request.before or len(request.before) != len(request.after):
        raise RequestError(
            "every pair needs a frame before and one after",
            found=f"{len(request.before)} before, {len(request.after)} after",
            wanted="--before A --after B, as often as there are pairs",
        )
    if request.out.suffix.lower() != ".toml":
        raise RequestError("a look is written as .toml", file=request.out, wanted="--out NAME.toml")
    if request.out.is_dir():
        raise RequestError("is a folder", file=request.out, wanted="--out NAME.toml")
    refuse_any_scout(request.out.parent)
    there = [path for path in _files(request, len(request.before)) if path.exists()]
    if there and not request.replace:
        raise RequestError(
            "is there already, and may have been worked on",
            file=there[0],
            wanted="another name, or --replace",
        )


def _files(request: LearnRequest, pairs: int) -> list[Path]:
    stem = request.out.stem
    names = [request.out.name, *(_map_name(stem, k, pairs) for k in range(pairs))]
    if request.rest:
        names += [f"{stem}_rest.cube", f"{stem}_with_rest.toml"]
    return [request.out.with_name(name) for name in names]


def _map_name(stem: str, number: int, pairs: int) -> str:
    return f"{stem}_left.png" if pairs == 1 else f"{stem}_left_{number + 1}.png"


def _read_pairs(request: LearnRequest, tell: Tell) -> tuple[list[Pair], list[str]]:
    from concurrent.futures import ThreadPoolExecutor

    from lookdev.looks.learn.pairs import make_pair

    def one(paths: tuple[Path, Path]) -> Pair | LookdevError:
        try:
            pair = make_pair(picture(paths[0]), picture(paths[1]))
            _ = pair.colours
        except LookdevError as error:
            return error
        return pair

    with ThreadPoolExecutor(_THREADS) as pool:
        found = list(pool.map(one, zip(request.before, request.after, strict=True)))
    pairs = [pair for pair in found if not isinstance(pair, LookdevError)]
    errors = [error for error in found if isinstance(error, LookdevError)]
    if not pairs:
        raise errors[0]
    for error in errors:
        tell(Line(str(error)))
    return pairs, [str(error) for error in errors]


def picture(path: Path) -> Picture:
    """A still as learning takes it: read like every still, at reduced size.

    Raises
    ------
    StillError : it cannot be read.
    """
    from lookdev.looks.learn.pairs import EDGE_PX, Picture
    from lookdev.stills.reader import read_still

    still = read_still(path, max_edge_px=EDGE_PX, enough_px=EDGE_PX // 2)
    return Picture(still.signal(), still.encoding, str(path))


def _extended(pairs: Sequence[Pair]) -> list[Colours]:
    from lookdev.looks.learn.colours import joined
    from lookdev.looks.learn.rest import beyond

    return [beyond(each) for each in joined([pair.colours for pair in pairs])]


def _rest(fitted: Fitted, several: Sequence[Colours]) -> Array:
    """The rest, in the code values of the first pair's grade."""
    from lookdev.looks.learn.rest import learn_rest

    return learn_rest(fitted.look, [each for each in several if each.target == several[0].target])


def _report(
    pair: Pair, fitted: Fitted, offsets: Array, others: Sequence[Pair]
) -> tuple[PairReport, NDArray[np.uint8]]:
    from lookdev.looks.learn.fit import refit
    from lookdev.looks.learn.keys import defaults, look_of
    from lookdev.looks.learn.pairs import left_map

    nothing = look_of(defaults(), "as it stood")
    left = pair.differences(fitted.look, offsets, every=2)
    shown, share = left_map(left)
    held_keys = held_both = None
    if others:
        several = _extended(others)
        again = refit(several, fitted)
        held_keys = _error(pair.differences(again.look))
        held_both = _error(pair.differences(again.look, _rest(again, several)))
    report = PairReport(
        Path(pair.name).name,
        _error(pair.differences(nothing)),
        _error(pair.differences(fitted.look)),
        _error(left),
        held_keys,
        held_both,
        share,
        pair.registration.moved,
    )
    return report, shown


def _error(off: Array) -> Error:
    known = off[np.isfinite(off)]
    return Error(float(known.mean()), float(np.percentile(known, 95)))


def _title(out: Path) -> str:
    return (one_line(out.stem).replace("_", " ").strip().capitalize() or "Learned")[:120]


def _note(pairs: Sequence[Pair]) -> str:
    names = ", ".join(Path(pair.name).name for pair in pairs)
    return f"Learned from {names} and what was made of {'them' if len(pairs) > 1 else 'it'} by hand."


def _write(
    request: LearnRequest,
    title: str,
    fitted: Fitted,
    offsets: Array,
    pairs: Sequence[Pair],
    maps: Sequence[NDArray[np.uint8]],
) -> list[Path]:
    from lookdev.looks.learn.write import look_text

    files = _files(request, len(pairs))
    inputs = Inputs((*request.before, *request.after))
    with writing(request.out.parent, inputs, files):
        write_whole(request.out, look_text(title, _note(pairs), fitted.tables))
        for path, shown in zip(files[1:], maps, strict=False):
            write_whole(path, _png(shown))
        if request.rest:
            _write_rest(request, title, offsets, pairs)
    return files


def _write_rest(request: LearnRequest, title: str, offsets: Array, pairs: Sequence[Pair]) -> None:
    from lookdev.looks.learn.write import look_text
    from lookdev.lut.cube import CubeLut, lattice_points, write_cube

    stem, target = request.out.stem, pairs[0].target
    cube = request.out.with_name(f"{stem}_rest.cube")
    table = lattice_points(len(offsets)) + offsets
    comments = (f"The rest of {title}: after the look, on its code values in {target.name}.",)
    write_cube(cube, CubeLut(table, title=f"{title}, the rest", comments=comments))
    text = look_text(f"{title}, with its rest"[:120], _note(pairs), {})
    text += f'cube = "{cube.name}@{target.name}:{target.name}"\nlook = "{request.out.name}"\n'
    write_whole(request.out.with_name(f"{stem}_with_rest.toml"), text)


def _png(grey: NDArray[np.uint8]) -> bytes:
    import cv2

    from lookdev.looks.learn.pairs import PLAINLY_OFF
    from lookdev.pages.map_legend import with_legend

    shown = with_legend(grey, 4 * PLAINLY_OFF, PLAINLY_OFF)
    return bytes(cv2.imencode(".png", shown)[1].tobytes())
