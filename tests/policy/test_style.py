"""House rules on size, openings and exports (DEVELOPERS.md, "How the code reads")."""

from __future__ import annotations

import ast
import pathlib

import pytest

PACKAGE = pathlib.Path(__file__).parents[2] / "benchcheck"
MODULES = sorted(PACKAGE.rglob("*.py"))
Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(path: pathlib.Path) -> list[Function]:
    return [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, Function)]


def length(node: Function) -> int:
    assert node.end_lineno is not None
    return node.end_lineno - node.lineno + 1


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_has_at_most_400_lines_and_functions_of_at_most_40(path: pathlib.Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
    assert [f"{node.name}: {length(node)} lines" for node in functions(path) if length(node) > 40] == []


def test_nine_in_ten_functions_have_at_most_25_lines() -> None:
    lengths = sorted(length(node) for path in MODULES for node in functions(path))
    assert lengths[int(len(lengths) * 0.9)] <= 25


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_opens_with_its_idea(path: pathlib.Path) -> None:
    docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    assert docstring
    assert len(docstring.splitlines()) <= 20  # errors.py draws its tree
