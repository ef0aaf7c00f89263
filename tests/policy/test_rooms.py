"""The rooms of the house: which may import which, and which library lives where (DEVELOPERS.md)."""

from __future__ import annotations

import ast
import pathlib
from collections.abc import Iterator

import pytest

PACKAGE = pathlib.Path(__file__).parents[2] / "benchcheck"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: room -> rooms it may import from, besides errors; dotted names open one module only.
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "clock": set(),
    "deprecation": set(),
    "quantity": set(),
    "document": set(),
    "metrology": set(),
    "circuit": set(),
    "plugins": set(),
    "bench": {"quantity", "document", "metrology"},
    "kinds": {"quantity", "metrology", "circuit", "bench"},
    "spec": {"document", "quantity", "kinds", "plugins"},
    "draft": {"document", "quantity", "kinds", "spec"},
    "checklist": {"spec", "kinds", "bench", "quantity"},
    "instruments": {"clock", "quantity", "document", "bench"},
    "simulation": {"spec", "kinds", "circuit", "bench", "quantity", "clock"},
    "readings": {"checklist", "kinds", "instruments", "bench", "metrology", "document", "quantity", "clock"},
    "score": {"metrology", "circuit", "spec", "kinds", "bench", "checklist", "quantity", "readings.reading"},
    "diagnosis": {
        "spec", "kinds", "circuit", "metrology", "bench", "checklist", "quantity",
        "readings.reading", "score",
    },
    "record": {
        "document", "clock", "quantity", "metrology", "spec", "kinds", "bench", "checklist",
        "readings.reading", "score", "diagnosis",
    },
    "report": {"record", "quantity"},
    "shelf": {"document"},
}  # fmt: skip
BELOW_SESSION = set(MAY_IMPORT) - {"report", "shelf"}
MAY_IMPORT["session"] = BELOW_SESSION
MAY_IMPORT["conformance"] = set(MAY_IMPORT)
MAY_IMPORT["builtin"] = {*MAY_IMPORT, "terminal"}  # the keyboard is a source like any other
for _top in ("terminal", "cli", "pytest_plugin", "pytest_bench", "pytest_sittings", "__main__", "__init__"):
    MAY_IMPORT[_top] = {*MAY_IMPORT, "builtin", "terminal", "cli", "pytest_plugin", "pytest_bench", "pytest_sittings"}

#: one module that may do what its room may not.
EXTRA: dict[str, set[str]] = {"report/card.py": {"score.capability"}}

#: library -> where it may be imported: rooms, or single files.
SOLE_HOMES: dict[str, set[str]] = {
    "pint": {"quantity"},
    "tomllib": {"document"},
    "tomlkit": {"document"},
    "tomli_w": {"document"},
    "uncertainties": {"metrology"},
    "scipy.stats": {"metrology"},
    "scipy.special": {"metrology"},
    "scipy.optimize": {"metrology"},
    "numpy.linalg": {"circuit", "metrology", "diagnosis"},
    "scipy.linalg": {"circuit", "metrology", "diagnosis"},
    "scipy.sparse": {"circuit", "metrology", "diagnosis"},
    "pluggy": {"plugins"},
    "platformdirs": {"shelf"},
    "pyvisa": {"instruments/visa.py"},
    "time": {"clock"},
    "asyncio": {"simulation"},
    "sqlalchemy": {"record/index.py"},
    "jinja2": {"report"},
    "rich": {"terminal", "cli"},
    "click": {"cli"},
    "pytest": {"pytest_plugin", "pytest_bench", "pytest_sittings", "cli"},
    "_pytest": {"pytest_plugin"},
    "subprocess": {"session", "instruments/power_keeper.py", "terminal/sound.py"},
    "multiprocessing": {"session", "instruments/power_keeper.py", "terminal/sound.py"},
}


def room_of(path: pathlib.Path) -> str:
    relative = path.relative_to(PACKAGE)
    return relative.parts[0] if len(relative.parts) > 1 else relative.stem


def is_type_checking(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)


def walk_runtime(node: ast.AST) -> Iterator[ast.AST]:
    yield node
    for child in ast.iter_child_nodes(node):
        if not is_type_checking(child):
            yield from walk_runtime(child)


def imported_names(path: pathlib.Path) -> Iterator[str]:
    """Every dotted name a module imports when it runs; `from a import b` gives a and a.b."""
    package = ("benchcheck", *path.relative_to(PACKAGE).parts[:-1])
    for node in walk_runtime(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(package[: len(package) - node.level + 1]) if node.level else ""
            module = ".".join(word for word in (base, node.module or "") if word)
            yield module
            yield from (f"{module}.{alias.name}" for alias in node.names)
        elif (
            isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in ("np", "numpy")
        ):
            yield f"numpy.{node.attr}"


def allowed(name: str, rooms: set[str]) -> bool:
    inner = name.removeprefix("benchcheck.")
    return any(inner == room or inner.startswith(room + ".") or room.startswith(inner + ".") for room in rooms)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: pathlib.Path) -> None:
    room = room_of(path)
    assert room in MAY_IMPORT, f"{room} is not a room of the house"
    rooms = (
        MAY_IMPORT[room] | EXTRA.get(path.relative_to(PACKAGE).as_posix(), set()) | {room, "errors", "__version__"}
    )
    wrong = [name for name in imported_names(path) if name.startswith("benchcheck.") and not allowed(name, rooms)]
    assert wrong == []


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_libraries_stay_in_their_homes(path: pathlib.Path) -> None:
    room, relative = room_of(path), path.relative_to(PACKAGE).as_posix()
    wrong = [
        (name, library)
        for name in imported_names(path)
        for library, homes in SOLE_HOMES.items()
        if (name == library or name.startswith(library + ".")) and not ({room, relative} & homes)
    ]
    assert wrong == []
