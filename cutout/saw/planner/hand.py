"""Where the blade is, and what it takes to bring it to where a leg could begin."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from cutout.geom.curve import to_array
from cutout.geom.outline import polygons_of
from cutout.kit import Moves
from cutout.saw.model import EDGE, Place
from cutout.saw.planner.state import KerfPath, Move, State

SETTLE = 2.0
"""Seconds to find the place where a blade that was backed out branches off; a thin one is turned out of its kerf
there, which takes as long as any turn. Common practice, no source."""
_LINE = 1  # the library's number of the type
_SIDE = 0.03
"""Room (mm) beside a blade that is turned."""


@dataclass(frozen=True, slots=True)
class Prices:
    """What moving takes: seconds a move; a millimetre of cutting, and of going back in a kerf."""

    moves: Moves
    cut: float
    back: float
    reluctance: float = 1.0
    """How much dearer the walk takes it to lift the saw than it is: one that lifts less may be quicker in all."""
    room: float = 0.0
    """So many seconds it is worth to the walk that a piece falls in which the blade can be turned from then on."""

    @property
    def settle(self) -> float:
        """Seconds to branch off from a kerf, the way back left out."""
        return self.moves.turn if self.moves.spins else SETTLE

    @classmethod
    def of(cls, moves: Moves, feed: float) -> Prices:
        """From the saw's moves and the feed in this wood (mm a minute)."""
        return cls(moves, 60.0 / feed, 60.0 / (feed * moves.back))


class Rooms:
    """Places wide enough to turn the blade in, put together where it can slide from one to the other."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._seen = 0
        self._last: shapely.Geometry | None = None
        self._wide: shapely.Geometry = shapely.Polygon()
        self._kerfs: set[int] = set()
        self._rooms = np.array([], dtype=object)
        self._known: dict[complex, int | None] = {}
        self._parts: dict[tuple[int, int], list[float]] = {}

    def at(self, z: complex) -> int | None:
        """Number of the room a point lies in or touches; None in a kerf. Beyond the panel's edge: -1."""
        self._refresh()
        if z not in self._known:
            self._find([z])
        return self._known[z]

    def look_at(self, places: Iterable[complex]) -> None:
        """Find the rooms of many points at once, for whoever asks next."""
        self._refresh()
        fresh = [z for z in dict.fromkeys(places) if z not in self._known]
        if fresh:
            self._find(fresh)

    def _find(self, places: list[complex]) -> None:
        spots = np.asarray(shapely.points(to_array(np.array(places))))
        reach = self._state.blade.hole_to_turn / 2 + 0.1
        number = np.full(len(spots), -1)
        beyond = np.full(len(spots), len(self._state.area.places) > 0)
        if beyond.any():
            beyond &= ~shapely.intersects(self._state.area.region, spots)
        if len(self._rooms):
            here = shapely.dwithin(self._rooms[:, None], spots, reach)
            number = np.where(here.any(axis=0), here.argmax(axis=0), -1)
            beyond &= ~here.any(axis=0)
        for z, room, out in zip(places, number.tolist(), beyond.tolist(), strict=True):
            self._known[z] = room if room >= 0 or out else None

    def parts(
        self, room: int, cuts: Sequence[int], lines: Sequence[shapely.LineString]
    ) -> list[tuple[int, float]]:
        """Where kerfs (their middle lines) come into a room: the cut, and how far (mm) along its line both ends lie
        of every part from which the blade comes in. Looked for once a kerf, as long as the rooms stay what they are.
        """
        self._refresh()
        fresh = [i for i, k in enumerate(cuts) if (room, k) not in self._parts]
        if fresh:
            found = self._ends_of_parts(room, np.array([lines[i] for i in fresh], dtype=object))
            self._parts.update(zip([(room, cuts[i]) for i in fresh], found, strict=True))
        return [(k, s) for k in cuts for s in self._parts[room, k]]

    def _ends_of_parts(self, room: int, lines: np.ndarray) -> list[list[float]]:
        reach = self._state.blade.hole_to_turn / 2
        found: list[list[float]] = [[] for _ in lines]
        near = np.flatnonzero(shapely.dwithin(self._rooms[room], lines, reach))
        if len(near) == 0:
            return found
        wide = shapely.buffer(self._rooms[room], reach, quad_segs=4)
        parts, of = shapely.get_parts(shapely.intersection(lines[near], wide), return_index=True)
        runs = (shapely.get_type_id(parts) == _LINE) & ~shapely.is_empty(parts)
        parts, of = parts[runs], near[of[runs]]
        ends = np.column_stack([shapely.get_point(parts, 0), shapely.get_point(parts, -1)])
        at = np.asarray(shapely.line_locate_point(lines[of][:, None], ends))
        for i, both in zip(of.tolist(), at.tolist(), strict=True):
            found[i] += both
        return found

    def _refresh(self) -> None:
        """Only a new hole or fallen piece makes room; the kerfs round it are part of it."""
        state = self._state
        if self._seen == len(state.open) and (not self._seen or state.open[-1][0] is self._last):
            return
        if self._seen and (len(state.open) < self._seen or state.open[self._seen - 1][0] is not self._last):
            # A hole was taken back: begun anew.
            self._seen, self._wide, self._rooms = 0, shapely.Polygon(), np.array([], dtype=object)
            self._kerfs.clear()
            self._known.clear()
            self._parts.clear()
        new = [g for g, _ in state.open[self._seen :] if not state.is_kerf(g)]
        self._seen = len(state.open)
        self._last = state.open[-1][0] if state.open else None
        if not new:
            return
        self._known.clear()
        self._parts.clear()
        near = [g for g, _ in state.open if state.is_kerf(g) and id(g) not in self._kerfs]
        beside = shapely.STRtree(near).query(new, predicate="dwithin", distance=0.1)[1] if near else []
        kerfs = [near[i] for i in np.unique(beside).tolist()]
        self._kerfs.update(id(g) for g in kerfs)
        self._wide = shapely.union_all([self._wide, *map(state.plain, [*new, *kerfs])])
        half = state.blade.hole_to_turn / 2 - _SIDE
        self._rooms = np.array(
            list(polygons_of(shapely.buffer(self._wide, -half, quad_segs=4))), dtype=object
        )
        shapely.prepare(self._rooms)


