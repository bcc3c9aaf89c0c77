"""The fewest runs the blade follows in one go inside a band about the line: what one sweep can pass, it passes.

The line is a ring on which the blade's centre lies half a kerf from the wood. The centre may leave it by `allow`
towards the waste (wood for the file) and by `into_keep` towards keep. A run ends only where no curve of the turning
radius stays inside that band any longer.

Method: states (offset from the ring, heading against it) are carried from station to station along the ring by arcs
of a few curvatures; of states that fall into one bin the cheapest is kept, each with its own continuous value, so
that every run found is a true chain of arcs. Going on until no state is alive, breaking there and starting again
with every state free gives the fewest runs on an open chain (greedy interval covering); a ring that can be followed
all round is closed where it began. All chains of a ring are worked out side by side, in one set of arrays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from shapely import Polygon

from cutout.geom.curve import ComplexArray, FloatArray, to_complex

INTO_KEEP = 0.055
"""So far (mm) the middle of a kerf may leave its line towards keep: with sampling well under a pencil line's 0.1."""
BULGE = 0.015
"""Between two stations an arc of the turning radius leaves its chord by no more than this (mm)."""
FINE = 0.01
"""The ring is simplified by this much (mm) before stations are laid on it."""
_STEPS = np.array([0.0, 0.25, -0.25, 0.5, -0.5, 1.0, -1.0])
"""Curvatures tried at each station, as shares of the tightest."""
_WAYS = len(_STEPS) + 1
"""These, and the one that steers along the ring."""
_GENTLE = 0.15
"""A vertex that turns by less (radians) needs no stations close by."""
_WIDENING = 1.5
"""Away from a sharp vertex each station lies so many times as far from the last as that from the one before."""
_WIDE = 1.2
"""... but no further than this (mm), nor than a step where that is more."""
_LOOKS = 8
"""So many places across the band are looked at for room."""
_BINS, _FINER = (14, 40), (28, 80)
"""Bins across the band and across the headings; where a chain breaks, once more with finer ones: they find the last
few curves that only just fit."""
_WIDEST = 1.3
"""No state is kept whose heading leaves the ring's by more than this (radians)."""
HARD = 1.25
"""A vertex that even this times the band could not take is a break from the start."""
_DEARER = 4.0
"""How much dearer an offset into keep is than one into waste."""


@dataclass(frozen=True, eq=False, slots=True)
class Run:
    """One run along a ring. z: (n,) complex, chords of its arcs; closed: all round, first point repeated.

    inside: for its beginning and its end, whether the blade stands in an inside corner there (wood ahead).
    """

    z: ComplexArray
    closed: bool
    inside: tuple[bool, bool]


@dataclass(frozen=True, eq=False, slots=True)
class _Chain:
    """Stations of an open part of a ring. z, heading, turn: (n,); the band at each: low (n,), high (n,)."""

    z: ComplexArray
    heading: FloatArray
    turn: FloatArray
    low: FloatArray
    high: FloatArray


def runs(
    ring: shapely.LinearRing, radius: float, kerf: float, allow: float, room: Polygon | None = None
) -> list[Run]:
    """The fewest runs, none tighter than `radius` mm, along a ring with the waste on its left; mm.

    room: where the blade's centre may be; where that is narrower than the band, so is the band.
    """
    if room is not None:
        shapely.prepare(room)
    z, turn = _vertices(ring)
    if len(z) < 3:
        return []
    hard = np.flatnonzero(_is_hard(turn, radius, kerf, allow))
    if len(hard) == 0:
        return _round(z, radius, kerf, allow, room)
    chains, turns = [], []
    for a, b in zip(hard.tolist(), np.roll(hard, -1).tolist(), strict=True):
        index = (a + np.arange(((b - a) % len(z) or len(z)) + 1)) % len(z)
        chains.append(_chain(z[index], radius, kerf, allow, room))
        turns.append((turn[a], turn[b]))
    found = []
    for chain, ends, parts in zip(chains, turns, _fewest(chains, radius, allow, free=True), strict=True):
        for i, j, path in parts:
            first = ends[0] if i == 0 else None
            last = ends[1] if j == len(chain.z) - 1 else None
            found.append(
                Run(path, False, (_inside(chain, i, first, radius), _inside(chain, j, last, radius)))
            )
    return found


