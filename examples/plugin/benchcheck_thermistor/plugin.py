"""What the plugin answers: one function for each hook it has something for."""

from __future__ import annotations

from importlib import resources

from benchcheck.instruments.dialect_table import DialectTable, dialect_tables
from benchcheck.kinds.part import Kind
from benchcheck.plugins.hookspecs import hookimpl
from benchcheck_thermistor.ntc import KIND

__all__ = ["benchcheck_dialects", "benchcheck_kinds"]


@hookimpl
def benchcheck_kinds() -> tuple[Kind, ...]:
    """Return the thermistor."""
    return (KIND,)


@hookimpl
def benchcheck_dialects() -> tuple[DialectTable, ...]:
    """Return what stands in `dialects.toml` beside this file."""
    text = (resources.files("benchcheck_thermistor") / "dialects.toml").read_text(encoding="utf-8")
    return dialect_tables(text, "benchcheck_thermistor/dialects.toml")
