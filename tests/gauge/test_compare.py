"""A simulated panel held against its pattern: how far it was sawn beside its line comes out, place by place."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import shapely
from PIL import Image

from cutout.errors import ReadError
from cutout.gauge.compare import Compared, Drawn, compare, drawn_in
from cutout.gauge.light import linear_colour
from cutout.say.gauging import compared_lines
from cutout.write.compare_picture import compare_png, shade
from tests.gauge.panel import astray, leaf, photo_of_panel, sawn_panel
from tests.gauge.photo import Shot

MOST = 0.6
DRAWN = Drawn(300.0, 200.0, 18.0, shapely.MultiPolygon([leaf()]))


@pytest.fixture(scope="module")
def photo() -> bytes:
    shot = Shot(megapixels=4.0, tilt=14, axis=60, turn=185, k1=0.015, fill=0.8)
    return photo_of_panel(sawn_panel(leaf(), MOST), 18.0, shot)


@pytest.fixture(scope="module")
def found(photo: bytes) -> Compared:
    return compare(DRAWN, {"panel.jpg": linear_colour(photo, "panel.jpg")}, 0.3)


def test_every_place_within_two_tenths(found: Compared) -> None:
    off = found.off - astray(found.places[:, 0], found.places[:, 1], MOST)
    assert np.nanmax(np.abs(off)) < 0.2
    assert found.told > 0.5
    assert np.nanpercentile(np.abs(off), 95) < found.sure
    assert not found.shaded


def test_dark_wood_on_a_light_ground_with_a_shadow_on_it() -> None:
    """The shadow's border is taken for the panel's nowhere; the light's change from wood to it is what counts."""
    shot = Shot(megapixels=2.0, tilt=8, axis=200, turn=5, k1=-0.01, fill=0.8)
    data = photo_of_panel(sawn_panel(leaf(), MOST), 18.0, shot, dark_ground=False, shadow=6 - 4j)
    found = compare(DRAWN, {"panel.jpg": linear_colour(data, "panel.jpg")}, 0.3)
    off = np.abs(found.off - astray(found.places[:, 0], found.places[:, 1], MOST))
    assert found.told > 0.7
    assert np.nanpercentile(off, 95) < 0.2
    assert np.nanmax(off) < found.sure + 0.2
    assert found.shaded
    assert any("shadows" in line for line in compared_lines(found, "mm"))


def test_spots_are_where_the_saw_strayed(found: Compared) -> None:
    assert found.spots
    for spot in found.spots:
        assert spot.off == pytest.approx(
            float(astray(np.array(spot.at[0]), np.array(spot.at[1]), MOST)), abs=0.2
        )
    assert [abs(s.off) for s in found.spots] == sorted((abs(s.off) for s in found.spots), reverse=True)
    assert abs(found.largest) == pytest.approx(MOST, abs=0.15)


def test_words_and_picture(photo: bytes, found: Compared) -> None:
    assert not any(" mm" in line for line in compared_lines(found, "in"))
    said = compared_lines(found, "mm")
    assert "could be told" in said[0]
    png = compare_png(linear_colour(photo, "p"), found, said)
    pixels = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)
    assert ((pixels[..., 0] - pixels[..., 2]) > 80).sum() > 100, "red and orange where wood is left"
    assert ((pixels[..., 2] - pixels[..., 0]) > 80).sum() > 100, "blue where the saw went too far"


def test_the_scale_of_colours_goes_from_blue_by_green_to_red() -> None:
    low, middle, high = shade(np.array([-1.0, 0.0, 1.0]), 1.0).astype(int)
    assert low.argmax() == 2
    assert middle.argmax() == 1
    assert high.argmax() == 0


def test_another_panel_is_refused(photo: bytes) -> None:
    hole = shapely.Point(60, 60).buffer(30)
    other = Drawn(300.0, 200.0, 18.0, shapely.box(0, 0, 300, 200) - hole)
    with pytest.raises(ReadError, match="does not look like the panel"):
        compare(other, {"p": linear_colour(photo, "p")}, 0.3)


def test_no_panel_in_the_picture() -> None:
    stream = io.BytesIO()
    Image.new("RGB", (400, 300), (60, 60, 60)).save(stream, "PNG")
    with pytest.raises(ReadError):
        compare(DRAWN, {"p": linear_colour(stream.getvalue(), "p")}, 0.3)


@pytest.mark.parametrize("text", ["", "[]", '{"panel": 3}', json.dumps({"panel": {"width": 1}})])
def test_what_is_no_result_is_said(text: str) -> None:
    with pytest.raises(ReadError, match=r"not a result\.json"):
        drawn_in(text, "x")
