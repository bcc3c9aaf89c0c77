"""Which leg comes next: every way onto an unsawn run of the line is priced in seconds, and the cheapest is sawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from heapq import heapify, heappop, heapreplace
from typing import TypeAlias

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, FloatArray, stations, to_complex
from cutout.saw.model import CORNER, SAME_GO, Place
from cutout.saw.planner.hand import Hand
from cutout.saw.planner.lead import Leads, Pairs, all_pairs, from_places, from_poses
from cutout.saw.planner.line import Stretch
from cutout.saw.planner.spin import MOST_TURNED
from cutout.saw.planner.state import END_ROOM, Covers, KerfPath, Move, Poses, State

_NEAR_PLACES, _NEAR_POSES, _NEAR_SPINS, _KEPT, _PER_ENTRY = 12, 60, 30, 40, 2
"""Bounds on time, the nearest or best first: places, poses and spins tried from, ways kept, leads to an entry."""
_ROUNDS = ((0, 2), (2, 6), (6, 30), (30, 10_000))
"""Leads are looked at in these ranks, the shortest first; mostly the first round finds enough."""
_RANKS = (6, 30)
"""Of equal ways those by a lead of a rank below these go first."""
_LEAST = 0.05
"""A stretch (mm) too short to be worth an entry."""
ARRIVAL = 30.0
"""Seconds another arrival takes, for what a way leaves of the run it saws: about a lead and a move of this saw's."""
CRUMB = 8.0
"""Seconds a bit of outline takes later on that a way leaves beside its run: a move and a short cut."""
BESIDE = 2.5
"""So far (mm) before and behind its run that is looked for."""
_MEASURED = 6
"""So many of the cheapest ways are measured exactly before one is chosen."""
_LOOP = 1.5 * np.pi
"""Going on round a point of wood a thin blade may turn so far in one arc: past a sharp one it loops in the waste."""
UNREACHED = 2.0
"""Joined no later than this (mm) a run is taken as sawn from its beginning: what is left counts as a bit."""
_SWEPT = (0.5, 0.75, 1.0, 1.3)
"""How far from a corner, in turning radii, a sweep out of it comes onto the line: turns of 50 to 105 degrees. Out of
sharper ones a sweep leaves more than a hair in the corner: they are arrived at from both sides."""
_RUN_ON = (0.0, 0.4, 0.9, 1.6)
"""How far the blade may run on straight, in turning radii, before it turns towards the next run."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A run of outline not sawn yet: on which stretch, from where to where (mm along it)."""

    stretch: int
    start: float
    end: float


@dataclass(frozen=True, eq=False)
class Way:
    """A leg that could be sawn next. gain: about how much new outline (mm); rest: runs it leaves of its gap.

    It begins at `place` (a point, and in what that lies), or in a kerf at `pose` (the way through it, how far along),
    or, with neither, where the blade stands. turned: in the kerf at `pose` the blade is first turned on the spot by
    this angle (radians). Its path is put together when it is asked for, most ways being too dear: the last `back` mm
    of the kerf in `out_of` (the way through it, how far along), `lead`, and a run of a stretch. length: of all of it
    (mm).
    """

    lead: ComplexArray
    length: float
    along: Covers | None
    gain: float
    rest: int
    place: tuple[complex, Place] | None = None
    pose: tuple[KerfPath, float] | None = None
    turned: float | None = None
    out_of: tuple[KerfPath, float] | None = None
    back: float = 0.0
    run: tuple[Stretch, float, float] | None = None

    @cached_property
    def z(self) -> ComplexArray:
        """The path, (n,) complex."""
        z = self.lead
        if self.out_of is not None:
            z = np.concatenate([stub(*self.out_of, self.back), z[1:]])
        if self.run is not None:
            line, start, stop = self.run
            z = np.concatenate([z, line.part(start, stop)[1:]])
        return clean(z)

    @cached_property
    def end(self) -> complex:
        """Where it ends."""
        if self.run is None:
            return complex(self.lead[-1])
        line, _, stop = self.run
        return complex(line.at(np.array(stop)))

    @property
    def extra(self) -> float:
        """What is sawn besides new outline (mm)."""
        return self.length - self.gain


