"""The looks that come with the program: beside the package in a checkout, under ``share`` where installed.

Asked for as ``shipped``, all of them, or one by its title, where no file or folder has that name.
"""

from __future__ import annotations

from functools import cache
from importlib import metadata
from pathlib import Path

from lookdev.errors import LookError
from lookdev.text.toml_in import read_toml

ALL = "shipped"
_PACKAGE = Path(__file__).parents[1]


@cache
def shipped_folder() -> Path | None:
    """The folder of the looks that came with this program; None if it came without."""
    beside = _PACKAGE.parent / "looks"
    if (_PACKAGE.parent / "pyproject.toml").is_file() and beside.is_dir():
        return beside
    try:
        files = metadata.files(_PACKAGE.name) or []
    except metadata.PackageNotFoundError:
        return None
    found = (Path(str(file.locate())).resolve() for file in files if file.parent.name == "looks")
    return next((path.parent for path in found if path.suffix == ".toml" and path.is_file()), None)


def shipped_looks() -> dict[str, Path]:
    """Files of the looks that came with this program, by title."""
    folder = shipped_folder()
    files = sorted(folder.glob("*.toml")) if folder is not None else []
    return {read_toml(file, LookError, "look")["title"]: file for file in files}


def shipped(text: str) -> Path | None:
    """The folder for ``shipped``, a file for a title, letter case ignored; None for anything else.

    >>> shipped("slack water").name
    'slack_water.toml'
    """
    if Path(text).suffix or "/" in text or Path(text).exists():
        return None
    if text.casefold() == ALL:
        return shipped_folder()
    return {title.casefold(): file for title, file in shipped_looks().items()}.get(text.casefold())
