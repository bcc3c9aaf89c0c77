"""Radius of an arc from a slot that is known exactly: no photograph, only a hand's stray and noise of edges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from photo import Saw, sawn_line
from scipy.special import erf

from cutout.gauge.card import arc_spans, cuts
from cutout.gauge.reading import leaning
from cutout.gauge.rung import WIDER, _led_in, judged, stray_of
from cutout.gauge.sight import Blur
from cutout.gauge.slot import STEP, Slot


def slot_of(ladder: int, radius: float, saw: Saw, seed: int) -> Slot:
    """Stations on a saw's way along the arc, 0.02 mm of noise on each: the nearest place right of the line drawn."""
    cut = next(c for c in cuts(ladder) if c.radius == radius)
    rng = np.random.default_rng(seed)
    way, _ = sawn_line(cut, cut.trails[0], saw, rng)
    s = np.arange(0.0, cut.trails[0].length, STEP)
    z, ahead = cut.trails[0].at(s)
    across = (way[None, :] - z[:, None]) / (-1j * ahead[:, None])
    nearest = np.abs(across.imag).argmin(axis=1)
    middle = across.real[np.arange(len(s)), nearest] + 0.02 * rng.standard_normal(len(s))
    return Slot(cut.trails[0], s, middle, np.full(len(s), 0.4), 0, 0, 0.1)


@pytest.mark.parametrize(
    ("ladder", "radius", "least"),
    [
        (3, 0.8, 0.96),
        (3, 0.8, 0.6),
        (3, 1.3, 1.1),
        (2, 4.2, 4.05),
        (2, 3.4, 3.9),
        (1, 8.5, 9.0),
        (0, 21.0, 19.0),
    ],
)
@pytest.mark.parametrize("bias", [0.0, 0.25])
def test_the_radius_sawn_is_told_whatever_side_the_hand_keeps_to(ladder, radius, least, bias):
    true, missed = max(radius, least), 0
    for seed in range(8):
        saw = Saw(bias=bias, wander=0.03, least=least)
        found, sure = _led_in(slot_of(ladder, radius, saw, seed), *arc_spans(radius)[0])
        assert found == pytest.approx(true, rel=0.2)
        missed += abs(found - true) > sure
    assert missed <= 1, "two sigma"


@pytest.mark.parametrize("radius", [0.6, 0.8, 1.3])
@pytest.mark.parametrize(("wide", "followed"), [(1.0, True), (1.05, True), (1.3, False), (1.4, False)])
def test_a_small_arc_sawn_wider_is_seen_within_the_allowance(radius, wide, followed):
    """All of so small a curve lies within the allowance: what counts is how far a wider blade would stray."""
    cut = next(c for c in cuts(3) if c.radius == radius)
    right = 0
    for seed in range(8):
        saw = Saw(bias=0.1, wander=0.02, least=radius * wide)
        rung = judged(cut, slot_of(3, radius, saw, seed), 0.4, 0.1, 0.04, 0.5)
        right += rung.followed is followed or rung.doubtful
    assert right == 8


@pytest.mark.parametrize("radius", [0.6, 3.0, 13.5])
def test_how_far_a_wider_blade_strays_grows_with_the_arc(radius):
    """A quarter turn and back, the same lengths at 1.15 times the radius: a quarter of the radius beside the line."""
    assert stray_of(radius, WIDER) == pytest.approx(0.254 * radius, rel=0.01)
    assert stray_of(radius, 1.0) == pytest.approx(0.0, abs=1e-3)


def test_a_straight_slot_has_no_radius():
    saw = Saw(bias=0.0, wander=0.0, least=1e9)
    found, _ = _led_in(slot_of(0, 50.0, saw, 1), *arc_spans(50.0)[0])
    assert found > 1000 or math.isinf(found)


@pytest.mark.parametrize("ratio", [2.0, 2.6, 3.0, 4.0, 5.0])
def test_how_a_width_leans_on_the_blur_by_solving_it_anew(ratio):
    """Area over peak held still, the blur taken 1 % wider: the width that solves the equation then, by bisection."""
    whole = ratio / float(erf(ratio / math.sqrt(8)))
    low, high = 0.0, ratio
    for _ in range(80):
        width = (low + high) / 2
        low, high = (low, width) if width / float(erf(width / math.sqrt(8) / 1.01)) > whole else (width, high)
    assert (ratio - width) / ratio / 0.01 == pytest.approx(leaning(ratio, Blur(1.0, 0.0, 0.0)), rel=0.06)
