"""One road for what people type and read: nobody reads TOML, writes CSV or words mistakes elsewhere."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "lookdev"
SOURCES = {path.relative_to(ROOT).as_posix(): path.read_text("utf-8") for path in ROOT.rglob("*.py")}

CALLS = {
    "csv.writer": {"text/csv_out.py"},
    "csv.DictWriter": set(),
    "tomllib.loads": {"text/toml_in.py", "text/toml_slips.py"},
    "tomllib.load": set(),
    "tomlkit.parse": {"looks/keys.py"},  # a file that keeps its comments and order, after toml_in read it
    "tomlkit.loads": set(),
}


def _calls(source: str) -> set[str]:
    return {ast.unparse(node.func) for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)}


@pytest.mark.parametrize("call", CALLS)
def test_who_calls_the_library_is_the_room_for_it(call: str) -> None:
    assert {name for name, source in SOURCES.items() if call in _calls(source)} == CALLS[call]


def test_every_validation_error_goes_through_the_one_translator() -> None:
    catches = {
        name
        for name, source in SOURCES.items()
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ExceptHandler) and node.type and "ValidationError" in ast.unparse(node.type)
    }
    assert catches
    for name in catches:
        assert "from lookdev.text.validation import first_error" in SOURCES[name], name
