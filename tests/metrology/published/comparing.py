"""Published examples and how a result is held against their digits.

A printed figure is met within one unit of its last printed digit. A recomputed figure is met to 1e-9, or to half
a unit of the last digit given where it is given with six to nine.
"""

from __future__ import annotations

import pathlib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

FOLDER = pathlib.Path(__file__).parents[2] / "reference" / "metrology"

Calculation = Callable[[Mapping[str, Any]], Mapping[str, Any]]


@dataclass(frozen=True)
class Example:
    """One published example; `inputs` and `outputs` as they stand in its file."""

    id: str
    confidence: str
    inputs: dict[str, Any]
    outputs: dict[str, Any]
    also: str = ""
    printed_units: float = 1.0
    errata: tuple[dict[str, str], ...] = ()

    def corrected(self, name: str, texts: list[str]) -> list[str]:
        """Return printed texts with misprints of the source put right."""
        wrong = {each["printed"]: each["right"] for each in self.errata if each["output"] == name}
        assert set(wrong) <= set(texts), f"{name}: no such misprint"
        return [wrong.get(each, each) for each in texts]


def examples() -> tuple[Example, ...]:
    """Return all examples of tests/reference/metrology."""
    found = []
    for path in sorted(FOLDER.glob("*.toml")):
        for each in tomllib.loads(path.read_text(encoding="utf-8"))["example"]:
            found.append(
                Example(
                    each["id"],
                    each["confidence"],
                    each["inputs"],
                    each["outputs"],
                    each.get("checked_also_by", ""),
                    each.get("printed_units", 1.0),
                    tuple(each.get("errata", ())),
                )
            )
    return tuple(found)


def flattened(tree: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield (dotted key, scalar or list) of a nested table."""
    for key, value in tree.items():
        name = f"{path}.{key}" if path else key
        if isinstance(value, Mapping):
            yield from flattened(value, name)
        else:
            yield name, value


def printed_unit(text: str) -> float:
    """Return one unit of the last printed digit of a number."""
    match = re.fullmatch(r"[+-]?\d+(?:\.(\d*))?(?:e([+-]?\d+))?", text)
    assert match, text
    return float(10.0 ** (int(match[2] or 0) - len(match[1] or "")))


def digits_given(number: float) -> int:
    """Return how many significant digits a stored number has."""
    return len(repr(abs(number)).partition("e")[0].replace(".", "").strip("0"))


def meets_printed(result: Any, text: str, units: float) -> bool:
    """Return whether a result meets a printed text: a number's digits, or the same words."""
    if isinstance(result, str | bool):
        return str(result) == text
    # a hair of room for what the binary unit itself rounds
    return bool(abs(float(result) - float(text)) <= units * printed_unit(text) * (1.0 + 1e-9))


def meets_computed(result: float, number: float, digits: int) -> bool:
    """Return whether a result meets a recomputed number given with this many digits."""
    relative = 0.5 * 10.0 ** (1 - digits) if 6 <= digits <= 9 else 1e-9
    return bool(abs(result - number) <= max(relative, 1e-9) * abs(number) + (1e-15 if number == 0.0 else 0.0))


def misses(example: Example, results: Mapping[str, Any]) -> list[str]:
    """Return in words what of an example's outputs the results do not meet."""
    found: list[str] = []
    for key, expected in flattened(example.outputs):
        kind, _, name = key.partition(".")
        if name in results:
            found.extend(_misses_of(example, kind, name, expected, results[name]))
        else:
            found.append(f"{key} is not calculated")
    return found


def _misses_of(example: Example, kind: str, name: str, expected: Any, result: Any) -> Iterator[str]:
    wanted = expected if isinstance(expected, list) else [expected]
    if kind == "published":
        wanted = example.corrected(name, wanted)
    given = list(result) if isinstance(expected, list) else [result]
    if len(wanted) != len(given):
        yield f"{name}: {len(given)} results for {len(wanted)}"
        return
    digits = 0 if kind == "published" else max(digits_given(each) for each in wanted)
    for want, one in zip(wanted, given, strict=True):
        good = (
            meets_printed(one, want, example.printed_units)
            if kind == "published"
            else meets_computed(one, want, digits)
        )
        if not good:
            yield f"{kind} {name}: {want} expected, {one!r} calculated"
