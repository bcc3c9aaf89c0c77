"""What was touched by hand: discs and crops whose place and size are known."""

from __future__ import annotations

import io
import math

import pytest
from PIL import Image, ImageDraw
from shapely import Point, box

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read import read_bytes
from cutout.read.options import ReadOptions


def picture(light_on_dark: bool = False, mode: str = "L") -> bytes:
    """A disc of radius 60 about (100, 100), 200 pixels a side, and a speck of radius 8 at (30, 170)."""
    ground, ink = (0, 255) if light_on_dark else (255, 0)
    image = Image.new("L", (200, 200), ground)
    pen = ImageDraw.Draw(image)
    pen.ellipse((40, 40, 160, 160), fill=ink)
    pen.ellipse((22, 162, 38, 178), fill=ink)
    out = io.BytesIO()
    image.convert(mode).save(out, "PNG")
    return out.getvalue()


def seen(data: bytes, **options: object) -> Outline:
    return read_bytes(data, "spot.png", ReadOptions(**options))  # type: ignore[arg-type]


@pytest.mark.parametrize("light_on_dark", [False, True])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_a_speck_is_rubbed_out_and_a_gap_filled(light_on_dark: bool, mode: str) -> None:
    data = picture(light_on_dark, mode)
    before = seen(data).region(0.05)
    after = seen(data, touched=((30.0, 170.0, -24.0), (165.0, 100.0, 20.0))).region(0.05)
    # y runs up in the outline: the speck was at 200 - 170.
    speck, filled = Point(30, 30), Point(165, 100)
    assert before.contains(speck)
    assert not after.intersects(speck.buffer(11))
    assert not before.contains(filled)
    assert after.contains(filled.buffer(9.5))
    assert not after.intersects(
        filled.buffer(10.6).difference(Point(100, 100).buffer(63)).difference(filled.buffer(10.4))
    )


def test_the_edge_of_a_filled_disc_lies_where_it_was_put() -> None:
    after = seen(picture(), touched=((30.0, 170.0, -30.0), (100.0, 100.0, 140.0))).region(0.02)
    assert after.area == pytest.approx(math.pi * 70**2, rel=0.004)
    assert after.centroid.distance(Point(100, 100)) < 0.1


def test_the_later_of_two_strokes_counts() -> None:
    at = (100.0, 100.0)
    rubbed = seen(picture(), touched=((*at, 30.0), (*at, -30.0))).region(0.05)
    filled = seen(picture(), touched=((*at, -30.0), (*at, 30.0))).region(0.05)
    assert not rubbed.contains(Point(at))
    assert filled.contains(Point(at))


def test_what_lies_beyond_a_crop_is_cut_off_straight() -> None:
    outline = seen(picture(), crop=(20.0, 20.0, 180.5, 120.0))
    left = outline.region(0.05)
    # Rows 0 to 120 from the top are the upper part: y from 80 up.
    assert left.bounds == pytest.approx((40, 80, 160.5, 160.5), abs=1.0)
    assert (
        left.symmetric_difference(box(0, 80, 200, 200).intersection(Point(100.5, 99.5).buffer(60.5))).area
        < 120
    )
    assert "By hand: what lies beyond the crop cut off." in [note.text for note in outline.notes]


def test_it_is_said_and_what_was_not_touched_stays_as_it_was() -> None:
    data = picture()
    outline = seen(data, touched=((30.0, 170.0, -24.0), (10.0, 10.0, 6.0), (12.0, 10.0, 6.0)))
    assert "By hand: 1 spot rubbed out, 2 spots filled in." in [note.text for note in outline.notes]
    disc = seen(data).region(0.05).geoms[0] if seen(data).region(0.05).geom_type == "MultiPolygon" else None
    parts = outline.region(0.05).geoms  # type: ignore[union-attr]
    assert disc is not None
    assert min(disc.symmetric_difference(part).area for part in parts) < 1


def test_spots_beyond_the_picture_do_no_harm() -> None:
    plain = seen(picture()).region(0.05)
    after = seen(picture(), touched=((-50.0, 20.0, 10.0), (500.0, 500.0, -40.0))).region(0.05)
    assert plain.symmetric_difference(after).area < 1


@pytest.mark.parametrize(
    "crop", [(50.0, 50.0, 50.0, 90.0), (300.0, 0.0, 400.0, 90.0), (90.0, 0.0, 10.0, 90.0)]
)
def test_a_crop_that_leaves_nothing_is_told(crop: tuple[float, ...]) -> None:
    with pytest.raises(ReadError, match=r"spot\.png: crop leaves nothing .* 200 x 200 pixels"):
        seen(picture(), crop=crop)
