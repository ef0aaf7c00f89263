"""Pictures without what a camera or a program wrote into them: place, time, serial numbers, remarks, previews.

The container is walked and only what a decoder needs to show the picture is copied, so what is not known here is
left out, and no sample of the picture changes. Which way up it was held stays, alone. A file that cannot be followed
to its end of picture is refused rather than shown half cleaned.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator

__all__ = ["NotFollowed", "bare_picture"]

_UPRIGHT = 1


class NotFollowed(ValueError):
    """The file does not go on as its format says, so that nobody knows what would be shown with it."""


def bare_picture(media_type: str, data: bytes) -> bytes:
    """Return a picture without its metadata; raises NotFollowed where the file is not built as its format says."""
    try:
        return _WALKS[media_type](data)
    except (IndexError, struct.error) as error:
        raise NotFollowed("it ends too early") from error


def _piece(data: bytes, start: int, length: int) -> bytes:
    """Return so many bytes; raises NotFollowed where there are fewer."""
    if start + length > len(data):
        raise NotFollowed("it ends too early")
    return data[start : start + length]


# ---- which way up: the one thing kept of Exif (CIPA DC-008, 4.6.2 and tag 274)


def _orientation(tiff: bytes) -> int:
    """Return the orientation 1 to 8 that a TIFF header's first directory states, 1 where it states none."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(tiff[:4])
    if order is None:
        return _UPRIGHT
    try:
        (at,) = struct.unpack_from(f"{order}I", tiff, 4)
        (count,) = struct.unpack_from(f"{order}H", tiff, at)
        for place in range(at + 2, at + 2 + 12 * count, 12):
            tag, kind, number, value = struct.unpack_from(f"{order}HHIH", tiff, place)
            if (tag, kind, number) == (274, 3, 1) and 1 <= value <= 8:
                return int(value)
    except struct.error:
        pass
    return _UPRIGHT


def _only_orientation(orientation: int) -> bytes:
    """Return a TIFF header with one directory of one entry."""
    return struct.pack(">2sHIHHHIHHI", b"MM", 42, 8, 1, 274, 3, 1, orientation, 0, 0)


# ---- JPEG (ITU-T T.81, annex B; JFIF: ITU-T T.871; the Adobe segment: ITU-T T.872, 6.5.3)

_SOI, _EOI, _SOS, _APP0, _APP1, _APP14 = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1, 0xEE
#: frames, tables and what goes with them; APPn, COM and whatever else are not among them.
_DECODED = frozenset((*range(0xC0, 0xD0), *range(0xDA, 0xE0)))


def _jpeg(data: bytes) -> bytes:
    kept, orientation = [], _UPRIGHT
    for marker, segment in _segments(data):
        if marker == _APP1 and segment.startswith(b"Exif\0\0"):
            orientation = _orientation(segment[6:])
        elif marker == _APP0 and segment.startswith(b"JFIF\0") and len(segment) >= 14:
            kept.append(_segment(_APP0, segment[:12] + b"\0\0"))  # without its preview
        elif marker == _APP14 and segment.startswith(b"Adobe") and len(segment) >= 12:
            kept.append(_segment(_APP14, segment[:12]))  # how colours were coded
        elif marker in _DECODED:
            kept.append(segment if marker == _SOS else _segment(marker, segment))
    if orientation != _UPRIGHT:
        kept.insert(0, _segment(_APP1, b"Exif\0\0" + _only_orientation(orientation)))
    return b"".join((b"\xff\xd8", *kept, b"\xff\xd9"))


