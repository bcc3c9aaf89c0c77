"""Plans for keep `both`: the blade's centre runs on the outline itself, and nothing beside it is waste.

There is no room for leads or loops, so a blade enters and turns in holes on the line only. Holes are wider
than the kerf and show on both pieces: as few as possible, in corners rather than on smooth runs, low rather
than high.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.finding import Facts, Finding
from cutout.geom.curve import ComplexArray, to_array
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.kit.blade import TURNS
from cutout.pattern import Pattern
from cutout.saw.model import CORNER, Hole, Leg, Place
from cutout.saw.planner.area import as_line
from cutout.saw.planner.holes import fewest
from cutout.saw.planner.line import Stretch, ring_stretches

_MIDDLE = 0.2
"""Price of a hole on a smooth run, on top of one in a corner."""


@dataclass(frozen=True, slots=True)
class NoDrill(Facts):
    """No drill makes the hole the blade comes in and turns through; limit: its diameter."""


@dataclass(frozen=True, slots=True)
class HolesShow(Facts):
    """Holes on the line are wider than the saw cut; size: their diameter, limit: the cut. count: how many."""

    count: int


@dataclass(frozen=True, eq=False, slots=True)
class _Spot:
    """Where a hole could go: at the start of stretch `at_start`, or in the middle of `inside`."""

    z: complex
    stretch: int
    middle: bool


def slit_plan(pattern: Pattern, kit: Kit) -> tuple[list[Hole], list[Leg], list[Finding]]:
    """Holes on the outline and legs along it, inner rings before those around them."""
    diameter = kit.drills.at_least(kit.blade.hole_to_turn)
    if diameter is None:
        return [], [], [_no_drill(pattern, kit)]
    holes: list[Hole] = []
    legs: list[Leg] = []
    for ring in _rings(pattern):
        opening = _opening_of(pattern, ring)
        found = ring_stretches(ring, max(kit.blade.turning_radius * TURNS, 0.05))
        spots = _chosen(found, diameter, pattern)
        numbered = {(s.stretch, s.middle): len(holes) + n + 1 for n, s in enumerate(spots)}
        holes.extend(_hole(s, numbered[(s.stretch, s.middle)], diameter, opening) for s in spots)
        legs.extend(_legs(found, numbered, opening, len(legs) + 1, diameter, [s.z for s in spots], kit))
    findings = [_shows(holes, kit)] if holes else []
    return holes, legs, findings


def _hole(spot: _Spot, number: int, diameter: float, opening: int) -> Hole:
    at = (round(spot.z.real, 4), round(spot.z.imag, 4))
    return Hole(number, at, diameter, ("starter",) if spot.middle else ("starter", "relief"), opening)


def _rings(pattern: Pattern) -> list[shapely.LinearRing]:
    rings = [r for p in polygons_of(pattern.figure) for r in (p.exterior, *p.interiors)]
    return sorted(rings, key=lambda r: (round(Polygon(r).area, 3), shapely.bounds(r).tolist()))


def _opening_of(pattern: Pattern, ring: shapely.LinearRing) -> int:
    spot = shapely.Point(ring.coords[0])
    return min(pattern.openings, key=lambda o: (shapely.distance(o.region, spot), o.id)).id


def _chosen(found: list[Stretch], diameter: float, pattern: Pattern) -> list[_Spot]:
    """The fewest holes from which every stretch can be sawn, in one direction or the other."""
    spots = [_Spot(complex(s.z[0]), i, False) for i, s in enumerate(found) if not s.closed]
    spots += [_Spot(complex(_middle(s)), i, True) for i, s in enumerate(found)]
    reaches = np.zeros((len(spots), len(found)), dtype=bool)
    lines = np.array([as_line(s) for s in found], dtype=object)
    shapely.prepare(lines)
    for row, spot in enumerate(spots):
        reaches[row, spot.stretch] = True
        if not spot.middle:
            reaches[row, (spot.stretch - 1) % len(found)] = True
        disc = shapely.Point(spot.z.real, spot.z.imag).buffer(diameter / 2 - 0.05, quad_segs=32)
        reaches[row] |= np.asarray(shapely.covered_by(lines, disc))
    height = np.array([s.z.imag for s in spots]) / pattern.panel.height
    price = 1e-3 * np.clip(height, 0, 1) + _MIDDLE * np.array([s.middle for s in spots])
    rows, _ = fewest(reaches, price)
    return [spots[r] for r in sorted(rows)]


def _middle(stretch: Stretch) -> complex:
    at = stretch.length * (0.0 if stretch.closed else 0.5)
    return complex(stretch.at(np.array([at]))[0])


def _legs(
    found: list[Stretch],
    numbered: dict[tuple[int, bool], int],
    opening: int,
    first: int,
    diameter: float,
    drilled: list[complex],
    kit: Kit,
) -> list[Leg]:
    legs: list[Leg] = []
    ended: dict[int, Place] = {}
    discs = shapely.union_all([shapely.Point(z.real, z.imag).buffer(diameter / 2 - 0.05) for z in drilled])

    def add(z: ComplexArray, starts: Place, vertex: int | None) -> None:
        if abs(z[-1] - z[0]) < diameter / 2 - 0.05 and shapely.covered_by(
            shapely.LineString(to_array(z)), discs
        ):
            return
        ends = CORNER
        if vertex is not None:
            here = numbered.get((vertex, False))
            ends = Place("hole", here) if here else ended.get(vertex, CORNER)
            ended.setdefault(vertex, Place("leg", first + len(legs)))
        legs.append(Leg(first + len(legs), opening, to_array(z), starts, ends, MultiPolygon()))

    for i, s in enumerate(found):
        after = (i + 1) % len(found)
        if s.closed:
            hole = Place("hole", numbered[(i, True)])
            legs.append(Leg(first + len(legs), opening, to_array(s.part(0.0, s.length)), hole, hole))
        elif (i, True) in numbered:
            hole, half = Place("hole", numbered[(i, True)]), s.length / 2
            add(s.part(half, s.length), hole, after)
            add(s.part(0.0, half)[::-1], hole, i)
        elif shapely.covered_by(as_line(s), discs):
            continue
        elif (i, False) in numbered:
            add(s.part(0.0, s.length), Place("hole", numbered[(i, False)]), after)
        else:
            add(s.part(0.0, s.length)[::-1], Place("hole", numbered[(after, False)]), i)
    return legs


def _no_drill(pattern: Pattern, kit: Kit) -> Finding:
    x, y = shapely.get_coordinates(pattern.figure)[0].tolist()
    return Finding(kind="plan", severity="stop", at=(x, y), limit=kit.blade.hole_to_turn, facts=NoDrill())


def _shows(holes: list[Hole], kit: Kit) -> Finding:
    first = holes[0]
    return Finding(
        kind="plan",
        severity="care",
        at=first.at,
        size=first.diameter,
        limit=kit.blade.kerf,
        opening=first.opening,
        facts=HolesShow(len(holes)),
    )
