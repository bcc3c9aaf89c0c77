"""Few segments through dense samples: what is straight, round or sharp comes out so."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.geom.curve import Arc, Line, Similarity
from cutout.geom.outline import Ring
from cutout.trace.chain import Chain, Joint, fit_chains
from cutout.trace.corners import STEP, Loops, aside, corners_of, jitters, resample
from cutout.trace.fit import Told, fit_rings
from cutout.trace.pieces import cut_all

BULGE = math.tan(math.pi / 8)


def fit_ring(
    z: np.ndarray, tol: float, blur: float = 0.5, smooth: float = 0.0, told: Told | None = None
) -> Ring:
    return fit_rings([z], tol, blur, smooth, told=told)[0]


def polygon(*corners: complex) -> np.ndarray:
    return Ring.of_points(np.array([(c.real, c.imag) for c in corners])).complex_points()


def rounded_box(w: float, h: float, r: float) -> Ring:
    at = [r + 0j, w - r + 0j, w + 1j * r, w + 1j * (h - r), w - r + 1j * h, r + 1j * h, 1j * (h - r), 1j * r]
    pairs = list(zip(at, at[1:] + at[:1], strict=True))
    return Ring(tuple(Arc(a, b, BULGE) if k % 2 else Line(a, b) for k, (a, b) in enumerate(pairs)))


def furthest(ring: Ring, true: Ring) -> float:
    import shapely

    one, two = (shapely.LinearRing(r.points(0.002)) for r in (ring, true))
    return float(shapely.hausdorff_distance(one, two, densify=0.02))


@settings(max_examples=20, deadline=None)
@given(
    angle=st.floats(0, 2 * math.pi),
    w=st.floats(12, 200),
    h=st.floats(12, 200),
    x=st.floats(-50, 50),
)
def test_a_rectangle_is_four_lines(angle: float, w: float, h: float, x: float) -> None:
    turn = complex(math.cos(angle), math.sin(angle))
    corners = [turn * c + x for c in (0j, w + 0j, w + 1j * h, 1j * h)]
    ring = fit_ring(polygon(*corners), 0.2)
    assert [type(s) for s in ring.segments] == [Line] * 4
    assert max(min(abs(s.start - c) for s in ring.segments) for c in corners) < 0.05


@pytest.mark.parametrize("sense", [1, -1])
def test_a_circle_is_two_half_turns_of_its_own_sense(sense: int) -> None:
    z = 40 + 30j + 25 * np.exp(1j * sense * np.linspace(0, 2 * math.pi, 400, endpoint=False))
    ring = fit_ring(z, 0.2)
    assert [type(s) for s in ring.segments] == [Arc, Arc]
    assert ring.area == pytest.approx(sense * math.pi * 625, rel=1e-3)


@pytest.mark.parametrize("angle", [0.0, 0.3, 0.7, 1.9])
def test_straight_and_round_runs_come_out_as_one_segment_each(angle: float) -> None:
    true = rounded_box(160, 110, 22).transform(
        Similarity(complex(math.cos(angle), math.sin(angle)), 200 + 90j)
    )
    ring = fit_ring(true.complex_points(0.01), 0.2)
    kinds = [type(s) for s in ring.segments]
    assert kinds.count(Line) == 4
    assert kinds.count(Arc) == 4
    assert len(kinds) == 8
    assert furthest(ring, true) < 0.1


def test_runs_that_are_smooth_stay_smooth() -> None:
    t = np.linspace(0, 2 * math.pi, 900, endpoint=False)
    z = 100 * np.exp(1j * t) * (1 + 0.2 * np.cos(3 * t) + 0.08 * np.sin(7 * t))
    ring = fit_ring(z, 0.2)
    assert ring.corners(math.radians(5)) == ()
    assert len(ring.segments) < 45


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), sigma=st.floats(0.02, 0.12))
def test_noise_is_not_drawn(seed: int, sigma: float) -> None:
    rng = np.random.default_rng(seed)
    z = resample(polygon(0j, 150 + 0j, 150 + 100j, 100j))
    noisy = z + rng.normal(0, sigma, len(z)) + 1j * rng.normal(0, sigma, len(z))
    ring = fit_ring(noisy, 0.1)
    assert len(ring.segments) <= 6
    assert (
        furthest(ring, Ring.of_points(np.array([(0, 0), (150, 0), (150, 100), (0, 100)]))) < 0.1 + 4 * sigma
    )


@pytest.mark.parametrize("sigma", [0.03, 0.1, 0.2])
def test_jitter_measures_the_noise_put_in(sigma: float) -> None:
    rng = np.random.default_rng(1)
    z = resample(60 * np.exp(1j * np.linspace(0, 2 * math.pi, 700, endpoint=False)))
    noisy = z * (1 + rng.normal(0, sigma, len(z)) / 60)
    assert jitters(Loops.of([noisy], aside(0.5)))[0] == pytest.approx(sigma, rel=0.2)


def test_a_corner_the_picture_rounded_off_is_put_back() -> None:
    # The half-way line of a quadrant blurred by a Gaussian of sigma 0.5: Phi(x) Phi(y) = 1/2.
    from scipy.stats import norm

    x = np.linspace(0.01, 6, 400)
    y = norm.ppf(np.clip(0.5 / norm.cdf(x / 0.5), 0, 1 - 1e-12)) * 0.5
    arm = np.concatenate([[30 + 0j], (x + 1j * y)[x > 0.39][::-1], (y + 1j * x)[x > 0.39], [30j, 30 + 30j]])
    z = resample(arm)
    corners = corners_of(Loops.of([z], aside(0.5)), 0.5, np.array([0.03]))[0]
    assert min(abs(c.apex) for c in corners) < 0.05


@pytest.mark.parametrize("off", range(-2, 7))
@pytest.mark.parametrize("side", [1, -1])
def test_a_corner_at_the_border_of_what_is_clear_is_there_once(off: int, side: int) -> None:
    """The blur is told to be out of the line from near a corner on, one way or the other."""
    from scipy.ndimage import gaussian_filter1d

    corners = [100 * np.exp(2j * math.pi * k / 8) for k in range(8)]
    z = resample(polygon(*corners))
    z = z + np.random.default_rng(3).normal(0.0, 0.15, (2, len(z))).T @ [1, 1j]
    z = gaussian_filter1d(z.real, 2.0, mode="wrap") + 1j * gaussian_filter1d(z.imag, 2.0, mode="wrap")
    at = int(np.argmin(np.abs(z - corners[3]))) + side * off
    none = np.zeros(0, dtype=np.complex128)
    told = Told.of(z[at + side * np.arange(40)], none, none)
    ring = fit_ring(z, 0.25, blur=1.1, told=told)
    assert len(ring.segments) == 8
    assert np.abs(np.array([c for c, _ in ring.corners(0.7)])[:, None] - corners).min(axis=0).max() < 0.3


def test_curves_reach_what_they_are_tied_to_from_behind() -> None:
    """Samples that overshoot the place where their end is tied to, aside of them."""
    t = np.linspace(0.0, 1.0, 30)
    z = 11 * t + 3j * (1 - t) ** 2
    for turn in (1 + 0j, 0.6 - 0.8j):
        free, tied = Joint(complex(turn * z[0])), Joint(turn * (10 + 2j), turn)
        [[*_, last]] = fit_chains([Chain(turn * z, (0, 29), free, tied, 0.8)])
        assert ((last.end - last.c2) * turn.conjugate()).real > 0
        [[first, *_]] = fit_chains(
            [Chain(turn * z[::-1], (0, 29), Joint(tied.at, -turn), Joint(free.at), 0.8)]
        )
        assert ((first.c1 - first.start) * turn.conjugate()).real < 0


def test_a_fillet_is_not_taken_for_a_corner() -> None:
    ring = fit_ring(rounded_box(100, 80, 6).complex_points(0.01), 0.1)
    assert ring.corners(math.radians(15)) == ()


def test_smoothing_takes_out_ripples_and_keeps_the_size() -> None:
    t = np.linspace(0, 2 * math.pi, 3000, endpoint=False)
    z = 100 * np.exp(1j * t) * (1 + 0.006 * np.sin(90 * t))
    ring = fit_ring(z, 0.1, smooth=4.0)
    assert np.ptp(np.abs(ring.complex_points())) < 0.35
    assert ring.area == pytest.approx(math.pi * 1e4, rel=0.002)


@pytest.mark.parametrize("smooth", [3.0, 8.0])
def test_smoothing_keeps_corners_and_size(smooth: float) -> None:
    t = np.linspace(0, 1, 4000, endpoint=False)
    sides = np.array([0, 150, 150 + 90j, 90j, 0])
    at = np.interp(4 * t, np.arange(5), sides.real) + 1j * np.interp(4 * t, np.arange(5), sides.imag)
    rippled = at + 0.4 * np.sin(2 * math.pi * 60 * t) * np.exp(2j * math.pi * np.floor(4 * t) / 4) * 1j
    ring = fit_ring(rippled, 0.1, smooth=smooth)
    z = ring.complex_points()
    assert len(ring.corners(math.radians(30))) == 4
    assert np.ptp(z.real) == pytest.approx(150, abs=0.9)
    assert np.ptp(z.imag) == pytest.approx(90, abs=0.9)
    # Ripples of 0.4 on long sides are gone; at the corners half of one may be left.
    assert furthest(ring, Ring.of_points(np.array([(0, 0), (150, 0), (150, 90), (0, 90)]))) < 0.45
    assert len(ring.segments) <= 16


def test_pieces_cover_a_run_without_gaps() -> None:
    rng = np.random.default_rng(2)
    z = np.cumsum(STEP * np.exp(1j * np.cumsum(rng.normal(0, 0.08, 600))))
    pieces = cut_all([z], [0.2], [0.05], STEP)[0]
    assert pieces[0].first == 0
    assert pieces[-1].last == len(z) - 1
    assert all(a.last == b.first < b.last for a, b in itertools.pairwise(pieces))


@pytest.mark.parametrize("n", [8, 9, 12, 20])
def test_the_smallest_rings_still_close(n: int) -> None:
    ring = fit_ring(1.2 * np.exp(2j * math.pi * np.arange(n) / n), 0.05)
    ends = [s.end for s in ring.segments]
    assert ends[-1:] + ends[:-1] == [s.start for s in ring.segments]
    assert ring.area > 2


def test_runs_no_curve_follows_are_cut_by_themselves() -> None:
    """So rough that no piece does: a chain from joint to joint, and nothing of the runs beside it."""
    smooth = np.linspace(0, 300, 601) + 0j
    rough = smooth + 1j * np.random.default_rng(7).normal(0.0, 4.0, len(smooth))
    chains = cut_all([smooth, rough, smooth], [0.05] * 3, [0.01] * 3, 0.5)
    for chain in chains:
        assert [chain[0].first, chain[-1].last] == [0, 600]
        assert all(a.last == b.first for a, b in itertools.pairwise(chain))
    assert [len(chains[0]), len(chains[2])] == [1, 1]


def test_rings_fitted_together_are_as_each_by_itself() -> None:
    """A disc, a box with round corners, a point and a wavy ring: circles, arcs, lines and chains of cubics."""
    t = np.linspace(0.0, 2 * math.pi, 700, endpoint=False)
    lines = [
        rounded_box(100, 80, 12).complex_points(0.01),
        9.0 * np.exp(1j * t),
        polygon(0j, 60 + 4j, 8 + 30j),
        (60.0 + 9.0 * np.cos(5 * t) + 4.0 * np.sin(9 * t)) * np.exp(1j * t),
    ]
    together = fit_rings(lines, 0.2)
    for line, ring in zip(lines, together, strict=True):
        alone = fit_ring(line, 0.2)
        assert [type(s) for s in alone.segments] == [type(s) for s in ring.segments]
        assert max(abs(a.start - b.start) for a, b in zip(alone.segments, ring.segments, strict=True)) < 1e-6


def test_runs_cut_together_are_as_each_by_itself() -> None:
    rng = np.random.default_rng(5)
    t = np.linspace(0.0, 1.0, 300)
    runs = [200 * t + 0j, 80 * np.exp(1j * t), 150 * t + 20j * np.sin(9 * t), 30 * t[:60] + 0j]
    noisy = [run + 0.02j * rng.normal(size=len(run)) for run in runs]
    tols, noises = [0.2, 0.3, 0.2, 0.25], [0.03, 0.04, 0.03, 0.05]
    alone = [cut_all([z], [tol], [noise], STEP)[0] for z, tol, noise in zip(noisy, tols, noises, strict=True)]
    assert cut_all(noisy, tols, noises, STEP) == alone
    assert len(alone[2]) > 3