def _segment(marker: int, body: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def _segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield the segments up to the end of the image: marker and body; a scan whole, its marker included."""
    at = 2
    while True:
        if data[at] != 0xFF:
            raise NotFollowed("a marker is missing in it")
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = data[at + 1]
        if marker == _EOI:
            return
        length = struct.unpack_from(">H", data, at + 2)[0]
        if marker in (0, 1, _SOI) or 0xD0 <= marker < 0xD8 or length < 2:
            raise NotFollowed("a marker stands in it where none belongs")
        end = _scan_end(data, at + 2 + length) if marker == _SOS else at + 2 + length
        yield marker, _piece(data, at if marker == _SOS else at + 4, end - at if marker == _SOS else length - 2)
        at = end


def _scan_end(data: bytes, at: int) -> int:
    """Return where the coded data end: at the first marker that is no restart (B.1.1.2, B.1.1.5)."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0:
            raise NotFollowed("it ends too early")
        if data[at + 1] == 0 or 0xD0 <= data[at + 1] < 0xD8:
            at += 2
        elif data[at + 1] == 0xFF:
            at += 1
        else:
            return at


# ---- PNG (W3C, third edition, 5 and 11)

_PNG_SIGNATURE = 8
_PNG_KEPT = frozenset(b"IHDR PLTE IDAT tRNS gAMA cHRM sRGB sBIT bKGD pHYs acTL fcTL fdAT".split())


def _png(data: bytes) -> bytes:
    kept, orientation = [], _UPRIGHT
    for kind, body in _png_chunks(data):
        if kind == b"eXIf":
            orientation = _orientation(body)
        elif kind in _PNG_KEPT:
            kept.append(_png_chunk(kind, body))
    if orientation != _UPRIGHT:
        kept.insert(1, _png_chunk(b"eXIf", _only_orientation(orientation)))
    return b"".join((data[:_PNG_SIGNATURE], *kept, _png_chunk(b"IEND", b"")))


def _png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = _PNG_SIGNATURE
    while (kind := _piece(data, at + 4, 4)) != b"IEND":
        (length,) = struct.unpack_from(">I", data, at)
        body = _piece(data, at + 8, length)
        if struct.unpack_from(">I", data, at + 8 + length)[0] != zlib.crc32(kind + body):
            raise NotFollowed("a checksum in it does not hold")
        yield kind, body
        at += 12 + length


def _png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


# ---- WebP (RFC 9649, 2)

_EXTENDED = b"VP8X"
_HAS_ICC, _HAS_EXIF, _HAS_XMP = 0x20, 0x08, 0x04
_FRAME_KEPT = frozenset((b"VP8 ", b"VP8L", b"ALPH"))
_FRAME_HEADER = 16


def _webp(data: bytes) -> bytes:
    kept, orientation = [], _UPRIGHT
    (size,) = struct.unpack_from("<I", data, 4)
    for kind, body in _riff_chunks(_piece(data, 12, size - 4)):
        if kind == b"EXIF":
            orientation = _orientation(body.removeprefix(b"Exif\0\0"))
        elif kind == b"ANMF":
            frame = (_riff_chunk(*one) for one in _riff_chunks(body[_FRAME_HEADER:]) if one[0] in _FRAME_KEPT)
            kept.append((kind, body[:_FRAME_HEADER] + b"".join(frame)))
        elif kind in (_EXTENDED, b"ANIM") or kind in _FRAME_KEPT:
            kept.append((kind, body))
    if kept and kept[0][0] == _EXTENDED:
        flags = kept[0][1][0] & ~(_HAS_ICC | _HAS_EXIF | _HAS_XMP)
        if orientation != _UPRIGHT:
            flags |= _HAS_EXIF
            kept.append((b"EXIF", _only_orientation(orientation)))
        kept[0] = (_EXTENDED, bytes((flags,)) + kept[0][1][1:])
    body = b"WEBP" + b"".join(_riff_chunk(*one) for one in kept)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _riff_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at < len(data):
        kind, (length,) = _piece(data, at, 4), struct.unpack_from("<I", data, at + 4)
        yield kind, _piece(data, at + 8, length)
        at += 8 + length + length % 2


def _riff_chunk(kind: bytes, body: bytes) -> bytes:
    return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


# ---- GIF (GIF89a, 17 to 27)

_GIF_HEADER = 13
_IMAGE, _EXTENSION, _TRAILER = 0x2C, 0x21, 0x3B
_CONTROL, _APPLICATION = 0xF9, 0xFF


def _gif(data: bytes) -> bytes:
    at = _GIF_HEADER + _colour_table(data[10])
    kept = [_piece(data, 0, at)]
    while data[at] != _TRAILER:
        if data[at] == _IMAGE:
            end = _sub_blocks(data, at + 11 + _colour_table(data[at + 9]))
        elif data[at] == _EXTENSION:
            end = _sub_blocks(data, at + 2)
        else:
            raise NotFollowed("a block stands in it that the format does not know")
        if data[at] == _IMAGE or data[at + 1] == _CONTROL or _repeats(data, at):
            kept.append(data[at:end])
        at = end
    return b"".join((*kept, bytes((_TRAILER,))))


def _colour_table(flags: int) -> int:
    """Return how many bytes the colour table takes that the flags before it announce."""
    return 3 << (flags & 7) + 1 if flags & 0x80 else 0


def _sub_blocks(data: bytes, at: int) -> int:
    """Return where a chain of sub-blocks ends, behind its terminator."""
    while length := data[at]:
        at += 1 + length
    return at + 1


def _repeats(data: bytes, at: int) -> bool:
    """Whether an extension is the common one that says how often the pictures are shown, and no more."""
    return data[at + 1] == _APPLICATION and data[at + 2 : at + 16] == b"\x0bNETSCAPE2.0\x03\x01" and not data[at + 18]


_WALKS: dict[str, Callable[[bytes], bytes]] = {
    "image/jpeg": _jpeg,
    "image/png": _png,
    "image/webp": _webp,
    "image/gif": _gif,
}
