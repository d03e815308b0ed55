"""What a person types for stills: names, numbers, ranges, globs, folders; and which stills that means."""

from __future__ import annotations

import re
import unicodedata
from fnmatch import fnmatchcase

from lookdev.meter.reading import Reading
from lookdev.names import PART_MARK, split_name
from lookdev.stills.part import seconds_of

PATH, FILE, STEM, NUMBER, GLOB, FOLDER = 6, 5, 4, 3, 2, 1
"""How closely a pattern names a still, the closest first; 0: it does not."""

LONGEST_RANGE = 2000

_RANGE = re.compile(
    r"(?P<folder>.*/)?(?P<prefix>[^\d/*?\[]*)(?P<first>\d{1,9})"
    r"(?:\s*(?:-|\.\.|\bto\b|\bbis\b)\s*(?P<again>[^\d/*?\[]*)(?P<last>\d{1,9}))?(?P<suffix>\.[a-z0-9]{2,5})?",
    re.IGNORECASE,
)


def folded(name: str) -> str:
    """A name for comparing: composed letters, forward slashes, lower case."""
    return unicodedata.normalize("NFC", name.replace("\\", "/")).casefold()


def numbered(pattern: str) -> tuple[str, str, int, int] | None:
    """(folder, prefix, first, last) of a number or a range; a short end takes the digits before it.

    >>> numbered("IMG_2041-44"), numbered("2041-2044"), numbered("2041"), numbered("loft")
    (('', 'img_', 2041, 2044), ('', '', 2041, 2044), ('', '', 2041, 2041), None)
    """
    found = _RANGE.fullmatch(folded(pattern).strip().lstrip("#"))
    if found is None:
        return None
    first, last = found["first"], found["last"] or found["first"]
    if len(last) < len(first):
        last = first[: len(first) - len(last)] + last
    low, high = int(first), int(last)
    if found["last"] is None and found["suffix"]:
        return None  # a file's whole name
    if (found["again"] or found["prefix"]) != found["prefix"] or not 0 <= high - low <= LONGEST_RANGE:
        return None
    return found["folder"] or "", found["prefix"].strip(), low, high


def _has_number(full: str, pattern: str) -> bool:
    wanted = numbered(pattern)
    if wanted is None:
        return False
    folder, prefix, low, high = wanted
    here, _, base = full.rpartition("/")
    if folder and not _in_folder(here + "/" + base, folder.rstrip("/")):
        return False
    stem = base.rsplit(".", 1)[0]
    for digits in re.finditer(r"\d+", stem):
        if not low <= int(digits.group()) <= high:
            continue
        before = stem[: digits.start()]
        if prefix:
            if before.strip("_- ").endswith(prefix.strip("_- ")):
                return True
        elif len(digits.group()) >= 3 or stem.strip("_- ") == digits.group():
            return True
    return False


def _in_folder(full: str, wanted: str) -> bool:
    folders = full.split("/")[:-1]
    parts = wanted.split("/")
    return any(folders[i : i + len(parts)] == parts for i in range(len(folders) - len(parts) + 1))


def match_rank(still_name: str, pattern: str) -> int:
    """How closely ``pattern`` names a still: ``PATH`` down to ``FOLDER``, or 0.

    >>> match_rank("day1/loft_01.jpg", "LOFT_01") == STEM, match_rank("day1/loft_01.jpg", "loft_*") == GLOB
    (True, True)
    >>> match_rank("DAY1/CARD_A/IMG_2042.JPG", "IMG_2041-44") == NUMBER
    True
    >>> match_rank("DAY1/CARD_A/IMG_2042.JPG", "day1/card_a") == FOLDER
    True
    >>> match_rank("pano.jpg@Out", "out") == FILE, match_rank("pano.jpg@Out", "pano.jpg") == STEM
    (True, True)
    """
    file, part = split_name(still_name)
    if part:
        return _part_rank(file, part, pattern)
    full, wanted = folded(still_name), folded(pattern)
    base = full.rsplit("/", 1)[-1]
    if full == wanted:
        return PATH
    if base == wanted:
        return FILE
    if wanted in (base.rsplit(".", 1)[0], full.rsplit(".", 1)[0]):
        return STEM
    if _has_number(full, wanted):
        return NUMBER
    if wanted.endswith("/*") and _in_folder(full, wanted[:-2]):
        return FOLDER
    if fnmatchcase(full, wanted) or fnmatchcase(base, wanted):
        return GLOB
    return FOLDER if _in_folder(full, wanted) else 0


def _part_rank(file: str, part: str, pattern: str) -> int:
    """As :func:`match_rank`, for a part of a file: by its own name first, else as its file, less closely."""
    typed_file, _, typed_part = pattern.rpartition(PART_MARK)
    if typed_file and _same_part(typed_part, part):
        return match_rank(file, typed_file)
    if folded(pattern).strip() == folded(part):
        return FILE
    return min(STEM, match_rank(file, pattern))


def _same_part(typed: str, part: str) -> bool:
    at_s = seconds_of(typed)
    return folded(typed).strip() == folded(part) or (at_s is not None and at_s == seconds_of(part))


def names_part(still_name: str, pattern: str) -> bool:
    """Whether a pattern means a view or a moment itself, not all of its file.

    >>> names_part("pano.jpg@Out", "out"), names_part("pano.jpg@Out", "pano*")
    (True, False)
    """
    file, part = split_name(still_name)
    return bool(part) and match_rank(still_name, pattern) > 0 and match_rank(file, pattern) == 0


def lead(reading: Reading) -> tuple[int, int]:
    """What goes first among equals: the key before a fill, a reading with colour before one without."""
    return int(reading.role is None or reading.role == "key"), int(reading.has_colour)
