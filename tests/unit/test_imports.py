"""Imports point one way, down, and none of them goes round.

Read from the source; those inside functions and for types alone count too.
"""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

import lookdev

HOME = Path(lookdev.__file__).parent

LEVELS = [
    {"errors"},
    {"files", "cores"},
    {"kept_code"},
    {"names", "compilation"},
    {"colorimetry"},
    {"text"},
    {"stills"},
    {"meter"},
    {"outputs", "kept"},
    {"looks"},
    {"survey"},
    {"render"},
    {"lut", "paint"},
    {"pages"},
    {"watch"},
    {"jobs"},
    {"cli"},
]
"""From the bottom up, as DEVELOPERS.md says it. Rooms on one level do not see each other."""

UP: set[tuple[str, str]] = set()
ROUND: list[set[str]] = []
"""Nothing is left to mend: nothing looks up, nothing goes round."""


def modules() -> dict[str, ast.Module]:
    found = {}
    for path in HOME.rglob("*.py"):
        parts = path.relative_to(HOME.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = ast.parse(path.read_text(encoding="utf-8"))
    return found


def imports() -> set[tuple[str, str]]:
    """(who, whom) by the names of modules."""
    trees = modules()

    def module(name: str) -> str:
        while name not in trees:
            name = name.rpartition(".")[0]
        return name

    found = set()
    for who, tree in trees.items():
        for node in ast.walk(tree):
            whom: list[str] = []
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{who}: a relative import"
                if (node.module or "").split(".")[0] == "lookdev":
                    whom = [f"{node.module}.{alias.name}" for alias in node.names]
            elif isinstance(node, ast.Import):
                whom = [alias.name for alias in node.names if alias.name.split(".")[0] == "lookdev"]
            found |= {(who, module(name)) for name in whom if module(name) != who}
    return found


def level(name: str) -> int:
    room = name.split(".")[1] if "." in name else ""
    if room in ("", "__main__"):
        return 0 if room == "" else len(LEVELS)
    return next(i for i, rooms in enumerate(LEVELS) if room in rooms)


def test_every_import_points_down() -> None:
    up: set[tuple[str, str]] = set()
    for who, whom in imports():
        same_room = who.split(".")[1:2] == whom.split(".")[1:2]
        if not same_room and who != "lookdev" and level(whom) >= level(who):
            up.add((who.split(".")[1], whom.split(".")[1]))
    assert up <= UP


def circles() -> list[set[str]]:
    """Sets of modules that reach each other."""
    edges = [(who, whom) for who, whom in imports() if whom != "lookdev"]
    names = sorted({name for edge in edges for name in edge})
    at = {name: i for i, name in enumerate(names)}
    rows, columns = zip(*((at[who], at[whom]) for who, whom in edges), strict=True)
    graph = csr_array((np.ones(len(edges)), (rows, columns)), shape=(len(names), len(names)))
    _, labels = connected_components(graph, connection="strong")
    sets: dict[int, set[str]] = {}
    for name, label in zip(names, labels, strict=True):
        sets.setdefault(int(label), set()).add(name)
    return [found for found in sets.values() if len(found) > 1]


def test_no_import_goes_round() -> None:
    known = [{f"lookdev.{name}" for name in names} for names in ROUND]
    assert [found for found in circles() if not any(found <= names for names in known)] == []


def test_every_room_has_its_level() -> None:
    rooms = {path.name for path in HOME.iterdir() if path.is_dir() and (path / "__init__.py").exists()}
    rooms |= {path.stem for path in HOME.glob("*.py")} - {"__init__", "__main__"}
    assert rooms <= set().union(*LEVELS)


def test_jobs_print_nothing_and_know_no_command_line() -> None:
    trees = modules()
    for name, tree in trees.items():
        if name.startswith("lookdev.jobs"):
            for node in ast.walk(tree):
                called = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id
                assert called not in ("print", "input"), name
            assert not {n for who, n in outside(name, tree) if n in ("typer", "rich", "click")}, name


def outside(name: str, tree: ast.Module) -> set[tuple[str, str]]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {(name, alias.name.split(".")[0]) for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add((name, node.module.split(".")[0]))
    return found
