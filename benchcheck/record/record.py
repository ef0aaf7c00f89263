"""The reading end of a record: what a file proves, and in words what of it does not hold.

Nothing here writes. Only blocks whose seals hold are decoded; whatever follows the first that does not is named
and left alone, so that a damaged file shows fewer values and never a wrong one.
"""

from __future__ import annotations

import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from benchcheck.errors import Fault, RecordError
from benchcheck.readings.reading import Reading
from benchcheck.record.codec import decode_reading, decode_score
from benchcheck.record.fields import Fields
from benchcheck.record.head import FORMAT_VERSION, decode_event, decode_head, decode_result
from benchcheck.record.lines import read_block
from benchcheck.record.model import Event, EventKind, Head, Result
from benchcheck.record.seal import FORMAT_LINE, Block, Chain, read_chain
from benchcheck.score.model import Score

__all__ = ["NEWER_FORMAT", "SIZE_LIMIT_BYTES", "Entry", "Record", "read_record", "read_record_bytes"]

SIZE_LIMIT_BYTES = 64_000_000
NEWER_FORMAT = "benchcheck_record"  # the key of the faults that say so
_BEGUN = "a visit was stopped while its record was begun, and nothing had been accepted"
_INTERRUPTED = (4, 5, 130)  # exit codes after which a visit is worth going on with

_Value = TypeVar("_Value")
_Held = TypeVar("_Held", covariant=True)


@dataclass(frozen=True, slots=True)
class Entry(Generic[_Held]):
    """A block that was read: its place in the record from 1 (the head), first line, seal, and what it holds."""

    number: int
    line: int
    seal: str
    value: _Held


@dataclass(frozen=True, slots=True)
class Record:
    """What a record file proves, and in `problems` what it does not, in words.

    `sealed` says whether the seals prove all of the file. `readings` are those that were not taken back, oldest
    first; `scores` the latest of each check that no undo has overtaken. The `all_...` hold every
    block in file order, with seals. `unproven` are the blocks after the first whose seal does not hold: nothing
    is decoded from them. `changed` says the file was edited after it was written, `torn` that a last write was
    cut short; `proven_bytes` is where the last proven block ends, `blocks` how many there are. `unread` are the
    problems of what is sealed and yet not read here, as a newer benchcheck writes it. `last_seal` belongs on sheets.
    """

    path: Path
    format_version: int
    sealed: bool
    head: Head
    head_seal: str
    readings: tuple[Reading, ...]
    scores: tuple[Score, ...]
    all_readings: tuple[Entry[Reading], ...]
    all_scores: tuple[Entry[Score], ...]
    all_events: tuple[Entry[Event], ...]
    all_results: tuple[Entry[Result], ...]
    undone: frozenset[str]
    last_seal: str
    blocks: int
    proven_bytes: int
    problems: tuple[Fault, ...] = ()
    unproven: tuple[Block, ...] = ()
    changed: bool = False
    torn: bool = False
    unread: tuple[Fault, ...] = ()

    @property
    def name(self) -> str:
        """The unit folder and the file name, as messages and sheets show them."""
        return _name(self.path)

    @property
    def standing(self) -> tuple[Entry[Reading], ...]:
        """The readings that were not taken back, with their seals."""
        return tuple(entry for entry in self.all_readings if entry.seal not in self.undone)

    @property
    def events(self) -> tuple[Event, ...]:
        """What was noted, oldest first."""
        return tuple(entry.value for entry in self.all_events)

    @property
    def results(self) -> tuple[Result, ...]:
        """The results, oldest first; the last one counts."""
        return tuple(entry.value for entry in self.all_results)

    @property
    def result(self) -> Result | None:
        """The result that counts, None where the visit has not come to one since its last reading or undo."""
        if not self.all_results:
            return None
        last = self.all_results[-1]
        undos = (entry.number for entry in self.all_events if entry.value.kind is EventKind.UNDO)
        newest = max((*(entry.number for entry in self.all_readings), *undos), default=0)
        return last.value if newest < last.number else None

    @property
    def open(self) -> bool:
        """Whether the visit is worth going on with: it has no result that counts, or was interrupted."""
        return self.result is None or self.result.exit_code in _INTERRUPTED

    @property
    def empty(self) -> bool:
        """Whether nobody has read, noted or left out anything in it: a visit that was left as soon as it began."""
        said = any(one.kind not in (EventKind.RESUMED, EventKind.INSTRUMENT) for one in self.events)
        return not (self.all_readings or said)

    @property
    def identity(self) -> str:
        """The seal by which a later record names this one as its parent: of the first result, else the head."""
        return self.all_results[0].seal if self.all_results else self.head_seal


