"""Every error that a person reads says what to do next."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import daq
from daq import errors

SOURCES = sorted(Path(daq.__file__).parent.rglob("*.py"))
NAMES = {name for name, each in vars(errors).items() if isinstance(each, type) and issubclass(each, Exception)}
TERSE = 12
"""Fewer characters than this name no deed."""


def raised(source: str) -> Iterator[ast.Call]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in NAMES:
            yield node


def todo_of(call: ast.Call) -> ast.expr | None:
    named = {each.arg: each.value for each in call.keywords}
    return call.args[1] if len(call.args) > 1 else named.get("todo")


def says_nothing(call: ast.Call) -> bool:
    todo = todo_of(call)
    return todo is None or (isinstance(todo, ast.Constant) and len(str(todo.value)) < TERSE)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.stem)
def test_every_error_says_what_to_do_next(path: Path) -> None:
    silent = [ast.unparse(call) for call in raised(path.read_text(encoding="utf-8")) if says_nothing(call)]
    assert silent == []


def test_errors_are_found_at_all() -> None:
    """Without this the rule could hold on silence."""
    found = [call for path in SOURCES for call in raised(path.read_text(encoding="utf-8"))]
    assert len(found) > 100
    (mute,) = raised("raise UsageError('No.', evidence='7')")
    (terse,) = raised("raise UsageError('No.', 'Update.')")
    (good,) = raised("raise UsageError('No.', todo='Do this instead.')")
    assert [says_nothing(each) for each in (mute, terse, good)] == [True, True, False]
