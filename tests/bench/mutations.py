"""How many plans broken on purpose the proof catches.

    python tests/bench/mutations.py [--count 200] [--say]

Plans of an invented leaf and of stars with three blades. Broken by: a hole less (one a leg starts from), two legs
swapped (the second starts from the first), a fall left unsaid (of more than 4 mm2), a leg along the line 0.3 mm into
what must stay, a whole loop at 95 % of the turning radius.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit
from cutout.pattern import Pattern, cut_pattern
from cutout.saw import plan, prove
from cutout.saw.model import CORNER, Leg, Place, Plan
from tests.telling import text

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.figures import star
from tests.kits import kit_of
from tests.saw.test_mutations import PANEL, leaf

BLADES = ("jigsaw-narrow", "scroll-medium", "jigsaw")


def shapes() -> Iterator[tuple[str, shapely.Polygon]]:
    """What is cut out."""
    yield "leaf", leaf()
    for points, inner in ((5, 0.45), (8, 0.6), (12, 0.75)):
        yield f"star {points}", star(points, 110.0, inner * 110.0, 130 + 130j, math.pi / 2)


def broken(pattern: Pattern, kit: Kit, made: Plan) -> Iterator[tuple[str, Plan]]:
    """Every broken plan, with what is wrong with it."""
    legs = made.legs
    used = {leg.starts for leg in legs}
    for hole in made.holes:
        if Place("hole", hole.id) in used:
            yield "a hole less", replace(made, holes=tuple(h for h in made.holes if h != hole))
    for n, leg in enumerate(legs):
        if leg.drops.area > 4.0:
            yield "a fall unsaid", with_leg(made, n, replace(leg, drops=shapely.MultiPolygon()))
        if (shifted := _shifted(pattern, kit, leg)) is not None:
            yield "a leg shifted", with_leg(made, n, shifted)
        if n and leg.starts == Place("leg", legs[n - 1].order):
            first = replace(leg, order=legs[n - 1].order), replace(legs[n - 1], order=leg.order)
            yield "two legs swapped", replace(made, legs=(*legs[: n - 1], *first, *legs[n + 1 :]))
        if (looped := _looped(pattern, kit, leg, legs[:n])) is not None:
            yield "a loop too tight", replace(made, legs=(*legs[:n], looped))


def with_leg(made: Plan, n: int, leg: Leg) -> Plan:
    """The plan with another leg at place n."""
    return replace(made, legs=(*made.legs[:n], leg, *made.legs[n + 1 :]))


def _shifted(pattern: Pattern, kit: Kit, leg: Leg) -> Leg | None:
    path = np.asarray(leg.path)
    spot = shapely.Point(path[len(path) // 2])
    to = shapely.get_coordinates(shapely.shortest_line(spot, pattern.keep))
    way = to[1] - to[0]
    if np.hypot(*way) > kit.blade.kerf / 2 + 0.1:
        return None
    return replace(leg, path=path + 0.3 * way / np.hypot(*way))


def _looped(pattern: Pattern, kit: Kit, leg: Leg, before: Sequence[Leg]) -> Leg | None:
    """The leg to its middle, then once round in wood that is to go and still stands: in open space nothing binds."""
    fallen = shapely.union_all([k.drops for k in before])
    radius = 0.95 * kit.blade.turning_radius
    path = np.asarray(leg.path)
    if radius < 1.0 or leg.length < 2 * radius:
        return None
    half = path[: len(path) // 2]
    z = complex(*half[-1])
    u = complex(*(half[-1] - half[-2]))
    u /= abs(u)
    for side in (1.0, -1.0):
        turn = np.exp(1j * side * np.linspace(0.0, 1.9 * math.pi, 300)[1:])
        loop = z + 1j * side * u * radius * (1 - turn)
        line = shapely.linestrings(np.column_stack([loop.real, loop.imag]))
        wood = shapely.covers(pattern.waste, shapely.buffer(line, kit.blade.kerf / 2))
        if wood and shapely.distance(fallen, line) > kit.blade.width:
            longer = np.concatenate([half, np.column_stack([loop.real, loop.imag])])
            return replace(leg, path=longer, ends=CORNER)
    return None


def main() -> None:
    """Print how many of each kind were caught."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--say", action="store_true", help="name what was not caught")
    asked = parser.parse_args()
    tried, caught = Counter[str](), Counter[str]()
    for name, region in shapes():
        for saw in BLADES:
            kit = kit_of(saw)
            pattern = cut_pattern(Outline(from_region(region), 1.0), PANEL, "panel", kit.blade.kerf)
            made = plan(pattern, kit)
            whole = {text(f) for f in prove(pattern, kit, made).findings}
            for kind, wrong in broken(pattern, kit, made):
                if tried.total() == asked.count:
                    break
                found = {text(f) for f in prove(pattern, kit, wrong).findings} - whole
                if kind == "a loop too tight":
                    found = {t for t in found if "bend" in t or "bind" in t}
                tried[kind] += 1
                caught[kind] += bool(found)
                if asked.say and not found:
                    print(f"not caught: {kind}, {name}, {saw}")
    for kind in tried:
        print(f"{kind:20}{caught[kind]:5} of {tried[kind]}")
    print(f"{'all':20}{caught.total():5} of {tried.total()}")


if __name__ == "__main__":
    main()
