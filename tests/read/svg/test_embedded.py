"""Drawings that hold a picture made of pixels, by a square whose place is known."""

from __future__ import annotations

import base64
import io
from typing import Any

import pytest
from PIL import Image, ImageDraw

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.svg.reader import read_svg

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
PAGE = f'{HEAD} viewBox="0 0 200 160">'


def picture(form: str = "PNG", **saved: Any) -> bytes:
    """100 x 80 pixels, light grey, with a dark square from (20, 10) to (60, 40)."""
    image = Image.new("L", (100, 80), 200)
    ImageDraw.Draw(image).rectangle((20, 10, 59, 39), fill=40)
    out = io.BytesIO()
    image.save(out, form, **saved)
    return out.getvalue()


def link(data: bytes, head: str = "data:image/png;base64,") -> str:
    return head + base64.b64encode(data).decode()


def outline(body: str, head: str = PAGE, **options: Any) -> Outline:
    return read_svg(f"{head}{body}</svg>".encode(), "pasted.svg", ReadOptions(**options))


@pytest.mark.parametrize(
    ("attributes", "bounds"),
    [
        ('width="200" height="160"', (40, -80, 120, -20)),
        ('width="100"', (20, -40, 60, -10)),
        ("", (20, -40, 60, -10)),
        ('x="10" y="20" width="50" height="80" preserveAspectRatio="none"', (20, -60, 40, -30)),
        ('x="10" y="20" width="100" height="160"', (30, -100, 70, -70)),
        ('width="100" height="80" transform="translate(100) scale(-1 1)"', (40, -40, 80, -10)),
        ('width="100" height="80" transform="rotate(90) translate(0 -100)"', (60, -60, 90, -20)),
    ],
)
def test_a_picture_lies_where_the_drawing_puts_it(
    attributes: str, bounds: tuple[float, float, float, float]
) -> None:
    found = outline(f'<image {attributes} href="{link(picture())}"/>')
    assert found.bounds == pytest.approx(bounds, abs=0.02)
    assert [ring.area > 0 for ring in found.rings] == [True]
    assert "embedded" in {note.kind for note in found.notes}


@pytest.mark.parametrize(
    ("form", "head"),
    [
        ("PNG", "data:;base64,"),
        ("JPEG", "data:image/jpeg;base64,"),
        ("GIF", "data:image/gif;charset=x;base64, "),
    ],
)
def test_kinds_of_pictures(form: str, head: str) -> None:
    found = outline(f'<image width="100" xlink:href="{link(picture(form), head)}"/>')
    assert found.bounds == pytest.approx((20, -40, 60, -10), abs=0.1)


def test_a_page_with_a_true_size_gives_it_to_its_picture() -> None:
    head = f'{HEAD} width="100mm" viewBox="0 0 200 160">'
    found = outline(f'<image width="200" height="160" href="{link(picture())}"/>', head)
    assert found.scale is not None
    assert (found.bounds[2] - found.bounds[0]) * found.scale == pytest.approx(40, abs=0.02)


def test_a_picture_is_turned_as_its_camera_says() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned clockwise by a quarter (Exif)
    data = picture("JPEG", exif=exif, quality=95)
    found = outline(f'<image width="80" height="100" href="{link(data, "data:image/jpeg;base64,")}"/>')
    assert found.bounds == pytest.approx((40, -60, 70, -20), abs=0.1)


def test_a_frame_of_the_picture_s_own_size_and_a_white_page_cut_nothing() -> None:
    frame = '<clipPath id="c"><rect width="200" height="160"/></clipPath>'
    image = f'<image width="200" height="160" clip-path="url(#c)" href="{link(picture())}"/>'
    found = outline(f'{frame}<rect width="300" height="300" fill="white"/>{image}')
    assert found.bounds == pytest.approx((40, -80, 120, -20), abs=0.02)


@pytest.mark.parametrize(
    "body",
    [
        '<clipPath id="c"><rect width="180" height="90"/></clipPath>'
        '<image width="200" height="160" clip-path="url(#c)" href="{}"/>',
        '<pattern id="p" patternContentUnits="objectBoundingBox" width="1" height="1">'
        '<image width="1" height="1" preserveAspectRatio="none" href="{}"/></pattern>'
        '<rect width="200" height="160" fill="url(#p)"/>',
    ],
)
def test_a_cut_or_pasted_picture_is_drawn_first(body: str) -> None:
    found = outline(body.format(link(picture())), invert=False, threshold=120)
    assert found.bounds == pytest.approx((40, -80, 120, -20), abs=0.8)
    assert "embedded" in {note.kind for note in found.notes}


def test_a_picture_beside_drawn_shapes_is_drawn_with_them() -> None:
    found = outline(f'<image width="100" href="{link(picture())}"/><circle cx="160" cy="120" r="20"/>')
    assert "rendered" in {note.kind for note in found.notes}


def test_places_in_a_picture_s_pixels_hold_for_it() -> None:
    found = outline(f'<image width="200" height="160" href="{link(picture())}"/>', crop=(0, 0, 50, 80))
    assert found.bounds == pytest.approx((40, -80, 100, -20), abs=1.1)


@pytest.mark.parametrize("beside", ["", '<circle r="30"/>'])
def test_pictures_with_far_too_many_pixels_are_refused(beside: str) -> None:
    out = io.BytesIO()
    Image.new("1", (10_000, 9_000)).save(out, "PNG")
    with pytest.raises(ReadError, match="90 million pixels"):
        outline(f'<image width="100" height="90" href="{link(out.getvalue())}"/>{beside}')


def test_a_damaged_picture_is_refused_in_a_line() -> None:
    with pytest.raises(ReadError, match=r"pasted\.svg: the picture is damaged"):
        outline(f'<image width="100" href="{link(picture()[:90])}"/>')