def breaks(ring: shapely.LinearRing, radius: float, kerf: float, allow: float) -> ComplexArray:
    """The vertices no run along the ring can pass, (n,): it takes n runs at least, told without fitting any."""
    z, turn = _vertices(ring)
    return np.asarray(z[_is_hard(turn, radius, kerf, allow)])


def _round(z: ComplexArray, radius: float, kerf: float, allow: float, room: Polygon | None) -> list[Run]:
    """A ring without a hard vertex: all round from the middle of its longest edge, or broken where it must be."""
    k = int(np.argmax(np.abs(np.roll(z, -1) - z)))
    middle = (z[k] + z[(k + 1) % len(z)]) / 2
    around = np.concatenate([[middle], np.roll(z, -k - 1), [middle]])
    chain = _chain(around, radius, kerf, allow, room)
    (parts,) = _fewest([chain], radius, allow, free=False)
    if len(parts) == 1:
        path = parts[0][2]
        path[-1] = path[0]
        return [Run(path, True, (False, False))]
    cut = parts[0][1]
    z = np.concatenate([chain.z[cut:], chain.z[1 : cut + 1]])
    again = _chain(z, radius, kerf, allow, room)
    (parts,) = _fewest([again], radius, allow, free=True)
    ends = float(np.angle((z[1] - z[0]) / (z[-1] - z[-2])))
    last = len(again.z) - 1
    return [
        Run(
            path,
            False,
            (
                _inside(again, i, ends if i == 0 else None, radius),
                _inside(again, j, ends if j == last else None, radius),
            ),
        )
        for i, j, path in parts
    ]


def _vertices(ring: shapely.LinearRing) -> tuple[ComplexArray, FloatArray]:
    """Vertices (n,) of the simplified ring, begun at its sharpest so that none is lost, and the turn at each."""
    z = to_complex(shapely.get_coordinates(ring))[:-1]
    z = z[np.abs(np.roll(z, -1) - z) > 1e-9]
    if len(z) < 3:
        return z, np.zeros(len(z))
    z = np.roll(z, -int(np.argmax(np.abs(_turns(z)))))
    closed = np.concatenate([z, z[:1]])
    simple = shapely.simplify(shapely.LineString(np.column_stack([closed.real, closed.imag])), FINE)
    z = to_complex(shapely.get_coordinates(simple))[:-1]
    return z, _turns(z)


def _turns(z: ComplexArray) -> FloatArray:
    ahead = np.roll(z, -1) - z
    return np.asarray(np.angle(ahead / np.roll(ahead, 1)))


def _is_hard(turn: FloatArray, radius: float, kerf: float, allow: float) -> np.ndarray:
    """Vertices no run can pass: an arc leaves a corner by (R + K/2)(sec(a/2) - 1) at its middle."""
    sec = 1 / np.cos(np.minimum(np.abs(turn), 2.9) / 2)
    return np.asarray((radius + kerf / 2) * (sec - 1) > HARD * (allow + INTO_KEEP * sec))


