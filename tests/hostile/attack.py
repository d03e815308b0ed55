"""Attacks as data: what lies in the folder, what is typed, how it must end; and the one way to try them."""

from __future__ import annotations

import hashlib
import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from hostile.guard import no_hang
from PIL import Image

from lookdev.cli.main import main

LOG = "stills,location,cct_k,camera_balance_k\na.png,Loft,3200,5600\nb.png,Quay,4300,5600\n"
LOOK = 'title = "Low tide"\n\n[colour]\nsaturation = 0.7\n'
OTHER = 'title = "Wet"\n\n[curve]\ncontrast = 1.2\n'


@dataclass(frozen=True)
class Attack:
    """One attack.

    Attributes
    ----------
    name : says what is tried.
    words : the command line, in the folder that holds ``scout``, ``low.toml`` and ``wet.toml``.
    ends : exit statuses that are right.
    says : words that must be printed; ``never`` : that must not.
    files : written before, by their path; None takes a file away.
    setup : more to be done before, given the folder.
    """

    name: str
    words: str
    ends: tuple[int, ...] = (0,)
    says: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    files: Mapping[str, str | bytes | None] = field(default_factory=dict)
    setup: Callable[[Path], object] | None = None


def named(attacks: list[Attack]) -> pytest.MarkDecorator:
    """The parameter ``attack``."""
    names = [attack.name for attack in attacks]
    assert len(set(names)) == len(names), "two attacks of one name"
    return pytest.mark.parametrize("attack", attacks, ids=names)


def make_home(home: Path) -> Path:
    """A scout of two small stills in two places, and two looks."""
    scout = home / "scout"
    scout.mkdir(parents=True)
    rng = np.random.default_rng(3)
    for name in ("a.png", "b.png"):
        coarse = rng.integers(0, 255, (4, 6, 3), dtype=np.uint8)
        Image.fromarray(np.repeat(np.repeat(coarse, 8, 0), 8, 1)).save(scout / name)
    (scout / "meter.csv").write_text(LOG)
    (home / "low.toml").write_text(LOOK)
    (home / "wet.toml").write_text(OTHER)
    return home


def contents(folder: Path) -> dict[str, str]:
    """Every file below, by its path, with a digest of what it holds."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def run(*words: object) -> int:
    """The exit status of a command line."""
    with no_hang(), pytest.raises(SystemExit) as stop:
        main([str(word) for word in words])
    return int(stop.value.code or 0)


def lay(attack: Attack, home: Path) -> None:
    """What the attack needs, in ``home``."""
    for name, data in attack.files.items():
        path = home / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if data is None:
            path.unlink()
        else:
            path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass"))
    if attack.setup is not None:
        attack.setup(home)


def survives(
    attack: Attack, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> str:
    """Try it: right status, no traceback, nothing of the person's touched, nothing written at status 2.

    Returns what was printed.
    """
    home = make_home(tmp_path / "home")
    lay(attack, home)
    monkeypatch.chdir(home)
    before = contents(home)
    capsys.readouterr()
    status = run(*shlex.split(attack.words))
    printed = capsys.readouterr()
    said = printed.out + printed.err
    after = contents(home)
    assert status in attack.ends, (status, said)
    assert "Traceback" not in said and "a fault in lookdev" not in said, said
    assert all(after.get(name) == digest for name, digest in before.items()), "a file of the person's changed"
    if status == 2:
        assert after == before, set(after) - set(before)
        assert printed.err.strip(), "refused without a word"
    for words in attack.says:
        assert words in said, (words, said)
    for words in attack.never:
        assert words not in said, (words, said)
    return said
