"""A figure on a busy ground, told apart by a box or by strokes: a disc whose place and size are known."""

from __future__ import annotations

import io
import math
from functools import cache

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read import read_bytes
from cutout.read.options import ReadOptions
from cutout.read.picture.edge import coded

SIDE, MIDDLE, RADIUS = 240, 120.3, 70.0
BOX = (40.0, 40.0, 200.0, 200.0)
ON, ROUND = ((MIDDLE, MIDDLE, 40.0),), ((20.0, 20.0, -30.0), (220.0, 30.0, -30.0), (120.0, 225.0, -20.0))
PEBBLES = np.array([[0.35, 0.32, 0.28], [0.12, 0.11, 0.10], [0.5, 0.47, 0.42], [0.2, 0.17, 0.13]])
RED = np.array([0.45, 0.08, 0.06])


@cache
def photo(red: float = 1.0) -> bytes:
    """A red disc on pebbles of the lightness it has, mixed as a lens mixes light; `red` 0: as grey as the pebbles."""
    rng = np.random.default_rng(4)
    y, x = np.mgrid[:SIDE, :SIDE] + 0.5
    points = rng.uniform(0, SIDE, (150, 2))
    shade = PEBBLES[rng.integers(0, 4, 150)] * rng.uniform(0.7, 1.3, (150, 1))
    near, which = cKDTree(points).query(np.stack([y.ravel(), x.ravel()], axis=1), k=2)
    under = shade[which[:, 0]] * np.clip((near[:, 1] - near[:, 0]) / 4, 0.2, 1)[:, None]
    cover = np.clip(RADIUS - np.hypot(x - MIDDLE, y - MIDDLE) + 0.5, 0, 1)[..., None]
    grey = np.roll(under.reshape(SIDE, SIDE, 3), 37, axis=0)
    top = red * RED + (1 - red) * grey
    light = under.reshape(SIDE, SIDE, 3) * (1 - cover) + top * cover
    light = gaussian_filter(light, (0.8, 0.8, 0)) + rng.normal(0, 0.003, light.shape)
    out = io.BytesIO()
    Image.fromarray(np.round(coded(light.clip(0, 1))).astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


def seen(data: bytes, **options: object) -> Outline:
    return read_bytes(data, "busy.png", ReadOptions(**options))  # type: ignore[arg-type]


def missed(found: Outline) -> float:
    """Share of the disc's area by which the outline differs from it."""
    disc = shapely.Point(MIDDLE, SIDE - MIDDLE).buffer(RADIUS, quad_segs=64)
    return float(found.region(0.05).symmetric_difference(disc).area / disc.area)


@pytest.mark.parametrize(
    "marks", [{"within": BOX}, {"marked": ON + ROUND}, {"within": BOX, "marked": ON}, {"marked": ON}]
)
def test_a_box_or_strokes_tell_a_figure_from_a_busy_ground(marks: dict[str, object]) -> None:
    found = seen(photo(), **marks)
    assert len(found.rings) == 1
    # A quarter of a pixel all round, and no bias to either side.
    assert missed(found) < 2 * 0.25 / RADIUS
    assert found.region(0.05).area == pytest.approx(math.pi * RADIUS**2, rel=0.005)
    (note,) = (n.text for n in found.notes if n.kind == "marked")
    assert "marked by hand" in note
    assert ("a box round the figure" in note) == ("within" in marks)
    assert ("1 spot on the figure" in note) == ("marked" in marks)


def test_unmarked_it_is_refused_or_another_thing() -> None:
    try:
        assert missed(seen(photo())) > 0.1
    except ReadError as error:
        assert "within" in str(error)


def test_where_both_sides_look_alike_it_is_said_to_be_a_guess() -> None:
    alike = {n.kind for n in seen(photo(0.0), within=BOX, marked=ON).notes}
    assert "guess" in alike
    assert "guess" not in {n.kind for n in seen(photo(), within=BOX, marked=ON).notes}


def test_a_mark_counts_wherever_it_is() -> None:
    hole = seen(photo(), within=BOX, marked=((MIDDLE, MIDDLE, -30.0),)).region(0.05)
    assert not hole.intersects(shapely.Point(MIDDLE, SIDE - MIDDLE).buffer(14))
    more = seen(photo(), marked=(*ON, *((x, 120.0, 14.0) for x in np.arange(150.0, 226.0, 4.0)), *ROUND))
    assert more.region(0.05).contains(shapely.Point(224, 120).buffer(3))


@pytest.mark.parametrize(
    ("marks", "said"),
    [
        ({"within": (300.0, 0.0, 400.0, 90.0)}, r"within leaves nothing of the picture, which is 240 x 240"),
        ({"within": (0.0, 0.0, 240.0, 240.0)}, "nothing of the picture is ground"),
    ],
)
def test_marks_that_tell_nothing_apart_are_refused_in_a_line(marks: dict[str, object], said: str) -> None:
    with pytest.raises(ReadError, match=said):
        seen(photo(), **marks)


def test_a_box_round_nothing_is_refused() -> None:
    out = io.BytesIO()
    Image.new("RGB", (80, 60), (120, 140, 90)).save(out, "PNG")
    with pytest.raises(ReadError, match="nothing in the box stands out"):
        seen(out.getvalue(), within=(10.0, 10.0, 60.0, 50.0))