@dataclass(frozen=True, eq=False, slots=True)
class Chosen:
    """A way with the move it begins with, and its price in seconds beyond the sawing that must be done anyway.

    closes: it ends where something is open, so that a piece may come free.
    """

    way: Way
    move: Move
    price: float
    closes: bool = False


def gaps(state: State) -> list[Gap]:
    """Every run of outline points that no kerf has passed, stretch by stretch."""
    area = state.area
    left = np.flatnonzero(~state.done & (area.where >= 0))
    if len(left) == 0:
        return []
    order = left[np.lexsort((state.along[left], area.where[left]))]
    stretch, along = area.where[order], state.along[order]
    new = np.concatenate([[True], (np.diff(stretch) != 0) | (np.diff(along) > 2.5 * area.step)])
    first = np.flatnonzero(new)
    last = np.concatenate([first[1:], [len(order)]]) - 1
    half = area.step / 2
    found = []
    for i, j in zip(first.tolist(), last.tolist(), strict=True):
        length = area.stretches[int(stretch[i])].length
        found.append(Gap(int(stretch[i]), max(along[i] - half, 0.0), min(along[j] + half, length)))
    return _round_the_start(state, found)


def _round_the_start(state: State, found: list[Gap]) -> list[Gap]:
    """On a ring, the gap before its first point and the one after it are one, which ends beyond the ring's length."""
    joined: list[Gap] = []
    for gap in found:
        line = state.area.stretches[gap.stretch]
        first = next((n for n, g in enumerate(joined) if g.stretch == gap.stretch), None)
        near = 2.5 * state.area.step
        if line.closed and first is not None and joined[first].start < near and gap.end > line.length - near:
            joined.append(Gap(gap.stretch, gap.start, line.length + joined.pop(first).end))
        else:
            joined.append(gap)
    return joined


Since: TypeAlias = tuple[int, int]
"""How many free places and poses in kerfs there were when a gap was last looked at."""


@dataclass(frozen=True, slots=True)
class _Aim:
    """A gap seen in one direction: the directed stretch, the gap's ends along it, where to stop."""

    gap: Gap
    line: Stretch
    ahead: bool
    start: float
    stop: float
    end: float


Aims: TypeAlias = "list[tuple[_Aim, FloatArray, ComplexArray, ComplexArray]]"
"""A gap in both directions, with the places along it where a lead may join: how far along, points, directions."""


@dataclass(frozen=True, eq=False, slots=True)
class Known:
    """Ways found before: for a gap that has not changed only what is new since needs a look. aims: of each gap.

    idle: ways that saw nothing new, which none does later on until outline is marked as unsawn again.
    """

    ways: dict[Gap, tuple[Since, list[Way]]] = field(default_factory=dict)
    aims: dict[Gap, Aims] = field(default_factory=dict)
    idle: set[Way] = field(default_factory=set)

    def copied(self) -> Known:
        """The same, to be forgotten again."""
        return Known(dict(self.ways), self.aims, set(self.idle))

    def aims_at(self, state: State, gap: Gap) -> Aims:
        """How to get at a gap, worked out once."""
        if gap not in self.aims:
            self.aims[gap] = [(aim, at, *aim.line.pose(at)) for aim, at in _aims(state, gap)]
        return self.aims[gap]


def ways(state: State, near: list[Gap], known: Known) -> list[Way]:
    """Every way found to saw each of some gaps, in either direction, from what is open."""
    now = len(state.places), len(state.poses.q)
    stale = [gap for gap in near if gap not in known.ways or known.ways[gap][0] != now]
    before = [known.ways.get(gap, ((0, 0), [])) for gap in stale]
    aims = [known.aims_at(state, gap) for gap in stale]
    led = iter(_led(state, [(*aim, b[0]) for mine, b in zip(aims, before, strict=True) for aim in mine]))
    for gap, mine, (since, found) in zip(stale, aims, before, strict=True):
        found = [*found]
        for aim, entries, p, t in mine:
            found.extend(next(led))
            if state.spins:
                found.extend(_spun(state, aim, entries, p, t, since))
            if not aim.line.closed:
                found.extend(_resumed(state, aim))
        found.sort(key=lambda w: w.rest * ARRIVAL * 10 + w.extra)
        known.ways[gap] = now, _spread(found)
    return [way for gap in near for way in known.ways[gap][1]]


