"""The film for a knife cutter: true size, whole or in pieces that fit the mat and meet at their crosses."""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from cutout.errors import WriteError
from cutout.geom.outline import Outline, Ring
from cutout.pattern import Panel
from cutout.write.film import ARM, LAP, ROOM, cells_of, film_svg, film_svgs
from cutout.write.work import Work
from tests.asking import asking

SPACE = "{http://www.w3.org/2000/svg}"


def group(svg: bytes, name: str) -> str:
    """The path data of a group; empty where there is none."""
    root = ElementTree.fromstring(svg)
    return "".join(
        p.attrib["d"]
        for g in root.findall(f"{SPACE}g")
        if g.attrib["id"] == name
        for p in g.findall(f"{SPACE}path")
    )


def flip_of(svg: bytes) -> float:
    """y up plus y down."""
    _, y, _, height = map(float, ElementTree.fromstring(svg).attrib["viewBox"].split())
    return 2 * y + height


def polygons(svg: bytes) -> BaseGeometry:
    """What the outline encloses, even-odd, y up; pieces are made of straight runs."""
    flip = flip_of(svg)
    rings = [
        Polygon([(float(x), flip - float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", part)])
        for part in group(svg, "outline").split("Z")
        if part.strip()
    ]
    region: BaseGeometry = Polygon()
    for ring in rings:
        region = shapely.symmetric_difference(region, ring.buffer(0))
    return region


def crosses(svg: bytes) -> set[tuple[float, float]]:
    """Middles of the crosses, y up."""
    flip = flip_of(svg)
    found = re.findall(r"M(-?[\d.]+) (-?[\d.]+)L(-?[\d.]+) (-?[\d.]+)", group(svg, "crosses"))
    middles = {
        (round((float(a) + float(c)) / 2, 2), round(flip - (float(b) + float(d)) / 2, 2))
        for a, b, c, d in found
    }
    assert len(found) == 2 * len(middles), "two strokes each"
    return middles


@settings(max_examples=12, deadline=None)
@given(width=st.floats(60, 260), height=st.floats(60, 260))
def test_pieces_fit_the_mat_and_give_back_the_figure(
    make_work: Callable[..., Work], width: float, height: float
) -> None:
    work = asking(make_work(), mat=(width, height))
    files = film_svgs(work)
    figure = work.pattern.outline.region()
    if list(files) == ["film.svg"]:
        return
    together = shapely.union_all([polygons(svg) for svg in files.values()])
    assert shapely.symmetric_difference(together, figure).area < 0.02 * shapely.length(figure)
    for svg in files.values():
        size = ElementTree.fromstring(svg).attrib
        sides = sorted(float(size[k].removesuffix("mm")) for k in ("width", "height"))
        assert all(a <= b + 1e-3 for a, b in zip(sides, sorted((width, height)), strict=True))


def test_neighbours_share_their_crosses_and_these_keep_clear_of_the_outline(
    make_work: Callable[..., Work],
) -> None:
    work = asking(make_work(), mat=(120.0, 120.0))
    files = film_svgs(work)
    marks = {name: crosses(svg) for name, svg in files.items()}
    line = shapely.boundary(work.pattern.outline.region())
    for name, mine in marks.items():
        others = set().union(*(m for other, m in marks.items() if other != name))
        assert len(mine & others) >= 2, "two crosses fix a piece"
        for x, y in mine:
            assert line.distance(shapely.Point(x, y)) > ARM


def test_the_film_is_mirrored_where_the_template_is(make_work: Callable[..., Work]) -> None:
    work = asking(make_work(), mat=(120.0, 120.0))
    plain = shapely.union_all([polygons(s) for s in film_svgs(work).values()])
    mirrored = shapely.union_all([polygons(s) for s in film_svgs(asking(work, back=True)).values()])
    x0, _, x1, _ = work.pattern.outline.bounds
    turned = shapely.transform(plain, lambda xy: np.column_stack([x0 + x1 - xy[:, 0], xy[:, 1]]))
    assert shapely.symmetric_difference(turned, mirrored).area < 1.0
    assert film_svg(work) != film_svg(asking(work, back=True))


def test_a_mat_that_holds_it_all_takes_one_piece(make_work: Callable[..., Work]) -> None:
    work = make_work()
    assert film_svgs(asking(work, mat=(600.0, 300.0))) == {"film.svg": film_svg(work)}
    x0, y0, x1, y1 = work.pattern.outline.bounds
    tall = (y1 - y0 + 2 * ROOM, x1 - x0 + 2 * ROOM)
    assert len(cells_of((x0, y0, x1, y1), tall, work)) == 1, "turned on the mat it fits"


def test_an_outline_as_large_as_the_mat_takes_one_piece(make_work: Callable[..., Work]) -> None:
    """Not four, though there is no film to spare round it; the document is no larger than the mat."""
    work = make_work()
    x0, y0, x1, y1 = work.pattern.outline.bounds
    for mat in ((x1 - x0, y1 - y0), (y1 - y0, x1 - x0), (x1 - x0, 600.0)):
        (name,) = files = film_svgs(asking(work, mat=mat))
        assert name == "film.svg"
        size = ElementTree.fromstring(files[name]).attrib
        sides = sorted(float(size[k].removesuffix("mm")) for k in ("width", "height"))
        assert all(a <= b + 1e-2 for a, b in zip(sides, sorted(mat), strict=True))


def test_an_outline_that_fits_askew_is_turned(make_work: Callable[..., Work]) -> None:
    """A bar 300 x 20 mm lying at 45 degrees goes on a mat of 320 x 60 mm; standing as drawn it takes 232 mm."""
    bar = shapely.affinity.rotate(shapely.box(0, 0, 300, 20), 45, origin=(0, 0))
    moved = shapely.affinity.translate(bar, 40, 20)
    ring = Ring.of_points(shapely.get_coordinates(moved.exterior)[:-1])
    work = make_work(outline=Outline((ring,), 1.0), panel=Panel(320.0, 320.0, 18.0))
    (svg,) = film_svgs(asking(work, mat=(320.0, 60.0))).values()
    assert polygons(svg).area == pytest.approx(6000, rel=1e-3)
    wide = polygons(svg).bounds
    assert min(wide[2] - wide[0], wide[3] - wide[1]) < 60.5


def test_a_mat_too_small_is_said(make_work: Callable[..., Work]) -> None:
    with pytest.raises(WriteError, match="too small"):
        film_svgs(asking(make_work(), mat=(30.0, 300.0)))


def test_pieces_lap_over_their_seams(make_work: Callable[..., Work]) -> None:
    work = asking(make_work(), mat=(100.0, 400.0))
    first, second = (polygons(svg) for svg in list(film_svgs(work).values())[:2])
    lap = shapely.intersection(first, second)
    x0, y0, x1, y1 = lap.bounds
    assert min(x1 - x0, y1 - y0) == pytest.approx(2 * LAP, abs=0.01)
