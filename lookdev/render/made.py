"""Files that are made of many stills (sheets, the pitch, LUTs): journalled as one thing, under one key.

The first file's record says which files there are, and what reports want to know of them; each file has a
record of its own. All of it is up to date if the key is the same and every file is still as it was written.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lookdev.errors import LookdevError
from lookdev.render.journal import Journal, Record, content_key
from lookdev.stills.digest import file_sha256


@dataclass(frozen=True)
class Made:
    """``files`` in order; ``said`` : what reports want to know, as JSON has it."""

    files: list[Path]
    said: Any = None


def recall(journal: Journal, out: Path, first: Path, key: str) -> Made | None:
    """What an earlier run made in ``out`` from the same content, if every file is still as it was written."""
    record = journal.records_for([first]).get(str(first))
    if record is None or record.key != key:
        return None
    names, said = record.facts.get("files"), record.facts.get("said")
    if not isinstance(said, str) or record.facts.get("said_key") != content_key(said):
        return None
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        return None
    files = [out / name for name in names]
    known = journal.records_for(files)
    try:
        whole = all(
            (r := known.get(str(path))) is not None and r.key == key and file_sha256(path) == r.sha256
            for path in files
        )
    except LookdevError:
        return None
    return Made(files, json.loads(said)) if whole else None


def keep(journal: Journal, key: str, files: Sequence[Path], said: Any = None) -> str | None:
    """Note what was made, first the file that it is asked for by; returns what is wrong with the journal."""
    text = json.dumps(said)  # as text, which keeps the order of keys
    facts = {"files": [journal.name(p) for p in files], "said": text, "said_key": content_key(text)}
    try:
        records = [
            Record(journal.name(path), key, file_sha256(path), {} if i else facts)
            for i, path in enumerate(files)
        ]
    except LookdevError as error:
        return str(error)
    return journal.add(reversed(records))  # the one that speaks of all comes last
