"""Proof of a cut plan by moving the blade along it; written without a line of the planner's code.

What is simulated. A leg's path is the centre line of its kerf. The teeth travel along it from half a blade
width ahead of the first point to the last point; the kerf they leave is the path so far, K wide, with a square
end. The body is a rectangle W x T behind the teeth whose middle line is the chord of the path it spans, free to
settle sideways until its middle and its ends are equally far from the kerf's centre line; that freedom is what
makes R = W^2 / (8 (K - T)) on a circle. Where the blade's turning radius was measured or comes from a catalogue
the rectangle is shortened to the width that radius implies, and bends tighter than it are refused anyway.

What is shown, in the order of sawing: (a) the body lies in holes, cut kerf or fallen waste at every step,
(b) no hole and no kerf reaches into keep, (c) all waste comes free but for what may stay on the line for the file and
for slivers, which are listed, (d) every leg starts where a blade can be, and no piece falls while a cut is still to
come in it. What is said beside the cuts (what falls, how the blade comes to a leg) is proved by `prove_moves`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import shapely
from scipy.ndimage import maximum_filter1d
from shapely import Point, Polygon, box

from cutout.finding import Finding
from cutout.geom.curve import ComplexArray, FloatArray, stations, to_array, to_complex
from cutout.geom.outline import polygons_of
from cutout.kit import Blade, Kit
from cutout.pattern import Pattern
from cutout.saw.fault import Fault, What
from cutout.saw.model import EDGE, Hole, LeftOver, Leg, Plan, Proof
from cutout.saw.prove_moves import Moves, still_held, unannounced
from cutout.saw.telling import Tell, rising, untold

Along: TypeAlias = Callable[[FloatArray], ComplexArray]
"""Points at given distances along a path (mm)."""

STEP = 0.2
"""The blade moves in steps of this length (mm)."""
GOUGE = 0.1
"""A kerf may reach this far into keep (mm): less than a pencil line."""
DRILLED = 0.05
"""A hole may reach this far into keep (mm)."""
PLAY = 0.05
"""Play (mm) granted to the body, and the thickness of wood too thin to hold anything."""
NIB = 0.6
"""A piece that hangs on no more than this length of outline (mm) is broken off by hand."""
LOOP, LOOSE = 2.0, 0.01
"""A bend is judged over so many turning radii too, and may turn so much (radians) too far."""
_LEGS = 0.9
"""The share of the proof that goes to the legs, for those who are told how far it has come."""
SLIVER = 0.2
"""Left-over wood smaller than this (mm^2) is dust, not worth a line."""


class _Bounds:
    """Bounding boxes, to be asked which of them meet a region's: a proof looks at what is near, not at everything."""

    def __init__(self, regions: Sequence[shapely.Geometry]) -> None:
        self._boxes = np.asarray(shapely.bounds([*regions]), dtype=float).reshape(-1, 4)
        self._count = len(regions)

    def add(self, region: shapely.Geometry) -> None:
        """One more; an empty region meets nothing."""
        if self._count == len(self._boxes):
            self._boxes = np.concatenate([self._boxes, np.full((max(64, self._count), 4), np.nan)])
        self._boxes[self._count] = shapely.bounds(region)
        self._count += 1

    def meeting(self, region: shapely.Geometry) -> list[int]:
        """Their places in order of coming."""
        x0, y0, x1, y1 = shapely.bounds(region).tolist()
        b = self._boxes[: self._count]
        found = (b[:, 0] <= x1) & (b[:, 2] >= x0) & (b[:, 1] <= y1) & (b[:, 3] >= y0)
        return [int(k) for k in np.flatnonzero(found)]


