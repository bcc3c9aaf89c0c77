"""Sheets of paper in photos: trusted where all four sides are seen, refused where they are not."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter

from cutout.errors import ReadError
from cutout.geom.curve import FloatArray
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.edge import coded, linear
from cutout.read.picture.nested import holds_another
from cutout.read.picture.reader import read_picture
from cutout.read.picture.sides import aspect, lay_sides
from cutout.say.source import sentence

A4 = (297.0, 210.0)
SIZE = (900, 700)


def photo(ground: FloatArray | float, bend: float = 0.0) -> FloatArray:
    """A white sheet of 600 x 424.5 px with a dark box of 300 x 200 px, seen through a lens with that radial term."""
    w, h = SIZE
    col, row = np.meshgrid((np.arange(4 * w) + 0.5) / 4, (np.arange(4 * h) + 0.5) / 4)
    away = np.stack([col - w / 2, row - h / 2])
    away = away * (1 + bend * (away**2).sum(axis=0) / (math.hypot(w, h) / 2) ** 2)
    x, y = np.abs(away)
    sheet, box = (x < 300) & (y < 212.25), (x < 150) & (y < 100)
    wide = np.broadcast_to(np.asarray(ground), (h, w)).repeat(4, axis=0).repeat(4, axis=1)
    fine = linear(np.where(box, 12.0, np.where(sheet, 228.0, wide)))
    return np.asarray(coded(gaussian_filter(fine.reshape(h, 4, w, 4).mean(axis=(1, 3)), 0.8)))


def read(codes: FloatArray, sheet: tuple[float, float] = A4) -> Outline:
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(codes), 0, 255).astype(np.uint8)).save(out, "PNG")
    return read_picture(out.getvalue(), "test", ReadOptions(sheet=sheet))


def said(outline: Outline, kind: str) -> str:
    return " ".join(sentence(note, "mm") for note in outline.notes if note.kind == kind)


@pytest.mark.parametrize("bend", [0.0, 0.03, -0.03])
def test_the_box_has_its_size_whatever_the_lens_bends(bend: float) -> None:
    """600 px are 297 mm: the box is 148.5 x 99 mm, its sides straight; to 0.22 mm, under half a pixel."""
    found = read(photo(90.0, bend))
    assert found.scale is not None
    x0, y0, x1, y1 = (v * found.scale for v in found.bounds)
    assert (x1 - x0, y1 - y0) == pytest.approx((148.5, 99.0), abs=0.22)
    (ring,) = found.rings
    assert len(ring.segments) == 4
    assert "±0." in said(found, "scale")
    (sized,) = (note for note in found.notes if note.kind == "straightened")
    assert sorted(sized.lengths) == [210.0, 297.0]
    assert ("bent lines" in said(found, "scale")) == (bend != 0)


def test_a_sheet_whose_side_is_lost_in_a_light_ground_is_refused() -> None:
    """Right of the sheet's middle, a lighter cloth as bright as the paper lies along its lower side."""
    ground = np.full(SIZE[::-1], 90.0)
    ground[480:, 380:] = 226.0
    with pytest.raises(ReadError, match="sheet"):
        read(photo(ground))


def test_a_shadow_is_not_the_sheets_side() -> None:
    """The shadow's straight rim cuts the sheet: a quadrilateral, but with two sides that are no paper's."""
    lit = photo(150.0)
    lit[:, 500:] *= 0.4
    with pytest.raises(ReadError, match="sheet"):
        read(lit)


def test_a_sheet_on_a_light_board_is_asked_about() -> None:
    """Both the board's four sides and the paper's are in sight, and both are about as long as wide."""
    ground = np.full(SIZE[::-1], 40.0)
    ground[100:600, 100:800] = 150.0
    with pytest.raises(ReadError, match="two sheets or boards"):
        read(photo(ground))


def test_a_sheet_on_a_board_of_its_own_proportions_nearly_as_light_is_asked_about() -> None:
    """No level lies between board and paper, and the board is shaped like the paper: only the paper's own
    sides tell."""
    ground = np.full(SIZE[::-1], 40.0)
    ground[102:598, 100:800] = 212.0
    with pytest.raises(ReadError, match="two sheets or boards"):
        read(photo(ground))


@pytest.mark.parametrize(
    ("line", "width", "another"),
    [(None, 0, False), (30.0, 4, False), (30.0, 12, False), (218.0, 4, False), (None, 0, True)],
)
def test_a_frame_drawn_on_the_sheet_is_no_other_sheet(line: float | None, width: int, another: bool) -> None:
    """In light that falls off from the middle to all sides."""
    corners = np.array([(100.0, 102.5), (800.0, 102.5), (800.0, 597.5), (100.0, 597.5)])
    codes = np.full(SIZE[::-1], 60.0)
    codes[102:598, 100:800] = 215.0 if another else 228.0
    if line is not None:
        codes[178:522, 200:700] = line
    if line is not None or another:
        codes[178 + width : 522 - width, 200 + width : 700 - width] = 228.0
    y, x = np.mgrid[-1:1:700j, -1:1:900j]
    lit = 0.95 - 0.25 * (x**2 + y**2)
    light = gaussian_filter(linear(codes), 0.8) * lit
    noisy = light + np.random.default_rng(2).normal(0.0, 0.008, light.shape)
    assert holds_another(noisy.astype(np.float32), corners) == another


def test_other_paper_than_was_said_is_noticed() -> None:
    assert said(read(photo(90.0)), "other paper") == ""
    assert "looks 1.4" in said(read(photo(90.0), sheet=(279.4, 215.9)), "other paper")


def test_corners_to_a_twentieth_of_a_pixel() -> None:
    codes = photo(90.0)
    rough = np.array([(153.0, 135.0), (747.0, 141.0), (752.0, 559.0), (148.0, 565.0)])
    found = lay_sides(linear(codes), rough)
    assert found.corners == pytest.approx(
        np.array([(150.0, 137.75), (750.0, 137.75), (750.0, 562.25), (150.0, 562.25)]), abs=0.05
    )
    assert min(found.seen) > 0.99
    assert found.bend == 0.0


@pytest.mark.parametrize("tilt", [0.0, 20.0, 35.0])
def test_proportions_from_perspective(tilt: float) -> None:
    """A rectangle 3 : 2 projected by a pinhole camera, worked out here by hand."""
    a = math.radians(tilt)
    flat = np.array([(-150.0, 100.0), (150.0, 100.0), (150.0, -100.0), (-150.0, -100.0)])
    x, y, z = flat[:, 0], flat[:, 1] * math.cos(a), 500.0 + flat[:, 1] * math.sin(a)
    x, z = x * math.cos(0.2) + z * math.sin(0.2) - 500 * math.sin(0.2), z - x * math.sin(0.2)
    seen = np.column_stack([400 + 600 * x / z, 300 - 600 * y / z])
    assert aspect(seen, np.array([400.0, 300.0]), 500.0) == pytest.approx(1.5, rel=0.03)
