"""Pictures leave out what was written into them and lose no sample; checked with Pillow, an independent reader."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from benchcheck.report.bare_picture import NotFollowed, bare_picture

SECRET = b"SN-0042 N47.1234"
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><!-- ' + SECRET + b" --></x:xmpmeta>"
TEXT = SECRET.decode()


def exif(orientation: int) -> Image.Exif:
    """What a camera writes: maker, serial number of the body, place, a remark (CIPA DC-008)."""
    made = Image.Exif()
    made[0x0112] = orientation
    made[0x010F] = made[0x0110] = made[0xA431] = TEXT
    made.get_ifd(0x8825)[0x001D] = TEXT
    made.get_ifd(0x8769)[0x927C] = SECRET
    return made


def drawn(mode: str = "RGB", shade: int = 0) -> Image.Image:
    size = (31, 17)
    samples = bytes(
        (7 * place + shade) % 256 for place in range(size[0] * size[1] * len(Image.new(mode, (1, 1)).getbands()))
    )
    return Image.frombytes(mode, size, samples)


def saved(picture: Image.Image, kind: str, **options: Any) -> bytes:
    file = io.BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def jpeg(orientation: int = 1, mode: str = "RGB", **options: Any) -> bytes:
    """With a preview in the JFIF segment, a vendor's segment, and a second file behind the end of the image."""
    made = saved(
        drawn(mode), "JPEG", exif=exif(orientation), xmp=XMP, comment=SECRET, icc_profile=SECRET * 9, **options
    )
    jfif = struct.pack(">BBH5sHBHHBB3s", 0xFF, 0xE0, 19, b"JFIF\0", 0x102, 0, 1, 1, 1, 1, b"\1\2\3")
    vendor = struct.pack(">BBH", 0xFF, 0xEC, 2 + len(SECRET)) + SECRET
    return made[:2] + jfif + vendor + b"\xff" + made[2:] + SECRET


def png(orientation: int = 1, mode: str = "RGB", **options: Any) -> bytes:
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", TEXT)
    info.add_text("Serial", TEXT, zip=True)
    info.add_itxt("XML:com.adobe.xmp", XMP.decode())
    info.add(b"prVt", SECRET)
    made = saved(drawn(mode), "PNG", pnginfo=info, exif=exif(orientation), icc_profile=SECRET * 9, **options)
    return made + SECRET


def webp(orientation: int = 1, mode: str = "RGB", **options: Any) -> bytes:
    made = saved(drawn(mode), "WEBP", exif=exif(orientation), xmp=XMP, icc_profile=SECRET * 9, **options)
    body = made[12:] + b"PRVT" + struct.pack("<I", len(SECRET)) + SECRET
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body + SECRET


def gif(**options: Any) -> bytes:
    made = saved(drawn("RGB"), "GIF", comment=SECRET, **options)
    application = b"\x21\xff\x0bXMP DataXMP" + bytes((len(SECRET),)) + SECRET + b"\0"
    return made[:-1] + application + b";" + SECRET


MORE: dict[str, Any] = {
    "save_all": True,
    "append_images": [drawn("RGB", 5), drawn("RGB", 9)],
    "duration": 100,
    "loop": 0,
}
PICTURES: dict[str, tuple[str, Callable[[], bytes]]] = {
    "JPEG": ("image/jpeg", jpeg),
    "JPEG, progressive": ("image/jpeg", lambda: jpeg(progressive=True)),
    "JPEG, restarts": ("image/jpeg", lambda: jpeg(restart_marker_blocks=1)),
    "JPEG, grey": ("image/jpeg", lambda: jpeg(mode="L")),
    "JPEG, four colours": ("image/jpeg", lambda: jpeg(mode="CMYK")),
    "PNG": ("image/png", png),
    "PNG, see-through": ("image/png", lambda: png(mode="RGBA")),
    "PNG, moving": ("image/png", lambda: png(**MORE)),
    "WebP": ("image/webp", webp),
    "WebP, lossless": ("image/webp", lambda: webp(lossless=True)),
    "WebP, see-through": ("image/webp", lambda: webp(mode="RGBA")),
    "WebP, moving": ("image/webp", lambda: webp(**MORE)),
    "GIF": ("image/gif", gif),
    "GIF, moving": ("image/gif", lambda: gif(**MORE)),
}
MADE = {name: (kind, make()) for name, (kind, make) in PICTURES.items()}