def _spread(found: list[Way]) -> list[Way]:
    """The best few ways from each kerf and each place, so that wherever the blade is there is one."""
    count: dict[object, int] = {}
    kept = []
    for way in found:
        key: object = way.place[1] if way.place is not None else None
        if way.pose is not None:
            key = (way.pose[0].cut, way.pose[0].forward, way.turned is None)
        count[key] = count.get(key, 0) + 1
        if count[key] <= 3:
            kept.append(way)
    return kept[:_KEPT]


def _aims(state: State, gap: Gap) -> list[tuple[_Aim, FloatArray]]:
    """A gap in both directions, with the places along it where a lead may join."""
    forward = state.area.stretches[gap.stretch]
    found = []
    for line, ahead in ((forward, True), (forward.reversed(), False)):
        if line.closed:
            found.append(_round_aim(state, gap, line, ahead))
            continue
        a, b = (gap.start, gap.end) if ahead else (line.length - gap.end, line.length - gap.start)
        aim = _Aim(gap, line, ahead, a, b, _end(state, line, b))
        found.append((aim, _entries(state, line, a, b)))
    return found


INSIDE = (0.3, 0.55, 0.8)
"""Parts of a gap at which a lead may join it: holes for it are looked for there as well."""


def _entries(state: State, line: Stretch, a: float, b: float) -> FloatArray:
    """Where a lead may join a gap from a to b: before it, just after it within the band, or further in.

    A lead that ends in an arc of radius R leaves less than `allow` for the last sqrt(2 R allow) before it touches.
    Out of a corner that turns by an angle t a sweep comes onto the line R tan(t/2) from it, and leaves next to
    nothing where the blade has been in the corner before.
    """
    r = state.area.radius
    reach = float(line.s[0])
    grace = min(float(np.sqrt(2 * r * state.area.allow)) * 0.9, (b - a) / 2)
    before = a - np.concatenate([np.array([0.0, 0.2, 0.5, 1.0, 1.6, 2.4]) * r, [-reach + a, (a - reach) / 2]])
    swept = np.array(_SWEPT) * r
    swept = swept[(swept < min(UNREACHED, (b - a) / 2)) & state.near_open(line.at(np.array([a])))]
    inside = a + np.concatenate([[grace / 2, grace], swept, (b - a) * np.array([0.12, *INSIDE])])
    return np.unique(np.round(np.concatenate([before[(before >= reach) & (before <= a)], inside]), 3))


def _round_aim(state: State, gap: Gap, line: Stretch, ahead: bool) -> tuple[_Aim, FloatArray]:
    """A ring without a stop: enter anywhere, go once round and a little further."""
    if gap.end - gap.start > 0.9 * line.length:
        entries = np.arange(12) / 12 * line.length
        return _Aim(gap, line, ahead, 0.0, line.length, line.length + 1.0), entries
    a = gap.start if ahead else line.length - gap.end
    entries = np.mod(a - np.array([0.0, 0.5, 1.0, 2.0, 4.0]) * state.area.radius / 2, line.length)
    run = gap.end - gap.start + 4 * state.area.radius
    return _Aim(gap, line, ahead, 0.0, gap.end - gap.start, run), entries


def _end(state: State, line: Stretch, b: float) -> float:
    """Where to stop: at the end of the stretch, past it where waste allows, or just past the gap."""
    kerf = state.blade.kerf
    if b < line.length - 1e-6:
        return min(b + kerf, float(line.s[-1]))
    return min(line.length + 1.5 * kerf, float(line.s[-1]))


