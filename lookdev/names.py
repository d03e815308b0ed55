"""Names for the files that a job writes: safe on any system, and none of them twice."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import chain, count

from lookdev.files import clip_utf8, safe_name

LONGEST_BYTES = 255
"""Of a file's name, on the file systems in common use."""


class Names:
    """Hands out the names of the files of one folder, none of them twice.

    Two names count as the same if a file system that ignores letter case, or how an accent is composed, would
    take them for one.

    Parameters
    ----------
    taken : names that are given away already.
    paged : the files may have further pages (``NAME_2.png``), which must not be another file's either.

    Examples
    --------
    >>> names = Names()
    >>> [names.unique(text) for text in ("Hall A/B", "Hall A B", "hall a b")]
    ['Hall_A_B', 'Hall_A_B_2', 'hall_a_b_3']
    """

    def __init__(self, taken: Iterable[str] = (), *, paged: bool = False) -> None:
        self._paged = paged
        self._taken = {_key(name) for name in taken}

    def unique(self, text: str) -> str:
        """A free name for ``text``: with a number behind it where it is another's already."""
        base = safe_name(text)
        mark = "-" if self._paged else "_"
        first = (base, re.sub(r"_(\d+)$", r"-\1", base)) if self._paged else (base,)
        names = chain(first, (f"{base}{mark}{number}" for number in count(2)))
        name = next(name for name in names if self.is_free(name))
        self._taken.add(_key(name))
        return name

    def file(self, stem: str, tail: str, longest: int = LONGEST_BYTES) -> str:
        """A free name for a file: ``stem`` as it is, cut where the whole would be longer than ``longest``
        bytes, and ``tail``."""
        room = longest - len(tail.encode())
        whole = (stem + tail,) if len(stem.encode()) <= room else ()
        cut = (f"{clip_utf8(stem, room - len(str(n)) - 1)}_{n}{tail}" for n in count(2))
        name = next(name for name in chain(whole, cut) if self.is_free(name))
        self._taken.add(_key(name))
        return name

    def is_free(self, name: str) -> bool:
        """Whether nobody has the name yet."""
        key = _key(name)
        if key in self._taken:
            return False
        return not self._paged or not any(_is_page(key, other) for other in self._taken)


PART_MARK = "@"
"""Between a file and what of it a still is: ``pano.jpg@To the ramp``, ``clip.mov@00:07``."""


def split_name(name: str) -> tuple[str, str]:
    """The file's path in the scout, and what the still is of it; empty for a file's own still.

    >>> split_name("DAY1/pano.jpg@To the ramp"), split_name("me@home/a.jpg")
    (('DAY1/pano.jpg', 'To the ramp'), ('me@home/a.jpg', ''))
    """
    folder, slash, base = name.rpartition("/")
    file, _, part = base.partition(PART_MARK)
    if not part or "." not in file:
        return name, ""
    return folder + slash + file, part


def still_stems(stills: Sequence[str]) -> dict[str, str]:
    """Stems of the files made of stills, by the stills' paths in the scout.

    The path without its suffix, with it where that is another still's too.

    >>> still_stems(["loft_01.jpg", "loft_01.dng", "b/dock.jpg"])
    {'loft_01.jpg': 'loft_01_jpg', 'loft_01.dng': 'loft_01_dng', 'b/dock.jpg': 'b_dock'}
    >>> still_stems(["pano.jpg", "pano.jpg@To the ramp"])
    {'pano.jpg': 'pano', 'pano.jpg@To the ramp': 'pano_To_the_ramp'}
    """
    stems = [_still_stem(name) for name in stills]
    keys = [_key(stem) for stem in stems]
    shared = {key for key in keys if keys.count(key) > 1} if len(set(keys)) < len(keys) else set()
    names = Names()
    return {
        still: names.unique(still.replace(".", "_") if key in shared else stem)
        for still, stem, key in zip(stills, stems, keys, strict=True)
    }


def _still_stem(name: str) -> str:
    file, part = split_name(name)
    return safe_name(f"{file.rsplit('.', 1)[0]} {part}".strip())


def look_names(titles: Iterable[str]) -> list[str]:
    """A name for each look, from its title, in lower case.

    >>> look_names(["Slack water", "Slack Water", "Wet wool"])
    ['slack_water', 'slack_water_2', 'wet_wool']
    """
    names = Names()
    return [names.unique(safe_name(title).lower()) for title in titles]


def location_names(locations: Iterable[str], taken: Iterable[str] = ()) -> dict[str, str]:
    """One name for each location, for its folder, its pages and its LUTs alike.

    None is another's with a number behind it, which is what further pages get, and none is the overview's
    or one of ``taken``.

    >>> location_names(["Hall A/B", "Hall A B", "Hall", "Hall_2"])
    {'Hall A/B': 'Hall_A_B', 'Hall A B': 'Hall_A_B-2', 'Hall': 'Hall', 'Hall_2': 'Hall-2'}
    """
    names = Names(["overview", *taken], paged=True)
    return {location: names.unique(location) for location in dict.fromkeys(locations)}


def place_names(places: Sequence[tuple[str, str]], locations: Iterable[str]) -> list[str]:
    """A name for each place, given as (name, location): its location's, and what comes behind it.

    >>> place_names([("Hall A/B", "Hall A/B"), ("Hall A B, window", "Hall A B")], ["Hall A/B", "Hall A B"])
    ['Hall_A_B', 'Hall_A_B-2_window']
    """
    labels = location_names(locations)
    names = Names()
    return [names.unique(labels[at] + name.removeprefix(at)) for name, at in places]


def _key(name: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def _is_page(one: str, other: str) -> bool:
    """Whether one name is the other's with the number of a page."""
    short, long = sorted((one, other), key=len)
    return bool(re.fullmatch(r"_\d+", long.removeprefix(short))) if long.startswith(short) else False