@dataclass
class _Bench:
    """The state of the work while it is sawn. Local to one proof.

    opened: holes, kerfs and fallen pieces so far, each grown by PLAY. standing: what is left of each opening,
    less what is opened. board: what is left of the whole panel, followed only where a piece may survive loose.
    """

    pattern: Pattern
    blade: Blade
    allow: float
    moves: Moves
    opened: list[shapely.Geometry] = field(default_factory=list)
    standing: dict[int, shapely.Geometry] = field(default_factory=dict)
    board: shapely.Geometry | None = None
    findings: list[Finding] = field(default_factory=list)
    steps: int = 0

    def __post_init__(self) -> None:
        self._bounds = _Bounds(self.opened)
        self._bounds_standing, self._numbers = _Bounds([*self.standing.values()]), [*self.standing]

    def open(self, region: shapely.Geometry) -> None:
        """Take a hole, a kerf or a fallen piece out of the wood."""
        grown = shapely.buffer(region, PLAY, quad_segs=8)
        self.opened.append(grown)
        self._bounds.add(grown)
        for number in self.standing_near(grown):
            wood = self.standing[number]
            if shapely.intersects(shapely.envelope(wood), grown):
                self.standing[number] = shapely.difference(wood, grown)
        if self.board is not None:
            self.board = shapely.difference(self.board, grown)

    def standing_near(self, region: shapely.Geometry) -> list[int]:
        """Openings, by number, whose bounds at the start meet those of a region."""
        return [self._numbers[k] for k in self._bounds_standing.meeting(region)]

    def air(self, frame: Polygon) -> shapely.Geometry:
        """Everything open inside a frame."""
        parts = np.array([self.opened[k] for k in self._bounds.meeting(frame)], dtype=object)
        near = parts[shapely.intersects(parts, frame)] if len(parts) else parts
        return shapely.union_all(shapely.intersection(near, frame))

    def fail(
        self,
        at: complex | tuple[float, float],
        fault: Fault,
        *,
        size: float | None = None,
        limit: float | None = None,
        opening: int | None = None,
    ) -> None:
        x, y = (at.real, at.imag) if isinstance(at, complex) else at
        self.findings.append(
            Finding(
                kind="plan",
                severity="stop",
                at=(round(x, 3), round(y, 3)),
                size=size,
                limit=limit,
                opening=opening,
                facts=fault,
            )
        )


def prove(pattern: Pattern, kit: Kit, plan: Plan, tell: Tell = untold) -> Proof:
    """Move the blade along every leg and report whatever does not work as a `stop` finding of kind "plan".

    tell: called with the share that is done, which rises to 1.
    """
    tell = rising(tell)
    opened: list[shapely.Geometry] = []
    moves = Moves(kit, pattern.panel.polygon, opened)
    standing: dict[int, shapely.Geometry] = {o.id: o.region for o in pattern.openings}
    bench = _Bench(pattern, kit.blade, kit.allow, moves, opened, standing)
    if pattern.keep_mode != "panel":
        bench.board = pattern.panel.polygon
    shapely.prepare(pattern.keep)
    gouge = _prove_holes(bench, plan.holes)
    for hole in plan.holes:
        bench.open(_disc(hole))
    by_number = {h.id: h for h in plan.holes}
    orders = [leg.order for leg in plan.legs]
    if orders != sorted(set(orders)):
        bench.fail((0.0, 0.0), Fault(what="not in order"))
    sawn = 0.0
    for leg in plan.legs:
        gouge = max(gouge, _prove_leg(bench, leg, by_number))
        sawn += leg.length
        tell(_LEGS * sawn / max(plan.cut_length, sawn))
    left = _prove_all_free(bench, plan)
    tell(1.0)
    return Proof(not bench.findings, tuple(bench.findings), gouge, left, bench.steps)


def _disc(hole: Hole) -> Polygon:
    return Point(hole.at).buffer(hole.diameter / 2, quad_segs=64)


def _prove_holes(bench: _Bench, holes: tuple[Hole, ...]) -> float:
    """(b) for holes. Holes of keep `both` are wider than the slot by nature: the planner reports those."""
    if bench.pattern.keep_mode == "both" or not holes:
        return 0.0
    deepest = 0.0
    for hole in holes:
        depth, where = _reach(shapely.difference(_disc(hole), bench.pattern.waste), bench.pattern.waste)
        deepest = max(deepest, depth)
        if depth > DRILLED:
            bench.fail(
                where,
                Fault(what="hole in keep", hole=hole.id),
                size=depth,
                limit=DRILLED,
                opening=hole.opening,
            )
    return deepest


