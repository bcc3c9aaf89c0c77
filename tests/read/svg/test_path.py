"""Path data, transforms, numbers."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.geom.curve import Arc, Cubic, Line, arc_cubics, points
from cutout.read.svg.affine import Affine, parse_transform
from cutout.read.svg.number import is_physical, length_px, numbers_of
from cutout.read.svg.path import SubPath, elliptical, parse_path, shape_paths


def ends(text: str) -> list[list[complex]]:
    paths, _ = parse_path(text)
    return [[p.start, *(s.end for s in p.segments)] for p in paths]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("M1e1-2.5E-1.5.5", [[10 - 0.25j, 0.5 + 0.5j]]),
        ("m1 2 3 4 5 6", [[1 + 2j, 4 + 6j, 9 + 12j]]),
        (
            "M10 10h5v5H10zm20 0h5v5z",
            [[10 + 10j, 15 + 10j, 15 + 15j, 10 + 15j, 10 + 10j], [30 + 10j, 35 + 10j, 35 + 15j, 30 + 10j]],
        ),
        (
            "M10 10h5v5zl3 3 4 0z",
            [[10 + 10j, 15 + 10j, 15 + 15j, 10 + 10j], [10 + 10j, 13 + 13j, 17 + 13j, 10 + 10j]],
        ),
        ("M0 0 01.5 007", [[0j, 1.5 + 7j]]),
        ("M0,0,+5,-5", [[0j, 5 - 5j]]),
        ("M0 0a1 1 0 00.5.5", [[0j, 0.5 + 0.5j]]),
        ("\n M\t0\r\n0L 1,\n2", [[0j, 1 + 2j]]),
    ],
)
def test_tokens_and_current_point(text: str, expected: list[list[complex]]) -> None:
    got = ends(text)
    # An arc comes as two halves: compare first and last points there.
    if "a" in text:
        got = [[run[0], run[-1]] for run in got]
    assert got == expected


@pytest.mark.parametrize(
    ("text", "points_left"),
    [
        ("M0 0L10 10 20 x", 2),
        ("M0 0L10 10 20", 2),
        ("M0 0 L 5 5 A 1 1 0 2 0 3 3", 2),
        ("M0 0 10 10 Z 20 20", 3),
        ("L 5 5", 0),
        ("M0 0L1e999 5", 1),
    ],
)
def test_draws_up_to_the_error(text: str, points_left: int) -> None:
    """SVG 2, path data error handling: everything before the error is drawn."""
    paths, whole = parse_path(text)
    assert not whole
    assert sum(1 + len(p.segments) for p in paths) == points_left


def test_smooth_curves_reflect_only_after_their_own_kind() -> None:
    (path,), _ = parse_path("M0 0C0 1 1 1 2 0S4 -1 4 0T6 0")
    first, second, third = path.segments
    assert isinstance(second, Cubic) and second.c1 == 3 - 1j
    assert isinstance(third, Cubic) and third.c1 == 4 + 0j and isinstance(first, Cubic)
    (path,), _ = parse_path("M0 0Q1 1 2 0T4 0")
    peak = points(path.segments[1], 1e-4).imag.min()
    assert peak == pytest.approx(-0.5, abs=1e-3)


def test_quarter_circle_of_path_arc() -> None:
    """From (10, 0) to (0, 10) round the origin with radius 10, the sweep flag set."""
    run = elliptical(10 + 0j, 10j, 10, 10, 0, False, True)
    assert all(isinstance(s, Arc) for s in run)
    z = np.concatenate([points(s, 1e-4) for s in run])
    assert np.abs(z) == pytest.approx(10)
    assert z.real.min() >= -1e-9 and z.imag.min() >= -1e-9


@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize("sweep", [False, True])
@settings(max_examples=25, deadline=None)
@given(
    end=st.complex_numbers(min_magnitude=0.5, max_magnitude=30),
    rx=st.floats(0.5, 20),
    ry=st.floats(0.5, 20),
    turn=st.floats(-180, 180),
)
def test_arcs_lie_on_the_ellipse(
    large: bool, sweep: bool, end: complex, rx: float, ry: float, turn: float
) -> None:
    """Every point keeps one distance from one centre once the ellipse is made round; flags are obeyed."""
    run = elliptical(0j, end, rx, ry, turn, large, sweep)
    assert run[0].start == 0 and run[-1].end == end
    z = np.concatenate([points(s, 1e-4) for s in run])
    z = z[np.append(True, np.abs(np.diff(z)) > 1e-9)]
    back = z * cmath.exp(-1j * math.radians(turn))
    w = back.real / rx + 1j * back.imag / ry
    middle, half = (w[0] + w[-1]) / 2, abs(w[-1] - w[0]) / 2
    radius = max(1.0, half)
    rise = 1j * (w[-1] - w[0]) / (2 * half) * math.sqrt(max(radius**2 - half**2, 0))
    centre = middle + (rise if large != sweep else -rise)
    assert np.abs(w - centre) == pytest.approx(radius, rel=2e-3)
    swept = np.angle((w[1:] - centre) / (w[:-1] - centre)).sum()
    assert (swept > 0) == sweep
    if half < 0.99:
        assert (abs(swept) > math.pi) == large


def test_zero_radius_is_a_line() -> None:
    assert elliptical(0j, 1 + 1j, 0, 5, 0, False, True) == (Line(0j, 1 + 1j),)


def test_matrix_and_order_of_transforms() -> None:
    step = parse_transform("translate(10,20) rotate(90) scale(2 3)")
    assert step is not None
    assert step(1 + 1j) == pytest.approx(10 - 3 + (20 + 2) * 1j)
    about = parse_transform("rotate(90 5 5)")
    assert about is not None and about(10 + 5j) == pytest.approx(5 + 10j)
    skew = parse_transform("skewX(45)")
    assert skew is not None and skew(0 + 2j) == pytest.approx(2 + 2j)
    assert parse_transform("matrix(1 2 3)") is None
    assert parse_transform("turn(3)") is None


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-5, 5), min_size=12, max_size=12), st.complex_numbers(max_magnitude=10))
def test_composition_is_application(n: list[float], z: complex) -> None:
    outer, inner = Affine.matrix(*n[:6]), Affine.matrix(*n[6:])
    assert outer.of(inner)(z) == pytest.approx(outer(inner(z)), abs=1e-9)
    a, b, c, d, e, f = n[:6]
    assert outer(z) == pytest.approx(
        complex(a * z.real + c * z.imag + e, b * z.real + d * z.imag + f), abs=1e-9
    )
    assert outer.determinant == pytest.approx(a * d - b * c, abs=1e-9)


def test_cubics_of_an_arc_stay_within_five_millionths() -> None:
    arc = Arc(1 + 0j, -1 + 0j, 1.0)
    z = np.concatenate([points(s, 1e-7) for s in arc_cubics(arc)])
    assert np.abs(np.abs(z) - 1).max() < 5e-6


def test_mirror_turns_arcs_over() -> None:
    mirrored = Affine.matrix(-1, 0, 0, 1, 0, 0).segments((Arc(1 + 0j, 1j, math.tan(math.pi / 8)),))
    (arc,) = mirrored
    assert isinstance(arc, Arc) and arc.sweep == pytest.approx(-math.pi / 2)
    assert abs(arc.centre) < 1e-12


def test_numbers_and_lengths() -> None:
    assert numbers_of("1-2.5.5e1, 3") == [1, -2.5, 5, 3]
    assert numbers_of("1 two") is None
    assert length_px("1in", 0) == 96
    assert length_px("25.4mm", 0) == pytest.approx(96)
    assert length_px("72pt", 0) == pytest.approx(96)
    assert length_px("50%", 200) == 100
    assert length_px("2em", 0, 10) == 20
    assert length_px("wide", 0) is None
    assert is_physical("3cm") and not is_physical("3px") and not is_physical("3") and not is_physical("3%")


def area(paths: tuple[SubPath, ...]) -> float:
    z = np.concatenate([points(s, 1e-4)[:-1] for p in paths for s in p.segments])
    return float(np.sum((z.conj() * np.roll(z, -1)).imag) / 2)


@pytest.mark.parametrize(
    ("tag", "attributes", "expected"),
    [
        ("rect", {"width": "10", "height": "20"}, 200),
        ("rect", {"width": "10", "height": "20", "rx": "2"}, 200 - (4 - math.pi) * 4),
        ("rect", {"width": "10", "height": "20", "rx": "50", "ry": "4"}, 200 - (4 - math.pi) * 20),
        ("rect", {"width": "50%", "height": "10%"}, 100 * 20),
        ("circle", {"r": "5"}, math.pi * 25),
        ("ellipse", {"rx": "5", "ry": "2", "cx": "9"}, math.pi * 10),
        ("polygon", {"points": "0,0 10,0 10,10"}, 50),
        ("polygon", {"points": "0,0 10,0 10,10 99"}, 50),
    ],
)
def test_basic_shapes(tag: str, attributes: dict[str, str], expected: float) -> None:
    paths, _ = shape_paths(tag, attributes.get, (200.0, 200.0), 16.0)
    assert area(paths) == pytest.approx(expected, rel=1e-4)
