"""The live page of a scout: chosen stills in looks that are being written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lookdev.errors import RequestError
from lookdev.jobs.common import Line, Tell, compile_on_first_use, need_stills, unheard
from lookdev.survey.survey import survey

if TYPE_CHECKING:
    from lookdev.meter.scout import Scout
    from lookdev.watch.server import LivePage

NEEDED = ("starlette", "uvicorn", "watchfiles", "websockets")


@dataclass(frozen=True)
class WatchRequest:
    """What was asked for.

    Attributes
    ----------
    scout : whose stills are shown.
    looks : look files, folders of them, ``FILE.cube@IN:OUT``; without any, the scout's own ``looks`` folder.
    stills : names of stills; without any, the hero of each of the first three places.
    only : locations to choose from, by name, letter case ignored; all without any.
    """

    scout: Scout
    looks: tuple[Path | str, ...] = ()
    stills: tuple[str, ...] = ()
    only: tuple[str, ...] = ()


def open_page(request: WatchRequest, tell: Tell = unheard) -> LivePage:
    """The page, ready to be served (:meth:`LivePage.serve`, :meth:`LivePage.running`).

    Raises
    ------
    RequestError : ``lookdev[watch]`` is not installed; no such still, location or look.
    StillError : a still cannot be read.
    """
    _need_extra()
    from lookdev.watch.server import LivePage
    from lookdev.watch.session import Session, choose_stills, open_stills

    looks = request.looks
    if not looks:
        own = request.scout.folder / "looks"
        if not own.is_dir():
            raise RequestError(
                "no looks given", wanted="--looks FOLDER or --looks FILE.toml (may be repeated)"
            )
        looks = (own,)
    surveyed = survey(request.scout, request.only)
    need_stills(surveyed)
    for warning in surveyed.warnings:
        tell(Line(warning))
    chosen = choose_stills(surveyed, request.stills)
    compile_on_first_use(tell)
    return LivePage(Session(open_stills(chosen), looks))


def run(
    request: WatchRequest, tell: Tell = unheard, opened: Callable[[str], None] = lambda address: None
) -> None:
    """Serve the page until Ctrl-C; ``opened`` hears its address.

    Raises
    ------
    KeyboardInterrupt : it was ended so.
    RequestError, StillError : as of :func:`open_page`.
    """
    page = open_page(request, tell)
    opened(page.address)
    page.serve()


def _need_extra() -> None:
    from importlib.util import find_spec

    absent = [name for name in NEEDED if find_spec(name) is None]
    if absent:
        raise RequestError(
            "the live page needs packages that are not installed",
            found="no " + ", ".join(absent),
            wanted='pip install "lookdev[watch]"',
        )
