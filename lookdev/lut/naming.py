"""Names of LUTs: ASCII, under 60 characters, as narrow lists and old readers want them.

The whole names of the encodings, of the place and of its readings stand in a LUT's own header.
"""

from __future__ import annotations

from itertools import count

from lookdev.colorimetry.encodings import Encoding, is_standard
from lookdev.colorimetry.log_encodings import pairs
from lookdev.files import plain_ascii, safe_name
from lookdev.names import Names

LONGEST = 59
_LONGEST_TAIL = 42  # leaves 17 for the look and the place
_LONG_WORDS = 13  # a log curve's or a gamut's name of several words: from there on by its initials


def encoding_tag(encoding: Encoding) -> str:
    """An encoding in a file's name: as it is called, long names of several words by their initials.

    >>> from lookdev.colorimetry.encodings import get_encoding
    >>> encoding_tag(get_encoding("ARRI LogC4")), encoding_tag(get_encoding("BT.709 narrow"))
    ('ARRI_LogC4_AWG4', 'BT.709_narrow')
    """
    name = encoding.name.removesuffix(" narrow")
    whole = (name,) if is_standard(name) else pairs().get(name, (name,))
    parts = [_short(part) for part in whole]
    return safe_name(plain_ascii(" ".join([*parts, *(["narrow"] if name != encoding.name else [])])))


def _short(name: str) -> str:
    words = name.split()
    if len(words) < 2 or len(name) < _LONG_WORDS:
        return name
    return "".join(word if word.isdigit() else word[0] for word in words)


def cube_tail(source: Encoding, target: Encoding, size: int) -> str:
    """What stands behind the look and the location in a .cube file's name."""
    end = f"_to_{encoding_tag(target)}.{size}.cube"
    return f".{encoding_tag(source)[: _LONGEST_TAIL - 1 - len(end)]}{end}"


def lut_file(names: Names, slug: str, label: str, tail: str) -> str:
    """A free name for a LUT of a look at a place: ``slug@label`` and ``tail``, each cut where it must be.

    >>> lut_file(Names(), "slack_water", "Pier_shed_4300K", ".ACEScct_to_BT.709.65.cube")
    'slack_water@Pier_shed_4300K.ACEScct_to_BT.709.65.cube'
    >>> lut_file(Names(), "slack_water", "Harbour_office_Velmsund_4300K", ".ACEScct_to_BT.709.65.cube")
    'slack_water@Harbour_office_4300K.ACEScct_to_BT.709.65.cube'
    """
    slug, label = (safe_name(plain_ascii(text)) if text else "" for text in (slug, label))
    room = LONGEST - len(tail)
    stem = f"{slug}@{label}" if label else slug
    if not label or (len(stem) <= room and names.is_free(stem + tail)):
        return names.file(stem, tail, LONGEST)
    where, _, balance = label.rpartition("_")
    slug = slug[: max(room // 3, room - 1 - len(label))]
    for number in count(1):  # before the balance, which must stay whole
        mark = f"{number if number > 1 else ''}_{balance}"
        stem = f"{slug}@{where[: max(room - len(slug) - len(mark) - 1, 1)].rstrip('_.')}{mark}"
        if names.is_free(stem + tail):
            break
    return names.file(stem, tail, LONGEST)
