"""What is too much for a stage is refused in a sentence, or the stage ends early and says so; never in silence."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely import MultiPolygon, box

from cutout.amend import Mending, mend
from cutout.amend.spine import spine, spine_at
from cutout.errors import CutoutError
from cutout.geom.outline import Outline, from_region
from cutout.job.options import asked_for
from cutout.measure import walls
from cutout.measure.widths import Middle
from cutout.pattern import Panel, cut_pattern
from cutout.run import lay_out
from tests.kits import KIT
from tests.telling import text

SIZES = {"width": "300mm", "panel": "400x400mm", "thickness": "18mm"}
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="400mm" viewBox="0 0 400 400">'


def needles(count: int, deep: float, wide: float = 300.0) -> np.ndarray:
    """A bar with needles side by side; points (n, 2) in mm."""
    x = np.linspace(50, 50 + wide, 2 * count + 1)
    y = np.where(np.arange(2 * count + 1) % 2, 100.0 + deep, 100.0)
    return np.vstack([np.column_stack([x, y]), [[50 + wide, 300], [50, 300]]])


def path(points: np.ndarray) -> str:
    return "M" + "L".join(f"{x:.4f} {y:.4f}" for x, y in points.tolist()) + "Z"


def squares(count: int) -> str:
    return "".join(f"M{k % 300} {k // 300}h.5v.5h-.5z" for k in range(count))


@pytest.mark.parametrize(
    ("drawing", "lowered", "says"),
    [
        (path(needles(1600, 100.0)), None, "3[0-9][0-9] m long, at most 300 m"),
        (squares(90), ("cutout.read.svg.walk.MAX_SEGMENTS", 300), "more than 300 curves; too much"),
        (squares(90), ("cutout.read.svg.walk.MAX_VISITS", 0), "draws more than 0 elements; too much"),
        (path(needles(220, 1.0)), ("cutout.pattern.layout.MOST_POINTS", 400), "the outline has 44. points"),
    ],
    ids=["line", "curves", "elements", "points"],
)
def test_what_is_too_much_is_refused_in_a_sentence(
    drawing: str, lowered: tuple[str, int] | None, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = tmp_path / "much.svg"
    source.write_text(f'{HEAD}<path d="{drawing}"/></svg>')
    if lowered is not None:
        monkeypatch.setattr(*lowered)
    with pytest.raises(CutoutError, match=says):
        lay_out(*asked_for(source, dict(SIZES)))


def test_mending_that_ends_early_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cutout.amend.ease.WALLS", 1000)
    figure = shapely.Polygon(needles(8, 40.0, 16.0))
    pattern = cut_pattern(Outline(from_region(figure)), Panel(400.0, 400.0, 18.0), "panel", KIT.blade.kerf)
    done = mend(pattern, KIT, Mending())
    assert any("mending was ended before" in text(f) for f in done.findings)
    assert any(f.severity == "stop" and not f.cleared for f in done.findings)


def test_more_loose_pieces_than_are_tied_on_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cutout.amend.bridge.MOST_PIECES", 3)
    holes = [box(50 + 80 * k, 100, 90 + 80 * k, 140) for k in range(4)]
    figure = box(20, 60, 380, 180).difference(shapely.union_all(holes))
    pattern = cut_pattern(Outline(from_region(figure)), Panel(400.0, 400.0, 18.0), "panel", KIT.blade.kerf)
    with pytest.raises(CutoutError, match="4 loose pieces would need bridges, at most 3 are tied on"):
        mend(pattern, KIT, Mending())
    assert not mend(pattern, KIT, Mending(bridge=False)).bridges


def test_walls_are_made_finer_only_up_to_a_number_of_points(monkeypatch: pytest.MonkeyPatch) -> None:
    region = MultiPolygon([shapely.polygons(needles(20, 40.0))])
    whole = len(Middle(region).walls.z)
    monkeypatch.setattr(walls, "MOST_POINTS", whole - 1)
    assert len(Middle(region).walls.z) < whole


@pytest.mark.parametrize("turn", [0.0, 90.0, 30.0])
def test_what_lies_inside_is_told_alike_whichever_way_needles_stand(turn: float) -> None:
    region = shapely.affinity.rotate(MultiPolygon([shapely.polygons(needles(20, 40.0))]), turn)
    rng = np.random.default_rng(2)
    x0, y0, x1, y1 = region.bounds
    z = rng.uniform(x0, x1, 2000) + 1j * rng.uniform(y0, y1, 2000)
    assert (walls._inside(region, z) == shapely.contains_xy(region, z.real, z.imag)).all()


def test_a_narrow_place_is_followed_like_the_whole_line_round_it() -> None:
    """Walked from the place outwards, the middle line is that which a search of all of it finds."""
    bar = box(0, 0, 100, 4).union(box(0, 0, 10, 30)).union(box(90, 0, 100, 30)).union(box(40, 3, 41.5, 30))
    middle = Middle(MultiPolygon([bar]))
    at, reach, width = 60 + 2j, 15.0, 4.5
    whole = spine(middle, shapely.Point(60, 2).buffer(reach), width)
    near = spine_at(middle, at, reach, width)
    assert near.length > 20
    assert shapely.symmetric_difference(whole, near).length < 1e-9
    assert math.isclose(near.distance(shapely.Point(60, 2)), 0.0, abs_tol=1e-3)
    assert spine_at(middle, 45 + 200j, reach, width).is_empty
