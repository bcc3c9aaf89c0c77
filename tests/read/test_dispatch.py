"""`read` tells files apart by what is in them and turns every obstacle into one line."""

from __future__ import annotations

import gzip
import io
import os
from pathlib import Path

import ezdxf
import pytest
from PIL import Image, ImageDraw

from cutout.errors import ReadError
from cutout.read import read
from cutout.read.options import ReadOptions

SVG = b'<svg viewBox="0 0 100 100"><circle cx="50" cy="50" r="20"/></svg>'


def png() -> bytes:
    image = Image.new("L", (200, 200), 255)
    ImageDraw.Draw(image).ellipse((60, 60, 140, 140), fill=0)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def dxf(binary: bool = False) -> bytes:
    drawing = ezdxf.new(units=4)
    drawing.modelspace().add_circle((0, 0), 20)
    if binary:
        out = io.BytesIO()
        drawing.write(out, fmt="bin")
        return out.getvalue()
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue().encode()


@pytest.mark.parametrize(
    "data",
    [SVG, gzip.compress(SVG, mtime=0), b"\n  <?xml version='1.0'?>" + SVG, png(), dxf(), dxf(binary=True)],
)
@pytest.mark.parametrize("name", ["a.svg", "a.png", "a.dxf", "a"])
def test_content_decides_not_the_name(tmp_path: Path, data: bytes, name: str) -> None:
    path = tmp_path / name
    # An XML declaration may not follow white space; the reader says so rather than guess.
    if data.startswith(b"\n"):
        data = data.lstrip()
    path.write_bytes(data)
    found = read(path, ReadOptions(width=40))
    x0, y0, x1, y1 = found.bounds
    assert (x1 - x0) / (y1 - y0) == pytest.approx(1, abs=0.02)
    assert found.region().area / (x1 - x0) ** 2 == pytest.approx(0.785, abs=0.01)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is empty"),
        (SVG[:40], "not well-formed"),
        (png()[:60], "picture"),
        (dxf()[:900], "stops short"),
        (b"%PDF-1.7 ...", "PDF"),
        (b"%!PS-Adobe-3.0 EPSF-3.0", "PostScript"),
        (b"hello, this is a shopping list", "picture"),
        (bytes(range(256)) * 8, "picture"),
    ],
)
def test_bad_content(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "thing.svg"
    path.write_bytes(data)
    with pytest.raises(ReadError, match=says) as caught:
        read(path, ReadOptions(width=40))
    assert "\n" not in str(caught.value)


def test_missing_and_folder(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="no such file"):
        read(tmp_path / "none.svg", ReadOptions())
    with pytest.raises(ReadError, match="is a folder"):
        read(tmp_path, ReadOptions())
    with pytest.raises(ReadError, match="can't be read"):
        read(Path("bad\0name.svg"), ReadOptions())


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_no_permission(tmp_path: Path) -> None:
    path = tmp_path / "locked.svg"
    path.write_bytes(SVG)
    path.chmod(0)
    with pytest.raises(ReadError, match="permissions"):
        read(path, ReadOptions())


def test_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cutout.read.MAX_FILE", 10)
    path = tmp_path / "a.svg"
    path.write_bytes(SVG)
    with pytest.raises(ReadError, match="larger than"):
        read(path, ReadOptions())
