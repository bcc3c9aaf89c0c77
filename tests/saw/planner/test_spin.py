"""A thin blade turned on the spot in its own kerf: what that takes off, where it is planned, what the proof says."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely

from cutout.geom.curve import to_complex
from cutout.geom.outline import Outline, as_multi, from_region
from cutout.kit import Kit, blade
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw import plan, prove
from cutout.saw.model import Leg, Plan
from cutout.saw.planner.spin import swept
from cutout.saw.prove_moves import Moves
from cutout.say.steps import step_said
from tests.figures import star
from tests.kits import kit_of
from tests.telling import text

SCROLL = blade("scroll-medium")
PANEL = Panel(140.0, 140.0, 18.0)


@lru_cache(maxsize=4)
def planned(name: str) -> tuple[Pattern, Kit, Plan]:
    """A star of four sharp tips, planned."""
    kit = kit_of(name)
    pattern = cut_pattern(
        Outline(from_region(star(4, 60.0, 22.0, 70 + 70j)), 1.0), PANEL, "panel", kit.blade.kerf
    )
    return pattern, kit, plan(pattern, kit)


def spun() -> tuple[int, Leg]:
    """A leg of the scroll saw's plan that a spin comes before, and its place among the legs."""
    return next((n, leg) for n, leg in enumerate(planned("scroll-medium")[2].legs) if leg.start_by == "spin")


@pytest.mark.parametrize(
    ("turned", "width", "kerf"), [(1.0, 0.97, 0.56), (-2.2, 1.35, 0.66), (0.2, 0.74, 0.42)]
)
def test_a_spin_sweeps_what_the_front_corners_of_the_blade_reach(
    turned: float, width: float, kerf: float
) -> None:
    """Reach from the middle of the back: hypot(W, K / 2), computed; nothing goes behind the pivot."""
    made = replace(SCROLL, width=width, kerf=kerf)
    ahead = complex(math.cos(0.4), math.sin(0.4))
    region = swept(3 + 4j, ahead, turned, made)
    pivot = 3 + 4j - ahead * width / 2
    far = np.abs(to_complex(shapely.get_coordinates(region)) - pivot).max()
    assert far == pytest.approx(math.hypot(width, kerf / 2), abs=0.01)
    for share in np.linspace(0, 1, 9):
        way = ahead * np.exp(-1j * turned * share)
        front = pivot + way * (width + 0.5j * kerf * np.array([-0.99, 0.0, 0.99]) - 0.005)
        assert shapely.dwithin(region, shapely.points(front.real, front.imag), 0.001).all()


def test_a_scroll_saw_spins_at_the_notches_of_a_star_and_is_proved() -> None:
    pattern, kit, made = planned("scroll-medium")
    assert prove(pattern, kit, made).findings == ()
    assert sum(leg.start_by == "spin" for leg in made.legs) >= 3
    assert made.lifts == 1, "threaded once"
    told = (step_said(step, made, pattern, "mm", "mm").text for step in made.steps)
    assert any("round the back of the blade" in line or "in its kerf" in line for line in told)


def test_a_jigsaw_is_never_turned_in_its_kerf() -> None:
    """Source: a jigsaw is backed out and comes from the other side (general how-to pages); it does not spin."""
    pattern, kit, made = planned("jigsaw-narrow")
    assert all(leg.start_by != "spin" for leg in made.legs)
    n, leg = spun()
    whole = planned("scroll-medium")[2]
    found = prove(pattern, kit, replace(whole, legs=(*whole.legs[:n], leg))).findings
    assert any("a jigsaw can't do that" in text(f) for f in found)


@pytest.mark.parametrize("change", [-0.6, 0.6, math.pi])
def test_a_spin_from_another_direction_than_its_kerfs_is_caught(change: float) -> None:
    pattern, kit, made = planned("scroll-medium")
    n, leg = spun()
    wrong = replace(leg, turned=leg.turned + change)
    found = prove(pattern, kit, replace(made, legs=(*made.legs[:n], wrong, *made.legs[n + 1 :]))).findings
    assert any(f"Leg {leg.order} turns the blade" in text(f) for f in found)


def test_a_spin_that_would_gouge_keep_is_caught() -> None:
    """All the wood beside the kerfs is declared to be kept: only the turning blade takes any of it."""
    pattern, kit, made = planned("scroll-medium")
    n, leg = next(
        (n, leg) for n, leg in enumerate(made.legs) if leg.start_by == "spin" and abs(leg.turned) > 0.8
    )
    sector = Moves(kit, pattern.panel.polygon, []).swept(leg, to_complex(np.asarray(leg.path)))
    kerfs = [shapely.LineString(k.path).buffer(kit.blade.kerf / 2) for k in made.legs]
    beside = shapely.difference(shapely.buffer(sector, 3.0), shapely.buffer(shapely.union_all(kerfs), 0.02))
    kept = replace(
        pattern,
        keep=as_multi(shapely.union(pattern.keep, beside)),
        waste=as_multi(shapely.difference(pattern.waste, beside)),
    )
    found = prove(kept, kit, replace(made, legs=made.legs[: n + 1])).findings
    assert any(f"Leg {leg.order} would cut" in text(f) for f in found)
