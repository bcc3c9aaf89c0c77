"""Readers: a file in, an Outline out."""

from __future__ import annotations

import re
from pathlib import Path

from cutout.errors import ReadError, shown
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.whole import file_bytes

__all__ = ["read", "read_bytes"]

MAX_FILE = 512 * 2**20
"""Most bytes of a file: five times an A4 scan at 600 dots to the inch in colour (104 MB), plain."""


def read(path: Path, options: ReadOptions) -> Outline:
    """The silhouette in a picture, SVG, SVGZ or DXF file, told apart by what is in it. Raises ReadError."""
    return read_bytes(_bytes(path), path.name, options)


def read_bytes(data: bytes, name: str, options: ReadOptions) -> Outline:
    """The same from the bytes of a file; `name` is used in messages. Raises ReadError."""
    if _is_svg(data):
        from cutout.read.svg.reader import read_svg

        return read_svg(data, name, options)
    if _is_dxf(data):
        from cutout.read.dxf import read_dxf

        return read_dxf(data, name, options)
    _refuse_others(data, name)
    from cutout.read.picture.reader import read_picture

    return read_picture(data, name, options)


def _bytes(path: Path) -> bytes:
    data = file_bytes(path, MAX_FILE, "file", "picture or drawing")
    if not data:
        raise ReadError(f"{shown(path)}: is empty: copy or download it again.")
    return data


def _is_svg(data: bytes) -> bool:
    """Gzipped text, or text that starts as XML does (UTF-8 or UTF-16, with or without a byte order mark)."""
    head = data[:4096].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return data[:2] == b"\x1f\x8b" or head.startswith(b"<")


_DXF_START = re.compile(rb"(?:^|\n)\s*0[ \t]*\r?\n[ \t]*SECTION\b")


def _is_dxf(data: bytes) -> bool:
    """A tagged text file with its first section, or the binary form by its signature."""
    return data[8:22] == b"Binary DXF\r\n\x1a\0" or bool(_DXF_START.search(data[:65536]))


def _refuse_others(data: bytes, name: str) -> None:
    """One line for formats people try and that are none of ours. Raises ReadError."""
    if data.startswith(b"%PDF"):
        raise ReadError(f"{name}: is a PDF: save the drawing as SVG, or the page as PNG.")
    if data.startswith((b"%!PS", b"\xc5\xd0\xd3\xc6")):
        raise ReadError(f"{name}: is PostScript: save the drawing as SVG.")
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1"):
        raise ReadError(f"{name}: is a HEIC photo, as many phones take them: save or send it as JPEG.")
    if data.startswith(b"PK\x03\x04"):
        raise ReadError(
            f"{name}: is a package of files, not a picture: unpack it, or save the picture in it as PNG."
        )
    if re.match(rb"AC10\d\d", data):
        raise ReadError(f"{name}: is a CAD drawing in a closed form: save it as DXF.")
