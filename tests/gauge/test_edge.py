"""Where the face ends in a row of light that is known exactly: wall, shadow or ground beyond it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from cutout.gauge.camera import Camera
from cutout.gauge.edge import _half_way, ends_at, first_steps
from cutout.gauge.ground import Laid

SIGMA = 0.12
"""Blur (mm)."""
CAMERA = Camera(np.array([[0.02, 0, 0], [0, -0.02, 0], [0, 0, 1.0]]), 0.0, (800, 600))
"""Ten pixels a mm, straight from above."""


def picture(levels: list[tuple[float, float]], face: float, ground: float) -> Laid:
    """Dark wood to the left of x = 0, then (from, light): every row of the picture alike."""
    x = (np.arange(800) + 0.5 - float(CAMERA.pixels(np.array([0.0, 0.0]))[0])) * _mm()
    row, before = np.full(800, face), face
    for at, level in levels:
        row = row + (level - before) * (1 + erf((x - at) / (SIGMA * math.sqrt(2)))) / 2
        before = level
    share = np.tile((row - ground) / (face - ground), (600, 1)).astype(np.float32)
    return Laid(share, np.zeros((4, 2)), abs(face - ground) / face)


def _mm() -> float:
    return float(CAMERA.mm_per_pixel(np.array([[0.0, 0.0]]))[0])


PLACES = np.column_stack([np.zeros(20), np.linspace(-4, 4, 20)])
OUT = np.tile([1.0, 0.0], (20, 1))


@pytest.mark.parametrize("off", [-0.6, 0.0, 0.45])
@pytest.mark.parametrize("beyond", [0.07, 0.2])
def test_the_face_ends_where_wall_or_shadow_begins(off: float, beyond: float) -> None:
    laid = picture([(off, beyond), (off + 1.5, 0.7)], 0.12, 0.7)
    one = np.ones(20)
    found = first_steps(laid, CAMERA, PLACES, OUT, 0.9 * one, 1.5 * one)
    assert np.abs(found.at - off).max() < 0.02
    assert not found.ground.any()


@pytest.mark.parametrize("ground", [0.04, 0.7])
def test_on_plain_ground_it_ends_half_way(ground: float) -> None:
    face = 0.42 if ground < 0.1 else 0.12
    off, shaded = ends_at(picture([(0.3, ground)], face, ground), CAMERA, PLACES, OUT, 3.0)
    assert np.abs(off - 0.3).max() < 0.02
    assert shaded == 0


def test_a_wide_shadow_is_not_taken_for_the_panel() -> None:
    off, shaded = ends_at(picture([(0.3, 0.2), (3.0, 0.7)], 0.12, 0.7), CAMERA, PLACES, OUT, 4.0)
    assert np.abs(off - 0.3).max() < 0.03
    assert shaded == 1


def test_a_wall_lit_like_the_face_is_not_told() -> None:
    one = np.ones(20)
    found = first_steps(
        picture([(0.0, 0.125), (1.5, 0.7)], 0.12, 0.7), CAMERA, PLACES, OUT, 0.9 * one, 1.5 * one
    )
    assert np.isnan(found.at).all()


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.sampled_from([-5.0, -1.0, -0.3, 0.0, 0.1, 0.3, 1.0]), min_size=1, max_size=40),
    st.integers(0, 39),
    st.integers(1, 8),
    st.integers(1, 12),
)
def test_any_row_is_told_or_left_out(row: list[float], begins: int, near: int, ahead: int) -> None:
    change = np.array(row)
    at, level = _half_way(change, min(begins, len(row) - 1), near, ahead)
    assert math.isfinite(level)
    assert at is None or -1 <= at < len(row)
