"""The camera fitted to places is the one that made them; circles and slots of known size come out so."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from cutout.gauge.camera import fit
from cutout.gauge.card import LINE, LINE_GREY
from cutout.gauge.rung import circle
from cutout.gauge.sight import Blur
from cutout.gauge.slot import _edges
from tests.gauge.photo import Shot, pinhole


@settings(max_examples=25, deadline=None)
@given(tilt=st.floats(0, 30), axis=st.floats(0, 360), turn=st.floats(0, 360), k1=st.floats(-0.02, 0.02))
def test_a_pinhole_with_a_lens_is_found_again(tilt: float, axis: float, turn: float, k1: float) -> None:
    """Places of a grid through a camera that another formula makes; in between within 0.1 px of 4000."""
    size = (3000, 4000)
    ahead, _ = pinhole(Shot(tilt=tilt, axis=axis, turn=turn, k1=k1), size, (93.0, 125.0), 330.0)
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0, 186, 9), np.linspace(0, 250, 11)))
    pixels = ahead(x + 1j * y)
    found = fit(np.column_stack([x, y]), np.column_stack([pixels.real, pixels.imag]), size)
    assert found.rms < 0.01
    u, v = np.random.default_rng(3).uniform((0, 0), (186, 250), (50, 2)).T
    true = ahead(u + 1j * v)
    got = found.camera.pixels(np.column_stack([u, v]))
    assert np.hypot(got[:, 0] - true.real, got[:, 1] - true.imag).max() < 0.1


@settings(max_examples=50, deadline=None)
@given(
    radius=st.floats(0.6, 60),
    turn=st.floats(0, 6.28),
    sweep=st.floats(0.5, 1.57),
    way=st.sampled_from([-1, 1]),
)
def test_a_circle_is_found_from_a_part_of_it(radius: float, turn: float, sweep: float, way: int) -> None:
    z = 30 - 20j + radius * np.exp(1j * (turn + way * np.linspace(0, sweep, 40)))
    assert circle(z)[0] == pytest.approx(radius, rel=1e-3)


def test_noise_moves_a_circle_no_more_than_it_says() -> None:
    rng = np.random.default_rng(5)
    clean = 20 * np.exp(1j * np.linspace(0, 1.2, 90))
    way = clean / np.abs(clean)
    within = [abs(r - 20) <= s for r, s in (circle(clean + way * rng.normal(0, 0.05, 90)) for _ in range(60))]
    assert np.mean(within) > 0.9


@pytest.mark.parametrize("width", [0.25, 0.4, 0.8, 1.5, 2.4])
@pytest.mark.parametrize("sigma", [0.05, 0.1])
def test_a_blurred_slot_has_the_width_it_was_made_with(width: float, sigma: float) -> None:
    """A box blurred by a Gaussian, the difference of two error functions; beside it what the saw left of the line."""
    t = np.arange(-3.6, 3.6, 0.02)
    middle = 0.137

    def box(low: float, high: float) -> np.ndarray:
        return (erf((t - low) / (math.sqrt(2) * sigma)) - erf((t - high) / (math.sqrt(2) * sigma))) / 2

    left, right = middle - width / 2, middle + width / 2
    dark = 0.97 * box(left, right)
    if left > -LINE / 2:
        dark += (1 - LINE_GREY) * box(-LINE / 2, left)
    if right < LINE / 2:
        dark += (1 - LINE_GREY) * box(right, LINE / 2)
    edges = _edges(t, dark, dark, sigma, Blur(1.0, 0.0, 0.0))
    assert edges is not None
    assert edges[1] - edges[0] == pytest.approx(width, abs=0.012)
    assert (edges[0] + edges[1]) / 2 == pytest.approx(middle, abs=0.005)