def _resumed(state: State, aim: _Aim) -> list[Way]:
    """Go on along a line where its kerf already reaches the gap: the blade goes back into its own kerf."""
    width, line = state.blade.width, aim.line
    for k in reversed(state.along_stretch.get(aim.gap.stretch, ())):
        run = state.cuts[k].along
        assert run is not None
        lo, hi = (run.start, run.end) if aim.ahead else (line.length - run.end, line.length - run.start)
        latest = min(aim.start, hi) - width / 2
        tries = latest - np.arange(0.0, 4 * state.area.radius + 2 * width, width / 2)
        tries = tries[tries >= lo + width / 2 + END_ROOM]
        if len(tries) == 0 or hi < aim.start - state.area.step:
            continue
        z = line.part(float(lo), float(hi))
        s = stations(z)
        straight = state.starts_straight(z, s, tries - lo)
        if not straight.any():
            continue
        a0 = float(tries[straight][0])
        path = line.part(a0, aim.end)
        place = _place_on(state, k, complex(path[0]), complex(path[1] - path[0]))
        if place is not None:
            run, gain, left = _covered(aim, aim.start, aim.end)
            return [Way(path, aim.end - a0, run, gain, left, pose=place)]
    return []


def _place_on(state: State, k: int, z: complex, ahead: complex) -> tuple[KerfPath, float] | None:
    """The place on cut k nearest to a point, as a way through its kerf in a direction, if the point lies on it."""
    path = state.cuts[k].z
    line = shapely.LineString(np.column_stack([path.real, path.imag]))
    spot = shapely.Point(z.real, z.imag)
    if shapely.distance(line, spot) > 0.05:
        return None
    s = float(shapely.line_locate_point(line, spot))
    before, after = shapely.line_interpolate_point(line, [max(s - 0.1, 0.0), s + 0.1])
    runs_so = ((complex(after.x, after.y) - complex(before.x, before.y)) * ahead.conjugate()).real > 0
    if runs_so:
        return KerfPath.of(path, k, True), s
    return KerfPath.of(path[::-1], k, False), line.length - s


def _led(
    state: State, aims: list[tuple[_Aim, FloatArray, ComplexArray, ComplexArray, Since]]
) -> list[list[Way]]:
    """For each aim the ways that reach the line at one of its entries by a lead from a hole, from open waste or from
    a kerf. All aims are looked at side by side, in one set of arrays.

    Each with how far along its entries are, points and directions there, and what was looked at before.
    """
    if not aims:
        return []
    entries, p, t = (np.concatenate([aim[k] for aim in aims]) for k in (1, 2, 3))
    of, goals = _one_after_the_other([aim[1] for aim in aims])
    found: list[list[Way]] = [[] for _ in aims]

    poses, width = state.poses, state.blade.width
    z = np.array([q for q, _ in state.places])
    near = [_nearest(state, z, aim[2], aim[4][0]) for aim in aims]
    leads = from_places(z, p, t, state.area.radius, _paired(near, goals))
    for i, lead, length in valid_leads(state, leads):
        goal, source = int(leads.target[i]), int(leads.source[i])
        way = _led_way(aims[of[goal]][0], lead, length, float(entries[goal]), place=state.places[source])
        if way is not None:
            found[of[goal]].append(way)
    near = [near_poses(state, aim[2], aim[4][1]) for aim in aims]
    leads = from_poses(poses.q, poses.u, p, t, state.area.radius, pairs=_paired(near, goals))
    for i, lead, length in valid_leads(state, leads):
        goal, k = int(leads.target[i]), int(leads.source[i])
        pose = poses.paths[int(poses.path[k])], float(poses.s[k])
        way = _led_way(
            aims[of[goal]][0],
            lead,
            length,
            float(entries[goal]),
            pose=pose,
            out_of=pose,
            back=width / 2,
        )
        if way is not None:
            found[of[goal]].append(way)
    return found


def _one_after_the_other(groups: list[FloatArray]) -> tuple[list[int], list[np.ndarray]]:
    """Groups of numbers laid one after the other: of which group each is, and the indices each group has there."""
    sizes = [len(group) for group in groups]
    ends = np.cumsum(sizes)
    of: list[int] = np.repeat(np.arange(len(groups)), sizes).tolist()
    return of, [np.arange(end - size, end) for end, size in zip(ends.tolist(), sizes, strict=True)]


