"""Pictures made of pixels in `data:` addresses: their bytes, and a bound on their size."""

from __future__ import annotations

import base64
import binascii
import io
import re
import warnings
from dataclasses import dataclass
from urllib.parse import unquote_to_bytes

from PIL import Image

from cutout.errors import ReadError
from cutout.read.picture.decode import MOST_PIXELS
from cutout.read.svg.document import EMBEDDED, Document

_FORMATS = ("PNG", "JPEG", "GIF", "WEBP")
_SPACE = re.compile(rb"\s+")


@dataclass(frozen=True, slots=True)
class Pasted:
    """The bytes of a picture, and its width and height as a viewer shows it."""

    data: bytes
    size: tuple[int, int]


def refuse_large_pictures(document: Document, name: str) -> None:
    """Raise ReadError where the pictures in the file have more pixels together than one may have."""
    try:
        total = sum(found.size[0] * found.size[1] for found in pictures_of(document))
    except Image.DecompressionBombError as error:
        raise ReadError(
            f"{name}: a picture in it has far too many pixels: save it at most 8000 pixels wide."
        ) from error
    if total > MOST_PIXELS:
        raise ReadError(
            f"{name}: the pictures in it have {total / 1e6:.0f} million pixels, at most {MOST_PIXELS / 1e6:.0f} "
            "million can be read: save them smaller; 4000 pixels across are plenty."
        )


def pictures_of(document: Document) -> tuple[Pasted, ...]:
    """All pictures in a document, each once, whether they are drawn or not."""
    links = dict.fromkeys(e.get("href") or "" for e in document.root.iter())
    return tuple(found for link in links if (found := pasted(link)) is not None)


def pasted(link: str) -> Pasted | None:
    """The picture a `data:` address holds; None where there is none in it that can be read.

    Raises Image.DecompressionBombError where its header promises far too many pixels.
    """
    if not EMBEDDED.match(link):
        return None
    head, _, body = link.partition(",")
    try:
        data = unquote_to_bytes(body)
        if head.endswith(";base64"):
            data = base64.b64decode(_SPACE.sub(b"", data) + b"==")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=_FORMATS) as opened:
                width, height = opened.size
                lies = _lies(opened)
    except (binascii.Error, ValueError, OSError, SyntaxError, EOFError, TypeError, KeyError):
        return None
    return Pasted(data, (height, width) if lies else (width, height))


def _lies(image: Image.Image) -> bool:
    """Whether its camera held it on its side; a damaged picture says so when it is read."""
    try:
        return bool(image.getexif().get(0x0112, 1) > 4)  # orientations 5 to 8 (Exif)
    except (OSError, SyntaxError, ValueError, TypeError, KeyError):
        return False
