"""Where to drill: places a hole could go, what each would make reachable, and the fewest that do it all."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, FloatArray, to_array, to_complex
from cutout.geom.outline import polygons_of
from cutout.saw.planner.choose import INSIDE, Gap, gaps
from cutout.saw.planner.cover import cheapest_cover
from cutout.saw.planner.lead import from_places
from cutout.saw.planner.line import Stretch
from cutout.saw.planner.state import State

SMALL = 400
"""Up to this many possible holes the fewest are found exactly; above, greedily."""
_PARTS = (0.0, 0.05, 0.25, 0.5, 0.75)
"""Parts of a line from where holes beside it are looked for."""
_LONG = 20.0
"""From so many turning radii on a line is so long that its entries lie farther apart than a lead reaches."""
NODES = 2000
"""The exact search stops after so many nodes and states its gap: a limit in time would not repeat itself."""


@dataclass(frozen=True, eq=False, slots=True)
class Choice:
    """Possible holes: centres (n,), diameter; reaches: (n, m) which outline points each makes reachable.

    lead: length of the shortest lead from each (mm, inf if there is none); clear: wood between its rim and
    the outline (mm).
    """

    at: ComplexArray
    diameter: float
    reaches: np.ndarray
    lead: FloatArray
    clear: FloatArray


def fewest(reaches: np.ndarray, price: FloatArray) -> tuple[list[int], int]:
    """Rows of a boolean matrix that together cover every column any row covers, as few as possible.

    `price` (n,) breaks ties; it must stay well below 1 a row. Returns the rows and a gap: 0 where the
    number is proved least (branch and bound, or where that takes long a mixed-integer program, HiGHS), else how
    many more than the lower bound.
    """
    wanted = reaches[:, reaches.any(axis=0)]
    if wanted.shape[1] == 0:
        return [], 0
    alone = np.flatnonzero(wanted.all(axis=1))
    if len(alone):
        # Two rows cost 2 at least, one less than that: the cheapest that does it alone is the answer.
        return [int(alone[np.argmin(price[alone])])], 0
    matrix = _told_apart(wanted)
    if len(matrix) <= SMALL:
        exact = cheapest_cover(matrix, 1.0 + price)
        if exact is not None:
            return exact, 0
        # Loaded where it is needed: that takes longer than most openings take to plan.
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        solved = milp(
            1.0 + price,
            constraints=LinearConstraint(csr_array(matrix.T.astype(float)), lb=np.ones(matrix.shape[1])),
            integrality=np.ones(len(matrix), dtype=np.int64),
            bounds=Bounds(0, 1),
            options={"node_limit": NODES, "mip_rel_gap": 0.0},
        )
        if solved.x is not None:
            rows = np.flatnonzero(np.round(solved.x) > 0).tolist()
            bound = solved.mip_dual_bound if solved.mip_dual_bound is not None else 1.0
            return rows, 0 if solved.status == 0 else max(0, len(rows) - math.ceil(float(bound) - 0.5))
    return _greedy(matrix, price)


def _told_apart(matrix: np.ndarray) -> np.ndarray:
    """The columns of a boolean matrix, each once, in the order of their values.

    Neighbours along an outline are mostly reached by the same holes: equal columns are found by their bytes, and only
    what is left is sorted.
    """
    columns = np.packbits(matrix, axis=0).T
    first = {column.tobytes(): n for n, column in reversed(list(enumerate(columns)))}
    return np.unique(matrix[:, sorted(first.values())], axis=1)


def _greedy(matrix: np.ndarray, price: FloatArray) -> tuple[list[int], int]:
    """Greedy cover; lower bound: columns no two of which share a row."""
    left = np.ones(matrix.shape[1], dtype=bool)
    rows: list[int] = []
    while left.any():
        gain = matrix[:, left].sum(axis=1) - price
        rows.append(int(np.argmax(gain)))
        left &= ~matrix[rows[-1]]
    bound, free = 0, np.ones(matrix.shape[1], dtype=bool)
    for column in np.argsort(matrix.sum(axis=0), kind="stable").tolist():
        if free[column]:
            bound += 1
            free &= ~matrix[matrix[:, column]].any(axis=0)
    return rows, len(rows) - bound


def choices(state: State, diameter: float) -> Choice | None:
    """Places where a hole of `diameter` lies wholly in waste and helps to saw what is left."""
    room = shapely.buffer(state.area.region, -diameter / 2, quad_segs=16)
    if room.is_empty:
        return None
    open_gaps = gaps(state)
    spots = _spots(state, open_gaps, room, diameter)
    if len(spots) == 0:
        return None
    reaches = np.zeros((len(spots), len(state.points)), dtype=bool)
    lead = np.full(len(spots), np.inf)
    _mark_drilled(state, spots, diameter, reaches)
    if diameter >= state.blade.hole_to_turn - 1e-6:
        for gap in open_gaps:
            _mark_reached(state, gap, spots, reaches, lead)
        if np.isinf(lead).all() and (more := _along_long_lines(state, open_gaps, room, diameter)).size:
            spots, known = np.concatenate([spots, more]), len(spots)
            reaches = np.concatenate([reaches, np.zeros((len(more), reaches.shape[1]), dtype=bool)])
            lead = np.concatenate([lead, np.full(len(more), np.inf)])
            _mark_drilled(state, more, diameter, reaches[known:])
            for gap in open_gaps:
                _mark_reached(state, gap, more, reaches[known:], lead[known:])
    reaches[:, state.done] = False
    useful = reaches.any(axis=1)
    if not useful.any():
        return None
    away = shapely.distance(shapely.points(to_array(spots[useful])), state.area.line)
    return Choice(spots[useful], diameter, reaches[useful], lead[useful], np.asarray(away) - diameter / 2)


def _spots(state: State, open_gaps: list[Gap], room: shapely.Geometry, diameter: float) -> ComplexArray:
    """In corners and tight curves, beside the lines at the end of a lead, on their extensions, all over."""
    parts = [_corner_spots(state, room)]
    for gap in open_gaps:
        forward = state.area.stretches[gap.stretch]
        for line, a, b in (
            (forward, gap.start, gap.end),
            (forward.reversed(), forward.length - gap.end, forward.length - gap.start),
        ):
            parts.append(_beside(state, line, a, b, diameter))
            if not line.closed and line.s[0] < 0:
                parts.append(line.at(np.linspace(float(line.s[0]), 0.0, 6)))
    parts.append(_all_over(room))
    spots = np.concatenate(parts)
    shapely.prepare(room)
    spots = spots[shapely.dwithin(room, shapely.points(to_array(spots)), 0.02)]
    grid = max(diameter / 8, 0.2)
    _, first = np.unique(
        np.round(np.column_stack([spots.real, spots.imag]) / grid), axis=0, return_index=True
    )
    spots = spots[np.sort(first)]
    if len(spots) > SMALL:
        spots = spots[np.unique(np.linspace(0, len(spots) - 1, SMALL).astype(int))]
    return spots


def _corner_spots(state: State, room: shapely.Geometry) -> ComplexArray:
    """Sharp vertices of the region of centres: there a hole touches the outline on both sides."""
    found = [np.zeros(0, dtype=complex)]
    for part in polygons_of(room):
        part = shapely.orient_polygons(part)
        for ring in (part.exterior, *part.interiors):
            z = to_complex(shapely.get_coordinates(shapely.simplify(ring, 0.05)))[:-1]
            ahead = np.roll(z, -1) - z
            turn = np.angle(ahead / np.where(np.roll(ahead, 1) == 0, 1, np.roll(ahead, 1)))
            found.append(z[turn > 0.2])
    return np.concatenate(found)


def _along_long_lines(
    state: State, open_gaps: list[Gap], room: shapely.Geometry, diameter: float
) -> ComplexArray:
    """Places beside long lines at the very parts of them where a lead may join: in a narrow channel no other does.

    Along short ones it is no matter: leads of some turning radii reach from one such place to the next.
    """
    parts = [np.zeros(0, dtype=complex)]
    for gap in open_gaps:
        forward = state.area.stretches[gap.stretch]
        if forward.closed or gap.end - gap.start < _LONG * state.area.radius:
            continue
        for line, a, b in (
            (forward, gap.start, gap.end),
            (forward.reversed(), forward.length - gap.end, forward.length - gap.start),
        ):
            parts.append(_beside(state, line, a, b, diameter, INSIDE))
    spots = np.concatenate(parts)
    return np.asarray(spots[shapely.dwithin(room, shapely.points(to_array(spots)), 0.02)])


def _beside(
    state: State, line: Stretch, a: float, b: float, diameter: float, parts: tuple[float, ...] = _PARTS
) -> ComplexArray:
    """Ends of leads that leave the line backwards on an arc until a hole has room beside it."""
    r = state.area.radius
    s = a + (b - a) * np.array(parts)
    p, t = line.pose(s)
    found = []
    for gap_to_line in (0.3, 2.0, diameter):
        aside = diameter / 2 - state.blade.kerf / 2 + gap_to_line
        angle = math.acos(max(1 - aside / r, -0.5))
        for side in (1.0, -1.0):
            swing = 1 - np.exp(-1j * side * angle)
            found.append(p + 1j * side * t * r * swing)
    return np.concatenate(found)


def _all_over(room: shapely.Geometry) -> ComplexArray:
    x0, y0, x1, y1 = shapely.bounds(room)
    side = max(math.sqrt((x1 - x0) * (y1 - y0) / 120), 0.5)
    x, y = np.meshgrid(np.arange(x0 + side / 2, x1 + 1e-9, side), np.arange(y0 + side / 2, y1 + 1e-9, side))
    grid = x.ravel() + 1j * y.ravel()
    middles = [p.representative_point() for p in polygons_of(room)]
    return np.concatenate([grid, np.array([complex(m.x, m.y) for m in middles], dtype=complex)])


def _mark_drilled(state: State, spots: ComplexArray, diameter: float, reaches: np.ndarray) -> None:
    tree = shapely.STRtree(state.points_as_shapes())
    who, point = tree.query(
        shapely.points(to_array(spots)), predicate="dwithin", distance=diameter / 2 + state.area.clean
    )
    reaches[who, point] = True


def _mark_reached(state: State, gap: Gap, spots: ComplexArray, reaches: np.ndarray, lead: FloatArray) -> None:
    """What a blade turned in each spot can saw of a gap, in both directions."""
    area = state.area
    forward = area.stretches[gap.stretch]
    mine = np.flatnonzero((area.where == gap.stretch) & ~state.done)
    along = state.along[mine]
    within = (along >= gap.start - area.step) & (along <= gap.end + area.step)
    if forward.closed:
        within |= along + forward.length <= gap.end + area.step
    mine = mine[within]
    for line, ahead in ((forward, True), (forward.reversed(), False)):
        a, b = (gap.start, gap.end) if ahead else (line.length - gap.end, line.length - gap.start)
        entries = _entries(line, a, b, area.radius)
        p, t = line.pose(entries)
        away = np.abs(spots[:, None] - p[None, :]).min(axis=1)
        near = np.argsort(away, kind="stable")[:60]
        leads = from_places(spots[near], p, t, area.radius)
        if len(leads) == 0:
            continue
        ok = np.flatnonzero(shapely.covers(area.roomy, leads.lines()))
        along = state.along[mine] if ahead else line.length - state.along[mine]
        spot = near[leads.source[ok]]
        starts = np.full(len(ok), -np.inf) if line.closed else entries[leads.target[ok]]
        # From a spot the first entry reaches what any other does.
        first = np.full(len(spots), np.inf)
        np.minimum.at(first, spot, starts)
        here = np.unique(spot)
        reaches[np.ix_(here, mine)] |= along >= first[here, None] - area.step
        useful = starts - area.step <= along.max(initial=-np.inf)
        np.minimum.at(lead, spot[useful], leads.length[ok][useful])


def _entries(line: Stretch, a: float, b: float, radius: float) -> FloatArray:
    if line.closed:
        return np.asarray(np.arange(16) / 16 * line.length)
    reach = float(line.s[0])
    before = a - np.array([0.0, 0.3, 0.8, 1.6, 2.4]) * radius
    inside = a + (b - a) * np.array([0.1, *INSIDE])
    return np.unique(np.round(np.concatenate([before[(before >= reach) & (before <= a)], inside]), 3))
