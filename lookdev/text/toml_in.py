"""TOML as people type it: one reader for every file, guarded, and its slips answered in plain words.

TOML 1.0.0 is read by the standard library; what is kept from it is what would end the process: tomllib takes
memory with the square of the parts of a key (24 kB of ``a.a.a...`` take 600 MB).
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from lookdev.errors import LookdevError
from lookdev.files import read_ordinary
from lookdev.text.toml_slips import in_words

MAX_BYTES = 200_000
MAX_KEY_PARTS = 16
MAX_DEPTH = 64

_LONG_KEY = re.compile(
    r"""(?<![\w\- \t"'])(?:[ \t]*+(?:[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')[ \t]*+\.){"""
    rf"{MAX_KEY_PARTS}}}"
)


def read_toml(
    path: Path, error: type[LookdevError], what: str = "TOML file", shown_as: str | Path | None = None
) -> dict[str, Any]:
    """The tables of a TOML file.

    Parameters
    ----------
    path : the file; a byte-order mark and any line ends are no mistake.
    error : the kind of error to raise.
    what : what the file should be, for the error on its size.
    shown_as : how errors name the file; its path unless given.

    Raises
    ------
    LookdevError : of the kind ``error``: it cannot be read, is over 200 kB, no UTF-8, or no TOML; then with
        the line, what stands there and what is wanted.
    """
    name = path if shown_as is None else shown_as
    try:
        if path.stat().st_size > MAX_BYTES:
            raise error(f"too large to be a {what}", file=name, wanted=f"at most {MAX_BYTES} bytes")
        text = read_ordinary(path).decode("utf-8-sig")
    except OSError as fault:
        raise error(f"cannot be read: {fault.strerror or fault}", file=name) from None
    except UnicodeDecodeError as fault:
        raise error(f"is not UTF-8 text (byte {fault.start})", file=name, wanted="a TOML file") from None
    return parse_toml(text, error, name)


def parse_toml(text: str, error: type[LookdevError], name: str | Path | None = None) -> dict[str, Any]:
    """The tables of TOML text; errors as of :func:`read_toml`.

    >>> parse_toml("[curve]\\ncontrast = 1.2", LookdevError)
    {'curve': {'contrast': 1.2}}
    >>> parse_toml("keep = .25", LookdevError)
    Traceback (most recent call last):
    lookdev.errors.LookdevError: line 1: a number begins with a point; found '.25'; wanted keep = 0.25
    """
    if _LONG_KEY.search(text):
        raise error("a key has too many parts", file=name, wanted="keys such as colour.families.YR.chroma")
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise error("is not TOML: nested too deeply", file=name) from None
    except ValueError as fault:  # tomllib.TOMLDecodeError, and integers of over 4300 digits
        raise in_words(text, str(fault), error, name) from None
    if _depth(data) > MAX_DEPTH:
        raise error("is not TOML that means anything: nested too deeply", file=name)
    return data


def _depth(value: object) -> int:
    depth, level = 0, [value]
    while level and depth <= MAX_DEPTH:
        below: list[object] = []
        for each in level:
            if isinstance(each, dict):
                below += each.values()
            elif isinstance(each, list):
                below += each
        level, depth = below, depth + 1
    return depth
