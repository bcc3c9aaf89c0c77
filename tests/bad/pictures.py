"""Pictures that are damaged, that lie about themselves, or that hold nothing to cut."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from PIL import Image, ImageDraw

CUT = "damaged or cut short"
NO_PICTURE = "not a picture that can be read"
CUT_OR_NOT = f"{CUT}|{NO_PICTURE}"
NOTHING = "there is nothing in this picture"
FORMATS = ("PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP")


@dataclass(frozen=True)
class Case:
    """A source file and the answer it should get: exit code, and a pattern of the message or report."""

    id: str
    name: str
    content: Callable[[], bytes]
    code: int
    says: str


def kite() -> Image.Image:
    """The good picture all others start from: one dark kite on white."""
    picture = Image.new("L", (160, 120), 255)
    ImageDraw.Draw(picture).polygon([(80, 10), (150, 60), (80, 110), (10, 60)], fill=0)
    return picture


def saved(picture: Image.Image, form: str, **options: object) -> bytes:
    """A picture as a file's bytes."""
    out = io.BytesIO()
    picture.save(out, form, **options)
    return out.getvalue()


@cache
def good(form: str) -> bytes:
    """The kite in one of FORMATS."""
    return saved(kite(), form)


def png(width: int, height: int, rows: bytes, depth: int = 1, colour: int = 0) -> bytes:
    """A PNG put together by hand, so that it can say what no library would write."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def bomb(side: int) -> bytes:
    """A PNG of side x side white dots in a few kilobytes."""
    row = b"\0" + b"\xff" * ((side + 7) // 8)
    return png(side, side, row * side)


def lying(form: str) -> bytes:
    """The kite with a header that claims to be thousands of dots larger than the data that follows."""
    data = bytearray(good(form))
    if form == "PNG":
        data[16:24] = struct.pack(">II", 4000, 3000)
        data[29:33] = struct.pack(">I", zlib.crc32(bytes(data[12:29])))
    elif form == "BMP":
        data[18:26] = struct.pack("<ii", 4000, 3000)
    elif form == "GIF":
        data[6:10] = struct.pack("<HH", 4000, 3000)
        at = data.index(b",")
        data[at + 5 : at + 9] = struct.pack("<HH", 4000, 3000)
    return bytes(data)


def held_sideways() -> bytes:
    """A photo of the upright kite by a camera that was held on its side."""
    notes = Image.Exif()
    notes[0x0112] = 6
    return saved(kite(), "JPEG", exif=notes, quality=95)


def moving(form: str) -> bytes:
    """Three frames, the kite in the first."""
    frames = [kite(), Image.new("L", (160, 120), 255), Image.new("L", (160, 120), 0)]
    return saved(frames[0], form, save_all=True, append_images=frames[1:], duration=100)


def sixteen_bits() -> bytes:
    return saved(Image.fromarray(np.asarray(kite()).astype(np.uint16) * 257), "PNG")


def floats() -> bytes:
    grey = np.asarray(kite()).astype(np.float32) / 255
    grey[0, 0] = np.nan
    return saved(Image.fromarray(grey), "TIFF")


def noise() -> bytes:
    dots = np.random.default_rng(5).integers(0, 256, (60, 80), dtype=np.uint8)
    return saved(Image.fromarray(dots), "PNG")


def broken(form: str) -> bytes:
    """Every seventh byte of the data overwritten, the first 64 left alone."""
    data = bytearray(good(form))
    data[64::7] = b"\xa5" * len(data[64::7])
    return bytes(data)


HEIC = b"\0\0\0\x18ftypheic\0\0\0\0heicmif1" + bytes(400)
AVIF = b"\0\0\0\x18ftypavif\0\0\0\0avifmif1" + bytes(400)


def cases() -> Iterator[Case]:
    """Every picture case."""
    for form in FORMATS:
        ext = form.lower()
        yield Case(f"{ext}-under-another-name", "kite.jpg", lambda f=form: good(f), 0, "1 opening")
        yield Case(f"{ext}-cut-in-half", f"half.{ext}", lambda f=form: good(f)[: len(good(f)) // 2], 2, CUT)
        yield Case(f"{ext}-header-only", f"head.{ext}", lambda f=form: good(f)[:20], 2, CUT_OR_NOT)
    for form in ("PNG", "JPEG", "GIF", "TIFF"):
        # Bitmaps have nothing to notice it by, and WebP decodes whatever it is given.
        yield Case(f"{form.lower()}-overwritten", "broken", lambda f=form: broken(f), 2, CUT_OR_NOT)
    for form in ("PNG", "BMP", "GIF"):
        yield Case(f"{form.lower()}-lying", f"lying.{form.lower()}", lambda f=form: lying(f), 2, CUT)
    blank = {"white": 255, "black": 0, "grey": 128}
    for word, level in blank.items():
        image = Image.new("L", (160, 120), level)
        yield Case(f"all-{word}", "blank.png", lambda i=image: saved(i, "PNG"), 2, NOTHING)
    yield Case("all-clear", "c.png", lambda: saved(Image.new("RGBA", (160, 120)), "PNG"), 2, NOTHING)
    yield Case("no-dots", "none.png", lambda: png(0, 0, b""), 2, NO_PICTURE)
    yield Case("one-dot", "one.png", lambda: saved(Image.new("L", (1, 1), 0), "PNG"), 2, NOTHING)
    yield Case("one-row", "row.png", lambda: saved(Image.new("L", (300, 1), 0), "PNG"), 2, NOTHING)
    yield Case("sixteen-bits", "deep.png", sixteen_bits, 0, "1 opening")
    yield Case("cmyk", "press.jpg", lambda: saved(kite().convert("CMYK"), "JPEG"), 0, "1 opening")
    yield Case("floats-with-nan", "floats.tif", floats, 0, "1 opening")
    yield Case("held-sideways", "side.jpg", held_sideways, 0, "1 opening")
    for form in ("GIF", "WEBP", "TIFF", "PNG"):
        yield Case(f"{form.lower()}-of-frames", f"m.{form.lower()}", lambda f=form: moving(f), 0, "1 opening")
    yield Case("twenty-thousand-square", "bomb.png", lambda: bomb(20_000), 2, "far too many pixels")
    yield Case("sixty-thousand-square", "bomb.png", lambda: bomb(60_000), 2, "far too many pixels")
    yield Case("noise", "noise.png", noise, 2, "no clear figure here")
    yield Case("heic-renamed", "phone.jpg", lambda: HEIC, 2, "HEIC")
    yield Case("avif-renamed", "phone.png", lambda: AVIF, 2, NO_PICTURE)
    yield Case("pdf-renamed", "scan.png", lambda: b"%PDF-1.7\n%\xe2\xe3\n" + bytes(200), 2, "is a PDF")
    yield Case("zip-renamed", "pack.svg", lambda: b"PK\x03\x04" + bytes(200), 2, "is a package of files")
    yield Case("empty", "empty.png", lambda: b"", 2, "is empty")
    yield Case("words", "words.png", lambda: b"this is not a picture\n", 2, NO_PICTURE)
    yield Case("rubbish-after-the-end", "more.png", lambda: good("PNG") + bytes(5000), 0, "1 opening")