def _chain(vertices: ComplexArray, radius: float, kerf: float, allow: float, room: Polygon | None) -> _Chain:
    """Stations at every vertex and between them; ends count as straight on."""
    step = math.sqrt(8 * radius * BULGE)
    along = np.angle(np.diff(vertices))
    sharp = np.ones(len(vertices), dtype=bool)
    sharp[1:-1] = np.abs(np.angle(np.exp(1j * np.diff(along)))) > _GENTLE
    size = np.abs(np.diff(vertices))
    ends = zip(
        vertices[:-1], vertices[1:], size.tolist(), sharp[:-1].tolist(), sharp[1:].tolist(), strict=True
    )
    parts = [a + (b - a) * _spread(length, step, first, last) for a, b, length, first, last in ends]
    z = _thinned(np.concatenate([*parts, vertices[-1:]]), 0.15 * step)
    along = np.angle(np.diff(z))
    turn = np.zeros(len(z))
    turn[1:-1] = np.angle(np.exp(1j * np.diff(along)))
    heading = np.concatenate([along[:1], along[:-1] + turn[1:-1] / 2, along[-1:]])
    # At a vertex the ring lies this much further from the wood's corner than half a kerf.
    off = kerf / 2 * (1 / np.cos(np.minimum(np.abs(turn), 2.8) / 2) - 1)
    high = np.minimum(allow - off, _free(z, heading, allow, room))
    return _Chain(z, heading, turn, np.full(len(z), -INTO_KEEP), high)


def _free(z: ComplexArray, heading: FloatArray, allow: float, room: Polygon | None) -> FloatArray:
    """How far to the left of each station the blade may go, at most `allow`, and a little into keep there."""
    if room is None:
        return np.full(len(z), allow)
    steps = allow * np.arange(1, _LOOKS + 1) / _LOOKS
    spots = z[:, None] + 1j * np.exp(1j * heading)[:, None] * steps[None, :]
    inside = np.logical_and.accumulate(shapely.contains_xy(room, spots.real, spots.imag), axis=1)
    return np.asarray(np.minimum(inside.sum(axis=1) * allow / _LOOKS + INTO_KEEP / 2, allow))


def _spread(length: float, step: float, first: bool, last: bool) -> FloatArray:
    """Where along an edge stations lie, as shares of it, its end left out: close to sharp vertices, then wider."""
    if length <= step:
        return np.zeros(1)
    wide = max(step, _WIDE)
    ahead = _growing(length, step, wide) if first else np.array([0.0])
    back = length - _growing(length, step, wide)[1:] if last else np.zeros(0)
    near = ahead[ahead <= length / 2 + 1e-9] if first and last else ahead
    far = back[back > length / 2 + 1e-9] if first and last else back
    at = np.unique(np.concatenate([near, far]))
    # What is still too far apart is divided evenly.
    gaps = np.diff(np.concatenate([at, [length]]))
    count = np.ceil(gaps / wide).astype(int).tolist()
    more = [at[i] + gaps[i] * np.arange(1, n) / n for i, n in enumerate(count) if n > 1]
    at = np.sort(np.concatenate([at, *more]))
    return np.asarray(at[at < length - 0.3 * step] / length)


def _growing(length: float, step: float, wide: float) -> FloatArray:
    found, at, here = [0.0], 0.0, step
    while at + here < length and len(found) < 10_000:
        at += here
        found.append(at)
        here = min(here * _WIDENING, wide) if len(found) > 4 else here
    return np.array(found)


def _thinned(z: ComplexArray, least: float) -> ComplexArray:
    """Stations without those closer than `least` to the one before that hardly turn; no two at one place."""
    z = z[np.concatenate([[True], np.abs(np.diff(z)) > 1e-9])]
    if len(z) < 3:
        return z
    kept = [0]
    turn = np.abs(np.angle((z[2:] - z[1:-1]) / (z[1:-1] - z[:-2])))
    for i in range(1, len(z) - 1):
        if abs(z[i] - z[kept[-1]]) >= least or turn[i - 1] > 0.2:
            kept.append(i)
    return z[[*kept, len(z) - 1]]


def _inside(chain: _Chain, k: int, turn: float | None, radius: float) -> bool:
    """Whether the line turns towards the waste at station k: by the vertex there, else by what is near."""
    if turn is not None and abs(turn) > 0.2:
        return turn > 0
    near = np.abs(chain.z - chain.z[k]) < max(0.35 * radius, 1.0)
    return float(chain.turn[near].sum()) > 0