def _paired(starts: list[np.ndarray], goals: list[np.ndarray]) -> Pairs:
    """Every start of each group with every goal of the same group, one group after the other."""
    pairs = [all_pairs(a, b) for a, b in zip(starts, goals, strict=True)]
    begin, end = (np.concatenate([pair[k] for pair in pairs]).astype(int) for k in (0, 1))
    return begin, end


def _spun(
    state: State, aim: _Aim, entries: FloatArray, p: ComplexArray, t: ComplexArray, since: Since
) -> list[Way]:
    """Ways that begin with the blade turned on the spot in its own kerf, round its back edge."""
    near = near_poses(state, p, since[1], _NEAR_SPINS)
    poses, width = state.poses, state.blade.width
    near = near[[_lies_straight(poses, int(k), width) for k in near]]
    if len(near) == 0:
        return []
    u = poses.u[near]
    back = poses.q[near] - u * width
    leads = from_places(back, p, t, state.area.radius)
    turned = np.angle(leads.heading / u[leads.source])
    able = (leads.straight >= width) & (np.abs(turned) < MOST_TURNED)
    leads, turned = leads.pick(able), turned[able]
    found: list[Way] = []
    for i, z, _ in valid_leads(state, leads):
        k, w, angle = int(leads.source[i]), complex(leads.heading[i]), float(turned[i])
        start = z[0] + w * width / 2
        if not state.spins_freely(complex(start), w, angle):
            continue
        z = np.concatenate([[start], z[np.abs(z - z[0]) > width * 0.6]])
        n = int(near[k])
        pose = poses.paths[int(poses.path[n])], float(poses.s[n])
        length = float(np.abs(z[1:] - z[:-1]).sum())
        way = _led_way(aim, z, length, float(entries[leads.target[i]]), pose=pose, turned=angle)
        if way is not None:
            found.append(way)
    return found


def _lies_straight(poses: Poses, k: int, width: float) -> bool:
    """Whether a pose is in a kerf the way it was sawn, and that runs straight under the whole blade behind it."""
    path = poses.paths[int(poses.path[k])]
    if not path.forward:
        return False
    under = stub(path, float(poses.s[k]), width)
    off = (under - poses.q[k]) / poses.u[k]
    begins = (under[1] - under[0]) / poses.u[k]
    return bool(np.abs(off.imag).max() < 0.06 and begins.real > 0.97 * abs(begins))


def _led_way(
    aim: _Aim,
    lead: ComplexArray,
    length: float,
    entry: float,
    *,
    place: tuple[complex, Place] | None = None,
    pose: tuple[KerfPath, float] | None = None,
    turned: float | None = None,
    out_of: tuple[KerfPath, float] | None = None,
    back: float = 0.0,
) -> Way | None:
    """A lead, `length` mm long, and the line from `entry` on; None where nothing of that is left."""
    stop = entry + aim.end if aim.line.closed else aim.end
    if not aim.line.closed and entry > stop - _LEAST:
        return None
    covers, gain, left = _covered(aim, entry, stop)
    length += stop - entry + (min(back, out_of[1]) if out_of is not None else 0.0)
    return Way(lead, length, covers, gain, left, place, pose, turned, out_of, back, (aim.line, entry, stop))


def _covered(aim: _Aim, entry: float, stop: float) -> tuple[Covers, float, int]:
    """What a run from `entry` to `stop` covers, how much of that is new (mm), and how many runs it leaves."""
    lo, hi = (entry, stop) if aim.ahead else (aim.line.length - stop, aim.line.length - entry)
    begun = entry if aim.line.closed else max(aim.start, entry)
    gain = max(min(aim.stop - (0.0 if aim.line.closed else begun), aim.line.length), 0.0)
    left = 0 if aim.line.closed or begun - aim.start <= UNREACHED else 1
    return Covers(aim.gap.stretch, lo, hi), gain, left


