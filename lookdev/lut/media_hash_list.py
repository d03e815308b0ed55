"""ASC Media Hash List 2.0: the checksums of a package for programs that check media by it.

Schema ``urn:ASC:MHL:v2.0`` (ASCMHL.xsd of the reference implementation): creatorinfo with a date and a host
name, both required; hashes of files by a path, a size and one of MD5, SHA-1, C4 or an xxHash; dates of
hashing and of files optional. A chain file beside it (``urn:ASC:MHL:DIRECTORY:v2.0``) holds the list's own
C4. C4: SMPTE ST 2114, SHA-512 in base 58.

The same package is the same to the byte: the list's date is the scout's, no host is named, both said in its
comment, and nothing bears the hour of hashing. ``manifest.json`` lists this list, and so cannot be in it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from xml.sax.saxutils import escape

from lookdev.files import write_whole
from lookdev.lut.clf import clean
from lookdev.lut.package import HASH_LISTS, MANIFEST, files_below

_DIGITS = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"  # SMPTE ST 2114
_IGNORED = (".DS_Store", HASH_LISTS, f"{HASH_LISTS}/", MANIFEST)
_COMMENT = (
    "The date is the scout's, not the hour of hashing, and no host is named, so that the same package has "
    f"the same bytes. {MANIFEST} lists this list and is not in it."
)


def write_hash_list(folder: Path, name: str, day: str) -> None:
    """Write ``ascmhl``: every other file below ``folder``, but the manifest.

    ``name`` : of the folder as it will be called; ``day`` : the scout's, "2031-03-04".
    """
    from lookdev import __version__

    rows = [
        f'    <hash>\n      <path size="{path.stat().st_size}">{escape(clean(file))}</path>\n'
        f'      <c4 action="original">{c4(path)}</c4>\n    </hash>\n'
        for file, path in files_below(folder)
        if file != MANIFEST and not file.startswith(f"{HASH_LISTS}/")
    ]
    patterns = "".join(f"      <pattern>{pattern}</pattern>\n" for pattern in _IGNORED)
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<hashlist version="2.0" xmlns="urn:ASC:MHL:v2.0">\n'
        f"  <creatorinfo>\n    <creationdate>{day}T00:00:00Z</creationdate>\n"
        "    <hostname>not recorded</hostname>\n"
        f'    <tool version="{__version__}">lookdev</tool>\n'
        f"    <comment>{_COMMENT}</comment>\n  </creatorinfo>\n"
        f"  <processinfo>\n    <process>in-place</process>\n    <ignore>\n{patterns}    </ignore>\n"
        f"  </processinfo>\n  <hashes>\n{''.join(rows)}  </hashes>\n</hashlist>\n"
    )
    listed = folder / HASH_LISTS / f"0001_{name}_{day}_000000Z.mhl"
    write_whole(listed, text)
    write_whole(
        folder / HASH_LISTS / "ascmhl_chain.xml",
        '<?xml version="1.0" encoding="UTF-8"?>\n<ascmhldirectory xmlns="urn:ASC:MHL:DIRECTORY:v2.0">\n'
        f'  <hashlist sequencenr="1">\n    <path>{escape(listed.name)}</path>\n'
        f"    <c4>{c4(listed)}</c4>\n  </hashlist>\n</ascmhldirectory>\n",
    )


def c4(path: Path) -> str:
    """The C4 identifier of a file.

    >>> import os
    >>> c4(Path(os.devnull))[:16]  # of no bytes: SMPTE ST 2114, its example
    'c459dsjfscH38cYe'
    """
    with path.open("rb") as handle:
        digest = hashlib.file_digest(handle, "sha512").digest()
    number, out = int.from_bytes(digest, "big"), ""
    while number:
        number, digit = divmod(number, 58)
        out = _DIGITS[digit] + out
    return "c4" + out.rjust(88, _DIGITS[0])
