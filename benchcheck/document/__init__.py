"""Documents: TOML in with the line of every key, text in with its faults named, files out whole or not at all.

The only home of TOML parsers and writers and of atomic file writing. tomli-w and tomlkit load when they write.
"""

from benchcheck.document.amend import amend
from benchcheck.document.emit import dump, toml_value
from benchcheck.document.files import (
    digest_of,
    read_bytes_capped,
    read_text_capped,
    write_atomically,
    write_bytes_atomically,
)
from benchcheck.document.toml import Document, parse_document, read_document

__all__ = [
    "Document",
    "amend",
    "digest_of",
    "dump",
    "parse_document",
    "read_bytes_capped",
    "read_document",
    "read_text_capped",
    "toml_value",
    "write_atomically",
    "write_bytes_atomically",
]