def clean(z: ComplexArray) -> ComplexArray:
    """The path without repeated points, nor hairs between them."""
    fresh = np.ones(len(z), dtype=bool)
    fresh[1:-1] = np.abs(z[1:-1] - z[:-2]) > 1e-3
    z = z[fresh]
    if len(z) > 2 and abs(z[-1] - z[-2]) <= 1e-3:
        z = np.delete(z, -2)
    return np.asarray(z)


def nearest_places(state: State, p: ComplexArray, since: int) -> list[tuple[complex, Place]]:
    """Free places nearest to the entries, and every hole."""
    near = _nearest(state, np.array([q for q, _ in state.places]), p, since)
    return [state.places[i] for i in near.tolist()]


def _nearest(state: State, z: ComplexArray, p: ComplexArray, since: int) -> np.ndarray:
    """Indices of the free places (z: where they are) nearest to the entries, and of the last holes."""
    if len(z) == since:
        return np.zeros(0, dtype=int)
    away = np.abs(z[since:, None] - p[None, :]).min(axis=1)
    order = (np.argsort(away, kind="stable")[:_NEAR_PLACES] + since).tolist()
    holes = [i for i, (_, place) in enumerate(state.places[since:], since) if place.kind == "hole"]
    return np.array(list(dict.fromkeys([*order, *holes[-8:]])), dtype=int)


def near_poses(state: State, p: ComplexArray, since: int, most: int = _NEAR_POSES) -> np.ndarray:
    """Indices of poses in kerfs within reach of the entries, spread over what there is."""
    limit = 4 * state.area.radius + 4 * state.blade.width
    q = state.poses.q[since:]
    centre = p.mean()
    close = np.flatnonzero(np.abs(q - centre) < limit + np.abs(p - centre).max())
    if len(close) == 0:
        return close
    away = np.abs(q[close, None] - p[None, :]).min(axis=1)
    near = close[away < limit]
    near = near[np.argsort(away[away < limit], kind="stable")]
    if len(near) > most:
        near = near[np.unique(np.linspace(0, len(near) - 1, most).astype(int))]
    return np.asarray(near + since)


def stub(path: KerfPath, s: float, back: float) -> ComplexArray:
    """The last `back` mm of a kerf before s: the blade starts straight in it."""
    at = np.array([s - back, s])
    ends = np.interp(at, path.s, path.z)
    first, last = np.searchsorted(path.s, [at[0] + 1e-6, at[1] - 1e-6], side="right").tolist()
    return np.concatenate([ends[:1], path.z[first:last], ends[1:]])


def _likely(state: State, leads: Leads) -> np.ndarray:
    """Indices of the leads that lie where the centre may go at a few places along them."""
    z = leads.middle()
    likely = np.flatnonzero(shapely.contains_xy(state.area.roomy, z.real, z.imag))
    if len(likely):
        z = leads.pick(likely).probes()
        likely = likely[shapely.contains_xy(state.area.roomy, z.real, z.imag).all(axis=1)]
    return np.asarray(likely)


def valid_leads(state: State, leads: Leads) -> list[tuple[int, ComplexArray, float]]:
    """The shortest few leads to each entry that stay where the blade's centre may go: rows, points, lengths.

    Cheap ones are looked at first; the rest only for entries that still want one.
    """
    if len(leads) == 0:
        return []
    likely = _likely(state, leads)
    cost = leads.length[likely] + 2.0 * leads.turn[likely]
    order = likely[np.lexsort((cost, leads.target[likely]))]
    target = leads.target[order]
    first = np.searchsorted(target, target)
    rank = np.arange(len(order)) - first
    count = np.zeros(int(leads.target.max()) + 1, dtype=int)
    valid: list[tuple[np.ndarray, np.ndarray]] = []
    for lo, hi in _ROUNDS:
        at = np.flatnonzero((rank >= lo) & (rank < hi) & (count[target] < _PER_ENTRY))
        if len(at) == 0:
            continue
        lines = leads.pick(order[at]).lines()
        inside = np.flatnonzero(shapely.covers(state.area.roomy, lines))
        # They come by entry: of each entry's the first few are taken, as many as it still wants.
        goal = target[at[inside]]
        ahead = np.arange(len(goal)) - np.searchsorted(goal, goal)
        inside = inside[ahead < _PER_ENTRY - count[goal]]
        np.add.at(count, target[at[inside]], 1)
        valid.append((at[inside], lines[inside]))
    if not valid:
        return []
    at, lines = (np.concatenate(parts) for parts in zip(*valid, strict=True))
    # The best of all entries first.
    sort = np.lexsort((at, np.searchsorted(_RANKS, rank[at], side="right")))
    at, lines = at[sort], lines[sort]
    z = to_complex(shapely.get_coordinates(lines))
    size = np.asarray(shapely.get_num_coordinates(lines))
    end = np.cumsum(size)
    found = zip(order[at].tolist(), (end - size).tolist(), end.tolist(), strict=True)
    lengths = np.asarray(shapely.length(lines)).tolist()
    return [(i, z[a:b], length) for (i, a, b), length in zip(found, lengths, strict=True)]


