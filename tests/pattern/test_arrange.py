from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from shapely import box

from cutout.errors import LayoutError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, Ring
from cutout.job.schema import Job
from cutout.job.set_up import set_up
from cutout.pattern.arrange import Spacing, line_up, made_whole, pair, round_a_circle, stand, united


def disc(radius: float, n: int = 90) -> Outline:
    a = 2 * math.pi * np.arange(n) / n
    return Outline((Ring.of_points(radius * np.column_stack([np.cos(a), np.sin(a)])),), 1.0)


def triangle(width: float, height: float, point: float = 0.0) -> Outline:
    return Outline((Ring.of_points(np.array([[0.0, 0.0], [width, 0.0], [point, height]])),), 1.0)


AREA = box(0.0, 0.0, 600.0, 300.0)


@settings(deadline=None, max_examples=25)
@given(st.lists(st.floats(5.0, 40.0), min_size=2, max_size=6), st.sampled_from(["low", "middle", "high"]))
def test_even_gaps_are_equal_between_outlines_and_at_the_ends(radii: list[float], align: str) -> None:
    placed = line_up([disc(r) for r in radii], AREA, Spacing("row", None, align))  # type: ignore[arg-type]
    regions = [o.region(0.05) for o in placed]
    nearest = [min(shapely.distance(r, b) for b in regions[:n]) for n, r in enumerate(regions) if n]
    assert nearest == pytest.approx([nearest[0]] * len(nearest), abs=0.01)
    left = min(o.bounds[0] for o in placed)
    assert left == pytest.approx(600 - max(o.bounds[2] for o in placed), abs=0.01)
    assert left == pytest.approx(nearest[0], abs=0.02)


def test_gaps_are_measured_between_outlines_not_boxes() -> None:
    """Two triangles whose slopes face each other nest closer than their boxes."""
    left, right = triangle(100.0, 200.0), triangle(100.0, 200.0, 0.0).transform(Similarity(a=-1 + 0j))
    a, b = line_up([left, right], AREA, Spacing("row", 10.0))
    assert shapely.distance(a.region(), b.region()) == pytest.approx(10.0, abs=1e-3)
    assert b.bounds[0] < a.bounds[2]


def test_a_column_runs_from_top_to_bottom() -> None:
    tall = box(0.0, 0.0, 200.0, 600.0)
    a, b = line_up([disc(20.0), disc(30.0)], tall, Spacing("column", 15.0, "low"))
    assert a.bounds[1] > b.bounds[3]
    assert shapely.distance(a.region(), b.region()) == pytest.approx(15.0, abs=1e-3)
    assert a.bounds[0] == pytest.approx(b.bounds[0])


def test_too_many_figures_are_refused() -> None:
    with pytest.raises(LayoutError, match="there is room for"):
        line_up([disc(60.0)] * 6, AREA, Spacing("row", 5.0))


def test_places_by_name() -> None:
    at = stand(triangle(50.0, 80.0), AREA, "top right", 12.0)
    assert at.bounds == pytest.approx((538.0, 208.0, 588.0, 288.0))
    assert stand(triangle(50.0, 80.0), AREA, "centre").bounds == pytest.approx((275.0, 110.0, 325.0, 190.0))


def test_a_pair_is_a_figure_and_its_mirror_image() -> None:
    one, other = pair(triangle(50.0, 80.0, 10.0))
    assert other.rings[0].area == pytest.approx(one.rings[0].area)
    assert other.bounds == pytest.approx((-50.0, 0.0, 0.0, 80.0))


def test_overlapping_figures_merge_or_are_refused() -> None:
    apart = united([disc(10.0), disc(10.0).transform(Similarity(b=30 + 0j))], "refuse")
    assert len(apart.rings) == 2
    two = [disc(10.0), disc(10.0).transform(Similarity(b=12 + 0j)), disc(5.0).transform(Similarity(b=80j))]
    merged = united(two, "merge")
    assert len(merged.rings) == 2
    assert merged.region().area == pytest.approx(shapely.union_all([o.region() for o in two]).area, rel=1e-6)
    with pytest.raises(LayoutError, match="figures 1 and 2 overlap"):
        united(two, "refuse")


@pytest.mark.parametrize(
    ("half", "box_of"),
    [
        ("left", (0.0, 0.0, 100.0, 80.0)),
        ("right", (-50.0, 0.0, 50.0, 80.0)),
        ("top", (0.0, -80.0, 50.0, 80.0)),
        ("bottom", (0.0, 0.0, 50.0, 160.0)),
    ],
)
def test_a_half_is_made_whole(half: str, box_of: tuple[float, ...]) -> None:
    """A triangle with a right angle, mirrored about each side of its box; twice the area, symmetric."""
    whole = made_whole(triangle(50.0, 80.0), half)  # type: ignore[arg-type]
    assert whole.bounds == pytest.approx(box_of)
    region = whole.region()
    assert region.area == pytest.approx(2 * 50 * 80 / 2, rel=1e-3)
    x = (box_of[0] + box_of[2]) if half in ("left", "right") else None
    other = shapely.transform(
        region,
        lambda xy: (xy * (-1, 1) + (x, 0)) if x is not None else xy * (1, -1) + (0, box_of[1] + box_of[3]),
    )
    assert region.symmetric_difference(other).area < 1e-3


def test_a_drawn_half_that_nearly_reaches_the_axis_is_joined() -> None:
    edge = Outline(
        (Ring.of_points(np.array([[0.0, 0.0], [49.99, 0.0], [50.0, 40.0], [49.98, 80.0], [0.0, 80.0]])),), 1.0
    )
    assert len(made_whole(edge, "left").region().geoms) == 1
    assert len(made_whole(edge, "left").rings) == 1


def test_round_a_circle() -> None:
    """Four discs 50 mm from the middle at the top, right, bottom and left; a figure turns with its place."""
    four = round_a_circle(disc(8.0), 4, 50.0, 100 + 100j)
    middles = [((o.bounds[0] + o.bounds[2]) / 2, (o.bounds[1] + o.bounds[3]) / 2) for o in four]
    assert np.allclose(middles, [(100, 150), (150, 100), (100, 50), (50, 100)], atol=1e-6)
    tall = round_a_circle(triangle(10.0, 30.0, 5.0), 2, 50.0, 0j)
    assert tall[1].bounds == pytest.approx((-5.0, -65.0, 5.0, -35.0))


def test_a_photo_of_half_a_figure_gives_the_whole(tmp_path: Path) -> None:
    """Half a disc at the picture's right edge, taken for the left half: a disc, as wide as it is high."""
    y, x = np.mgrid[:120, :70]
    inside = np.hypot(x - 69.5, y - 59.5) < 50
    Image.fromarray(np.where(inside, 20, 235).astype(np.uint8)).save(tmp_path / "half.png")
    job = Job.model_validate(
        {
            "panel": {"width": 200, "height": 200},
            "figures": [{"source": "half.png", "height": 100, "half": "left"}],
        }
    )
    region = set_up(job, tmp_path).outline.region()
    x0, _, x1, _ = region.bounds
    assert len(region.geoms) == 1
    assert x1 - x0 == pytest.approx(100, abs=1.5)
    assert region.area == pytest.approx(math.pi * 50**2, rel=0.02)
    assert (x0 + x1) / 2 == pytest.approx(100, abs=0.5)
