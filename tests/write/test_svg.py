from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from xml.etree import ElementTree

import pytest
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry
from svgpathtools import parse_path

from cutout.draw.shapes import cut_lines, waste_rings
from cutout.geom.outline import Outline
from cutout.pattern import Panel
from cutout.write.film import film_svg
from cutout.write.svg import pattern_svg
from cutout.write.work import Work

SPACE = "{http://www.w3.org/2000/svg}"


def group(svg: bytes, name: str) -> ElementTree.Element:
    found = ElementTree.fromstring(svg).find(f"{SPACE}g[@id='{name}']")
    assert found is not None
    return found


def area_of(d: str) -> float:
    """Even-odd area of path data, by another library's reading of it."""
    area: BaseGeometry = Polygon()
    for run in parse_path(d).continuous_subpaths():
        points = [run.point(t / 4000) for t in range(4000)]
        area = shapely.symmetric_difference(area, Polygon([(p.real, p.imag) for p in points]))
    return float(area.area)


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_waste_has_the_patterns_area(make_work: Callable[..., Work], keep: str) -> None:
    work = make_work(keep=keep)
    path = group(pattern_svg(work), "waste").find(f".//{SPACE}path")
    assert path is not None
    assert area_of(path.attrib["d"]) == pytest.approx(work.pattern.waste.area, rel=2e-3)


def test_curves_stay_curves(work: Work) -> None:
    path = group(pattern_svg(work), "waste").find(f".//{SPACE}path")
    assert path is not None
    commands = re.sub(r"[^A-Za-z]", "", path.attrib["d"])
    assert commands.count("C") == 2, "two sides of the leaf"
    assert commands.count("A") == 4, "two halves of the window, two ends of the slot"


def test_a_figure_over_the_edge_is_cut_off_there(make_work: Callable[..., Work]) -> None:
    work = make_work(panel=Panel(180.0, 180.0, 18.0))
    for ring in waste_rings(work.pattern):
        xy = ring.points()
        assert xy[:, 0].max() <= 180.0 + 1e-9


def test_groups_have_names_of_their_own(work: Work) -> None:
    names = {g.attrib["id"] for g in ElementTree.fromstring(pattern_svg(work)).findall(f"{SPACE}g")}
    assert names == {"panel-edge", "waste", "holes", "cut-legs"}


def test_film_has_the_outline_alone(work: Work) -> None:
    root = ElementTree.fromstring(film_svg(work))
    assert [g.attrib["id"] for g in root.findall(f"{SPACE}g")] == ["outline"]
    x0, y0, x1, y1 = work.pattern.outline.bounds
    width, height = (float(root.attrib[k].removesuffix("mm")) for k in ("width", "height"))
    assert (width, height) == pytest.approx((x1 - x0 + 4, y1 - y0 + 4))


def test_titles_are_escaped(work: Work) -> None:
    for write in (pattern_svg, film_svg):
        root = ElementTree.fromstring(write(replace(work, title='<b>&"\x0b')))
        assert root.findtext(f"{SPACE}title", "").startswith('<b>&"')


def test_cut_lines_leave_out_the_panels_edge(make_work: Callable[..., Work], star_outline: Outline) -> None:
    work = make_work(outline=star_outline, panel=Panel(240.0, 240.0, 18.0), keep="figure")
    star = shapely.length(work.pattern.figure)
    assert shapely.length(cut_lines(work.pattern)) == pytest.approx(star, rel=1e-6)


def test_same_bytes_again(work: Work) -> None:
    assert pattern_svg(work) == pattern_svg(work)
