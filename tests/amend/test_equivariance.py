"""Mending does not care which way up the figure lies, where on the panel, or in what unit it is told."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import pytest
import shapely
from shapely import MultiPolygon, Polygon, affinity, box

from cutout import check
from cutout.amend import Mended, Mending, mend
from cutout.check.loose_piece import Loose
from cutout.check.near_edge import NearEdge
from cutout.finding import Finding
from cutout.geom.outline import Outline, as_multi, from_region
from cutout.pattern import Panel, cut_pattern
from cutout.saw import plan
from tests.figures import wavy
from tests.kits import KIT, kit_of

SIDE = 300.0
GRAIN = 0.4


def drawn() -> dict[str, MultiPolygon]:
    """Invented figures, none of them like itself when turned or mirrored."""
    island = wavy(85.0, ((2, 0.2, 0.3), (3, 0.1, 1.0)), 150 + 150j, 90)
    loose = wavy(50.0, ((2, 0.25, 1.1), (5, 0.08, 0.4)), 156 + 147j, 70)
    small = wavy(11.0, ((3, 0.1, 0.2),), 90 + 160j, 30)
    rough = wavy(90.0, ((7, 0.16, 0.2), (11, 0.1, 1.3), (2, 0.1, 0.5)), 150 + 150j, 120)
    spike = Polygon([(60, 70), (245, 82), (140, 97), (131, 240), (120, 96)])
    return {
        "island": shapely.multipolygons([island.difference(loose)]),
        "two islands": shapely.multipolygons([island.difference(shapely.union(loose, small))]),
        "rough": shapely.multipolygons([rough]),
        "spikes": shapely.multipolygons([spike]),
    }


@dataclass(frozen=True)
class Moved:
    """A turn (quarters), a mirroring left to right before it, and a shift on a panel that much larger (mm)."""

    quarters: int = 0
    mirrored: bool = False
    shift: tuple[float, float] = (0.0, 0.0)

    def figure(self, figure: MultiPolygon) -> MultiPolygon:
        """The figure on its panel, both turned and mirrored together."""
        if self.mirrored:
            figure = affinity.scale(figure, -1, 1, origin=(SIDE / 2, SIDE / 2))
        turned = affinity.rotate(figure, 90 * self.quarters, origin=(SIDE / 2, SIDE / 2))
        return affinity.translate(turned, *self.shift)

    @property
    def grain(self) -> float:
        """Which way the grain then runs."""
        return (math.pi - GRAIN if self.mirrored else GRAIN) + self.quarters * math.pi / 2


MOVES = {
    "a quarter turn": Moved(1),
    "upside down": Moved(2),
    "mirrored": Moved(0, mirrored=True),
    "mirrored and turned": Moved(3, mirrored=True),
    "moved": Moved(shift=(math.pi, math.sqrt(2))),
}


@lru_cache
def mended(name: str, move: Moved) -> Mended:
    panel = Panel(SIDE + 2 * move.shift[0], SIDE + 2 * move.shift[1], 18.0, move.grain % math.pi)
    figure = Outline(from_region(move.figure(drawn()[name])))
    return mend(cut_pattern(figure, panel, "panel", KIT.blade.kerf), KIT, Mending())


def told(done: Mended) -> dict[str, int]:
    """How many findings of each kind and weight."""
    found: dict[str, int] = {}
    for f in done.findings:
        key = f"{f.kind}, {f.severity}{', cleared' if f.cleared else ''}"
        found[key] = found.get(key, 0) + 1
    return found


@pytest.mark.parametrize("move", MOVES)
@pytest.mark.parametrize("name", drawn())
def test_turned_mirrored_or_moved_it_is_mended_alike(name: str, move: str) -> None:
    first, other = mended(name, Moved()), mended(name, MOVES[move])
    assert len(other.bridges) == len(first.bridges)
    assert other.pattern.waste.area == pytest.approx(first.pattern.waste.area, rel=1e-3)
    assert told(other) == told(first)


@pytest.mark.parametrize("move", MOVES)
@pytest.mark.parametrize("name", ["two islands", "rough"])
def test_the_mended_line_is_the_same_to_a_hair(name: str, move: str) -> None:
    turned = MOVES[move].figure(mended(name, Moved()).pattern.waste)
    other = mended(name, MOVES[move]).pattern.waste
    assert shapely.hausdorff_distance(turned, other) < 1e-5


@pytest.mark.parametrize("move", MOVES)
def test_what_is_said_is_said_of_where_it_lies(move: str) -> None:
    """The side of the panel an opening is near, the box of a loose piece, the number of an opening: as checked."""
    low, high = Polygon([(150, 60), (161, 4), (200, 58)]), Polygon([(100, 240), (133, 300), (150, 245)])
    near = shapely.multipolygons([box(20, 100, 60, 240), low, high])
    hollow = shapely.difference(near, box(30, 120, 50, 220))
    done = MOVES[move].figure(as_multi(hollow))
    size = SIDE + 2 * max(MOVES[move].shift)
    panel = Panel(size, size, 18.0, MOVES[move].grain % math.pi)
    pattern = cut_pattern(Outline(from_region(done)), panel, "panel", KIT.blade.kerf)
    said = mend(pattern, KIT, Mending(ease=False, bridge=False)).findings
    found = check.run(pattern, KIT)
    kinds = ("too near the edge", "loose piece")
    assert sorted(as_said(f) for f in said if f.kind in kinds) == sorted(
        as_said(f) for f in found if f.kind in kinds
    )
    assert {f.kind for f in found} >= set(kinds)


def as_said(finding: Finding) -> tuple[object, ...]:
    """What tells findings apart, to a hundredth of a millimetre."""
    at = tuple(round(side, 2) + 0.0 for side in finding.at)
    facts = finding.facts
    way = (facts.side,) if isinstance(facts, NearEdge) else ()
    size = (round(facts.width, 2), round(facts.height, 2)) if isinstance(facts, Loose) else ()
    return (finding.kind, at, finding.opening or 0, way, size)


@pytest.mark.parametrize("move", ["a quarter turn", "mirrored", "mirrored and turned"])
def test_an_opening_at_the_edge_is_planned_alike(move: str) -> None:
    kit = kit_of("scroll-medium")
    shape = shapely.union(wavy(25.0, ((2, 0.2, 0.3),), 150 + 40j, 60), box(145, 0, 153, 40))
    first, other = (
        plan(
            cut_pattern(
                Outline(from_region(m.figure(as_multi(shape)))), Panel(SIDE, SIDE, 18.0), "panel", 1.0
            ),
            kit,
        )
        for m in (Moved(), MOVES[move])
    )
    assert [len(made) for made in (first.legs, first.holes, first.steps)] == [
        len(made) for made in (other.legs, other.holes, other.steps)
    ]
    assert other.cut_length == pytest.approx(first.cut_length, rel=1e-5)


@pytest.mark.parametrize("name", ["two islands", "rough"])
def test_the_unit_it_is_told_in_changes_nothing(name: str) -> None:
    panel = Panel(SIDE, SIDE, 18.0, GRAIN)
    figure = Outline(from_region(drawn()[name]))
    kit = replace(KIT, units="in")
    inches = mend(cut_pattern(figure, panel, "panel", KIT.blade.kerf), kit, Mending())
    millimetres = mended(name, Moved())
    assert inches.pattern.waste.equals(millimetres.pattern.waste)
    assert [f.at for f in inches.findings] == [f.at for f in millimetres.findings]


def test_there_is_something_to_mend() -> None:
    assert len(mended("two islands", Moved()).bridges) >= 2
    assert any(f.cleared for f in mended("rough", Moved()).findings)