def _prove_leg(bench: _Bench, leg: Leg, holes: dict[int, Hole]) -> float:
    path = _clean(to_complex(np.asarray(leg.path, dtype=float)))
    if len(path) < 2:
        bench.fail(
            complex(path[0]) if len(path) else 0j, Fault(what="no length", leg=leg.order), opening=leg.opening
        )
        return 0.0
    kerf = shapely.LineString(to_array(path)).buffer(bench.blade.kerf / 2, quad_segs=32, cap_style="flat")
    reach = _frame(kerf, 2 * bench.blade.width)
    air = bench.air(reach)
    if leg.starts == EDGE:
        air = shapely.union(air, shapely.difference(reach, bench.pattern.panel.polygon))
    _prove_source(bench, leg, complex(path[0]), holes)
    if bench.pattern.keep_mode != "both" and (fault := bench.moves.fault(leg, path, air)) is not None:
        bench.fail(complex(path[0]), fault, opening=leg.opening)
    gouge = 0.0
    if leg.start_by == "spin":
        swept = bench.moves.swept(leg, path)
        gouge = _prove_kerf(bench, leg, swept)
        bench.open(swept)
        air = bench.air(reach)
    _prove_body(bench, leg, path, air)
    gouge = max(gouge, _prove_kerf(bench, leg, kerf))
    if bench.board is not None:
        _prove_piece_still_held(bench, leg, kerf)
    bench.open(kerf)
    if bench.pattern.keep_mode != "both":
        fallen = _free_pieces(bench, _frame(kerf, 1.0))
        for piece in fallen:
            bench.open(piece)
        _prove_announced(bench, leg, fallen)
        bench.moves.note(leg, path)
    return gouge


def _prove_announced(bench: _Bench, leg: Leg, fallen: list[Polygon]) -> None:
    """(e): what comes free is said, and what is said comes free."""
    pieces: tuple[tuple[Polygon | None, What], ...] = (
        (unannounced(fallen, leg), "falls unannounced"),
        (still_held(fallen, leg), "does not fall"),
    )
    for piece, what in pieces:
        if piece is not None:
            at = piece.representative_point()
            fault = Fault(what=what, leg=leg.order, across=math.sqrt(piece.area))
            bench.fail((at.x, at.y), fault, opening=leg.opening)


def _frame(geometry: shapely.Geometry, margin: float) -> Polygon:
    """The bounding box of a geometry grown by `margin`, to keep unions local."""
    x0, y0, x1, y1 = shapely.bounds(geometry)
    frame: Polygon = box(x0 - margin, y0 - margin, x1 + margin, y1 + margin)
    return frame


def _prove_source(bench: _Bench, leg: Leg, start: complex, holes: dict[int, Hole]) -> None:
    """(d), the words: a leg says where the blade comes from, and that must exist by then."""
    kind, number = leg.starts.kind, leg.starts.number
    known = (
        (kind == "edge" and bool(bench.pattern.openings))
        or (kind == "hole" and number in holes)
        or (kind == "leg" and number is not None and number < leg.order)
    )
    if not known:
        bench.fail(start, Fault(what="no such start", leg=leg.order, starts=leg.starts), opening=leg.opening)
    elif kind == "hole" and number is not None:
        hole = holes[number]
        if abs(start - complex(*hole.at)) > hole.diameter / 2 + PLAY:
            fault = Fault(what="not in its hole", leg=leg.order, hole=hole.id)
            bench.fail(start, fault, opening=leg.opening)


def _prove_body(bench: _Bench, leg: Leg, path: ComplexArray, air: shapely.Geometry) -> None:
    """(a) and (d): the body in open space at every step, and no bend tighter than the blade turns."""
    blade = bench.blade
    radius, width = blade.turning_radius, _working_width(blade)
    total, at = _by_length(path)
    first = min(width / 2, total)
    teeth = np.linspace(first, total, max(2, math.ceil((total - first) / STEP) + 1))
    bench.steps += len(teeth)
    body = _body_points(at, teeth, width, blade.body)
    shapely.prepare(air)
    in_air = shapely.contains_xy(air, body.real, body.imag)
    if not in_air[0].all():
        where = complex(body[0][~in_air[0]][0])
        bench.fail(where, Fault(what="no room", leg=leg.order), opening=leg.opening)
        return
    stuck = _outside_kerf(at, teeth, body, in_air, width, blade.kerf)
    if stuck is not None:
        bench.fail(
            complex(at(np.array([teeth[stuck]]))[0]),
            Fault(what="binds", leg=leg.order),
            limit=radius,
            opening=leg.opening,
        )
        return
    free = np.all(in_air, axis=1)
    bend = _tight_bend(at, teeth, total, radius, free) or _tight_loop(at, teeth, total, radius, free)
    if bend is not None:
        where, measured = bend
        bench.fail(
            where,
            Fault(what="bends", leg=leg.order),
            size=measured,
            limit=radius,
            opening=leg.opening,
        )


