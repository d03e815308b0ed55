"""Code of an earlier run, called without the compiler: the same results, and never with other arguments."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lookdev import compilation
from lookdev.compilation import Kernel, faults
from lookdev.kept_code import UnloadableError, kinds, kinds_in_words, linked


def _scaled(x, factor):
    total = 0
    for i in range(x.size):
        x[i] = x[i] * factor
        total += 1
    return total


def scaler() -> Kernel:
    """As in a process that has just started."""
    return Kernel(_scaled)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of its own that was tried and found good."""
    place = tmp_path / "kernels"
    place.mkdir()
    (place / "tried").touch()
    monkeypatch.setattr(compilation, "_folder", lambda: place)
    monkeypatch.setattr(compilation, "_faults", [])
    return place


def kept(folder: Path) -> Path:
    (file,) = folder.glob("*.object")
    return file


def test_a_later_process_needs_no_compiler(folder: Path) -> None:
    first, again = np.arange(4.0), np.arange(4.0)
    assert scaler()(first, 1.5) == 4
    later = scaler()
    assert later(again, 1.5) == 4
    assert later._dispatcher is None
    assert again.tolist() == first.tolist() == [0.0, 1.5, 3.0, 4.5]
    with pytest.raises(TypeError):
        later(again)


def test_other_arguments_have_other_code(folder: Path) -> None:
    values = np.arange(4.0)
    scaler()(values.copy(), 2.0)
    later = scaler()
    later(values.copy(), 2.0)
    for other in (
        values.astype(np.float32), values.astype(np.int64), np.arange(8.0)[::2], values.astype(">f8").copy(),
    ):  # fmt: skip
        if not other.dtype.isnative:
            with pytest.raises(Exception, match=r"(?i)unsupported array dtype|typing"):
                later(other, 2.0)
            continue
        expected = (other * 2.0).astype(other.dtype)
        later(other, 2.0)
        assert other.tolist() == expected.tolist()
    with pytest.raises(Exception, match=r"(?i)readonly|immutable|cannot modify"):
        fixed = values.copy()
        fixed.flags.writeable = False
        later(fixed, 2.0)


def test_kinds_are_told_apart_as_the_compiler_does() -> None:
    from numba import typeof

    a = np.zeros((3, 4))
    fixed = a.copy()
    fixed.flags.writeable = False
    many = [a, a.T, a[:, ::2], a[0], a[:1], fixed, a.astype(np.float32), a.astype(np.uint8), 1, 1.0, True]
    many += [np.float32(1), np.uint32(1), np.zeros((3, 4, 2)), a.astype(np.uint32), a.astype(np.int32)]
    for one in many:
        for other in many:
            same = typeof(one) == typeof(other)
            assert (kinds_in_words((one,)) == kinds_in_words((other,))) == same
            if not same:
                assert kinds((one,)) != kinds((other,))
    for plain, own in ((1.0, np.float64(1)), (1, np.int64(1)), (True, np.bool_(True))):
        assert kinds_in_words((plain,)) == kinds_in_words((own,))  # numba compiles once for both
    assert kinds_in_words((a.astype(">f8"),)) is None
    assert kinds_in_words(("text",)) is None
    assert kinds_in_words((a.view(np.matrix),)) is None


def test_what_was_not_tried_is_loaded_by_numba(folder: Path) -> None:
    scaler()(np.arange(4.0), 1.5)
    (folder / "tried").unlink()
    later = scaler()
    later(np.arange(4.0), 1.5)
    assert later._dispatcher is not None
    assert later._dispatcher.stats.cache_hits


@pytest.mark.parametrize("damage", [b"", b"x", None], ids=["empty", "short", "a byte turned"])
def test_damaged_code_is_never_run(folder: Path, damage: bytes | None) -> None:
    scaler()(np.arange(4.0), 1.5)
    good = kept(folder).read_bytes()
    turned = good[:-9] + bytes([good[-9] ^ 1]) + good[-8:]
    kept(folder).write_bytes(turned if damage is None else damage)
    values = np.arange(4.0)
    scaler()(values, 1.5)
    assert values.tolist() == [0.0, 1.5, 3.0, 4.5]
    (line,) = faults()
    assert "damaged" in line
    later = scaler()  # and the next run finds it whole
    later(values, 1.0)
    assert later._dispatcher is None


def test_code_that_asks_for_what_is_not_there_is_not_linked() -> None:
    with pytest.raises(UnloadableError, match="no_such_function"):
        linked("f", b'{"call": "f", "env": "e", "needs": ["no_such_function"]}\n')
    with pytest.raises(UnloadableError):
        linked("f", b"not json")


def test_a_trial_that_ends_badly_leaves_the_way_closed(folder: Path) -> None:
    compilation.try_alone("import os; os.abort()")
    assert not (folder / "tried").exists()
    compilation.try_alone("import lookdev")
    assert (folder / "tried").exists()


def test_the_compiler_still_works_where_kept_code_was_called_first() -> None:
    script = (
        "import sys, numpy as np\n"
        "from lookdev.render.lattice import try_kept\n"
        "assert try_kept() == 0\n"
        "alone = 'numba' not in sys.modules\n"
        "from lookdev.compilation import load_numba\n"
        "f = load_numba().njit(lambda n: np.ones(n).sum())\n"
        "assert f(3) == 3.0\n"
        "print(alone)\n"
    )
    from lookdev.render.lattice import warm_up

    warm_up()
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True"
