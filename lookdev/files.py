"""Whole-file writes: a file appears complete under its name, or not at all."""

from __future__ import annotations

import errno
import json
import os
import re
import stat
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lookdev.errors import LookdevError, RequestError


def read_ordinary(path: Path) -> bytes:
    """Bytes of a file; a device or a pipe, which may never end, is refused.

    Raises
    ------
    OSError : it cannot be opened, is a folder, or is no ordinary file.
    """
    mode = path.stat().st_mode
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
        raise OSError(errno.EINVAL, "Not an ordinary file")
    return path.read_bytes()


_WRITTEN: list[Path] = []
_ENOUGH = 1000


def begin_count() -> None:
    """Forget what was written up to now."""
    _WRITTEN.clear()


def count_written(path: Path) -> None:
    """Remember that ``path`` came about in this run."""
    if len(_WRITTEN) < _ENOUGH:
        _WRITTEN.append(path.absolute())


def anything_written() -> bool:
    """Whether a file was written since :func:`begin_count` that is still there: then no exit status 2."""
    return any(path.exists() for path in _WRITTEN)


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Yield a temporary path beside ``path``; flush and rename it on success, remove it on failure.

    Raises
    ------
    LookdevError : the folder cannot be made or written, or the disk is full.
    """
    path = Path(path)
    part = path.with_name(f".{clip_utf8(path.name, 200)}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield part
        with part.open("rb+") as handle:
            os.fsync(handle.fileno())
        part.replace(path)
        count_written(path)
    except OSError as error:
        raise LookdevError(f"cannot be written: {error.strerror or error}", file=path) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def write_whole(path: Path, data: bytes | str) -> None:
    """Write ``data`` so that ``path`` appears whole or not at all; text as UTF-8, stray bytes escaped."""
    raw = data.encode("utf-8", "backslashreplace") if isinstance(data, str) else data
    with whole_file(path) as part:
        part.write_bytes(raw)


def write_json(path: Path, value: object) -> None:
    """Write JSON, two-space indent, UTF-8, keys in the order given, refusing NaN and infinity."""
    write_whole(path, json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n")


_PLAIN = str.maketrans("−–—·’ŁłØøĐđ", "----'LlOoDd") | str.maketrans(
    {"ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "≤": "<=", "±": "+-", "²": "2", "×": "x", "°": " deg"}
)


def plain_ascii(text: str) -> str:
    """``text`` in ASCII on one line: accents dropped, other letters as escapes, for readers of every age.

    >>> plain_ascii("Łódź · Øst  café")
    'Lodz - Ost cafe'
    """
    if text.isascii():
        return " ".join(text.split())
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    plain = plain.translate(_PLAIN)
    return " ".join(plain.encode("ascii", "backslashreplace").decode("ascii").split())


_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}


def safe_name(text: str) -> str:
    """A name fit for a file on any system; letters of every script stay, the rest becomes ``_``.

    Vowel signs and accents (Unicode categories Mn and Mc) count as part of their letters. A name that Windows
    keeps for a device, such as ``CON``, gets a ``_`` after it.

    Raises
    ------
    RequestError : the locale spells no file names with these letters (``LC_ALL=C`` without UTF-8).

    >>> safe_name("Łódź · Øst 東 café")
    'Łódź_Øst_東_café'
    """
    normal = unicodedata.normalize("NFC", text)
    kept = "".join(
        c if c.isalnum() or c in "-." or unicodedata.category(c) in ("Mn", "Mc") else "_" for c in normal
    )
    name = clip_utf8(re.sub(r"_+", "_", kept).strip("_.") or "unnamed", 120).rstrip("_.")
    check_spelling(name)
    stem, dot, rest = name.partition(".")
    return f"{stem}_{dot}{rest}" if stem.casefold() in _DEVICES else name


def check_spelling(name: str) -> None:
    """Refuse a file name that the locale cannot spell.

    Raises
    ------
    RequestError : says which name, and what to set.
    """
    try:
        os.fsencode(name)
    except UnicodeEncodeError:
        raise spelling_error(name) from None


def spelling_error(name: str) -> RequestError:
    """That no file can have this name in this locale, and what to set."""
    return RequestError(
        f"file names are {sys.getfilesystemencoding().upper()} in this locale and cannot hold these letters",
        found=name,
        wanted="a UTF-8 locale (LC_ALL=C.UTF-8), or PYTHONUTF8=1",
    )


def clip_utf8(text: str, limit_bytes: int) -> str:
    """``text`` cut to so many bytes of UTF-8, between letters."""
    raw = text.encode("utf-8", "surrogateescape")
    if len(raw) <= limit_bytes:
        return text
    return raw[:limit_bytes].decode("utf-8", "ignore")