def read_record(path: Path, *, with_budgets: bool = True) -> Record:
    """Return what a record file proves; without budgets it reads much faster.

    Raises RecordError for a file of which nothing can be read: missing, empty, no record, or with a head that
    is changed or cut short. Whatever else is wrong stands in `problems`.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise RecordError(Fault(_name(path), "", "is not a plain file; name a record"))
        with path.open("rb") as file:
            data = file.read(SIZE_LIMIT_BYTES + 1)
    except FileNotFoundError as error:
        raise RecordError(Fault(str(path), "", "there is no such file; check the name")) from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise RecordError(Fault(str(path), "", f"cannot be read: {reason}")) from error
    return read_record_bytes(data, path, with_budgets=with_budgets)


def read_record_bytes(data: bytes, path: Path, *, with_budgets: bool = True) -> Record:
    """Return what the bytes of a record file prove; see `read_record`. `path` only names it."""
    name = _name(path)
    version = _version(data, name)
    chain = read_chain(data[:SIZE_LIMIT_BYTES])
    if not chain.proven:
        raise RecordError(_of_version(version, name) or Fault(f"{name}:1", "", _headless(chain)))
    reader = _Reader(name, with_budgets)
    head = _head(reader, chain.proven[0], version)
    if version <= FORMAT_VERSION:
        reader.read(chain.proven[1:])
    unread = (*_version_problems(version, name), *reader.problems)
    undone = reader.undone()
    return Record(
        path=path,
        format_version=version,
        sealed=chain.whole and len(data) <= SIZE_LIMIT_BYTES,
        head=head,
        head_seal=chain.proven[0].seal,
        readings=tuple(entry.value for entry in reader.readings if entry.seal not in undone),
        scores=reader.latest_scores(undone),
        all_readings=tuple(reader.readings),
        all_scores=tuple(reader.scores),
        all_events=tuple(reader.events),
        all_results=tuple(reader.results),
        undone=undone,
        last_seal=chain.proven[-1].seal,
        blocks=len(chain.proven),
        proven_bytes=chain.length,
        problems=(*unread, *reader.strange, *_problems(chain, name, len(data))),
        unproven=chain.unproven,
        changed=chain.changed,
        unread=unread,
        torn=bool(chain.rest) and not chain.changed,
    )


class _Reader:
    """The blocks of one file, decoded kind by kind; what cannot be is named."""

    def __init__(self, name: str, with_budgets: bool) -> None:
        self.name = name
        self.with_budgets = with_budgets
        self.readings: list[Entry[Reading]] = []
        self.scores: list[Entry[Score]] = []
        self.events: list[Entry[Event]] = []
        self.results: list[Entry[Result]] = []
        self.problems: list[Fault] = []  # of what is sealed and not read
        self.strange: list[Fault] = []  # of what was read
        self.known: set[str] = set()  # seals of every proven block

    def head(self, block: Block) -> Head:
        self.known.add(block.seal)
        return decode_head(self._fields(block))

    def read(self, blocks: tuple[Block, ...]) -> None:
        for block in blocks:
            self.known.add(block.seal)
            try:
                self._take(block)
            except RecordError as error:
                self.problems.extend(error.faults)

    def _take(self, block: Block) -> None:
        match block.kind:
            case "reading":
                self.readings.append(self._entry(block, decode_reading))
            case "score":
                self.scores.append(self._entry(block, self._score))
            case "event":
                self.events.append(self._entry(block, decode_event))
            case "result":
                self.results.append(self._entry(block, decode_result))
            case _:
                message = f"block {block.number} is of a kind not known here; it is passed over"
                raise RecordError(Fault(f"{self.name}:{block.line}", block.kind, message))

    def _score(self, fields: Fields) -> Score:
        return decode_score(fields, with_budget=self.with_budgets)

    def _entry(self, block: Block, decode: Callable[[Fields], _Value]) -> Entry[_Value]:
        return Entry(block.number, block.line, block.seal, decode(self._fields(block)))

    def _fields(self, block: Block) -> Fields:
        where = f"{self.name}:{block.line}"
        body = block.body
        if not self.with_budgets and (at := body.find(b"\nbudget = ")) >= 0:
            body = body[: at + 1] + body[body.index(b"\n", at + 1) + 1 :]
        try:
            text = body.decode("utf-8")
        except UnicodeDecodeError as error:
            raise RecordError(Fault(where, "", f"block {block.number} is not UTF-8; it is passed over")) from error
        if block.number > 1:
            text = text.partition("\n")[2]
        values = read_block(text, where)
        return Fields(values, where)

    def undone(self) -> frozenset[str]:
        """Return the seals taken back; read from the end, so that an undo of an undo counts."""
        undone: set[str] = set()
        for entry in reversed(self.events):
            if entry.value.kind is EventKind.UNDO and entry.seal not in undone:
                undone.update(entry.value.amends)
        for entry in self.events:
            for seal in sorted(set(entry.value.amends) - self.known):
                message = f"names a block {seal[:12]}... that is not in this record"
                self.strange.append(Fault(f"{self.name}:{entry.line}", "amends", message))
        return frozenset(undone)

    def latest_scores(self, undone: frozenset[str]) -> tuple[Score, ...]:
        """Return the last score of each check that no undo has overtaken.

        After an undo a score counts if it is newer, or if readings of its own check still stand that were not
        touched: what was derived from others, skipped or blocked is to be scored again.
        """
        checks = {entry.seal: entry.value.check for entry in self.readings}
        untouched = {entry.value.check for entry in self.readings if entry.seal not in undone}
        newest = 0
        for event in self.events:
            touched = {checks[seal] for seal in event.value.amends if seal in checks}
            if event.value.kind is EventKind.UNDO and event.seal not in undone and touched:
                newest = event.number
                untouched -= touched
        latest: dict[str, Score] = {}
        for entry in self.scores:
            if entry.seal not in undone and (entry.number > newest or entry.value.check in untouched):
                latest[entry.value.check] = entry.value
        return tuple(latest.values())


def _version(data: bytes, name: str) -> int:
    if not data.strip():
        raise RecordError(
            Fault(name, "", f"is empty: {_BEGUN}, or what it held is lost; put back a copy, or delete it")
        )
    line = FORMAT_LINE.match(data.removeprefix(b"\xef\xbb\xbf"))
    if line is None:
        message = 'is not a record of benchcheck: its first line is not "benchcheck_record = 1"'
        raise RecordError(Fault(f"{name}:1", "", message))
    version = int(line[1])
    if version < 1:
        message = f"says that it is of format version {version}, and the first is 1; put back a copy of the file"
        raise RecordError(Fault(f"{name}:1", "", message))
    return version


def _head(reader: _Reader, block: Block, version: int) -> Head:
    """Return the head; of a newer version it need not be what this one expects."""
    try:
        return reader.head(block)
    except RecordError as error:
        if newer := _of_version(version, reader.name):
            raise RecordError(newer) from error
        raise


def _of_version(version: int, name: str) -> Fault | None:
    """Return that a file of which nothing can be read is of a newer version, None where it is of no newer one."""
    if version <= FORMAT_VERSION:
        return None
    message = f"is of format version {version} and this benchcheck reads {FORMAT_VERSION}: not even its head is read"
    return Fault(f"{name}:1", NEWER_FORMAT, f"{message}; only a newer benchcheck can say whether it is whole")


def _headless(chain: Chain) -> str:
    if chain.unproven and chain.unproven[0].seal:
        return "block 1, the head, does not carry its seal; nothing in this file is proven. Put back a copy of it"
    return f"the head is cut short: {_BEGUN}, or the rest is lost; put back a copy, or delete it"


def _version_problems(version: int, name: str) -> list[Fault]:
    if version <= FORMAT_VERSION:
        return []
    message = f"is of format version {version} and this benchcheck reads {FORMAT_VERSION}: only its head is shown"
    return [Fault(f"{name}:1", NEWER_FORMAT, f"{message}; a newer benchcheck reads the rest")]


def _problems(chain: Chain, name: str, size_bytes: int) -> list[Fault]:
    """Return in words what the seals do not prove."""
    problems = [
        Fault(f"{name}:{line}", "", "stands between two blocks, outside every seal; it is passed over")
        for line in chain.strays
    ]
    if chain.crlf or chain.bom:
        found = "line ends are CR LF" if chain.crlf else "a byte-order mark stands in front"
        problems.append(Fault(name, "", f"{found}: another program saved this file; what the seals prove is shown"))
    broken = next((block for block in chain.unproven if block.seal), None)
    if broken:
        message = f"block {broken.number} of {chain.proven[-1].number + len(chain.unproven)} does not carry its seal"
        advice = f"everything from there on is not proven and not shown; the {len(chain.proven)} before are"
        problems.append(Fault(f"{name}:{broken.line}", "", f"{message}; {advice}"))
    elif chain.rest:
        message = f"the last {len(chain.rest)} bytes carry no seal (a write that was cut short); they are ignored"
        problems.append(Fault(name, "", message))
    if size_bytes > SIZE_LIMIT_BYTES:
        message = f"is longer than {SIZE_LIMIT_BYTES / 1e6:g} MB; only what stands before that is read"
        problems.append(Fault(name, "", message))
    return problems


def _name(path: Path) -> str:
    return f"{path.parent.name}/{path.name}" if path.parent.name else path.name
