"""Every benchmark there is, found by its file: what it is about, how long it takes, whether it belongs to the table.

A benchmark is a module beside this one with a `main`. Its docstring's first sentence says what it is about;
`MINUTES` is about how long it takes on a quiet two-core machine (0.5 where it says nothing). `CAMPAIGN = True` says
that it counts cases for a long while instead of measuring rows; it runs only when it is named or with `--all`.
"""

from __future__ import annotations

import ast
import difflib
import pathlib
from dataclasses import dataclass
from typing import Any

__all__ = ["Benchmark", "chosen", "discovered"]

FOLDER = pathlib.Path(__file__).parent
NO_BENCHMARKS = {"registry", "rows"}


@dataclass(frozen=True, slots=True)
class Benchmark:
    """One benchmark: its module's name, what it is about, about how many minutes it takes."""

    name: str
    about: str
    minutes: float = 0.5
    campaign: bool = False


def discovered(folder: pathlib.Path = FOLDER) -> tuple[Benchmark, ...]:
    """Return the benchmarks of a folder by name; their files are read, not imported."""
    paths = (path for path in sorted(folder.glob("[a-z]*.py")) if path.stem not in NO_BENCHMARKS)
    trees = ((path, ast.parse(path.read_text("utf-8"))) for path in paths)
    return tuple(_read(path, tree) for path, tree in trees if _has_main(tree))


def _has_main(tree: ast.Module) -> bool:
    return any(isinstance(node, ast.FunctionDef) and node.name == "main" for node in tree.body)


def _read(path: pathlib.Path, tree: ast.Module) -> Benchmark:
    told: dict[str, Any] = {"MINUTES": 0.5, "CAMPAIGN": False}
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and node.targets[0].id in told:
            told[node.targets[0].id] = ast.literal_eval(node.value)
    about = (ast.get_docstring(tree) or path.stem).partition("\n")[0]
    return Benchmark(path.stem, about, float(told["MINUTES"]), bool(told["CAMPAIGN"]))


def chosen(benchmarks: tuple[Benchmark, ...], names: list[str], every: bool) -> tuple[Benchmark, ...]:
    """Return the benchmarks of these names, or without names those that measure rows; all with `every`.

    ValueError with the nearest name for one there is not.
    """
    known = {one.name: one for one in benchmarks}
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f'; did you mean "{near[0]}"?' if near else f"; there are {', '.join(known)}"
            raise ValueError(f'"{name}" is not a benchmark{hint}')
    if names:
        return tuple(known[name] for name in dict.fromkeys(names))
    return tuple(one for one in benchmarks if every or not one.campaign)
