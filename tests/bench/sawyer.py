"""What a plan costs the sawyer, by one rule of pricing whatever the plan itself reckons with.

Prices: cut 400 mm/min (200 on a scroll saw), back three times as fast, turn 5 s, drop in 20 s, lift 45 s, thread
120 s, hole 45 s. Common practice, no source (docs/explanation/plan.md).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from cutout.geom.curve import FloatArray
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.saw.model import CORNER, EDGE, Place, Plan
from cutout.saw.planner.area import Area, area_of

SECONDS = {"back": 5.0, "turn": 5.0, "spin": 5.0, "drop in": 20.0, "lift": 45.0, "thread": 120.0}
HOLE = 45.0
SHORT = 10.0


def feed(kit: Kit) -> float:
    """Feed (mm a minute) by the rule."""
    return 200.0 if kit.moves.threads else 400.0


def minutes(made: Plan, kit: Kit) -> float:
    """Minutes a plan takes by the rule; a start in its own kerf counts 5 s, backing included."""
    moves = sum(SECONDS[leg.start_by] for leg in made.legs)
    return made.cut_length / feed(kit) + (moves + HOLE * len(made.holes)) / 60


def true_bound(pattern: Pattern, kit: Kit) -> float:
    """No plan is quicker: the line once, a hole and a drop-in an opening. Weak, but a bound."""
    length = sum(o.region.length for o in pattern.openings)
    return length / feed(kit) + len(pattern.openings) * (HOLE + SECONDS["drop in"]) / 60


def least_legs(pattern: Pattern, kit: Kit, made: Plan) -> int:
    """Arrivals that are needed with the plan's own holes.

    A run of line between two inside corners the blade can't round within the band is arrived at from both ends, from
    one where a hole to turn in lies at the other; a ring without such corners is arrived at once.
    """
    return sum(
        _least_of(area_of(o, pattern.panel, kit.blade, kit.allow), kit, made) for o in pattern.openings
    )


def _least_of(area: Area, kit: Kit, made: Plan) -> int:
    ends = [complex(s.z[np.searchsorted(s.s, 0.0)]) for s in area.stretches if not s.closed and s.inside[0]]
    rings = sum(len(p.interiors) + 1 for p in area.centres.geoms)
    if not ends:
        return rings
    holes = [(complex(*h.at), h.diameter / 2) for h in made.holes if h.diameter >= kit.blade.hole_to_turn]
    at_hole = sum(any(abs(z - at) < r + kit.blade.kerf for at, r in holes) for z in ends)
    return max(2 * len(ends) - at_hole, rings)


def columns(pattern: Pattern, kit: Kit, made: Plan) -> dict[str, float]:
    """The figures of one plan."""
    rings = sum(1 + len(o.region.interiors) for o in pattern.openings)
    by = Counter(leg.start_by for leg in made.legs)
    length = sum(o.region.length for o in pattern.openings)
    return {
        "rings": rings,
        "bound": least_legs(pattern, kit, made),
        "goes": made.goes,
        "lifts": by["lift"] + by["thread"],
        "steps": len(made.steps),
        "minutes": minutes(made, kit),
        "alike": minutes_alike(
            len(made.holes),
            [(leg.starts, leg.ends, np.asarray(leg.path)) for leg in made.legs],
            kit,
            frozenset(n for n, leg in enumerate(made.legs) if leg.start_by == "spin"),
        ),
        "least": true_bound(pattern, kit),
        "length": made.cut_length / max(length, 1e-9),
        "short": sum(leg.length < SHORT for leg in made.legs),
        "falls": sum(leg.drops.area for leg in made.legs),
    }


@dataclass
class _Walk:
    """Paths of the present go, each with the path it branched from and how far along; all paths before."""

    go: list[tuple[FloatArray, tuple[int, float] | None]] = field(default_factory=list)
    before: list[FloatArray] = field(default_factory=list)


ON_A_KERF, COS = 0.12, 0.9
"""A leg that begins so near (mm) to a kerf, and so much along it, branches off from it."""


def minutes_alike(
    holes: int, legs: Sequence[tuple[Place, Place, FloatArray]], kit: Kit, spun: frozenset[int] = frozenset()
) -> float:
    """Minutes of any plan by the rule, its moves worked out from where legs start, end and run alone.

    legs: what each starts from and ends in, and its path (n, 2). So plans of any age are priced alike: a
    start on a kerf of the same go is backed to (5 s and the way), one in a place the go has come to is a turn (5 s
    and the way), another one in a hole, at the edge or in fallen waste is a drop-in, any other kerf a lift; where
    the saw threads, both of these are threadings. spun: places of legs before which the blade turns in its own kerf
    (5 s and the way).
    """
    speed, walk, seconds = feed(kit) / 60, _Walk(), HOLE * holes
    threads = kit.moves.threads
    last_ends, places = CORNER, set[Place]()
    for n, (starts, ends, path) in enumerate(legs):
        seconds += float(np.hypot(*np.diff(path, axis=0).T).sum()) / speed
        parent = _branches(path, walk.go, -1.0 if n in spun else COS, kit.blade.width * (n in spun))
        open_place = n not in spun and (starts.kind != "leg" or _nearest(path[0], walk.before) > ON_A_KERF)
        if open_place:
            parent = None
        if parent is not None:
            seconds += SECONDS["back"] + _way(walk.go, parent) / (3 * speed)
        elif walk.go and open_place and (starts in places or starts == last_ends):
            seconds += SECONDS["turn"] + _way(walk.go, (0, 0.0)) / (3 * speed)
            walk.go.append((path, (0, 0.0)))
        else:
            kind = "thread" if threads and starts != EDGE else "drop in" if open_place else "lift"
            seconds += SECONDS[kind]
            walk.go, places = [], set()
        if not walk.go or walk.go[-1][0] is not path:
            walk.go.append((path, parent))
        walk.before.append(path)
        places |= {starts, ends} - {CORNER} if open_place else {ends} - {CORNER}
        last_ends = ends
    return seconds / 60


def _nearest(at: FloatArray, paths: Sequence[FloatArray]) -> float:
    spot = shapely.Point(at)
    return min((float(shapely.distance(shapely.LineString(p), spot)) for p in paths), default=np.inf)


def _branches(
    path: FloatArray,
    go: Sequence[tuple[FloatArray, tuple[int, float] | None]],
    cos: float,
    more: float,
) -> tuple[int, float] | None:
    """The path of the go a leg begins on, running its way, and how far along it."""
    spot, ahead = shapely.Point(path[0]), path[1] - path[0]
    for k in range(len(go) - 1, -1, -1):
        line = shapely.LineString(go[k][0])
        if shapely.distance(line, spot) > ON_A_KERF + more:
            continue
        s = float(shapely.line_locate_point(line, spot))
        ends = shapely.get_coordinates(shapely.line_interpolate_point(line, [max(s - 0.2, 0.0), s + 0.2]))
        run = ends[1] - ends[0]
        if ahead @ run > cos * np.hypot(*ahead) * np.hypot(*run):
            return k, s
    return None


def _way(go: Sequence[tuple[FloatArray, tuple[int, float] | None]], to: tuple[int, float]) -> float:
    """How far (mm) the blade goes back in its kerfs from the end of the last path to a place on another."""

    def up(k: int, s: float) -> dict[int, tuple[float, float]]:
        found, way = {k: (0.0, s)}, 0.0
        while (parent := go[k][1]) is not None and parent[0] != k:
            way += s
            k, s = parent
            found[k] = (way, s)
        return found

    mine = up(len(go) - 1, shapely.LineString(go[-1][0]).length)
    theirs = up(*to)
    shared = [k for k in mine if k in theirs]
    return min((mine[k][0] + theirs[k][0] + abs(mine[k][1] - theirs[k][1]) for k in shared), default=0.0)
