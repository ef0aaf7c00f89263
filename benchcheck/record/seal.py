"""The chain of seals: each block of a record is bound to all that stands before it.

A seal is the SHA-256 of the previous seal and the block's own bytes, so a change anywhere breaks every seal
after it. Reading a file cuts it into the blocks whose seals hold, and names what follows the first that does
not. The chain detects accidents and careless edits; whoever can compute a seal can also forge one.
"""

from __future__ import annotations

import hashlib
import itertools
import re
from dataclasses import dataclass

__all__ = ["FORMAT_LINE", "HEAD", "Block", "Chain", "read_chain", "seal_line", "seal_of"]

HEAD = "head"
FORMAT_LINE = re.compile(rb"benchcheck_record[ \t]*=[ \t]*([0-9]{1,9})[ \t]*\r?\n")

_BOM = b"\xef\xbb\xbf"
_SEAL = re.compile(rb'^seal = "([0-9a-f]{64})"(?:\r?\n|\Z)', re.MULTILINE)
_HEADER = re.compile(rb"^\[\[([a-z_]+)\]\]\r?\n", re.MULTILINE)
_MARK = re.compile(rb'^(?:\[\[([a-z_]+)\]\]\r?\n|seal = "([0-9a-f]{64})"(?:\r?\n|\Z))', re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Block:
    """One block: its place in the file from 1 (the head), first line, kind, text without the seal line, seal.

    `seal` is what the file says, "" where a damaged block has none.
    """

    number: int
    line: int
    kind: str
    body: bytes
    seal: str


@dataclass(frozen=True, slots=True)
class Chain:
    """What the seals of a file say.

    `proven` are the blocks from the head on whose seals hold; `unproven` what looks like a block after them.
    `length` is where the last proven block ends, in bytes, and `rest` the bytes after it that are not blank.
    `changed` says that a block after the first broken one still follows its neighbour: the file was edited,
    not cut short. `strays` are the lines (from 1) between blocks that no seal covers, `crlf` that line ends
    are CR LF, `bom` that a byte-order mark stands in front.
    """

    proven: tuple[Block, ...]
    unproven: tuple[Block, ...] = ()
    length: int = 0
    rest: bytes = b""
    changed: bool = False
    strays: tuple[int, ...] = ()
    crlf: bool = False
    bom: bool = False

    @property
    def whole(self) -> bool:
        """Whether every byte of the file is proven, blank lines between blocks aside."""
        return bool(self.proven) and not (self.rest or self.strays)


def seal_of(previous: str, body: bytes) -> str:
    """Return the seal of a block that follows `previous` ("" for the head).

    `body` runs from the block's header (the head: from the start of the file) up to the seal line.

    >>> seal_of("", b"benchcheck_record = 1\\n")[:16]
    '7ef972a53af1e06d'
    """
    return hashlib.sha256(previous.encode("ascii") + body).hexdigest()


def seal_line(seal: str) -> bytes:
    """Return the line that ends a block."""
    return f'seal = "{seal}"\n'.encode("ascii")


def read_chain(data: bytes) -> Chain:
    """Return what the seals of a record file's bytes say; never raises, whatever the bytes are."""
    bom = data.startswith(_BOM)
    start = len(_BOM) if bom else 0
    crlf = b"\r\n" in data
    proven: list[Block] = []
    strays: list[int] = []
    previous, line = "", 1
    for mark in _SEAL.finditer(data, start):
        raw = data[start : mark.start()]
        block = _block(raw, len(proven) + 1, line, mark[1].decode("ascii"))
        if block is None or seal_of(previous, block.body) != block.seal:
            break
        strays += _strays(raw, line) if proven else []
        proven.append(block)
        previous = block.seal
        line += raw.count(b"\n") + mark[0].count(b"\n")
        start = mark.end()
    rest = data[start:] if data[start:].strip() else b""
    unproven, changed = _diagnose(rest, previous, len(proven), line) if rest else ((), False)
    return Chain(tuple(proven), unproven, start, rest, changed, tuple(strays), crlf, bom)


def _block(raw: bytes, number: int, line: int, seal: str) -> Block | None:
    """Return the block in the bytes before a seal line, CR LF read as LF, or None where it has no header."""
    if number == 1:
        return Block(1, line, HEAD, raw.replace(b"\r\n", b"\n"), seal)
    header = _HEADER.search(raw)
    if header is None:
        return None
    line += raw.count(b"\n", 0, header.start())
    body = raw[header.start() :].replace(b"\r\n", b"\n")
    return Block(number, line, header[1].decode("ascii"), body, seal)


def _strays(raw: bytes, line: int) -> list[int]:
    """Return the numbers of the lines before a block's header that are not blank."""
    header = _HEADER.search(raw)
    before = raw[: header.start()] if header else raw
    return [line + place for place, text in enumerate(before.split(b"\n")) if text.strip()]


def _diagnose(rest: bytes, previous: str, count: int, line: int) -> tuple[tuple[Block, ...], bool]:
    """Return what looks like blocks after the last proven one, and whether they betray an edit.

    A write cut short leaves nothing behind it. Where a later block follows the stored or the recomputed seal
    of the one before, that one had been written whole and was changed afterwards.
    """
    blocks = _guess(rest, count, line)
    changed = False
    computed = seal_of(previous, blocks[0].body) if blocks else ""
    for block, after in itertools.pairwise(blocks):
        links = {block.seal, computed} - {""}
        changed |= any(seal_of(link, after.body) == after.seal for link in links)
        computed = seal_of(block.seal, after.body)
    return blocks, changed


def _guess(rest: bytes, count: int, line: int) -> tuple[Block, ...]:
    """Return the blocks that headers and seal lines outline in bytes whose seals do not hold."""
    blocks: list[Block] = []
    start, kind = 0, HEAD if count == 0 else "unknown"
    for mark in _MARK.finditer(rest):
        body = rest[start : mark.start()]
        if mark[2] is not None or body.strip():
            seal = mark[2].decode("ascii") if mark[2] else ""
            first = line + rest.count(b"\n", 0, start)
            blocks.append(Block(count + len(blocks) + 1, first, kind, body.replace(b"\r\n", b"\n"), seal))
        start = mark.start() if mark[1] else mark.end()
        kind = mark[1].decode("ascii") if mark[1] else "unknown"
    return tuple(blocks)
