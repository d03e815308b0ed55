"""What the jobs share: how they tell what they do, and checks of a request before any work."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev import outputs
from lookdev.errors import RequestError
from lookdev.kept import keeping

if TYPE_CHECKING:
    from lookdev.colorimetry.encodings import Encoding
    from lookdev.looks.pipeline import LookLike
    from lookdev.meter.scout import Scout
    from lookdev.outputs import Inputs
    from lookdev.survey.survey import Survey


@dataclass(frozen=True)
class Line:
    """A line for the person who waits: a warning, or what could not be done."""

    text: str


@dataclass(frozen=True)
class Aside(Line):
    """A line that a person at a terminal wants to see, and nobody else."""


@dataclass(frozen=True)
class Progress:
    """So much is done; ``text`` says what was done last."""

    done: int
    total: int
    text: str


Tell = Callable[[Line | Progress], None]
"""Is called in the thread of the job's caller. A job prints nothing; what it has to say goes here."""


def unheard(told: Line | Progress) -> None:
    """Nobody listens."""


def counter(tell: Tell) -> Callable[[int, int, str], None]:
    """``tell`` for work that counts: called with done, total and text."""
    return lambda done, total, text: tell(Progress(done, total, text))


@contextmanager
def writing(
    out: Path,
    inputs: Inputs,
    files: Sequence[Path],
    pages: Sequence[Path] = (),
    *,
    verb: str,
    tell: Tell,
) -> Iterator[None]:
    """As :func:`lookdev.outputs.writing`, for a folder of this tool's: what others left in it is kept.

    Raises
    ------
    RequestError : as there; or a file that is not ours stands in the way and cannot be moved.
    """

    def planned() -> list[Path]:
        return [*files, *outputs.every_page(pages)]

    with (
        outputs.writing(out, inputs, files, pages),
        keeping(out, planned, verb, lambda text: tell(Line(text))),
    ):
        yield


def open_scout(folder: Path | str) -> Scout:
    """The scout in a folder.

    Raises
    ------
    RequestError : there is no such folder, or file names cannot hold its locations in this locale.
    MeterError : ``scout.toml`` is wrong somewhere, or the log is no table.
    """
    from lookdev.files import check_spelling
    from lookdev.meter.scout import load_scout

    folder = Path(folder)
    if not folder.exists():
        raise RequestError("no such folder", file=folder, wanted="a scout: stills and meter.csv")
    if not folder.is_dir():
        raise RequestError("is a file", file=folder, wanted="a scout folder: stills and meter.csv")
    scout = load_scout(folder)
    for reading in scout.log.readings:  # files are named after these, some of them late in the work
        for text in (reading.location, reading.source, *reading.stills):
            check_spelling(text or "")
    return scout


def looks_for(scout: Scout, given: Sequence[str | Path] | None) -> tuple[LookLike, ...]:
    """The looks asked for; without any, those in the scout's own ``looks`` folder.

    Raises
    ------
    RequestError : none are given and the scout has none.
    LookError, LutError : a file is wrong somewhere.
    """
    from lookdev.lut.received import open_looks

    if not given:
        own = scout.folder / "looks"
        if not own.is_dir():
            raise RequestError(
                "no looks given", wanted="--looks FOLDER or --looks FILE.toml (may be repeated)"
            )
        given = [own]
    return open_looks(given)


def need_stills(survey: Survey) -> None:
    """Refuse a survey without stills, for work that is done on stills.

    Raises
    ------
    RequestError : says whether the scout has none, or the chosen locations.
    """
    if not survey.scout.stills:
        raise RequestError(
            "no stills in this folder", file=survey.scout.folder, wanted="pictures, and meter.csv"
        )
    if not survey.stills:
        shot = dict.fromkeys(location for location, _ in survey.every_still)
        raise RequestError(
            "no stills at this location",
            found=", ".join(survey.locations),
            wanted="one of: " + ", ".join(shot),
        )


def cube_ends(given_in: str | None, given_out: str | None, footage: str | None) -> tuple[Encoding, Encoding]:
    """What a .cube takes and gives: as asked, else the scout's footage, else sRGB; out to BT.709 or sRGB.

    Raises
    ------
    RequestError : an encoding that is not known.
    """
    from lookdev.colorimetry.encodings import get_encoding

    try:
        source = get_encoding(given_in or footage or "sRGB")
    except RequestError as error:
        if given_in is not None:
            raise
        key = "plan.footage_encoding"
        raise RequestError(
            error.problem, file="scout.toml", key=key, found=footage, wanted=error.wanted
        ) from None
    return source, get_encoding(given_out or ("sRGB" if source.name == "sRGB" else "BT.709"))


def check_cube_size(size: int, option: str) -> None:
    """Refuse a .cube of another size than those on offer."""
    from lookdev.lut.bake import SIZES

    if size not in SIZES:
        raise RequestError("no such cube size", key=option, found=size, wanted="17, 33 or 65")


def check_folder(folder: Path) -> None:
    """Refuse an output folder that cannot be made, before any work; nothing is left behind."""
    absent = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise RequestError(
            "the output folder is a file", file=folder, wanted="a folder (--out DIR)"
        ) from None
    except OSError as error:
        raise RequestError(
            f"cannot be made: {error.strerror or error}", file=folder, wanted="--out DIR"
        ) from None
    finally:
        for path in absent:
            with suppress(OSError):
                path.rmdir()


def compile_on_first_use(tell: Tell) -> None:
    """Compile the pixel kernels, and say so, unless an earlier run has."""
    from lookdev.compilation import are_compiled

    if not are_compiled():
        from lookdev.render.lattice import warm_up

        warm_up(lambda text: tell(Line(text)))
