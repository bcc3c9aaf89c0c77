"""Simulated photographs of a sawn card: what was put in comes out, and what can't be read is said, not guessed."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageDraw

from cutout.errors import ReadError
from cutout.gauge.light import linear_light
from cutout.gauge.reading import Reading, read_card
from cutout.say.gauging import lines
from cutout.write.gauge_picture import gauge_png
from tests.gauge.photo import Card, Saw, Scene, Shot, photograph, scene

CARD = Card(1, "a4")
SAW = Saw(kerf=1.3, bias=0.15, wander=0.03, torn=0.05, least=9.0, unsawn=("met",), across_kerf=1.42)
SHOT = Shot(megapixels=4.0, tilt=18, axis=70, turn=94, k1=0.015, paper="ivory", wood="oak")


@pytest.fixture(scope="module")
def sawn() -> Scene:
    return scene(CARD, SAW, SHOT)


@pytest.fixture(scope="module")
def photo(sawn: Scene) -> bytes:
    return photograph(sawn, SHOT)


@pytest.fixture(scope="module")
def reading(photo: bytes) -> Reading:
    return read_card(linear_light(photo, "photo.jpg"), "photo.jpg", minutes=10.0)


def test_kerf_along_and_across_the_grain(reading: Reading) -> None:
    assert reading.found.card == CARD
    assert reading.kerf_along is not None
    assert reading.kerf_across is not None
    assert reading.kerf_along.value == pytest.approx(1.30, abs=0.1)
    assert reading.kerf_across.value == pytest.approx(1.42, abs=0.1)
    assert reading.kerf_across.value - reading.kerf_along.value == pytest.approx(0.12, abs=0.05)
    assert reading.kerf_along.sure < 0.1


def test_bias_and_wander(reading: Reading) -> None:
    assert reading.bias is not None
    assert reading.bias.value == pytest.approx(0.15, abs=0.05)
    assert reading.wander == pytest.approx(0.06, abs=0.05), "95 of 100 lie within two sigma of 0.03"
    assert reading.advised in (0.2, 0.3)


def test_the_ladder_ends_where_the_blade_gave_up(reading: Reading) -> None:
    followed = {r.radius: r.followed for r in reading.rungs}
    assert followed == {
        20: True,
        16: True,
        13: True,
        10.5: True,
        8.5: False,
        7: False,
        5.5: False,
        4.5: False,
    }
    assert reading.radius is not None
    assert reading.radius.value == pytest.approx(10.5, rel=0.05)
    assert not reading.ladder_done


def test_the_corner_turned_in_its_own_kerf_has_half_a_kerf_for_radius(reading: Reading) -> None:
    turned = next(c for c in reading.corners if c.kind == "turned")
    assert turned.rounding == pytest.approx(SAW.kerf / 2, abs=0.35)


def test_print_scale_by_the_papers_edges(reading: Reading) -> None:
    assert reading.scale.how == "paper's edges"
    assert reading.scale.wide == pytest.approx(1.0, abs=0.002)
    assert reading.scale.high == pytest.approx(1.0, abs=0.002)


def test_what_was_not_sawn_is_said(reading: Reading) -> None:
    assert [u.what for u in reading.unread] == ["the corner sawn from both sides"]
    said = lines(reading, "mm")
    assert any(line.startswith("NOT READ  the corner sawn from both sides: not sawn") for line in said)
    assert any("turning radius   10.5 mm" in line for line in said)


def test_a_reader_of_inches_reads_no_millimetres(reading: Reading) -> None:
    said = lines(reading, "in")
    assert any(" in, sure to" in line for line in said)
    assert any(line.startswith("  arc of 0.335 in: not followed: ") for line in said)
    assert any(line.startswith("feed ") and " in a minute" in line for line in said)
    assert not any(" mm" in line or "{" in line for line in said)


def test_feed_counts_what_was_sawn(reading: Reading) -> None:
    """By the drawing: slots 66 and 56 mm, the corner 65 mm, eight arcs of 42 to 71 mm; some of the last not seen."""
    assert reading.feed is not None
    assert 45 < reading.feed < 70


def test_the_picture_shows_the_slots_in_colour(photo: bytes, reading: Reading) -> None:
    light = linear_light(photo, "photo.jpg")
    png = gauge_png(light, reading, lines(reading, "mm"))
    assert png == gauge_png(light, reading, lines(reading, "mm"))
    colours = np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).reshape(-1, 3)
    for wanted in ((0, 150, 90), (205, 40, 30), (20, 90, 200)):
        assert (colours == wanted).all(axis=1).sum() > 200


def test_the_square_as_measured_goes_before_the_papers_edges(photo: bytes, reading: Reading) -> None:
    scaled = read_card(linear_light(photo, "photo.jpg"), "photo.jpg", square=(49.0, 50.0))
    assert scaled.scale.how == "check square"
    assert scaled.kerf_along is not None
    assert reading.kerf_along is not None
    assert scaled.kerf_along.value == pytest.approx(reading.kerf_along.value * 0.98, abs=0.003)


def painted(photo: bytes, box: tuple[float, float, float, float], value: int) -> bytes:
    """The photo with a part of it (shares of width and height) painted over."""
    image = Image.open(io.BytesIO(photo)).convert("L")
    x0, y0, x1, y1 = (round(v * s) for v, s in zip(box, (*image.size, *image.size), strict=True))
    ImageDraw.Draw(image).rectangle((x0, y0, x1, y1), fill=value)
    stream = io.BytesIO()
    image.save(stream, "PNG")
    return stream.getvalue()


def test_one_lost_mark_is_told_by_the_dots_and_said(photo: bytes, reading: Reading) -> None:
    (x, y) = (
        reading.found.marks[1].quad.mean(axis=0) / np.array(Image.open(io.BytesIO(photo)).size)
    ).tolist()
    covered = painted(photo, (x - 0.05, y - 0.05, x + 0.05, y + 0.05), 235)
    three = read_card(linear_light(covered, "p"), "p")
    assert [m.corner for m in three.found.marks] == [0, 2, 3]
    assert any(u.what == "lower right mark" for u in three.unread)
    assert three.kerf is not None
    assert reading.kerf is not None
    assert three.kerf.value == pytest.approx(reading.kerf.value, abs=0.01)
    assert "three marks" in lines(three, "mm")[0]


def test_two_lost_marks_are_named(photo: bytes) -> None:
    with pytest.raises(
        ReadError, match=r"marks (lower|upper) (left|right) and upper (left|right) were not found"
    ):
        read_card(linear_light(painted(photo, (0, 0, 0.5, 1), 200), "p"), "p")


def test_no_card_at_all(photo: bytes) -> None:
    with pytest.raises(ReadError, match="none of the test card's four marks"):
        read_card(linear_light(painted(photo, (0, 0, 1, 1), 90), "p"), "p")


def test_a_mirrored_picture_is_not_read(photo: bytes) -> None:
    stream = io.BytesIO()
    Image.open(io.BytesIO(photo)).transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(stream, "PNG")
    with pytest.raises(ReadError):
        read_card(linear_light(stream.getvalue(), "p"), "p")


def test_glare_over_the_slots_is_said(sawn: Scene) -> None:
    shot = replace(SHOT, turn=0.0, tilt=4.0, glare=(-0.45, -0.25, 0.3, 2.0))
    try:
        blinded = read_card(linear_light(photograph(sawn, shot), "p"), "p")
    except ReadError as error:
        assert "glare" in str(error) or "dots" in str(error)
        return
    assert any("glare" in u.why for u in blinded.unread)
    if blinded.kerf is not None:
        assert blinded.kerf.value == pytest.approx(1.36, abs=0.15)


@pytest.mark.parametrize("disc", [False, True])
def test_out_of_focus_a_kerf_is_as_sure_as_it_says(sawn: Scene, disc: bool) -> None:
    """Edges blurred over more than the slot is wide, by a Gaussian or by a lens's disc."""
    blurred = linear_light(photograph(sawn, replace(SHOT, blur=3.2, disc=disc)), "p")
    found = read_card(blurred, "p")
    assert (found.see.blur.disc > 0.8) is disc
    for told, true in ((found.kerf_along, SAW.kerf), (found.kerf_across, SAW.across_kerf)):
        assert told is None or told.value == pytest.approx(true, abs=told.sure)
    refused = [u for u in found.unread if u.what.startswith("kerf")]
    assert all("shows nothing under" in u.why for u in refused)
    assert found.kerf is not None or refused


def test_a_fine_slot_in_a_coarse_picture_is_not_guessed() -> None:
    card, saw = Card(3, "letter"), Saw(kerf=0.3, bias=0.0, wander=0.01, least=0.7)
    shot = Shot(megapixels=2.0, tilt=10, blur=1.2)
    found = read_card(linear_light(photograph(scene(card, saw, shot), shot), "p"), "p")
    assert found.kerf is None
    assert found.radius is None
    assert any("shows nothing under" in u.why or "no slot" in u.why for u in found.unread)