def _working_width(blade: Blade) -> float:
    """Width of a rectangle whose own least radius is the blade's turning radius, never above the true width."""
    play = blade.kerf - blade.body
    return min(blade.width, math.sqrt(8 * play * (blade.turning_radius + blade.body / 2)))


def _by_length(path: ComplexArray) -> tuple[float, Along]:
    """Total length, and a function from distances along the path to points; straight on before the start."""
    along = stations(path)
    ahead = (path[1] - path[0]) / along[1]

    def at(distance: FloatArray) -> ComplexArray:
        on_path = np.interp(distance, along, path.real) + 1j * np.interp(distance, along, path.imag)
        return np.asarray(on_path + np.minimum(distance, 0.0) * ahead)

    return float(along[-1]), at


def _body_points(at: Along, teeth: FloatArray, width: float, body: float) -> ComplexArray:
    """Points round the body rectangle for each position of the teeth; (positions, points) complex."""
    front, middle, back = at(teeth), at(teeth - width / 2), at(teeth - width)
    chord = front - back
    along = chord / np.maximum(np.abs(chord), 1e-9)
    settle = (middle - (front + back) / 2) / 2
    centre = (front + back) / 2 + settle
    run = np.linspace(-width / 2, width / 2, max(3, math.ceil(width / 0.4) + 1))
    edge = np.concatenate([run + 0.5j * body, run - 0.5j * body])
    return np.asarray(centre[:, None] + along[:, None] * edge[None, :])