_Parts: TypeAlias = "list[tuple[int, int, ComplexArray]]"
"""Runs of a chain: first and last station, and the path (complex points)."""


def _fewest(chains: list[_Chain], radius: float, allow: float, *, free: bool) -> list[_Parts]:
    """For each chain the fewer of its runs with coarse bins and, where it breaks, with finer ones; see `_fitted`."""
    found = _fitted(chains, radius, allow, _BINS, free=free)
    broken = [n for n, parts in enumerate(found) if len(parts) > 1]
    again = _fitted([chains[n] for n in broken], radius, allow, _FINER, free=free) if broken else []
    for n, parts in zip(broken, again, strict=True):
        if len(parts) < len(found[n]):
            found[n] = parts
    return found


def _fitted(
    chains: list[_Chain], radius: float, allow: float, bins: tuple[int, int], *, free: bool
) -> list[_Parts]:
    """For each chain its runs: first and last station, and the path (complex points).

    free: a run may begin in any state; else the first begins on the line and along it, and only what comes back
    to that state at the end counts as having arrived.
    """
    hmax = min(_WIDEST, 1.3 * math.acos(max(1 - (allow + INTO_KEEP) / radius, -1.0)) + 0.35)
    grid = _Grid(chains, radius, hmax, allow, bins)
    count = len(chains)
    at, begun = np.zeros(count, dtype=int), np.zeros(count, dtype=int)
    found: list[_Parts] = [[] for _ in chains]
    log: list[_Front] = [grid.begin(np.arange(count), at) if free else grid.on_the_line(count)]
    while len(log[-1].chain):
        front = log[-1]
        moved = grid.moved(front, at)
        alive, here = (np.bincount(f.chain, minlength=count) > 0 for f in (moved, front))
        again: list[int] = []
        for c in np.flatnonzero(here & ~alive).tolist():
            if at[c] > begun[c]:
                found[c].append((int(begun[c]), int(at[c]), grid.traced(log[:-1], front, c, int(at[c]))))
            else:
                # Not even the next station can be reached: this one is skipped.
                at[c] += 1
            begun[c] = at[c]
            if at[c] < grid.last[c]:
                again.append(c)
        at[alive] += 1
        arrived = alive & (at == grid.last)
        for c in np.flatnonzero(arrived).tolist():
            ends = moved
            if not free and begun[c] == 0:
                back = (np.abs(moved.o) <= grid.bins[0]) & (np.abs(moved.h) <= grid.bins[1])
                ends = moved.only(back)
                if not back.any():
                    # It comes round, but not to where it began: the ring is cut half way instead.
                    nothing = np.zeros(0, dtype=complex)
                    found[c] += [(0, int(at[c]) // 2, nothing), (int(at[c]) // 2, int(at[c]), nothing)]
                    continue
            found[c].append((int(begun[c]), int(at[c]), grid.traced(log, ends, c, int(at[c]))))
        after = moved.only(~arrived[moved.chain]) if arrived.any() else moved
        if again:
            who = np.array(again)
            after = after.joined(grid.begin(who, at[who]))
        log.append(after)
    return found


@dataclass(frozen=True, eq=False, slots=True)
class _Front:
    """States alive (n,): the chain of each, offset, heading, cost so far, and what it came from.

    came: row in the front before, times the number of ways, plus which of them; -1 where a run begins. k: the
    curvature it came by.
    """

    chain: np.ndarray
    o: FloatArray
    h: FloatArray
    cost: FloatArray
    came: np.ndarray
    k: FloatArray

    def only(self, which: np.ndarray) -> _Front:
        """The states at the given rows, or where the mask is true."""
        return _Front(*(getattr(self, n)[which] for n in _Front.__slots__))

    def joined(self, other: _Front) -> _Front:
        """These states and others."""
        return _Front(*(np.concatenate([getattr(self, n), getattr(other, n)]) for n in _Front.__slots__))


class _Grid:
    """Stations of all chains in one array each, and how states move between them."""

    def __init__(
        self, chains: list[_Chain], radius: float, hmax: float, allow: float, count: tuple[int, int]
    ) -> None:
        self.radius, self.hmax, self.count = radius, hmax, count
        self.bins = (allow + 2 * INTO_KEEP) / count[0], 2 * hmax / count[1]
        self.last = np.array([len(c.z) - 1 for c in chains])
        self.start = np.concatenate([[0], np.cumsum(self.last + 1)[:-1]])
        self.z = np.concatenate([c.z for c in chains])
        self.heading, self.low, self.high = (
            np.concatenate([getattr(c, n) for c in chains]) for n in ("heading", "low", "high")
        )
        # From the station before, seen along this one: how the ring turned, and the step.
        self.turn = np.concatenate([[0.0], -np.diff(self.heading)])
        self.step = np.concatenate([[0.0], np.diff(self.z)]) * np.exp(-1j * self.heading)
        self.apart = np.maximum(np.abs(self.step), 1e-9)
        self.sine, self.cosine = np.sin(self.turn), np.cos(self.turn)

    def on_the_line(self, count: int) -> _Front:
        """One state a chain, on the line and along it."""
        zero = np.zeros(count)
        return _Front(np.arange(count), zero, zero, zero, np.full(count, -1), zero)

    def begin(self, who: np.ndarray, at: np.ndarray) -> _Front:
        """Every state of chains `who` at their stations `at`; the line's own place where the band is empty."""
        h = (np.arange(self.count[1]) + 0.5) * self.bins[1] - self.hmax
        low, high = self.low[self.start[who] + at], self.high[self.start[who] + at]
        o = low[:, None] + (np.arange(self.count[0] + 2) + 0.5)[None, :] * self.bins[0]
        fits = o <= high[:, None]
        o[:, 0] = np.where(fits.any(axis=1), o[:, 0], 0.0)
        fits[:, 0] = True
        row, column = np.nonzero(fits)
        offset = np.repeat(o[row, column], len(h))
        turned = np.tile(h, len(row))
        chain = np.repeat(who[row], len(h))
        cost = _price(offset) + 0.02 * np.abs(turned)
        return _Front(chain, offset, turned, cost, np.full(len(offset), -1), np.zeros(len(offset)))

    def moved(self, front: _Front, at: np.ndarray) -> _Front:
        """Every state carried by every curvature to its next station's normal; in the band, one a bin.

        Seen from that normal an arc of curvature k from heading p over the way a arrives at heading h with
        sin h = sin p + k a, and its chord lies at the mean of the two.
        """
        station = np.minimum(self.start + at + 1, len(self.z) - 1)[front.chain]
        step = self.step[station]
        way = step.real + self.sine[station] * front.o
        side = step.imag - self.cosine[station] * front.o
        p = self.turn[station] + front.h
        p = p - 2 * math.pi * np.round(p / (2 * math.pi))
        # The last way steers so that the state runs along the ring when it arrives.
        k = np.empty((len(p), _WAYS))
        k[:, :-1] = _STEPS / self.radius
        k[:, -1] = -p / self.apart[station]
        begins = np.sin(p)[:, None]
        sine = begins + k * way[:, None]
        cosine = np.sqrt(np.maximum(1 - sine * sine, 0.0))
        ok = np.abs(sine) < math.sin(self.hmax)
        ok[:, -1] &= np.abs(k[:, -1]) <= 1 / self.radius
        ok &= ((np.abs(p) < math.pi / 2) & (way > 0))[:, None]
        # The tangent of the mean of two angles is the sum of their sines over that of their cosines.
        rise = (begins + sine) / np.maximum(np.cos(p)[:, None] + cosine, 1e-9)
        o = way[:, None] * rise - side[:, None]
        ok &= o >= self.low[station][:, None] - 1e-9
        ok &= o <= self.high[station][:, None] + 1e-9
        row = np.flatnonzero(ok)
        i = row // _WAYS
        k, h, p = k.ravel()[row], np.arcsin(sine.ravel()[row]), p[i]
        half = (h - p) / 2
        length = way[i] / (np.cos(p + half) * np.sinc(half / math.pi))
        ok = np.abs(k) * length * length <= 8 * 1.6 * BULGE
        row, i, h, k, length = row[ok], i[ok], h[ok], k[ok], length[ok]
        o, q = o.ravel()[row], row - i * _WAYS
        cost = front.cost[i] + _price(o) * length + 1e-6 * np.abs(k) * self.radius
        best = self._thinned(front.chain[i], o, h, cost)
        i = i[best]
        return _Front(front.chain[i], o[best], h[best], cost[best], i * _WAYS + q[best], k[best])

    def _thinned(self, chain: np.ndarray, o: FloatArray, h: FloatArray, cost: FloatArray) -> np.ndarray:
        """Rows of the cheapest state in each bin, of equal ones the first; in the order of chains and bins."""
        if len(chain) == 0:
            return chain
        a = np.floor(o / self.bins[0]).astype(np.int64)
        b = np.floor(h / self.bins[1]).astype(np.int64)
        a, b = a - a.min(), b - b.min()
        wide = int(b.max()) + 1
        size = (int(a.max()) + 1) * wide
        # Only chains still alive take room.
        alive = np.bincount(chain) > 0
        key = (np.cumsum(alive) - 1)[chain] * size + a * wide + b
        least = np.full(int(np.count_nonzero(alive)) * size, np.inf)
        np.minimum.at(least, key, cost)
        first = np.flatnonzero(cost == least[key])[::-1]
        row = np.full(len(least), -1)
        row[key[first]] = first
        return row[row >= 0]

    def traced(self, log: list[_Front], ends: _Front, c: int, station: int) -> ComplexArray:
        """The cheapest path of chain c that ends in one of `ends`, at `station`: points of its arcs, (n,)."""
        mine = np.flatnonzero(ends.chain == c)
        row = int(mine[np.argmin(ends.cost[mine])])
        front, states = ends, []
        for level in range(len(log), -1, -1):
            came = int(front.came[row])
            states.append((front.o[row], front.h[row], front.k[row]))
            if came < 0:
                break
            front, row = log[level - 1], came // _WAYS
        o, h, k = (np.array(v) for v in zip(*reversed(states), strict=True))
        at = self.start[c] + station - len(o) + 1 + np.arange(len(o))
        z = self.z[at] + 1j * np.exp(1j * self.heading[at]) * o
        return _arcs(z, self.heading[at] + h, k[1:])


def _arcs(z: ComplexArray, course: FloatArray, k: FloatArray) -> ComplexArray:
    """Points of a chain of arcs from z[i] in direction course[i] with curvature k[i] to z[i + 1]; two between."""
    chord = np.abs(np.diff(z))
    bent = np.abs(k) > 1e-12
    safe = np.where(bent, k, 1.0)
    length = np.where(bent, 2 / safe * np.arcsin(np.clip(safe * chord / 2, -1, 1)), chord)
    part = np.array([0.0, 1 / 3, 2 / 3])[None, :] * length[:, None]
    swing = part * np.sinc(k[:, None] * part / (2 * math.pi)) * np.exp(0.5j * k[:, None] * part)
    points = z[:-1, None] + np.exp(1j * course[:-1, None]) * swing
    flat = np.where(
        bent[:, None], points, z[:-1, None] + (np.diff(z)[:, None]) * np.array([0.0, 1 / 3, 2 / 3])
    )
    return np.concatenate([flat.ravel(), z[-1:]])


def _price(o: FloatArray) -> FloatArray:
    return np.where(o > 0, o * o, _DEARER * o * o)
