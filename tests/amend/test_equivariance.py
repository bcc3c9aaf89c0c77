"""Mending does not care which way up the figure lies, where on the panel, or in what unit it is told."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import pytest
import shapely
from shapely import MultiPolygon, Polygon, affinity

from cutout.amend import Mended, Mending, mend
from cutout.geom.outline import Outline, from_region
from cutout.pattern import Panel, cut_pattern
from tests.figures import wavy
from tests.kits import KIT

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