def _outside_kerf(
    at: Along, teeth: FloatArray, body: ComplexArray, in_air: np.ndarray, width: float, kerf: float
) -> int | None:
    """First position at which some point of the body is neither in air nor in the kerf just cut.

    The kerf is judged by points STEP apart on its centre line, which overrates a distance by 0.01 mm at most.
    """
    doubtful = np.flatnonzero(~in_air.all(axis=1))
    if len(doubtful) == 0:
        return None
    back = np.linspace(-(width + 1.0), 0.0, max(8, math.ceil((width + 1.0) / STEP) + 1))
    window = at(teeth[doubtful, None] + back[None, :])
    # Most of the body lies beside the place of the centre line that is as far behind the teeth: that is looked at
    # first, every place for the rest only.
    behind = np.searchsorted(back, np.linspace(-width, 0.0, body.shape[1] // 2)).clip(max=len(back) - 1)
    away = window[:, np.tile(behind, 2)] - body[doubtful]
    limit = kerf / 2 + PLAY
    row, point = np.nonzero((away.real**2 + away.imag**2 > limit**2) & ~in_air[doubtful])
    away = window[row] - body[doubtful[row], point][:, None]
    bad = row[(away.real**2 + away.imag**2 > limit**2).all(axis=1)]
    return int(doubtful[bad[0]]) if len(bad) else None


def _tight_bend(
    at: Along, teeth: FloatArray, total: float, radius: float, in_air: np.ndarray
) -> tuple[complex, float] | None:
    """The worst place where the path, over a third of the turning radius each way, bows out too far.

    A circle of radius R bows h^2 / (2 R) over a chord of half length h; PLAY is granted on top. Positions
    whose whole body is in air are not judged: there the blade is turned by hand.
    """
    if radius <= 0:
        return None
    reach = np.minimum(np.minimum(radius / 3, teeth), total - teeth)
    judged = (reach > min(0.3, radius / 3) * 0.999) & ~in_air
    if not judged.any():
        return None
    t, h = teeth[judged], reach[judged]
    ends = at(t - h), at(t + h)
    bow = np.abs(at(t) - (ends[0] + ends[1]) / 2)
    over = bow - h**2 / (2 * radius) * 1.02 - PLAY
    worst = int(np.argmax(over))
    if over[worst] <= 0:
        return None
    return complex(at(t[worst : worst + 1])[0]), float(h[worst] ** 2 / (2 * bow[worst]))


def _tight_loop(
    at: Along, teeth: FloatArray, total: float, radius: float, in_air: np.ndarray
) -> tuple[complex, float] | None:
    """The worst place where the path, over two turning radii, turns further than a circle of that radius.

    Along a length L the heading of a path of curvature 1 / R turns by L / R. Granted: LOOSE, and what the path turns
    at one of its own points, since it is drawn in chords.
    """
    window = LOOP * radius
    if radius <= 0 or total < window:
        return None
    step = min(STEP, radius / 20)
    s = np.linspace(0.0, total, max(2, math.ceil(total / step) + 1))
    along = np.diff(at(s))
    heading = np.unwrap(np.angle(along))
    wide = max(1, round(window / (s[1] - s[0])))
    if len(heading) <= wide:
        return None
    turned = np.abs(heading[wide:] - heading[:-wide])
    length = wide * (s[1] - s[0])
    middle = s[wide // 2 : wide // 2 + len(turned)]
    chord = maximum_filter1d(np.abs(np.diff(heading, append=heading[-1:])), wide + 1)[wide // 2 :][
        : len(turned)
    ]
    over = turned - length / radius - LOOSE - 1.05 * chord
    over = np.where(np.interp(middle, teeth, in_air.astype(float)) > 0.5, -1.0, over)
    worst = int(np.argmax(over))
    if over[worst] <= 0:
        return None
    return complex(at(middle[worst : worst + 1])[0]), float(length / turned[worst])


def _prove_kerf(bench: _Bench, leg: Leg, kerf: shapely.Geometry) -> float:
    """(b) for kerfs."""
    frame = _frame(kerf, 1.0)
    waste = shapely.clip_by_rect(bench.pattern.waste, *frame.bounds)
    into = shapely.intersection(shapely.difference(kerf, waste), bench.pattern.panel.polygon)
    depth, where = _reach(into, waste)
    if depth > GOUGE:
        bench.fail(
            where,
            Fault(what="kerf in keep", leg=leg.order),
            size=depth,
            limit=GOUGE,
            opening=leg.opening,
        )
    return depth


def _reach(region: shapely.Geometry, base: shapely.Geometry) -> tuple[float, tuple[float, float]]:
    """How far `region` reaches away from `base` at most, and where; its own diagonal where there is no base."""
    xy = shapely.get_coordinates(region)
    if len(xy) == 0:
        return 0.0, (0.0, 0.0)
    if shapely.is_empty(base):
        return math.dist(xy.min(axis=0), xy.max(axis=0)), (float(xy[0, 0]), float(xy[0, 1]))
    shapely.prepare(base)
    away = np.asarray(shapely.distance(shapely.points(xy), base))
    worst = int(np.argmax(away))
    return float(away[worst]), (float(xy[worst, 0]), float(xy[worst, 1]))


def _deepest(piece: shapely.Geometry, opened: shapely.STRtree) -> tuple[float, tuple[float, float]]:
    """How far a piece reaches away from what is open, and where; its own diagonal where nothing is."""
    if len(opened) == 0:
        return _reach(piece, Polygon())
    xy = shapely.get_coordinates(piece)
    away = opened.query_nearest(shapely.points(xy), return_distance=True, all_matches=False)[1]
    worst = int(np.argmax(away))
    return float(away[worst]), (float(xy[worst, 0]), float(xy[worst, 1]))


def _free_pieces(bench: _Bench, near: Polygon) -> list[Polygon]:
    """(c): pieces of waste that nothing thicker than PLAY holds to keep any more, near the last cut."""
    pieces = []
    for number in bench.standing_near(near):
        wood = bench.standing[number]
        if shapely.intersects(shapely.envelope(wood), near):
            pieces += [p for p in polygons_of(wood) if p.intersects(near) and not _held(bench, p)]
    return pieces


def _held(bench: _Bench, piece: Polygon) -> bool:
    """Whether keep still holds a piece: along more of its outline than a nib breaks off at."""
    if not shapely.dwithin(bench.pattern.keep, piece, PLAY / 2):
        return False
    if piece.area < 4 * NIB**2:
        return True
    keep = shapely.clip_by_rect(bench.pattern.keep, *_frame(piece, 1.0).bounds)
    contact = shapely.intersection(piece.boundary, shapely.buffer(keep, PLAY / 2))
    return float(contact.length) > NIB


def _prove_piece_still_held(bench: _Bench, leg: Leg, kerf: shapely.Geometry) -> None:
    """(d): a surviving piece that is already free must not be cut any more."""
    pieces = sorted(polygons_of(bench.board), key=lambda p: -p.area) if bench.board is not None else []
    for piece in pieces[1:]:
        cut = shapely.intersection(piece, kerf)
        surviving = shapely.intersection(piece, bench.pattern.keep).area > 0.5 * piece.area
        if surviving and cut.area > 4 * bench.blade.kerf * bench.blade.width:
            at = cut.representative_point()
            bench.fail(
                (at.x, at.y),
                Fault(what="piece came free", leg=leg.order),
                opening=leg.opening,
            )
            return


def _prove_all_free(bench: _Bench, plan: Plan) -> tuple[LeftOver, ...]:
    """(c): what stands at the end. Slivers the plan states are listed; anything more is a failure."""
    if bench.pattern.keep_mode == "both":
        _prove_outline_cut(bench)
        return ()
    stated = [(complex(*s.at), s.area) for s in plan.left_over]
    left = []
    opened = shapely.STRtree(bench.opened)
    for number, wood in bench.standing.items():
        for piece in _thick_parts(bench, wood):
            if piece.area < SLIVER or not _held(bench, piece):
                continue
            depth, at = _deepest(shapely.segmentize(piece, 0.3), opened)
            left.append(LeftOver((round(at[0], 3), round(at[1], 3)), depth + PLAY, piece.area))
            if not _acceptable(left[-1], piece, stated, bench.blade):
                bench.fail(
                    at,
                    Fault(what="piece stays"),
                    size=depth + PLAY,
                    opening=number,
                )
    return tuple(left)


def _thick_parts(bench: _Bench, wood: shapely.Geometry) -> list[Polygon]:
    """What stands where it is thicker than the wood that may stay on the line for the file."""
    half = bench.allow / 2 + PLAY
    core = shapely.buffer(shapely.buffer(wood, -half, quad_segs=8), half + 0.02, quad_segs=8)
    return list(polygons_of(shapely.intersection(wood, core)))


def _acceptable(sliver: LeftOver, piece: Polygon, stated: list[tuple[complex, float]], blade: Blade) -> bool:
    """A sliver for the file: a skin or a crumb, or stated by the plan and no larger than a corner it can't turn."""
    if piece.buffer(-2 * PLAY).is_empty or (sliver.depth <= 0.6 and sliver.area <= 1.0):
        return True
    grown = piece.buffer(1.0)
    named = [area for at, area in stated if grown.contains(Point(at.real, at.imag))]
    most = max(5.0, 1.5 * blade.hole_to_turn**2)
    return bool(named) and sliver.area <= min(most, 1.3 * sum(named) + 0.5)


def _prove_outline_cut(bench: _Bench) -> None:
    """(c) for keep `both`: the whole outline is sawn, so that the pieces part."""
    lines = shapely.boundary(bench.pattern.figure)
    uncut = shapely.difference(lines, shapely.union_all(bench.opened))
    for part in shapely.get_parts(shapely.line_merge(uncut) if not uncut.is_empty else uncut):
        if part.length > 0.3:
            at = part.interpolate(0.5, normalized=True)
            bench.fail(
                (at.x, at.y),
                Fault(what="never sawn"),
                size=part.length,
                limit=0.0,
            )


def _clean(path: ComplexArray) -> ComplexArray:
    """The path without repeated points."""
    if len(path) < 2:
        return path
    fresh = np.concatenate([[True], np.abs(np.diff(path)) > 1e-9])
    return np.asarray(path[fresh])
