from __future__ import annotations

import cmath
import math
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from cutout import check
from cutout.check import CHECKS, tight
from cutout.finding import DANGER, Finding, Kind, Severity, ordered
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, from_region
from cutout.kit import Limits
from cutout.measure import bends, room
from cutout.measure import webs as rules
from cutout.measure.widths import middle_of_keep
from cutout.pattern import Keep, Panel, Pattern, cut_pattern
from cutout.units import Units
from tests.kits import KIT
from tests.telling import remedy, text, worded

STILL = Similarity()


def figure() -> shapely.Geometry:
    """An invented beast: body, neck, round head with an eye, two legs, a tail; corners, curves and webs."""
    body = box(-60, -20, 60, 25)
    head = Point(85, 60).buffer(22, 64).difference(Point(88, 64).buffer(6, 32))
    neck = Polygon([(35, 20), (60, 20), (92, 55), (75, 62)])
    legs = shapely.union(box(-50, -80, -38, -15), box(34, -80, 46, -15))
    tail = Polygon([(-58, 20), (-120, 38), (-58, 10)])
    return shapely.union_all([body, head, neck, legs, tail])


def pattern(
    by: Similarity = STILL, grain: float | None = 1.0, keep: Keep = "panel", side: float = 500.0
) -> Pattern:
    """The figure moved by `by` about the middle of a large square panel."""
    middle = complex(side, side) / 2
    outline = Outline(from_region(figure()), 1.0).transform(by.then(Similarity(1 + 0j, middle)))
    return cut_pattern(outline, Panel(side, side, 12.0, grain), keep, KIT.blade.kerf)


def summary(found: tuple[Finding, ...]) -> Counter[tuple[str, str]]:
    return Counter((f.kind, f.severity) for f in found)


def places(found: tuple[Finding, ...], back: Similarity, side: float = 500.0) -> list[tuple[str, complex]]:
    """Kinds and places in the figure's own frame."""
    middle = complex(side, side) / 2
    undone = [(f.kind, (complex(*f.at) - middle - back.b) / back.a) for f in found]
    return sorted(undone, key=lambda p: (p[0], round(p[1].real), round(p[1].imag)))


def test_the_beast_has_some_of_everything() -> None:
    kinds = {f.kind for f in check.run(pattern(), KIT)}
    assert {"tight corner", "tight curve", "loose piece"} <= kinds
    assert {"thin web", "short grain"} & {f.kind for f in check.run(pattern(keep="figure"), KIT)}


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
@given(dx=st.floats(-60, 60), dy=st.floats(-60, 60), turn=st.floats(-math.pi, math.pi))
@settings(max_examples=4, deadline=None)
def test_moving_and_turning_the_pattern_with_its_grain_moves_every_finding(
    keep: Keep, dx: float, dy: float, turn: float
) -> None:
    by = Similarity(cmath.rect(1, turn), complex(dx, dy))
    first = check.run(pattern(keep=keep), KIT)
    second = check.run(pattern(by, 1.0 + turn, keep), KIT)
    assert summary(first) == summary(second)
    for (kind, was), (same, now) in zip(places(first, STILL), places(second, by), strict=True):
        assert kind == same
        if kind in ("tight corner", "tight curve"):
            assert abs(was - now) < 1.0


def test_the_same_pattern_gives_the_same_findings() -> None:
    assert check.run(pattern(), KIT) == check.run(pattern(), KIT)


@given(st.integers(0, 10**6), st.floats(0.12, 0.3))
@example(281726, 0.14248893064117285)  # its tip is finer than any measure, and no web
@settings(max_examples=4, deadline=None)
def test_resampling_and_noise_change_no_kind(seed: int, step: float) -> None:
    rng = np.random.default_rng(seed)

    def shaken(ring: shapely.LinearRing) -> np.ndarray:
        xy = shapely.get_coordinates(ring.segmentize(step))[:-1]
        return np.asarray(xy + rng.uniform(-0.02, 0.02, xy.shape))

    whole = figure()
    assert isinstance(whole, Polygon)
    rough = Polygon(shaken(whole.exterior), [shaken(hole) for hole in whole.interiors])
    assume(rough.is_valid)
    plain = pattern()
    outline = Outline(from_region(shapely.transform(rough, lambda xy: np.asarray(xy + 250))), 1.0)
    shaky = cut_pattern(outline, plain.panel, "panel", KIT.blade.kerf)
    assert summary(check.run(shaky, KIT)) == summary(check.run(plain, KIT))


@given(st.floats(0.4, 1.5))
@settings(max_examples=5, deadline=None)
def test_a_blade_that_turns_tighter_never_finds_more(scale: float) -> None:
    tighter = replace(KIT, blade=KIT.blade.measured(KIT.blade.turning_radius * min(scale, 1)))
    wider = replace(KIT, blade=KIT.blade.measured(KIT.blade.turning_radius * max(scale, 1)))
    count = [
        sum(f.kind in ("tight corner", "tight curve") for f in check.run(pattern(), kit))
        for kit in (tighter, wider)
    ]
    assert count[0] <= count[1]


def test_stops_come_first_and_the_order_is_fixed() -> None:
    found = check.run(pattern(), KIT)
    assert [f.severity for f in found] == sorted((f.severity for f in found), reverse=True)
    assert ordered(found[::-1]) == ordered(found)


