"""Copies of the spec and the bench a record was made with, named by their digest and written once.

The bench copy holds no addresses: what a link says of where an instrument stands is blanked before the digest
is taken, so that a record and its sources can be handed on. Accuracy, limits and names stay as they were.
"""

from __future__ import annotations

import re
from pathlib import Path

from benchcheck.document import digest_of, write_atomically
from benchcheck.errors import Fault, RecordError
from benchcheck.record.files import make_folder
from benchcheck.record.folders import SOURCES

__all__ = ["WITHHELD", "keep_bench", "keep_source", "read_source", "without_addresses"]

WITHHELD = "withheld"

_DIGEST = re.compile(r"[0-9a-f]{64}")
_RESOURCE = re.compile(
    r"""((?<![\w-])["']?resource["']?[ \t]*=[ \t]*)"""
    r'''("""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')''',
    re.DOTALL,
)
_VISA = re.compile(r"\b(?:TCPIP|USB|GPIB|ASRL|VXI|PXI|PRLGX|VICP)[0-9A-Z/._-]*::[^\s\"',}\]]*", re.IGNORECASE)
_IPV4 = re.compile(r"(?<![\w.])(?:[0-9]{1,3}\.){3}[0-9]{1,3}(?::[0-9]{1,5})?(?![\w.])")


def keep_source(records_dir: Path, text: str) -> str:
    """Return the SHA-256 of a text's UTF-8 bytes, a copy of the text being in `sources/<sha256>.toml`.

    Raises RecordError where the copy cannot be written.
    """
    digest = digest_of(text)
    path = records_dir / SOURCES / f"{digest}.toml"
    try:
        make_folder(path.parent)
        if path.is_file() and path.read_bytes() == text.encode("utf-8"):
            return digest
    except OSError as error:
        raise RecordError(Fault(str(path), "", f"the copy cannot be kept: {error.strerror}")) from error
    write_atomically(path, text, error=RecordError)
    return digest


def keep_bench(records_dir: Path, bench_text: str) -> str:
    """Return the digest for the head's `bench_digest`: a copy of the bench without addresses is kept under it."""
    return keep_source(records_dir, without_addresses(bench_text))


def read_source(records_dir: Path, digest: str) -> str:
    """Return the text with this SHA-256.

    Raises RecordError where it is not there, or is not what was kept any more.
    """
    if not _DIGEST.fullmatch(digest):
        raise RecordError(Fault(SOURCES, "", f'"{digest[:80]}" is not a digest: 64 hexadecimal digits are'))
    path = records_dir / SOURCES / f"{digest}.toml"
    name = f"{SOURCES}/{path.name}"
    try:
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError as error:
        message = "the copy of this source is not there; copy the folder along with the records"
        raise RecordError(Fault(name, "", message)) from error
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8"
        raise RecordError(Fault(name, "", f"cannot be read: {reason}")) from error
    if digest_of(text) != digest:
        message = "was changed: its text does not have the digest it is named by; put back a copy"
        raise RecordError(Fault(name, "", message))
    return text


def without_addresses(bench_text: str) -> str:
    """Return a bench file's text with every instrument address blanked, also in comments.

    >>> without_addresses('link = { resource = "TCPIP0::10.0.0.7::5025::SOCKET", dialect = "generic" }')
    'link = { resource = "withheld", dialect = "generic" }'
    """
    blanked = _RESOURCE.sub(rf'\g<1>"{WITHHELD}"', bench_text)
    return _IPV4.sub(WITHHELD, _VISA.sub(WITHHELD, blanked))
