"""Compiled loops and their cache: nothing stale or damaged is run, and no fault of it stops a run."""

from __future__ import annotations

import ast
import builtins
import errno
import re
from pathlib import Path

import numpy as np
import pytest

from lookdev import compilation
from lookdev.compilation import Kernel, are_compiled, faults, kernel_sources, mark_complete

PACKAGE = Path(compilation.__file__).parent


def _doubled(x):
    return 2.0 * x


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of its own, and no faults so far."""
    place = tmp_path / "kernels"
    place.mkdir()
    monkeypatch.setattr(compilation, "_folder", lambda: place)
    monkeypatch.setattr(compilation, "_faults", [])
    return place


def doubler() -> Kernel:
    """As in a process that has just started."""
    return Kernel(_doubled)


def kept(folder: Path) -> Path:
    (file,) = folder.glob("*.code")
    return file


def test_a_later_process_loads_what_an_earlier_one_compiled(folder: Path) -> None:
    assert doubler()(1.5) == 3.0
    written = kept(folder).read_bytes()
    again = doubler()
    assert again(2.5) == 5.0
    assert again.dispatcher.stats.cache_hits  # loaded by numba, not compiled: the way without it is not tried
    assert kept(folder).read_bytes() == written
    assert faults() == []


@pytest.mark.parametrize("damage", [b"", b"x", None], ids=["empty", "short", "a byte turned"])
def test_a_damaged_file_is_compiled_anew_and_said(folder: Path, damage: bytes | None) -> None:
    doubler()(1.5)
    good = kept(folder).read_bytes()
    turned = good[:-9] + bytes([good[-9] ^ 1]) + good[-8:]
    kept(folder).write_bytes(turned if damage is None else damage)
    assert doubler()(1.5) == 3.0
    (line,) = faults()
    assert "cannot be read" in line
    assert "damaged" in line
    assert str(folder) in line
    assert doubler()(1.5) == 3.0  # and the next one finds it whole again
    assert len(faults()) == 1


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES])
def test_a_full_or_read_only_disk_is_no_obstacle(
    folder: Path, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise OSError(number, "no")

    monkeypatch.setattr(compilation, "_write", refuse)
    assert doubler()(1.5) == 3.0
    assert not list(folder.iterdir())
    assert len(faults()) == 1
    assert "cannot be written" in faults()[0]


def test_a_full_disk_leaves_no_part_of_a_file(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, target: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    assert doubler()(1.5) == 3.0
    assert not list(folder.iterdir())
    assert "No space left" in faults()[0]


def test_no_place_at_all_is_said_and_no_obstacle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setattr(compilation, "_faults", [])
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "file"))
    monkeypatch.setattr(compilation, "_folder", compilation._folder.__wrapped__)
    assert doubler()(1.5) == 3.0
    assert not are_compiled()
    assert "cannot be made" in faults()[0]


def test_an_edit_of_any_kernels_source_is_another_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sources = [tmp_path / "caller.py", tmp_path / "callee.py"]
    for source in sources:
        source.write_text("x = 1\n")
    monkeypatch.setattr(compilation, "_HERE", tmp_path)
    monkeypatch.setattr(compilation, "kernel_sources", lambda: sources)
    before = compilation._digest.__wrapped__()
    assert compilation._digest.__wrapped__() == before
    sources[1].write_text("x = 2\n")
    assert compilation._digest.__wrapped__() != before


def test_so_is_another_version_of_the_compiler(monkeypatch: pytest.MonkeyPatch) -> None:
    before = compilation._digest.__wrapped__()
    monkeypatch.setattr(compilation, "host", lambda: ("another",))
    assert compilation._digest.__wrapped__() != before


def test_an_existing_file_is_not_taken_for_a_valid_one(folder: Path) -> None:
    assert not are_compiled()
    doubler()(1.5)
    assert not are_compiled()  # until a whole warm-up has been there
    mark_complete()
    assert are_compiled()
    file = kept(folder)
    good = file.read_bytes()
    for bad in (b"", good[:-1], good + b"x"):
        file.write_bytes(bad)
        assert not are_compiled()
    file.unlink()
    assert not are_compiled()
    file.write_bytes(good)
    (folder / "complete").write_bytes(b"")
    assert not are_compiled()


def test_earlier_folders_are_cleared_away_but_for_a_few(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "lookdev-kernels"
    for i in range(9):
        (place / f"old{i}").mkdir(parents=True)
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    made = compilation._folder.__wrapped__()
    assert made is not None
    assert made.is_dir()
    assert 1 < len(list(place.iterdir())) < 6


# --- what a kernel may refer to: the digest sees no other file


def _names(tree: ast.AST) -> set[str]:
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}


MARK = re.compile(r"^@(compiled|inlined)$", re.MULTILINE)


@pytest.mark.parametrize(
    "path",
    [path for path in kernel_sources() if MARK.search(path.read_text())],
    ids=lambda path: str(path.relative_to(PACKAGE)),
)
def test_a_kernel_refers_to_its_own_file_and_to_other_kernels_alone(path: Path) -> None:
    tree = ast.parse(path.read_text())
    sources = {source.relative_to(PACKAGE.parent).with_suffix("").as_posix() for source in kernel_sources()}
    allowed = set(dir(builtins)) | {"np"}
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").replace(".", "/") in sources:
            allowed |= {name.asname or name.name for name in node.names}
        if isinstance(node, ast.Assign):
            allowed |= {name for target in node.targets for name in _names(target)}
            outside = {
                name.name
                for other in tree.body
                if isinstance(other, ast.ImportFrom) and (other.module or "").replace(".", "/") not in sources
                for name in other.names
            }
            if _names(node.value) & outside - {"Annotated"}:
                allowed -= {name for target in node.targets for name in _names(target)}
        if isinstance(node, ast.FunctionDef):
            allowed.add(node.name)
    found = 0
    for node in tree.body:
        marked = isinstance(node, ast.FunctionDef) and any(
            isinstance(mark, ast.Name) and mark.id in ("compiled", "inlined") for mark in node.decorator_list
        )
        if marked:
            found += 1
            own = {argument.arg for argument in node.args.args} | {
                name.id
                for name in ast.walk(node)
                if isinstance(name, ast.Name) and isinstance(name.ctx, ast.Store)
            }
            body = set().union(*(_names(part) for part in node.body))
            assert body - own - allowed == set(), f"{path.name}, {node.name}"
    assert found or path.name in ("compilation.py", "kept_code.py")


def test_every_file_that_holds_a_kernel_is_in_the_digest() -> None:
    found = {path for path in PACKAGE.rglob("*.py") if MARK.search(path.read_text())}
    assert found <= set(kernel_sources())
    assert all(path.is_file() for path in kernel_sources())


def test_every_kernel_of_the_package_is_seen() -> None:
    import lookdev.render.lattice  # noqa: F401

    modules = {kernel.__module__.replace(".", "/") for kernel in compilation._kernels}
    seen = {source.relative_to(PACKAGE.parent).with_suffix("").as_posix() for source in kernel_sources()}
    assert {module for module in modules if module.startswith("lookdev")} <= seen


def test_a_kernel_takes_arrays_in_place() -> None:
    from lookdev.looks.steps import clip

    x = np.array([-1.0, 0.5, 2.0])
    clip(x)
    assert x.tolist() == [0.0, 0.5, 1.0]