def going_on(state: State, near: list[Gap], known: Known) -> list[Way]:
    """Ways that simply go on from where the blade stands: straight ahead for a little, then round to a run.

    None where it stands in a corner or in open waste.
    """
    if not state.cuts or state.cuts[-1].ends != CORNER:
        return []
    z = state.cuts[-1].z
    u = (z[-1] - z[-2]) / abs(z[-1] - z[-2])
    q = z[-1] + u * np.array(_RUN_ON) * state.area.radius
    lines = shapely.linestrings([[(z[-1].real, z[-1].imag), (w.real, w.imag)] for w in q[1:].tolist()])
    free = np.concatenate([[True], shapely.covers(state.area.roomy, lines)])
    q = q[free]
    longest = _LOOP if state.spins else np.pi
    kerf = KerfPath.of(z, len(state.cuts) - 1, True)
    size = float(kerf.s[-1])
    head = stub(kerf, size, min(state.blade.width / 2, size))
    far = 8 * state.area.radius + 4 * state.blade.width
    aims = [aim for gap in near for aim in known.aims_at(state, gap) if np.abs(aim[2] - z[-1]).min() <= far]
    if not aims:
        return []
    entries, p, t = (np.concatenate([aim[k] for aim in aims]) for k in (1, 2, 3))
    of, _ = _one_after_the_other([aim[1] for aim in aims])
    leads = from_poses(q, np.full(len(q), u), p, t, state.area.radius, 2.2 * np.pi, longest)
    found: list[list[Way]] = [[] for _ in aims]
    for i, lead, length in valid_leads(state, leads):
        length += min(state.blade.width / 2, size) + abs(lead[0] - z[-1])
        goal = int(leads.target[i])
        way = _led_way(aims[of[goal]][0], np.concatenate([head, lead]), length, float(entries[goal]))
        if way is not None:
            found[of[goal]].append(way)
    return [way for mine in found for way in mine]


def best(hand: Hand, known: Known) -> Chosen | None:
    """The next leg: the cheapest by its price among the gaps near the blade, else among all."""
    state = hand.state
    open_gaps = gaps(state)
    if not open_gaps:
        return None
    last = complex(state.cuts[-1].z[-1]) if state.cuts else None
    if last is not None:
        open_gaps.sort(key=lambda g: _away(state, g, last))
    else:
        open_gaps.sort(key=lambda g: (g.start - g.end, g.stretch, g.start))
    size = 10
    for k in range(0, len(open_gaps), size):
        batch = open_gaps[k : k + size]
        found = [w for w in ways(state, batch, known) if w not in known.idle]
        chosen = cheapest(hand, [*found, *going_on(state, batch, known)], known.idle)
        if chosen is not None:
            return chosen
        size = 24
    return None


def priced(hand: Hand, way: Way) -> Chosen | None:
    """What a way costs from where the blade is, beyond the new outline it saws; None where it can't get there."""
    if way.place is not None:
        move: Move | None = hand.to_place(*way.place)
    elif way.pose is not None:
        move = hand.to_kerf(*way.pose) if way.turned is None else hand.to_spin(*way.pose)
    else:
        move = Move("on", 0.0, (len(hand.state.cuts) - 1, hand.state.cuts[-1].length))
    if move is None:
        return None
    seconds = move.seconds * (1.0 if move.start_by in SAME_GO else hand.prices.reluctance)
    return Chosen(way, move, _price(hand, way, seconds))


