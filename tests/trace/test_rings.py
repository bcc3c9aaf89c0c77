"""What moving, turning, growing or inverting a picture does to its outline."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter
from skimage.draw import polygon
from skimage.measure import find_contours

from cutout.geom.curve import Arc, Line
from cutout.geom.outline import Outline, Ring
from cutout.trace.iso import iso_lines
from cutout.trace.rings import trace
from tests.figures import SEEDS, blob, corners, star

OVER = 8
MIDDLE = 55 + 50j
STAR = corners(star(5, 12.0, 5.4, MIDDLE, 0.2))


def painted(width: int, height: int, *shapes: tuple[np.ndarray, int]) -> np.ndarray:
    """Coverage of polygons (x, y in pixels, y down) by eightfold oversampling; 1 paints, 0 wipes out."""
    fine = np.zeros((height * OVER, width * OVER), dtype=np.float32)
    for xy, value in shapes:
        fine[polygon(xy[:, 1] * OVER - 0.5, xy[:, 0] * OVER - 0.5, fine.shape)] = value
    return fine.reshape(height, OVER, width, OVER).mean(axis=(1, 3))


def scene(seed: int) -> np.ndarray:
    return painted(116, 104, (corners(blob(seed, 40.0, MIDDLE)), 1), (STAR, 0))


def apart(one: tuple[Ring, ...], two: tuple[Ring, ...]) -> float:
    a, b = (
        shapely.MultiLineString([shapely.LinearRing(r.points(0.005)) for r in rings]) for rings in (one, two)
    )
    return float(shapely.hausdorff_distance(a, b, densify=0.05))


def moved(rings: tuple[Ring, ...], matrix: list[list[float]], shift: tuple[float, float]) -> tuple[Ring, ...]:
    return tuple(Ring.of_points(r.points(0.005) @ np.array(matrix).T + shift) for r in rings)


@settings(max_examples=5, deadline=None)
@given(seed=SEEDS, dx=st.integers(0, 9), dy=st.integers(0, 9))
def test_moving_the_picture_moves_the_outline(seed: int, dx: int, dy: int) -> None:
    grey = scene(seed)
    far = np.pad(grey, ((dy, 0), (dx, 0)))
    assert apart(trace(far, 0.5, 0.2), moved(trace(grey, 0.5, 0.2), [[1, 0], [0, 1]], (dx, 0))) < 0.02


@settings(max_examples=5, deadline=None)
@given(seed=SEEDS)
def test_turning_the_picture_turns_the_outline(seed: int) -> None:
    grey = scene(seed)
    turned = moved(trace(grey, 0.5, 0.2), [[0, -1], [1, 0]], (grey.shape[0], 0))
    assert apart(trace(np.rot90(grey).copy(), 0.5, 0.2), turned) < 0.45


@settings(max_examples=5, deadline=None)
@given(seed=SEEDS)
def test_inverting_the_picture_keeps_the_line_and_turns_its_sense(seed: int) -> None:
    grey = scene(seed)
    # The picture's own frame becomes a ring as well.
    inverse = tuple(r for r in trace(1 - grey, 0.5, 0.2) if abs(r.area) < 0.9 * grey.size)
    plain = trace(grey, 0.5, 0.2)
    assert sorted(-r.area for r in inverse) == pytest.approx(sorted(r.area for r in plain), rel=0.004)
    assert apart(inverse, plain) < 0.35


@settings(max_examples=4, deadline=None)
@given(seed=SEEDS, times=st.sampled_from([2, 3]))
def test_a_larger_picture_gives_the_outline_enlarged(seed: int, times: int) -> None:
    small = trace(painted(116, 104, (corners(blob(seed, 40.0, MIDDLE)), 1)), 0.5, 0.1)
    large = trace(
        painted(116 * times, 104 * times, (corners(blob(seed, 40.0, MIDDLE)) * times, 1)), 0.5, 0.1 * times
    )
    assert apart(moved(small, [[times, 0], [0, times]], (0, 0)), large) < 0.45 * times


@settings(max_examples=6, deadline=None)
@given(seed=SEEDS)
@example(seed=539)  # has a dent of seven pixels' radius
def test_the_outline_keeps_within_the_tolerance_of_the_truth(seed: int) -> None:
    """Such a dent may be read as a blunt corner: one of 250 figures lay more than 0.36 px off, at such a place."""
    xy = corners(blob(seed, 40.0, MIDDLE))
    true = Ring.of_points(np.column_stack([xy[:, 0], 104 - xy[:, 1]]))
    rings = trace(painted(116, 104, (xy, 1)), 0.5, 0.2)
    assert len(rings) == 1
    assert apart(rings, (true,)) < 0.45
    corners_read = shapely.MultiPoint([(p.real, p.imag) for ring in rings for p, _ in ring.corners()])
    line = shapely.segmentize(shapely.LinearRing(rings[0].points(0.005)), 0.2)
    spots = shapely.points(shapely.get_coordinates(line))
    clear = spots if corners_read.is_empty else spots[shapely.distance(spots, corners_read) > 3]
    assert shapely.distance(clear, shapely.LinearRing(true.points(0.005))).max() < 0.35


def test_outer_rings_run_counter_clockwise_and_holes_clockwise() -> None:
    rings = trace(scene(3), 0.5, 0.2)
    assert [r.area > 0 for r in rings] == [True, False]
    region = Outline(rings).region()
    assert region.area == pytest.approx(float(scene(3).sum()), rel=2e-3)


def test_a_star_keeps_its_ten_corners() -> None:
    xy = corners(star(5, 40.0, 18.0, MIDDLE, 0.2))
    (ring,) = trace(painted(116, 104, (xy, 1)), 0.5, 0.2)
    assert [type(s) for s in ring.segments] == [Line] * 10
    true = xy[:, 0] + 1j * (104 - xy[:, 1])
    seen = np.array([p for p, _ in ring.corners()])
    assert np.abs(true[:, None] - seen[None, :]).min(axis=1).max() < 0.15


def test_a_thin_bar_keeps_its_square_ends() -> None:
    bar = np.array([(20.3, 20.2), (90.3, 60.2), (88.8, 62.8), (18.8, 22.8)])
    (ring,) = trace(painted(110, 90, (bar, 1)), 0.5, 0.2)
    true = bar[:, 0] + 1j * (90 - bar[:, 1])
    seen = np.array([p for p, _ in ring.corners(math.radians(45))])
    assert len(seen) == 4
    assert np.abs(true[:, None] - seen[None, :]).min(axis=1).max() < 0.4


@pytest.mark.parametrize("seed", [3, 11])
def test_a_symmetric_picture_gives_a_nearly_symmetric_outline(seed: int) -> None:
    half = scene(seed)[:, :60]
    grey = np.concatenate([half, half[:, ::-1]], axis=1)
    rings = trace(grey, 0.5, 0.2)
    mirrored = moved(rings, [[-1, 0], [0, 1]], (grey.shape[1], 0))
    line = shapely.MultiLineString([shapely.LinearRing(r.points(0.005)) for r in rings])
    off = shapely.distance(shapely.points(np.concatenate([r.points(0.005) for r in mirrored])), line)
    assert np.mean(off) < 0.1
    assert off.max() < 0.7


def test_a_disc_is_two_arcs_however_it_lies_on_the_pixels() -> None:
    for shift in (0.0, 0.25, 0.5):
        t = np.linspace(0, 2 * math.pi, 720, endpoint=False)
        xy = np.column_stack([40 + shift + 30 * np.cos(t), 41 + 30 * np.sin(t)])
        (ring,) = trace(painted(82, 82, (xy, 1)), 0.5, 0.2)
        first, second = ring.segments
        assert isinstance(first, Arc) and isinstance(second, Arc)
        assert first.radius == pytest.approx(30, abs=0.03)


def test_a_figure_running_off_the_picture_ends_at_its_edge() -> None:
    grey = np.zeros((40, 60), np.float32)
    grey[10:30, 20:] = 1
    (ring,) = trace(grey, 0.5, 0.2)
    assert ring.area == pytest.approx(800, rel=0.01)
    assert ring.points()[:, 0].max() == pytest.approx(60, abs=0.05)


def test_nothing_in_nothing_out() -> None:
    assert trace(np.zeros((9, 9), np.float32), 0.5, 0.2) == ()


@settings(max_examples=5, deadline=None)
@example(seed=456)
@given(seed=SEEDS)
def test_rings_of_any_picture_are_simple_and_do_not_cross(seed: int) -> None:
    grey = gaussian_filter(np.random.default_rng(seed).random((70, 80)), 1.6).astype(np.float32)
    grey = (grey - grey.min()) / np.ptp(grey)
    rings = trace(grey, 0.5, 0.3)
    loops = [shapely.LinearRing(r.points(0.02)) for r in rings]
    assert all(loop.is_simple for loop in loops)
    one, two = shapely.STRtree(loops).query(loops, predicate="intersects")
    assert (one == two).all()


@settings(max_examples=10, deadline=None)
@given(seed=SEEDS)
def test_iso_lines_find_what_an_independent_library_finds(seed: int) -> None:
    """scikit-image's find_contours runs within two pixels of ours everywhere and encloses as much.

    Where two diagonal pixels may or may not be joined the two choose differently, hence not nearer: the other
    choice runs round the far side of a cell.
    """
    grey = gaussian_filter(np.random.default_rng(seed).random((60, 50)), 2.0)
    grey = ((grey - grey.min()) / np.ptp(grey)).astype(np.float32)
    ours = [np.column_stack([z.real, z.imag]) for z in iso_lines(grey, 0.5).lines]
    found = find_contours(np.pad(grey, 1), 0.5)
    theirs = [np.column_stack([c[:, 1] - 0.5, grey.shape[0] + 0.5 - c[:, 0]]) for c in found]
    one, two = (shapely.MultiLineString([shapely.LinearRing(x) for x in lines]) for lines in (ours, theirs))
    assert shapely.hausdorff_distance(one, two) < 2.0
    enclosed = [abs(sum(Ring.of_points(x).area for x in lines)) for lines in (ours, theirs)]
    # Ours lie where the grey on both sides balances, theirs half-way in grey: up to 0.09 px off at an edge.
    assert enclosed[0] == pytest.approx(enclosed[1], rel=0.03, abs=0.06 * two.length)


@pytest.mark.parametrize("level", [128 / 255, 0.3, 0.7])
def test_pixels_exactly_at_the_level_are_ground_throughout(level: float) -> None:
    """The level as a number of 32 bits lies a little above or below it: all steps must take the same side."""
    for seed in range(30):
        dots = np.random.default_rng(seed).choice(np.array([0.0, level, 1.0], dtype=np.float32), (6, 6))
        lines = iso_lines(np.pad(dots, 2), level).lines
        lower = np.where(dots == np.float32(level), np.float32(level - 1e-4), dots)
        assert [len(z) for z in lines] == [len(z) for z in iso_lines(np.pad(lower, 2), level).lines]
