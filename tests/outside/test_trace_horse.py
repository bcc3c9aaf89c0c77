"""The tracer on a silhouette nobody here drew: the horse that scikit-image carries.

Source: `skimage.data.horse()`. It is black and white with steps of whole pixels, 400 x 328.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import shapely
from PIL import Image
from skimage.data import horse
from skimage.measure import find_contours

from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

HEIGHT = 328


@pytest.fixture(scope="module")
def figure() -> np.ndarray:
    return ~horse()


@pytest.fixture(scope="module")
def outline(figure: np.ndarray) -> Outline:
    out = io.BytesIO()
    Image.fromarray(np.where(figure, 0, 255).astype(np.uint8)).save(out, "PNG")
    return read_picture(out.getvalue(), "horse.png", ReadOptions(width=400.0))


def test_the_region_covers_the_same_pixels(outline: Outline, figure: np.ndarray) -> None:
    region = outline.region()
    rows, columns = np.mgrid[:HEIGHT, : figure.shape[1]]
    inside = shapely.contains_xy(region, columns.ravel() + 0.5, HEIGHT - rows.ravel() - 0.5).reshape(
        figure.shape
    )
    assert (inside & figure).sum() / (inside | figure).sum() > 0.99
    assert region.area == pytest.approx(figure.sum(), rel=0.005)


def test_the_outline_runs_along_the_steps(outline: Outline, figure: np.ndarray) -> None:
    """Distance to scikit-image's own 0.5 iso-line, which zigzags half a pixel about the edge."""
    found = find_contours(np.pad(figure.astype(float), 1), 0.5)
    theirs = np.concatenate(
        [np.column_stack([c[:, 1] - 0.5, HEIGHT + 0.5 - c[:, 0]]) for c in found if len(c) > 60]
    )
    ours = shapely.MultiLineString([shapely.LinearRing(r.points()) for r in outline.rings])
    off = shapely.distance(shapely.points(theirs), ours)
    assert np.sqrt(np.mean(off**2)) < 0.33
    assert np.quantile(off, 0.99) < 1.0


def test_it_takes_few_segments(outline: Outline) -> None:
    """The plain iso-line has some 2,200 points."""
    assert sum(len(r.segments) for r in outline.rings) < 150


def test_what_was_decided_is_said(outline: Outline) -> None:
    assert {note.kind for note in outline.notes} >= {"threshold", "coarse picture"}