def _price(hand: Hand, way: Way, seconds: float) -> float:
    """What a way costs whose move takes so many seconds."""
    return seconds + hand.prices.cut * way.extra + ARRIVAL * way.rest


def _least(hand: Hand, way: Way) -> float:
    """No way is cheaper than this, told without looking for the way the blade takes to where it begins."""
    if way.place is not None:
        return _price(hand, way, hand.least_to_place(*way.place))
    if way.pose is None:
        return _price(hand, way, 0.0)
    return _price(
        hand, way, hand.least_to_kerf(way.pose[0]) if way.turned is None else hand.prices.moves.turn
    )


def _cheapest_first(hand: Hand, found: list[Way]) -> Iterator[Chosen]:
    """The ways the blade can get to, by their prices, of equals the first first; `closes` counts as the room it is
    hoped to make. Most are too dear to be looked at: a way is priced where its least price comes up."""
    room = hand.prices.room
    ends = (
        hand.state.near_open(np.array([way.end for way in found])).tolist() if room else [False] * len(found)
    )
    hand.rooms.look_at(way.place[0] for way in found if way.place is not None)
    # Of two with the same price the one that is a bound is settled first: the way may be dearer.
    queue: list[tuple[float, bool, int, Chosen | None]] = [
        (_least(hand, way) - room * closes, False, n, None)
        for n, (way, closes) in enumerate(zip(found, ends, strict=True))
    ]
    heapify(queue)
    while queue:
        _, _, n, known = queue[0]
        if known is not None:
            heappop(queue)
            yield known
        elif (chosen := priced(hand, found[n])) is not None:
            chosen = replace(chosen, closes=ends[n])
            heapreplace(queue, (chosen.price - room * ends[n], True, n, chosen))
        else:
            heappop(queue)


def crumbs(state: State, way: Way, passed: np.ndarray) -> int:
    """How many bits of outline a way leaves unsawn where it comes onto its run, along it, and where it ends."""
    if way.along is None:
        return 0
    area, run = state.area, way.along
    left = ~state.done & (area.where == run.stretch)
    left[passed] = False
    along = state.along[left]
    line = area.stretches[run.stretch]
    if line.closed:
        along = run.start - BESIDE + np.mod(along - run.start + BESIDE, line.length)
    near = np.sort(along[(along > run.start - BESIDE) & (along < run.end + BESIDE)])
    if len(near) == 0:
        return 0
    bits = 1 + int(np.count_nonzero(np.diff(near) > 2.5 * area.step))
    # What is left before it on purpose is paid for already.
    return max(bits - way.rest, 0)


def _away(state: State, gap: Gap, last: complex) -> float:
    line = state.area.stretches[gap.stretch]
    return float(np.abs(line.at(np.array([gap.start, gap.end])) - last).min())


def cheapest(hand: Hand, found: list[Way], idle: set[Way]) -> Chosen | None:
    """Measure the most promising ways exactly and take the best; None if none saws anything new.

    Those that saw nothing new are added to `idle`.
    """
    state = hand.state
    top: Chosen | None = None
    good = 0
    for chosen in _cheapest_first(hand, found):
        way = chosen.way
        passed = state.passed(state.pushed(way.z))
        gain = float(np.count_nonzero(~state.done[passed])) * state.area.step
        if gain < 0.9 * state.area.step:
            idle.add(way)
            continue
        good += 1
        price = chosen.price + hand.prices.cut * (way.gain - gain) + ARRIVAL * (gain < 0.5 * way.gain)
        price += CRUMB * crumbs(state, way, passed)
        if chosen.closes and state.frees(way.z):
            price -= hand.prices.room
        if top is None or price < top.price - 1e-9:
            top = replace(chosen, price=price)
        if good >= _MEASURED:
            break
    return top