def frames(data: bytes) -> list[tuple[str, bytes]]:
    """Every frame's mode and samples, as Pillow decodes them, colours as the file has them."""
    found = []
    with Image.open(io.BytesIO(data)) as picture:
        for number in range(getattr(picture, "n_frames", 1)):
            picture.seek(number)
            found.append((picture.mode, picture.tobytes()))
    return found


def holds_secret(data: bytes) -> bool:
    return SECRET in data or SECRET in b"".join(_unpacked(data))


def _unpacked(data: bytes) -> list[bytes]:
    """What is packed in PNG chunks that hold a text."""
    places = [at for at in range(len(data)) if data.startswith((b"zTXt", b"iCCP"), at)]
    packed = [data[data.index(b"\0", at) + 2 :] for at in places]
    return [zlib.decompressobj().decompress(one) for one in packed]


@pytest.mark.parametrize("name", MADE)
def test_nothing_that_was_written_into_a_picture_is_left_and_no_sample_is_lost(name: str) -> None:
    kind, data = MADE[name]
    assert holds_secret(data)
    bare = bare_picture(kind, data)
    assert not holds_secret(bare)
    assert frames(bare) == frames(data)
    with Image.open(io.BytesIO(bare)) as picture:
        assert not picture.getexif()
        assert not picture.info.keys() & {"comment", "exif", "xmp", "icc_profile", "XML:com.adobe.xmp", "Serial"}
    assert bare_picture(kind, bare) == bare


@pytest.mark.parametrize(("kind", "make"), [("image/jpeg", jpeg), ("image/png", png), ("image/webp", webp)])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_which_way_up_it_was_held_stays_alone(kind: str, make: Callable[[int], bytes], orientation: int) -> None:
    bare = bare_picture(kind, make(orientation))
    assert not holds_secret(bare)
    with Image.open(io.BytesIO(bare)) as picture:
        assert dict(picture.getexif()) == ({} if orientation == 1 else {0x0112: orientation})


@pytest.mark.parametrize(
    "tiff", [b"", b"II*\0", b"MM\0*\0\0\0\x08\0\xff", b"II*\0\xff\xff\xff\xff", b"XX*\0" + b"\0" * 20]
)
def test_exif_that_makes_no_sense_is_left_out(tiff: bytes) -> None:
    body = b"Exif\0\0" + tiff
    segment = struct.pack(">BBH", 0xFF, 0xE1, len(body) + 2) + body
    plain = saved(drawn(), "JPEG")
    assert bare_picture("image/jpeg", plain[:2] + segment + plain[2:]) == bare_picture("image/jpeg", plain)


@pytest.mark.parametrize("name", MADE)
def test_a_picture_cut_short_is_refused_at_every_byte(name: str) -> None:
    kind, data = MADE[name]
    whole = bare_picture(kind, data)
    ends = data.rindex(SECRET)  # what was put behind the end of the picture
    for length in range(16, ends):
        try:
            bare = bare_picture(kind, data[:length])
        except NotFollowed:
            continue
        assert bare == whole  # nothing but the end itself was cut
        assert length > ends - 60


@given(st.sampled_from(sorted(MADE)), st.integers(16), st.binary(min_size=1, max_size=4))
def test_a_spoilt_picture_is_refused_or_stays_bare(name: str, place: int, other: bytes) -> None:
    kind, data = MADE[name]
    place %= len(data)
    spoilt = data[:place] + other + data[place + len(other) :]
    try:
        bare = bare_picture(kind, spoilt)
    except NotFollowed:
        return
    assert bare_picture(kind, bare) == bare


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("image/jpeg", b"\xff\xd8\xff\xe0rest"),
        ("image/jpeg", b"\xff\xd8\xff\xd8\0\0"),
        ("image/jpeg", b"\xff\xd8\xff\xff\xff"),
        ("image/png", b"\x89PNG\r\n\x1a\n"),
        ("image/png", b"\x89PNG\r\n\x1a\n\0\0\0\1IHDRx\0\0\0\0"),
        ("image/webp", b"RIFF\n\x00\x00\x00WEBPVP8 "),
        ("image/webp", b"RIFF\xff\xff\xff\xffWEBPVP8 "),
        ("image/gif", b"GIF89arest"),
        ("image/gif", b"GIF89a\1\0\1\0\0\0\0?"),
    ],
)
def test_what_only_begins_like_a_picture_is_refused(kind: str, data: bytes) -> None:
    with pytest.raises(NotFollowed):
        bare_picture(kind, data)
