"""Invented figures that tests share, and strategies that make them: stars, wavy curves, blobs, circles, squares."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import shapely
from hypothesis import strategies as st
from shapely import Polygon

from cutout.geom.curve import Arc, ComplexArray, FloatArray, to_array
from cutout.geom.outline import Outline, Ring

SEEDS = st.integers(0, 10_000)
"""Of random figures and of random noise."""

Wave = tuple[int, float, float]
"""How many to the turn, its share of the radius, its phase (radians)."""


def waves(most: float, count: int) -> st.SearchStrategy[list[Wave]]:
    """One to `count` waves, two to the turn and upwards: the first at most so large a share, faster ones less."""
    sizes = st.lists(st.tuples(st.floats(-most, most), st.floats(0, 2 * math.pi)), min_size=1, max_size=count)
    return sizes.map(lambda found: [(k, 2 * share / k, at) for k, (share, at) in enumerate(found, start=2)])


def stars(
    points: tuple[int, int] = (3, 7),
    inner: tuple[float, float] = (0.3, 0.8),
    outer: float = 60.0,
    at: complex = 0j,
) -> st.SearchStrategy[Polygon]:
    """Stars in any turn, with so many points (least, most) and so deep (share of the outer radius)."""
    return st.builds(
        lambda n, share, turn: star(n, outer, share * outer, at, turn),
        st.integers(*points),
        st.floats(*inner),
        st.floats(0, 1),
    )


def star(points: int, outer: float, inner: float, at: complex = 0j, turn: float = 0.0) -> Polygon:
    """A star with so many points, the first of them in the direction `turn` (radians)."""
    reach = np.where(np.arange(2 * points) % 2, inner, outer)
    return closed(at + reach * np.exp(1j * (turn + math.pi * np.arange(2 * points) / points)))


def wavy(radius: float, with_waves: Iterable[Wave], at: complex = 0j, count: int = 720) -> Polygon:
    """A circle whose radius swings, by so many points."""
    t = 2 * math.pi * np.arange(count) / count
    reach = radius * (1 + sum(share * np.cos(k * t + phase) for k, share, phase in with_waves))
    return closed(at + reach * np.exp(1j * t))


def blob(seed: int, size: float, at: complex = 0j, count: int = 240) -> Polygon:
    """A random wavy figure that reaches so far from its middle; the slower a wave, the larger it may be."""
    rng = np.random.default_rng(seed)
    t = 2 * math.pi * np.arange(count) / count
    reach = np.ones(count)
    for k in range(2, 6):
        reach += rng.uniform(-0.5, 0.5) / k**1.3 * np.cos(k * t + rng.uniform(0, 6.28))
    return closed(at + size * reach / reach.max() * np.exp(1j * t))


def circle(x: float, y: float, r: float, *, ccw: bool = True) -> Ring:
    """A circle of two arcs."""
    bulge = 1.0 if ccw else -1.0
    a, b = complex(x - r, y), complex(x + r, y)
    return Ring((Arc(a, b, bulge), Arc(b, a, bulge)))


def square(x: float, y: float, side: float, *, ccw: bool = True) -> Ring:
    """A square by its lower left corner."""
    ring = Ring.of_points(np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]]))
    return ring if ccw else ring.reversed()


def annulus(x: float, y: float, outer: float, inner: float) -> shapely.Geometry:
    """A ring round a disc."""
    middle = shapely.Point(x, y)
    return middle.buffer(outer, 64).difference(middle.buffer(inner, 64))


def outline_of(*rings: Ring) -> Outline:
    """Rings in mm."""
    return Outline(rings, 1.0)


def corners(figure: Polygon) -> FloatArray:
    """Corners (n, 2) of a figure without holes, the first not repeated."""
    return np.asarray(shapely.get_coordinates(figure.exterior)[:-1])


def closed(z: ComplexArray) -> Polygon:
    """The figure with these corners."""
    return Polygon(to_array(z))


def pinched_slit(cut: float, less: float) -> Polygon:
    """A square with a slit to its right, hardly wider than `cut`; along 20 mm of it by `less` narrower than that."""
    half, tight = 0.51 * cut, (cut - less) / 2
    x = [100.0, 140.0, 140.0, 160.0, 160.0, 200.0]
    above = [(at, 150 + (tight if n in (2, 3) else half)) for n, at in enumerate(x)]
    below = [(at, 300 - y) for at, y in above]
    return Polygon([(60, 130), (100, 130), *below, *reversed(above), (100, 170), (60, 170)])
