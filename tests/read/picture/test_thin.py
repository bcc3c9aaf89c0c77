"""Edges nearer to one another than the blur reaches, and bends that the blur draws in: shapes known exactly."""

from __future__ import annotations

import io

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter

from cutout.geom.curve import FloatArray
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture import thin
from cutout.read.picture.figure import Field
from cutout.read.picture.reader import read_picture
from cutout.trace.iso import iso_lines

FINE = 6


def cover(shape: shapely.Geometry, width: int, height: int) -> FloatArray:
    """Share of each pixel in a shape given in pixels, y down."""
    x, y = np.meshgrid((np.arange(width * FINE) + 0.5) / FINE, (np.arange(height * FINE) + 0.5) / FINE)
    inside = shapely.contains_xy(shape, x, y)
    return np.asarray(inside.reshape(height, FINE, width, FINE).mean(axis=(1, 3)))


def traced(share: FloatArray, blur: float, noise: float = 0.0) -> Outline:
    codes = 235 - 205 * gaussian_filter(share, blur)
    codes = codes + np.random.default_rng(1).normal(0, noise, codes.shape)
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(codes), 0, 255).astype(np.uint8)).save(out, "PNG")
    return read_picture(out.getvalue(), "thin", ReadOptions(width=None, speck=0.0))


@pytest.mark.parametrize("noise", [0.0, 2.0])
def test_a_bar_narrower_than_the_blur_is_found_with_its_width(noise: float) -> None:
    """2.4 px wide under a blur of 2 px it never comes near the half-way level."""
    bar, block = shapely.box(70.3, 20.2, 72.7, 90.6), shapely.box(12, 18, 52, 100)
    share = cover(bar | block, 100, 120)
    assert gaussian_filter(share, 2.0)[40:70, 68:75].max() < 0.5
    found = traced(share, 2.0, noise)
    assert len(found.rings) == 2
    one = min(found.rings, key=lambda r: r.area).polygon(0.01)
    x0, y0, x1, y1 = one.bounds
    assert (x0 + x1) / 2 == pytest.approx(71.5, abs=0.2)
    assert one.intersection(shapely.box(0, 50, 100, 80)).area / 30 == pytest.approx(2.4, abs=0.2)
    assert y1 - y0 == pytest.approx(70.4, abs=0.65)


def test_bends_are_not_drawn_in_by_the_blur() -> None:
    """A half-way line of a disc of 24 px blurred by 2 px lies 2 * 2 / (2 * 24) = 0.083 px inside its edge."""
    disc = shapely.Point(40.2, 39.7).buffer(24, quad_segs=90)
    (ring,) = traced(cover(disc, 80, 80), 2.0).rings
    assert np.sqrt(ring.area / np.pi) == pytest.approx(24.0, abs=0.03)


def test_corners_stay_where_their_flanks_put_them() -> None:
    square = shapely.Polygon([(20, 30), (75.5, 22), (83, 77), (28, 85)])
    (ring,) = traced(cover(square, 104, 108), 2.0).rings
    got = shapely.Polygon([(x, 108 - y) for x, y in ring.points(0.01)])
    assert got.hausdorff_distance(square) < 0.25


def test_a_sharp_picture_is_left_alone() -> None:
    share = cover(shapely.box(20.3, 20.2, 22.7, 50.6) | shapely.box(30, 10, 60, 60), 80, 80)
    values = np.round(205 * share).astype(np.uint8)
    found = iso_lines(values, 102.5)
    assert thin.unblurred(Field(values, 102.5), found, 0.2) is found
    assert len(found.sharp) == 0


def test_lines_at_45_degrees_have_points_all_along() -> None:
    disc = cover(shapely.Point(60, 60).buffer(45, quad_segs=90), 120, 120)
    for blur in (0.0, 2.0):
        (line,) = iso_lines((200 * gaussian_filter(disc, blur)).astype(np.float32), 100.0).lines
        assert np.abs(line - np.roll(line, 1)).max() < 2.5
