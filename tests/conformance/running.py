"""Running a kit's rules by name, over what is right and over what is broken on purpose."""

from __future__ import annotations

import inspect
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

__all__ = ["refusal", "rules_of", "run_rule"]


def rules_of(kit: type[Any]) -> list[str]:
    """Return the names of a kit's rules."""
    return [name for name in vars(kit) if name.startswith("test_")]


def run_rule(kit: type[Any], given: Mapping[str, Any], rule: str, folder: Path) -> None:
    """Run one rule of a kit as pytest would, the kit's attributes given."""
    made = type("TestIt", (kit,), dict(given))()
    method = getattr(made, rule)
    method(*([folder] if "tmp_path" in inspect.signature(method).parameters else []))


def refusal(kit: type[Any], given: Mapping[str, Any], rule: str, folder: Path) -> str:
    """Return the words with which a rule refuses what breaks it."""
    with pytest.raises(AssertionError) as caught:
        run_rule(kit, given, rule, folder)
    return str(caught.value)
