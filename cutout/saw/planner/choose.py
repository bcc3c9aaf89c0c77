"""Which leg comes next: every way onto the nearest unsawn lines is weighed, the best one is sawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.saw.planner.lead import Leads, from_places, from_poses
from cutout.saw.planner.line import Stretch
from cutout.saw.planner.state import END_ROOM, State

ENTRY_MINUTES = 1.0
"""Lifting the saw, turning it and putting it in again takes about this long (an estimate)."""
_NEAR_PLACES = 10
_NEAR_POSES = 40
_KEPT = 12
_LEAST = 0.05
_PER_ENTRY = 2
_ROUNDS = ((0, 6), (6, 30), (30, 10_000))


@dataclass(frozen=True, slots=True)
class Gap:
    """A run of outline not sawn yet: on which stretch, from where to where (mm along it)."""

    stretch: int
    start: float
    end: float


@dataclass(frozen=True, eq=False, slots=True)
class Way:
    """A leg that could be sawn next. gain: about how much new outline (mm); cost in minutes."""

    z: ComplexArray
    starts: str
    covers: tuple[int, float, float]
    gain: float
    cost: float


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
    return found


Since: TypeAlias = tuple[int, int]
"""How many free places and poses in kerfs there were when a gap was last looked at."""

Known: TypeAlias = dict[Gap, tuple[Since, list[Way]]]
"""Ways found before: for a gap that has not changed only what is new since needs a look."""


def ways(state: State, gap: Gap, known: Known) -> list[Way]:
    """Every way found to saw a gap, in either direction."""
    since, before = known.get(gap, ((0, 0), []))
    now = len(state.places), len(state.poses.q)
    if since == now and gap in known:
        return before
    found = [*before, *_new_ways(state, gap, since)]
    found.sort(key=lambda w: (-w.gain / w.cost, w.cost))
    known[gap] = now, found[:_KEPT]
    return found[:_KEPT]


def _new_ways(state: State, gap: Gap, since: Since) -> list[Way]:
    found: list[Way] = []
    forward = state.area.stretches[gap.stretch]
    if forward.closed:
        return _round_ways(state, gap, forward, since)
    found.extend(_ways(state, gap, forward, gap.start, gap.end, True, since))
    back = forward.reversed()
    found.extend(_ways(state, gap, back, back.length - gap.end, back.length - gap.start, False, since))
    return found


def _round_ways(state: State, gap: Gap, forward: Stretch, since: Since) -> list[Way]:
    """A ring without a stop: enter anywhere, go once round and a little further."""
    found: list[Way] = []
    whole = gap.end - gap.start > 0.9 * forward.length
    for line, ahead in ((forward, True), (forward.reversed(), False)):
        if whole:
            entries = np.arange(12) / 12 * line.length
            run = line.length + 0.5
        else:
            a = gap.start if ahead else line.length - gap.end
            entries = np.mod(a - np.array([0.0, 0.5, 1.0, 2.0, 4.0]) * state.area.radius / 2, line.length)
            run = gap.end - gap.start + 4 * state.area.radius
        found.extend(_led(state, gap, line, entries, run, ahead, 0.0, line.length, since))
    return found


def _ways(state: State, gap: Gap, line: Stretch, a: float, b: float, ahead: bool, since: Since) -> list[Way]:
    """Ways to saw from a to b along a directed stretch, entering before a or, failing that, after it."""
    end = _end(state, line, b)
    found = _resumed(state, gap, line, a, b, end, ahead)
    r = state.area.radius
    reach = float(line.s[0])
    before = a - np.concatenate([np.array([0.0, 0.2, 0.5, 1.0, 1.6, 2.4]) * r, [-reach + a, (a - reach) / 2]])
    inside = a + (b - a) * np.array([0.12, 0.3, 0.55, 0.8])
    entries = np.unique(np.round(np.concatenate([before[(before >= reach) & (before <= a)], inside]), 3))
    found.extend(_led(state, gap, line, entries, end, ahead, a, b, since))
    return found


def _end(state: State, line: Stretch, b: float) -> float:
    """Where to stop: at the end of the stretch, past it where waste allows, or just past the gap."""
    kerf = state.blade.kerf
    if b < line.length - 1e-6:
        return min(b + kerf, float(line.s[-1]))
    return min(line.length + 1.5 * kerf, float(line.s[-1]))


def _resumed(state: State, gap: Gap, line: Stretch, a: float, b: float, end: float, ahead: bool) -> list[Way]:
    """Go on along a line where its kerf already reaches the gap: the blade goes back into its own kerf."""
    width = state.blade.width
    for k in reversed(state.along_stretch.get(gap.stretch, ())):
        for _, s0, s1 in state.cuts[k].covers:
            lo, hi = (s0, s1) if ahead else (line.length - s1, line.length - s0)
            latest = min(a, hi) - width / 2
            tries = latest - np.arange(0.0, 4 * state.area.radius + 2 * width, width / 2)
            tries = tries[tries >= lo + width / 2 + END_ROOM]
            if len(tries) == 0 or hi < a - state.area.step:
                continue
            fits = np.flatnonzero(state.starts_straight(line.z, line.s, tries))
            if len(fits):
                back = float(tries[fits[0]])
                name = f"leg {state.first_leg + k}"
                z = line.part(back, end)
                return [_way(state, gap, line, z, name, max(a, lo), b, back, end, ahead)]
    return []


def _led(
    state: State, gap: Gap, line: Stretch, entries: FloatArray, end: float, ahead: bool, a: float, b: float,
    since: Since,
) -> list[Way]:  # fmt: skip
    """Ways that reach the line at one of `entries` by a lead from a hole, from open waste or from a kerf."""
    p, t = line.pose(entries)
    found: list[Way] = []
    places = nearest_places(state, p, since[0])
    if places:
        q = np.array([z for z, _ in places])
        leads = from_places(q, p, t, state.area.radius)
        for i, z in valid_leads(state, leads):
            if not line.closed and entries[leads.target[i]] > end - _LEAST:
                continue
            name = places[int(leads.source[i])][1]
            found.append(
                _led_way(state, gap, line, z, name, float(entries[leads.target[i]]), end, ahead, a, b)
            )
    found.extend(_from_kerfs(state, gap, line, entries, p, t, end, ahead, a, b, since[1]))
    return found


def _led_way(
    state: State, gap: Gap, line: Stretch, z: ComplexArray, name: str, entry: float, end: float, ahead: bool,
    a: float, b: float,
) -> Way:  # fmt: skip
    stop = entry + end if line.closed else end
    whole = np.concatenate([z, line.part(entry, stop)[1:]])
    start = entry if line.closed else max(a, entry)
    return _way(state, gap, line, whole, name, start, stop if line.closed else b, entry, stop, ahead)


def _way(
    state: State, gap: Gap, line: Stretch, z: ComplexArray, name: str, start: float, stop: float,
    entry: float, end: float, ahead: bool,
) -> Way:  # fmt: skip
    z = clean(z)
    gain = max(min(stop - start, line.length), 0.0)
    length = float(np.abs(np.diff(z)).sum())
    lo, hi = (entry, end) if ahead else (line.length - end, line.length - entry)
    covers = (gap.stretch, lo, hi)
    return Way(z, name, covers, gain, length / state.blade.feed + ENTRY_MINUTES)


def clean(z: ComplexArray) -> ComplexArray:
    """The path without repeated points."""
    fresh = np.concatenate([[True], np.abs(np.diff(z)) > 1e-6])
    return np.asarray(z[fresh])


def nearest_places(state: State, p: ComplexArray, since: int) -> list[tuple[complex, str]]:
    """Free places nearest to the entries, and every hole."""
    places = state.places[since:]
    if not places:
        return []
    z = np.array([q for q, _ in places])
    away = np.abs(z[:, None] - p[None, :]).min(axis=1)
    order = np.argsort(away, kind="stable")[:_NEAR_PLACES].tolist()
    holes = [i for i, (_, name) in enumerate(places) if name.startswith("hole")]
    return [places[i] for i in dict.fromkeys([*order, *holes[-8:]])]


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


def _from_kerfs(
    state: State, gap: Gap, line: Stretch, entries: FloatArray, p: ComplexArray, t: ComplexArray, end: float,
    ahead: bool, a: float, b: float, since: int,
) -> list[Way]:  # fmt: skip
    near = near_poses(state, p, since)
    if len(near) == 0:
        return []
    poses = state.poses
    leads = from_poses(poses.q[near], poses.u[near], p, t, state.area.radius)
    found = []
    for i, z in valid_leads(state, leads):
        if not line.closed and entries[leads.target[i]] > end - _LEAST:
            continue
        k = int(near[leads.source[i]])
        path, name = poses.paths[int(poses.path[k])]
        z = np.concatenate([stub(path, float(poses.s[k]), state.blade.width / 2), z[1:]])
        found.append(_led_way(state, gap, line, z, name, float(entries[leads.target[i]]), end, ahead, a, b))
    return found


def stub(path: ComplexArray, s: float, back: float) -> ComplexArray:
    """The last `back` mm of a kerf before s: the blade starts straight in it."""
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(path)))])
    at = np.array([s - back, s])
    ends = np.interp(at, along, path.real) + 1j * np.interp(at, along, path.imag)
    return np.concatenate([ends[:1], path[(along > at[0] + 1e-6) & (along < at[1] - 1e-6)], ends[1:]])


def valid_leads(state: State, leads: Leads) -> list[tuple[int, ComplexArray]]:
    """The shortest few leads to each entry that stay where the blade's centre may go.

    Cheap ones are looked at first; the rest only for entries that still want one.
    """
    if len(leads) == 0:
        return []
    middle = leads.middle()
    likely = np.flatnonzero(shapely.contains_xy(state.area.roomy, middle.real, middle.imag))
    cost = leads.length[likely] + 2.0 * leads.turn[likely]
    order = likely[np.lexsort((cost, leads.target[likely]))]
    target = leads.target[order]
    first = np.searchsorted(target, target)
    rank = np.arange(len(order)) - first
    count = np.zeros(int(leads.target.max()) + 1, dtype=int)
    found: list[tuple[int, ComplexArray]] = []
    for lo, hi in _ROUNDS:
        chosen = order[(rank >= lo) & (rank < hi) & (count[target] < _PER_ENTRY)]
        if len(chosen) == 0:
            continue
        lines = leads.pick(chosen).lines()
        for k in np.flatnonzero(shapely.covers(state.area.roomy, lines)).tolist():
            i = int(chosen[k])
            if count[leads.target[i]] < _PER_ENTRY:
                count[leads.target[i]] += 1
                xy = shapely.get_coordinates(lines[k])
                found.append((i, xy[:, 0] + 1j * xy[:, 1]))
    return found


def best(state: State, last: complex | None, known: Known) -> Way | None:
    """The next leg: the most new outline for the time among the gaps near the last leg, else among all."""
    open_gaps = gaps(state)
    if not open_gaps:
        return None
    if last is not None:
        open_gaps.sort(key=lambda g: _away(state, g, last))
    else:
        open_gaps.sort(key=lambda g: (g.start - g.end, g.stretch, g.start))
    size = 6
    for k in range(0, len(open_gaps), size):
        found = [w for g in open_gaps[k : k + size] for w in ways(state, g, known)]
        chosen = richest(state, found)
        if chosen is not None:
            return chosen
        size = 24
    return None


def _away(state: State, gap: Gap, last: complex) -> float:
    line = state.area.stretches[gap.stretch]
    return float(np.abs(line.at(np.array([gap.start, gap.end])) - last).min())


def richest(state: State, found: list[Way]) -> Way | None:
    """Measure the most promising ways exactly and take the best; None if none saws anything new."""
    found.sort(key=lambda w: (-w.gain / w.cost, w.cost))
    top: tuple[float, Way] | None = None
    good = 0
    for way in found:
        gain = float(np.count_nonzero(~state.done[state.passed(state.pushed(way.z))])) * state.area.step
        if gain < 0.9 * state.area.step:
            continue
        good += 1
        if good > 6:
            break
        score = gain / way.cost
        if top is None or score > top[0] + 1e-9:
            top = (score, way)
    return top[1] if top else None