def test_the_most_dangerous_comes_first_whatever_the_input_s_order() -> None:
    def made(kind: Kind, severity: Severity, y: float = 0.0) -> Finding:
        return worded(kind, severity, (1.0, y), None, None, None, "Text.", "Remedy.")

    danger: tuple[Kind, ...] = (
        "loose piece",
        "thin web",
        "short grain",
        "narrow opening",
        "too near the edge",
        "off the panel",
        "glue line",
        "tight corner",
        "tight curve",
        "drawn line",
        "speck",
        "kit",
        "plan",
        "router",
        "source",
    )
    assert sorted(danger) == sorted(get_args(Kind))
    cares = [made(kind, "care") for kind in danger]
    stops = [made(kind, "stop") for kind in danger]
    upper, lower = made("kit", "care", 50.0), made("kit", "care", 1.0)
    wanted = (*stops, *cares[:11], upper, lower, *cares[11:])
    assert ordered(reversed(wanted)) == wanted


def test_every_check_stands_once_in_the_tuple() -> None:
    modules = {p.stem for p in Path(check.__file__).parent.glob("*.py")}
    helpers = {"__init__", "tight", "web", "boards", "hint", "source"}
    assert {c.__module__.rpartition(".")[2] for c in CHECKS} == modules - helpers
    assert len(set(CHECKS)) == len(CHECKS)


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_sentences_are_sentences(keep: Keep, units: Units) -> None:
    found = check.run(pattern(keep=keep), KIT)
    assert found
    for f in found:
        assert text(f, units)[0].isupper()
        assert text(f, units).endswith(".")
        assert remedy(f, units)[0].isupper()
        assert remedy(f, units).endswith(".")
        assert "\n" not in text(f, units) + remedy(f, units)
        assert "nan" not in text(f, units) + remedy(f, units)
        assert "inf" not in text(f, units) + remedy(f, units)
        assert (" mm" in text(f, units)) <= (units == "mm")
        assert all(math.isfinite(v) for v in f.at)


def test_openings_named_in_findings_exist() -> None:
    made = pattern()
    ids = {o.id for o in made.openings} | {None}
    assert {f.opening for f in check.run(made, KIT)} <= ids


def test_widths_for_a_picture_lie_in_keep() -> None:
    made = pattern(keep="figure")
    middle = middle_of_keep(made)
    nodes, widths = middle.nodes, middle.widths
    assert nodes.shape == widths.shape
    assert shapely.contains_xy(made.keep, nodes.real, nodes.imag).all()
    assert widths.min() > 0
    assert widths.max() < 70


def test_the_document_tells_every_kind_and_the_limits_that_are_used() -> None:
    text = (Path(__file__).parents[2] / "docs" / "explanation" / "checks.md").read_text("utf-8")
    rows = {line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| ")}
    assert set(get_args(Kind)) - {"plan", "router", "source"} <= rows
    limits = Limits()
    for words in (
        f"{bends.LEFT_STANDING} mm of waste standing",
        f"{bends.INTO_KEEP} mm into what survives",
        f"thinned to {bends.COARSE} mm",
        f"{limits.edge:g} mm *(practice)*",
        f"{limits.speck:g} mm *(practice)*",
        f"{limits.web_along:g} along the grain, {limits.web_across:g} across it, {limits.web_sheet:g} for sheet",
        f"nowhere wider than {rules.TUFT:g} mm",
        f"or than {rules.BREAKS_WIDTH:g} mm",
        f"length over {rules.TUFT_SHARE:g}",
        f"length over {rules.SPECK_SHARE:g}",
        f"for {rules.SLENDER:g} of its widths, or for {rules.LEVER:g} where",
        f"{math.degrees(rules.ALONG):.0f} degrees or more",
        f"{math.degrees(rules.ACROSS):.0f} degrees or more",
        f"up to {room.LOOP_ASIDE:g} degrees",
        f"{room.HOLE_INTO_KEEP} mm into what survives",
        f"{tight.FILED} mm",
        ", ".join(DANGER),
    ):
        assert words in text, words
    assert rules.BREAKS_SHARE == 0.25
    assert rules.STRIP == 3
    assert math.degrees(rules.ACROSS) == pytest.approx(45)


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
@pytest.mark.parametrize(
    "shape",
    [
        box(-5, -5, 105, 105),
        box(-5, -5, 50, 105),
        box(0, 0, 100, 100).difference(box(1, 1, 99, 99)),
        box(10, 50, 90, 50.02),
        Polygon([(10, 10), (90, 50), (10, 10.4)]),
        shapely.union(box(20, 20, 50, 50), box(50, 50, 80, 80)),
        shapely.union_all([box(5 + 3 * i, 50, 6.2 + 3 * i, 51) for i in range(20)]),
    ],
    ids=["everything", "half", "frame", "line", "needle", "touching", "specks"],
)
def test_odd_patterns_are_checked_all_the_same(shape: shapely.Geometry, keep: Keep) -> None:
    made = cut_pattern(Outline(from_region(shape), 1.0), Panel(100, 100, 18), keep, KIT.blade.kerf)
    found = check.run(made, KIT)
    assert check.run(made, KIT) == found
    assert check.hint(made, KIT) is None or found
    middle = middle_of_keep(made)
    assert len(middle.nodes) == len(middle.widths)
