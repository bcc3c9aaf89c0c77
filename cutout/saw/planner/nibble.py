"""Short cuts that end against the outline, one beside the other, where it turns tighter than the blade can."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, to_complex
from cutout.saw.planner.choose import (
    Chosen,
    Way,
    cheapest,
    near_poses,
    nearest_places,
    valid_leads,
)
from cutout.saw.planner.hand import Hand
from cutout.saw.planner.lead import from_places, from_poses
from cutout.saw.planner.state import State

_SLANTS = np.radians([0.0, 35.0, 55.0, 70.0, 80.0])
"""Ways a cut may meet the line, off square to it: closer together where it runs along it. By trial on drawings."""
RELIEF = 3.0
"""A relief hole must clear so much outline (mm) to be worth more than a few short cuts."""
_RUNS, _POSES, _LEADS = 40, 240, 1500
"""Longest runs, nearest poses of the blade, shortest leads that are looked at: bounds on time, the best first."""


def nibble(hand: Hand) -> Chosen | None:
    """A cut against the middle of the longest stretches of outline that nothing else reaches, or None."""
    state = hand.state
    for run in _runs(state)[:_RUNS]:
        ways = [w for i in _middles(run) for w in _against(state, i)]
        chosen = cheapest(hand, ways, set())
        if chosen is not None:
            return chosen
    return None


def relief(state: State, sizes: Sequence[float]) -> tuple[complex, float] | None:
    """Where one hole, and of which diameter, clears most of the outline that would have to be nibbled, or None.

    It must clear RELIEF mm at least; of holes that clear about as much the smallest is taken.
    """
    runs = [r for r in _runs(state)[:_RUNS] if len(r) * state.area.step >= RELIEF]
    best: tuple[float, complex, float] | None = None
    for diameter in sorted(sizes):
        room = shapely.buffer(state.area.region, -diameter / 2, quad_segs=16)
        if not runs or shapely.is_empty(room):
            break
        spots = shapely.points(state.points[[int(r[len(r) // 2]) for r in runs]])
        near = shapely.get_point(shapely.shortest_line(room, np.asarray(spots)), 0)
        counts = [int(np.count_nonzero(~state.done[state.touched(p, diameter)])) for p in near.tolist()]
        k = int(np.argmax(counts))
        cleared = counts[k] * state.area.step
        if cleared >= RELIEF and (best is None or cleared > 1.3 * best[0]):
            best = cleared, complex(near[k].x, near[k].y), diameter
    return None if best is None else best[1:]


def _runs(state: State) -> list[np.ndarray]:
    """Runs of neighbouring outline points not sawn yet, longest first."""
    left = np.flatnonzero(~state.done)
    if len(left) == 0:
        return []
    points = to_complex(state.points)
    apart = (np.diff(left) > 1) | (np.abs(np.diff(points[left])) > 3 * state.area.step)
    runs = np.split(left, np.flatnonzero(apart) + 1)
    return sorted(runs, key=lambda r: (-len(r), int(r[0])))


def _middles(run: np.ndarray) -> list[int]:
    return sorted({int(run[len(run) // 2]), int(run[len(run) // 4]), int(run[-1 - len(run) // 4])})


def _against(state: State, i: int) -> list[Way]:
    """Cuts that end against outline point i, square to it or slanting."""
    spot = shapely.Point(state.points[i])
    ends = shapely.get_coordinates(shapely.shortest_line(state.area.centres, spot))
    centre, outline = to_complex(ends).tolist()
    if abs(outline - centre) < 1e-6:
        return []
    out = (outline - centre) / abs(outline - centre)
    t = out * np.exp(1j * np.concatenate([-_SLANTS[:0:-1], _SLANTS]))
    p = np.full(len(t), centre - 0.01 * out)
    return [*_from_places(state, p, t, out), *_from_kerfs(state, p, t)]


def _from_places(state: State, p: ComplexArray, t: ComplexArray, out: complex) -> list[Way]:
    """Cuts from holes and other free places: at the slants asked for, and straight from each place."""
    places = nearest_places(state, p, 0)
    if not places:
        return []
    straight = p[0] - np.array([z for z, _ in places])
    straight = straight[np.abs(straight) > 1e-6]
    straight = straight / np.abs(straight)
    straight = straight[(straight * np.conj(out)).real > np.cos(_SLANTS[-1])]
    p = np.concatenate([p, np.full(len(straight), p[0])])
    t = np.concatenate([t, straight])
    leads = from_places(np.array([z for z, _ in places]), p, t, state.area.radius)
    return [
        Way(z, length, None, 1.0, 0, places[int(leads.source[i])])
        for i, z, length in valid_leads(state, leads)
    ]


def _from_kerfs(state: State, p: ComplexArray, t: ComplexArray) -> list[Way]:
    near = near_poses(state, p, 0, _POSES)
    if len(near) == 0:
        return []
    poses = state.poses
    found = []
    leads = from_poses(poses.q[near], poses.u[near], p, t, state.area.radius, np.pi)
    leads = leads.pick(np.argsort(leads.length, kind="stable")[:_LEADS])
    back = state.blade.width / 2
    for i, z, length in valid_leads(state, leads):
        k = int(near[leads.source[i]])
        pose = poses.paths[int(poses.path[k])], float(poses.s[k])
        length += min(back, pose[1])
        found.append(Way(z, length, None, 1.0, 0, pose=pose, out_of=pose, back=back))
    return found
