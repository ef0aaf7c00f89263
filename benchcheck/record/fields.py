"""Typed access to the keys of one block that was read, with the block and key named in every fault."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import TypeVar

from benchcheck.errors import Fault, RecordError, close_match

__all__ = ["Fields"]

_Word = TypeVar("_Word", bound=StrEnum)
_Kind = TypeVar("_Kind")


@dataclass(frozen=True, slots=True)
class Fields:
    """The keys of a block or an inline table; `where` says in words which one it is.

    Every method raises RecordError where the value is not of the kind asked for.
    """

    values: Mapping[str, object]
    where: str

    def text(self, key: str, default: str = "") -> str:
        """Return a text, or the default where the key is not there."""
        return self._of(key, str, "a text") if key in self.values else default

    def needed(self, key: str) -> str:
        """Return a text that must be there."""
        if key not in self.values:
            raise self._fault(key, "is missing")
        return self.text(key)

    def number(self, key: str) -> float | None:
        """Return a float (a whole number counts as one), None where the key is not there."""
        value = self.values.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self._fault(key, "is not a number")
        return float(value)

    def count(self, key: str, default: int) -> int:
        """Return a whole number, or the default where the key is not there."""
        value = self.values.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self._fault(key, "is not a whole number")
        return value

    def flag(self, key: str) -> bool:
        """Return true or false; false where the key is not there."""
        return self._of(key, bool, "true or false") if key in self.values else False

    def moment(self, key: str) -> datetime | None:
        """Return a time in UTC, None where the key is not there."""
        if key not in self.values:
            return None
        value = self._of(key, datetime, "a time")
        if value.tzinfo is None:
            raise self._fault(key, "is a time without its offset from UTC")
        return value.astimezone(UTC)

    def day(self, key: str) -> date | None:
        """Return a date, None where the key is not there."""
        if isinstance(self.values.get(key), datetime):
            raise self._fault(key, "is a time, not a date")
        return self._of(key, date, "a date") if key in self.values else None

    def word(self, key: str, words: type[_Word]) -> _Word:
        """Return one of the words of an enumeration; the key must be there."""
        value = self.needed(key)
        try:
            return words(value)
        except ValueError:
            hint = close_match(value, words) or f"; known are {', '.join(words)}"
            raise self._fault(key, f'"{value}" is not known here{hint}') from None

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, () where the key is not there."""
        values = self._list(key)
        if not all(isinstance(value, str) for value in values):
            raise self._fault(key, "is not a list of texts")
        return tuple(str(value) for value in values)

    def tables(self, key: str) -> tuple[Fields, ...]:
        """Return a list of inline tables, () where the key is not there."""
        return tuple(self._table(key, value) for value in self._list(key))

    def table(self, key: str) -> Fields | None:
        """Return an inline table, None where the key is not there."""
        return self._table(key, self.values[key]) if key in self.values else None

    def _table(self, key: str, value: object) -> Fields:
        if not isinstance(value, Mapping):
            raise self._fault(key, "is not a table")
        return Fields(value, f"{self.where}, {key}")

    def _list(self, key: str) -> list[object]:
        return self._of(key, list, "a list") if key in self.values else []

    def _of(self, key: str, kind: type[_Kind], words: str) -> _Kind:
        value = self.values[key]
        if not isinstance(value, kind):
            raise self._fault(key, f"is not {words}")
        return value

    def _fault(self, key: str, message: str) -> RecordError:
        return RecordError(Fault(self.where, key, message))
