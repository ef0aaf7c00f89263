"""The package is typed, its typing file imports, and names that move are handed on with a word."""

from __future__ import annotations

import ast
import importlib
import pathlib
import warnings

import pytest

import benchcheck
from benchcheck.deprecation import moved

PACKAGE = pathlib.Path(benchcheck.__file__).parent
MODULES = [path for path in sorted(PACKAGE.rglob("*.py")) if path.name != "__main__.py"]


def test_the_package_says_that_it_is_typed() -> None:
    assert (PACKAGE / "py.typed").is_file()


def test_every_public_name_stands_in_the_typing_file() -> None:
    used = pathlib.Path(__file__).with_name("public.py").read_text("utf-8")
    tree = ast.parse(used)
    names = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    names |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for alias in node.names}
    left_out = {"BenchcheckError", "InputError", "parse_tolerance"}  # no more than a class and a text to a value
    assert set(benchcheck.__all__) - names == left_out
    importlib.import_module("tests.typing.public")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_what_a_module_exports_is_in_it_once(path: pathlib.Path) -> None:
    """Sorting is ruff's part (RUF022); this is the rest of what an export promises."""
    name = ".".join(("benchcheck", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__")
    module = importlib.import_module(name)
    exported = getattr(module, "__all__", [])
    assert [one for one in exported if not hasattr(module, one)] == []
    assert len(set(exported)) == len(exported)


def test_a_name_that_moved_is_handed_on_with_a_warning_at_the_callers_line() -> None:
    hand_on = moved("benchcheck.old", {"judge": ("benchcheck.score.judge.judge", "0.3")})
    with pytest.warns(
        DeprecationWarning, match=r"benchcheck\.old\.judge goes in 0\.3; use benchcheck\.score"
    ) as told:
        assert hand_on("judge") is benchcheck.judge
    assert told[0].filename == __file__


def test_a_name_that_never_was_is_no_attribute() -> None:
    with warnings.catch_warnings(), pytest.raises(AttributeError, match=r"'benchcheck\.old' has no attribute"):
        moved("benchcheck.old", {})("other")
