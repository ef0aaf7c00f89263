"""Documented and tested is a failing test: every hook stands in README, in the guide, and in a test."""

from __future__ import annotations

import pathlib

import pytest

from benchcheck.builtin import BuiltIn, plugins
from benchcheck.plugins import hookspecs
from benchcheck.plugins.answers import COLLECTED, HOOKS, NOTICES

ROOT = pathlib.Path(__file__).parents[2]
TESTS = "".join(path.read_text("utf-8") for path in sorted((ROOT / "tests" / "plugins").glob("test_*.py")))


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
@pytest.mark.parametrize("hook", sorted(HOOKS))
def test_every_hook_is_documented(hook: str, page: str) -> None:
    assert f"`{hook}`" in (ROOT / page).read_text("utf-8"), f"{page} does not speak of {hook}"


@pytest.mark.parametrize("hook", sorted(HOOKS))
def test_every_hook_is_tested_and_says_what_it_is_for(hook: str) -> None:
    assert f"def {hook}(self" in TESTS or f'"{hook}"' in TESTS
    assert getattr(hookspecs, hook).__doc__.strip()


def test_notices_take_one_argument_and_the_others_none() -> None:
    assert {name: len(HOOKS[name]) for name in NOTICES} == dict.fromkeys(NOTICES, 1)
    assert {name: len(HOOKS[name]) for name in COLLECTED} == dict.fromkeys(COLLECTED, 0)


@pytest.mark.parametrize("hook", COLLECTED)
def test_what_benchcheck_brings_along_comes_in_by_the_hook(hook: str) -> None:
    assert plugins(installed=False).handed(hook) == tuple(getattr(BuiltIn(), hook)())


@pytest.mark.parametrize("kit", ["kind_kit", "dialect_kit", "source_kit", "report_kit"])
def test_every_kit_is_run_over_the_built_ins(kit: str) -> None:
    name = "".join(word.title() for word in kit.split("_"))
    assert name in (ROOT / "tests" / "conformance" / "test_built_in.py").read_text("utf-8")
    assert name in (ROOT / "tests" / "conformance" / "test_broken.py").read_text("utf-8")
    assert (ROOT / "benchcheck" / "conformance" / f"{kit}.py").is_file()