@dataclass
class Hand:
    """The blade: which cut it ends, and what it could reach without being lifted."""

    state: State
    prices: Prices
    rooms: Rooms
    _ways: dict[int, float | None] = field(default_factory=dict)
    _opened: int = 0
    _last: shapely.Geometry | None = None
    _lines: dict[int, shapely.LineString] = field(default_factory=dict)

    @classmethod
    def of(cls, state: State, prices: Prices) -> Hand:
        """Nothing sawn yet."""
        return cls(state, prices, Rooms(state))

    def to_kerf(self, path: KerfPath, s: float) -> Move | None:
        """To a place in a kerf, `s` mm along a way through it; None where this saw can't get there."""
        cuts = self.state.cuts
        along = s if path.forward else cuts[path.cut].length - s
        parent = (path.cut, along)
        if path.forward and cuts and cuts[path.cut].go == cuts[-1].go:
            return Move(
                "back", self.prices.settle + self.prices.back * self.distance(path.cut, along), parent
            )
        if not self.prices.moves.threads:
            return Move("lift", self.prices.moves.lift, parent)
        root, way = self._root(path.cut, along)
        if not path.forward or cuts[root].starts.kind == "leg":
            return None
        return Move("thread", self.prices.moves.thread + self.prices.back * way, parent)

    def least_to_kerf(self, path: KerfPath) -> float:
        """No move `to_kerf` takes less (seconds), wherever in that kerf to."""
        cuts = self.state.cuts
        if path.forward and cuts and cuts[path.cut].go == cuts[-1].go:
            return self.prices.settle
        moves = self.prices.moves
        return (moves.thread if moves.threads else moves.lift) * self.prices.reluctance

    def to_spin(self, path: KerfPath, s: float) -> Move | None:
        """Turned on the spot in a kerf of this go, the teeth `s` mm along it; None where the blade is not in it."""
        cuts = self.state.cuts
        if not path.forward or not cuts or cuts[path.cut].go != cuts[-1].go:
            return None
        moves = self.prices.moves
        return Move("spin", moves.turn + self.prices.back * self.distance(path.cut, s), (path.cut, s))

    def to_place(self, z: complex, place: Place) -> Move:
        """To a hole, fallen waste or the edge, where the blade can be turned."""
        room = self.rooms.at(z)
        if self.state.cuts and room is not None:
            reach = self._way_to_room(room)
            if reach is not None:
                return Move("turn", self.prices.moves.turn + self.prices.back * reach)
        moves = self.prices.moves
        if moves.threads and place != EDGE:
            return Move("thread", moves.thread)
        return Move("drop in", moves.drop_in)

    def least_to_place(self, z: complex, place: Place) -> float:
        """No move `to_place` takes less (seconds)."""
        moves = self.prices.moves
        anew = (moves.thread if moves.threads and place != EDGE else moves.drop_in) * self.prices.reluctance
        return min(moves.turn, anew) if self.state.cuts and self.rooms.at(z) is not None else anew

    def _way_to_room(self, room: int) -> float | None:
        """How far (mm) the blade goes in its own kerf until it stands in a room; None if it can't."""
        opened = self.state.open
        # A hole that is taken back, and another drilled, leave as many open.
        last = opened[-1][0] if opened else None
        if self._opened != len(opened) or self._last is not last:
            self._opened, self._last, self._ways = len(opened), last, {}
        if room not in self._ways:
            self._ways[room] = self._found_way(room)
        return self._ways[room]

    def _found_way(self, room: int) -> float | None:
        cuts = self.state.cuts
        if self.rooms.at(complex(cuts[-1].z[-1])) == room:
            return 0.0
        if room < 0:
            return self._way_beyond(room)
        ways = [self.distance(k, s) for k, s in self._comes_into(room)]
        return min(ways, default=None)

    def _comes_into(self, room: int) -> list[tuple[int, float]]:
        """Where the kerfs of this go come into a room or touch it: the cut and how far along it."""
        cuts = self.state.cuts
        mine = [k for k, cut in enumerate(cuts) if cut.go == cuts[-1].go]
        for k in mine:
            if k not in self._lines:
                self._lines[k] = shapely.LineString(to_array(cuts[k].z))
        return self.rooms.parts(room, mine, [self._lines[k] for k in mine])

    def _way_beyond(self, room: int) -> float | None:
        """How far (mm) back in the kerfs to where the blade came in from beyond the panel's edge."""
        cuts = self.state.cuts
        k = len(cuts) - 1
        way = cuts[k].length
        while True:
            if self.rooms.at(complex(cuts[k].z[0])) == room:
                return way
            parent = cuts[k].parent
            if parent is None:
                return None
            k = parent[0]
            if cuts[k].go != cuts[-1].go:
                return None
            way += parent[1]

    def distance(self, cut: int, along: float) -> float:
        """How far (mm) the blade goes in the kerfs of this go to a place in one of them."""
        cuts = self.state.cuts
        mine = self._up(len(cuts) - 1, cuts[-1].length)
        theirs = self._up(cut, along)
        shared = [k for k in mine if k in theirs]
        if not shared:
            # The two hang together by a place where the blade was turned.
            (mine_root, mine_way), (their_root, their_way) = self._root_of(mine), self._root_of(theirs)
            return mine_way + their_way + float(abs(cuts[mine_root].z[0] - cuts[their_root].z[0]))
        return min(mine[k][0] + theirs[k][0] + abs(mine[k][1] - theirs[k][1]) for k in shared)

    def _up(self, cut: int, along: float) -> dict[int, tuple[float, float]]:
        """The cuts from one to where its go began: how far away each is, and where along it one comes out."""
        found, way = {cut: (0.0, along)}, 0.0
        while (parent := self.state.cuts[cut].parent) is not None:
            way += along
            cut, along = parent
            found[cut] = (way, along)
        return found

    def _root(self, cut: int, along: float) -> tuple[int, float]:
        return self._root_of(self._up(cut, along))

    @staticmethod
    def _root_of(up: dict[int, tuple[float, float]]) -> tuple[int, float]:
        """The cut at which a way up ends, and how far away its beginning is."""
        root = next(reversed(up))
        way, at = up[root]
        return root, way + at
