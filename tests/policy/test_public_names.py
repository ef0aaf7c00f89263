"""What a user imports: public names resolve, help stays light, every error class is raised somewhere."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import benchcheck
from benchcheck import errors

PACKAGE = Path(benchcheck.__file__).parent
HEAVY = ("numpy", "scipy", "pint", "pyvisa", "pytest", "sqlalchemy")


@pytest.mark.parametrize("name", benchcheck.__all__)
def test_every_public_name_resolves_to_something_documented(name: str) -> None:
    assert getattr(benchcheck, name).__doc__


def test_public_names_are_sorted_and_have_a_home() -> None:
    assert benchcheck.__all__ == sorted(benchcheck.__all__) == sorted(benchcheck._HOME)
    assert dir(benchcheck) == benchcheck.__all__
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = benchcheck.nothing


@pytest.mark.parametrize("arguments", [["--help"], ["verify", "--help"], ["capability", "--help"], ["--version"]])
def test_help_loads_no_heavy_library(arguments: list[str]) -> None:
    code = (
        "import sys; from benchcheck.cli import cli\n"
        f"try: cli.main({arguments!r}, prog_name='benchcheck', standalone_mode=False)\n"
        "except SystemExit: pass\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert "LOADED []" in done.stdout


def test_importing_the_package_imports_none_of_its_rooms() -> None:
    code = "import sys, benchcheck; print(sorted(name for name in sys.modules if name.startswith('benchcheck.')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=30)
    assert done.stdout.strip() == "[]"


def raised_names() -> set[str]:
    """Return the names of classes that some statement raises, or that a reader of files is told to raise."""
    names: set[str] = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and isinstance(node.exc.func, ast.Name):
                names.add(node.exc.func.id)
            elif isinstance(node, ast.keyword) and node.arg == "error" and isinstance(node.value, ast.Name):
                names.add(node.value.id)
    return names


RAISED = raised_names()
#: caught, never raised themselves: what several others have in common.
COMMON = {"BenchcheckError", "InputError"}


@pytest.mark.parametrize("name", [name for name in errors.__all__ if name[0].isupper() and name != "Fault"])
def test_every_error_class_can_be_met(name: str) -> None:
    assert (name in RAISED) is (name not in COMMON)


@pytest.mark.parametrize("name", sorted(set(errors.__all__) - COMMON - {"Fault", "close_match"}))
def test_every_error_class_is_met_in_a_test(name: str) -> None:
    tests = Path(__file__).parents[1]
    met = [
        path.name for path in tests.rglob("test_*.py") if path != Path(__file__) and name in path.read_text("utf-8")
    ]
    assert met, f"no test meets {name}"


def test_every_error_says_in_its_docstring_what_it_is_and_has_an_exit_code() -> None:
    for name in errors.__all__:
        thing = getattr(errors, name)
        assert thing.__doc__
        if isinstance(thing, type) and issubclass(thing, errors.BenchcheckError):
            assert thing.exit_code in (2, 4, 5, 130)


def test_no_name_handed_on_when_first_used_is_hidden_by_a_module_of_that_name() -> None:
    """Once `circuit/x.py` is loaded, `circuit.x` is the module, and a lazy name `x` is never asked for again."""
    from benchcheck import circuit

    for package in (benchcheck, circuit):
        folder = Path(str(package.__file__)).parent
        assert not {path.stem for path in folder.iterdir()} & set(package.__all__)
