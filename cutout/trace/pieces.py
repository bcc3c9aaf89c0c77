"""Cutting runs of samples into as few lines, circular runs and cubics as their noise allows.

Every candidate piece is judged on the same small number of samples, so thousands of them, of all runs of a picture,
are fitted in one go; a shortest path over the possible joints then picks the cheapest chain of each run.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cutout.geom.curve import ComplexArray, FloatArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Kind = Literal["line", "arc", "cubic"]
KINDS: tuple[Kind, ...] = ("line", "arc", "cubic")

_SAMPLES = 24
"""Points of a piece on which its fit is judged: three for each co-ordinate of a cubic."""
_SHARES: FloatArray = np.linspace(0.0, 1.0, _SAMPLES)
_CHUNK = 1_000
"""Pieces judged at once: what is worked out of them on the way stays in the processor's cache, and products of so few
are worked out in one thread, which several would only hinder one another at."""
_ABSURD = 1e12
"""Stands for a cost without bound, where the difference of two such is asked."""
_PRICE: FloatArray = np.array([9.0, 15.0, 20.0])
"""What one more piece of each kind costs, in units of squared noise; about ln(n) for each free number."""
_LEFT_OUT = 9
"""Places within a piece, evenly spread, at which its neighbours may meet in its stead."""
_ROUNDS = 4
"""Times at most that joints are moved and pieces joined in turns."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Samples first..last of a run stand for one curve of this kind."""

    first: int
    last: int
    kind: Kind


def cut_all(runs: Sequence[ComplexArray], tol: ArrayLike, noise: ArrayLike, step: float) -> list[list[Piece]]:
    """The cheapest chain of pieces over each of some open runs.

    tol: of each run, no sample further off its piece (px); noise: of each, sigma of the samples across the run (px);
    step: distance between samples (px).
    """
    if not runs:
        return []
    many = _Runs.of(runs, tol, noise, step)
    number = np.arange(len(runs))
    whole = many.costs(number, many.first, many.last)
    least = whole.min(axis=1)
    plain = np.isfinite(whole[:, :2]).any(axis=1) | (many.sizes < 8) | (least <= 2 * _PRICE.min())
    kind = np.where(np.isfinite(least), np.argmin(whole, axis=1), 0)
    chains = _cheapest(many, number[~plain])
    chains = _settled(many, chains)
    apart = np.bincount(chains.run, chains.cost, len(runs))
    bent = ~plain & (least <= apart)
    plain |= bent
    kind[bent] = KINDS.index("cubic")
    single = _Chains(number[plain], many.first[plain], many.last[plain], kind[plain], least[plain])
    return many.pieces(chains.of(~plain).with_(single))


@dataclass(frozen=True, slots=True)
class _Runs:
    """Samples of all runs one after the other, the first and last of each, its tolerance and noise (px)."""

    z: tuple[FloatArray, FloatArray]
    first: IntArray
    last: IntArray
    tol: FloatArray
    noise: FloatArray
    step: float

    @classmethod
    def of(cls, runs: Sequence[ComplexArray], tol: ArrayLike, noise: ArrayLike, step: float) -> _Runs:
        """The same from runs of samples."""
        sizes = np.array([len(run) for run in runs])
        ends = np.cumsum(sizes)
        z = np.concatenate(runs)
        parts = np.ascontiguousarray(z.real), np.ascontiguousarray(z.imag)
        return cls(parts, ends - sizes, ends - 1, np.asarray(tol, float), np.asarray(noise, float), step)

    @property
    def sizes(self) -> IntArray:
        """How many samples each run has."""
        return self.last - self.first + 1

    def costs(self, run: IntArray, first: IntArray, last: IntArray) -> FloatArray:
        """(n, 3): cost of samples first..last as a line, arc or cubic; infinite where that misses too much.

        Shortest pieces are never infinite, so that a chain always exists. run: the run that each piece is of.
        """
        cost: FloatArray = np.empty((len(first), len(KINDS)))
        tol, noise = self.tol[run], self.noise[run]
        for k in range(0, len(first), _CHUNK):
            part = slice(k, k + _CHUNK)
            cost[part] = self._some_costs(first[part], last[part], tol[part], noise[part])
        return cost

    def _some_costs(self, first: IntArray, last: IntArray, tol: FloatArray, noise: FloatArray) -> FloatArray:
        span = last - first
        x, y = self._points(first, span)
        # Samples closer than about two pixels share their noise, so they do not count each for itself.
        independent = np.maximum(span * self.step / 2.0, 1.0) / (_SAMPLES * noise**2)
        cost: FloatArray = np.empty((len(first), len(KINDS)))
        for k, off in enumerate((_off_line, _off_circle, _off_cubic)):
            miss = off(x, y)
            cost[:, k] = _PRICE[k] + independent * np.einsum("kn,kn->n", miss, miss)
            worst = np.maximum(miss.max(axis=0), -miss.min(axis=0))
            cost[worst > tol, k] = np.inf
        # Three numbers fit four points nearly always: a short cubic says nothing a line does not.
        cost[span * self.step < 4.0, 2] = np.inf
        short = span * self.step <= 2.6
        cost[short, 0] = np.minimum(cost[short, 0], 1e6)
        return cost

    def _points(self, first: IntArray, span: IntArray) -> tuple[FloatArray, FloatArray]:
        """x and y (_SAMPLES, n) of points evenly spread over each piece's samples, less their means."""
        at = _SHARES[:, None] * span
        low = np.minimum(at.astype(np.int64), np.maximum(span - 1, 0))
        at -= low
        low += first
        parts = []
        for values in self.z:
            here = values.take(low)
            # Beyond the very last sample nothing is asked for: its share is 0.
            beyond = values.take(low + 1, mode="clip")
            beyond -= here
            beyond *= at
            here += beyond
            here -= here.sum(axis=0) / _SAMPLES
            parts.append(here)
        return parts[0], parts[1]

    def pieces(self, chains: _Chains) -> list[list[Piece]]:
        """The pieces of each run's chain, numbered from the run's own first sample."""
        out: list[list[Piece]] = [[] for _ in self.first]
        starts = self.first[chains.run]
        parts = (chains.run, chains.first - starts, chains.last - starts, chains.kind)
        for run, first, last, kind in zip(*(part.tolist() for part in parts), strict=True):
            out[run].append(Piece(first, last, KINDS[kind]))
        return out


@dataclass(frozen=True, slots=True)
class _Chains:
    """Pieces of the chains of many runs, run by run and in order: their run, samples, kind's number and cost."""

    run: IntArray
    first: IntArray
    last: IntArray
    kind: IntArray
    cost: FloatArray

    def at(self, which: BoolArray | IntArray) -> _Chains:
        """Some of the pieces."""
        return _Chains(
            self.run[which], self.first[which], self.last[which], self.kind[which], self.cost[which]
        )

    def of(self, runs: BoolArray) -> _Chains:
        """The chains of some of the runs, which are told by their number."""
        return self.at(runs[self.run])

    def with_(self, more: _Chains) -> _Chains:
        """These and more of them."""
        fields = ("run", "first", "last", "kind", "cost")
        both = (np.concatenate([getattr(self, name), getattr(more, name)]) for name in fields)
        out = _Chains(*both)
        return out.at(np.lexsort((out.first, out.run)))

    def counts(self, runs: int) -> IntArray:
        """How many pieces each of so many runs has."""
        return np.bincount(self.run, minlength=runs)


@lru_cache(maxsize=512)
def _joints(n: int, step: float) -> IntArray:
    """Possible joints: every 2 px on short runs, up to every 6 px on long ones; both ends among them."""
    spacing = min(max(n * step / 80, 2.0), 6.0) / step
    return np.round(np.linspace(0, n - 1, max(2, round(n / spacing) + 1))).astype(np.int64)


@lru_cache(maxsize=512)
def _spans(m: int) -> tuple[IntArray, IntArray]:
    """Pairs of joints a piece may lie between: all short ones, longer ones on ever coarser grids; the whole, too."""
    first, last = [], []
    size, least, most = 1, 1, 16
    while True:
        at = np.arange(0, m, size)
        for length in range(least, most + 1):
            a = at[at + length * size < m]
            first.append(a)
            last.append(a + length * size)
            # A piece may also start or end at the run's own ends, wherever the coarse grid lies.
            tail = m - 1 - length * size
            if size > 1 and tail >= 0 and tail % size:
                first.append(np.array([tail]))
                last.append(np.array([m - 1]))
        if most * size >= m:
            break
        size, least = size * 2, 9
    one, two = np.concatenate(first), np.concatenate(last)
    if not ((one == 0) & (two == m - 1)).any():
        one, two = np.append(one, 0), np.append(two, m - 1)
    return one, two


def _cheapest(runs: _Runs, which: IntArray) -> _Chains:
    """The cheapest chains over the joints of some of the runs."""
    if not len(which):
        none = np.zeros(0, dtype=np.int64)
        return _Chains(none, none, none, none, np.zeros(0))
    joints = [_joints(n, runs.step) for n in runs.sizes[which].tolist()]
    sizes = np.array([len(at) for at in joints])
    base = np.cumsum(sizes) - sizes
    spans = [_spans(m) for m in sizes.tolist()]
    own = np.repeat(np.arange(len(which)), [len(one) for one, _ in spans])
    first = np.concatenate([one for one, _ in spans])
    last = np.concatenate([two for _, two in spans])
    place = np.concatenate([at + start for at, start in zip(joints, runs.first[which].tolist(), strict=True)])
    cost = runs.costs(which[own], place[base[own] + first], place[base[own] + last])
    price = cost.min(axis=1)
    # A chain through what is impossible is none, but from each joint to the next there is always a way.
    price = np.where(last - first == 1, np.minimum(price, _ABSURD), price)
    can = np.flatnonzero(np.isfinite(price))
    can = can[np.lexsort((own[can], last[can]))]
    own, first, last, price = own[can], base[own[can]] + first[can], last[can], price[can]
    came = _came(own, first, base, last, price, int(sizes.sum()))
    kind = np.argmin(cost, axis=1)[can]
    chains: list[tuple[int, int]] = []
    before, chosen = first.tolist(), came.tolist()
    for k, (start, m) in enumerate(zip(base.tolist(), sizes.tolist(), strict=True)):
        j, back = start + m - 1, []
        while j > start:
            back.append((k, chosen[j]))
            j = before[chosen[j]]
        chains += back[::-1]
    run, piece = np.array(chains).T
    ends = base[own] + last
    return _Chains(which[run], place[first[piece]], place[ends[piece]], kind[piece], price[piece])


def _came(
    own: IntArray, first: IntArray, base: IntArray, last: IntArray, price: FloatArray, count: int
) -> IntArray:
    """Of each of `count` joints of all runs, the number of the piece that ends there in the cheapest chain to it.

    Pieces come in the order of their last joint, counted in each run, and of their runs. first: joint they start at,
    counted through all runs; base: that of each run's start.
    """
    best = np.full(count, np.inf)
    best[base] = 0.0
    came = np.zeros(count, dtype=np.int64)
    heads = np.flatnonzero(np.diff(last, prepend=-1) | np.diff(own, prepend=-1))
    sizes = np.diff(np.append(heads, len(own)))
    ends = base[own[heads]] + last[heads]
    bounds = np.searchsorted(last[heads], np.arange(int(last[-1]) + 2)).tolist()
    starts = np.append(heads, len(own)).tolist()
    # Each joint's best chain depends on those before it, hence the loop; the runs' joints of one number go together.
    for one, two in itertools.pairwise(bounds[1:]):
        if one == two:
            continue
        span = slice(starts[one], starts[two])
        totals = best[first[span]] + price[span]
        if two == one + 1:
            k = int(np.argmin(totals))
            best[ends[one]], came[ends[one]] = totals[k], starts[one] + k
            continue
        at = _least(totals, heads[one:two] - starts[one], sizes[one:two])
        best[ends[one:two]], came[ends[one:two]] = totals[at], starts[one] + at
    return came


def _least(values: FloatArray, starts: IntArray, sizes: IntArray) -> IntArray:
    """Number of the first least value of each stretch of values, whose starts and sizes are given."""
    least = np.minimum.reduceat(values, starts)
    hits = np.flatnonzero(values == np.repeat(least, sizes))
    return np.asarray(hits[np.searchsorted(hits, starts)])


def _settled(runs: _Runs, chains: _Chains) -> _Chains:
    """The chains with joints moved and pieces joined as long as that leaves fewer of them."""
    count = len(runs.first)
    done = chains.at(np.zeros(0, dtype=np.int64))
    for _ in range(_ROUNDS):
        if not len(chains.run):
            break
        before = chains.counts(count)
        chains = _merged(runs, chains)
        chains = _slid(runs, chains)
        chains = _without_some(runs, chains)
        fewer = chains.counts(count) < before
        done, chains = done.with_(chains.of(~fewer)), chains.of(fewer)
    return done.with_(chains)


def _merged(runs: _Runs, chains: _Chains) -> _Chains:
    """Neighbours joined where one piece does for less; joins what the coarse grid had to part."""
    live = np.ones(len(runs.first), dtype=bool)
    while True:
        left = np.flatnonzero((chains.run[:-1] == chains.run[1:]) & live[chains.run[:-1]])
        if not len(left):
            return chains
        together = runs.costs(chains.run[left], chains.first[left], chains.last[left + 1])
        # A price beyond any real one keeps two impossible ways comparable.
        apart = np.minimum(chains.cost[left] + chains.cost[left + 1], _ABSURD)
        found = together.min(axis=1)
        taken = _taken(left, apart - found, 1)
        if not len(taken):
            return chains
        at = left[taken]
        last, kind, cost = chains.last.copy(), chains.kind.copy(), chains.cost.copy()
        last[at], kind[at], cost[at] = chains.last[at + 1], np.argmin(together[taken], axis=1), found[taken]
        live = _among(chains.run[at], len(live))
        keep = np.ones(len(last), dtype=bool)
        keep[at + 1] = False
        chains = replace(chains, last=last, kind=kind, cost=cost).at(keep)


def _taken(at: IntArray, gains: FloatArray, apart: int) -> IntArray:
    """Numbers of the places `at` taken, those of most gain first, none within `apart` of one taken before."""
    some = np.flatnonzero(gains > 0)
    some = some[np.lexsort((some, -gains[some]))]
    taken: list[int] = []
    near: set[int] = set()
    for k, place in zip(some.tolist(), at[some].tolist(), strict=True):
        if place not in near:
            taken.append(k)
            near.update(range(place - apart, place + apart + 1))
    return np.array(sorted(taken), dtype=np.int64)


def _among(numbers: IntArray, count: int) -> BoolArray:
    """Which of 0..count - 1 are among the numbers."""
    out = np.zeros(count, dtype=bool)
    out[numbers] = True
    return out


def _slid(runs: _Runs, chains: _Chains) -> _Chains:
    """Every joint moved by up to a joint's spacing to where its pieces cost least, every other one at once."""
    sizes = runs.sizes
    reaches = np.zeros(len(sizes), dtype=np.int64)
    for run in np.unique(chains.run).tolist():
        reaches[run] = _joints(int(sizes[run]), runs.step)[1]
    heads = np.flatnonzero(np.diff(chains.run, prepend=-1))
    place = np.arange(len(chains.run)) - np.repeat(heads, np.diff(np.append(heads, len(chains.run))))
    for parity in (1, 0):
        right = np.flatnonzero((place % 2 == parity) & (place > 0))
        if not len(right):
            continue
        first, joint, last = chains.first[right - 1], chains.first[right], chains.last[right]
        reach = np.where(last - first >= 6, reaches[chains.run[right]], 0)
        own = np.repeat(np.arange(len(right)), 2 * reach + 1)
        starts = np.cumsum(2 * reach + 1) - (2 * reach + 1)
        at = joint[own] + np.arange(len(own)) - starts[own] - reach[own]
        room = (reach > 0)[own]
        at = np.where(room, np.clip(at, first[own] + 2, np.maximum(last[own] - 2, 0)), at)
        chains = _met(runs, chains, right, own, at)
    return chains


def _met(runs: _Runs, chains: _Chains, right: IntArray, own: IntArray, at: IntArray) -> _Chains:
    """Pieces before `right` and those there meeting at the best of the samples `at`; own: for which of them it is."""
    best = _meetings(runs, chains.run[right], chains.first[right - 1], chains.last[right], own, at)
    can = np.isfinite(best.cost.sum(axis=1))
    right, best = right[can], best.at(can)
    first, last = chains.first.copy(), chains.last.copy()
    kind, cost = chains.kind.copy(), chains.cost.copy()
    first[right] = last[right - 1] = best.joint
    kind[right - 1], kind[right] = best.kind.T
    cost[right - 1], cost[right] = best.cost.T
    return _Chains(chains.run, first, last, kind, cost)


@dataclass(frozen=True, slots=True)
class _Meetings:
    """Samples at which two pieces meet, and kinds' numbers and costs of the two, (n, 2) each."""

    joint: IntArray
    kind: IntArray
    cost: FloatArray

    def at(self, which: BoolArray | IntArray) -> _Meetings:
        """Some of them."""
        return _Meetings(self.joint[which], self.kind[which], self.cost[which])


def _meetings(
    runs: _Runs, run: IntArray, first: IntArray, last: IntArray, own: IntArray, at: IntArray
) -> _Meetings:
    """The best of the samples `at`, in the order of the meetings they are for (own), for pieces first..at..last."""
    runs_of = run[own]
    both = runs.costs(
        np.concatenate([runs_of, runs_of]), np.concatenate([first[own], at]), np.concatenate([at, last[own]])
    )
    one, two = np.split(both, 2)
    total = one.min(axis=1) + two.min(axis=1)
    starts = np.flatnonzero(np.diff(own, prepend=-1))
    best = _least(total, starts, np.diff(np.append(starts, len(own))))
    kinds = np.stack([np.argmin(part[best], axis=1) for part in (one, two)], axis=1)
    costs = np.stack([part[best].min(axis=1) for part in (one, two)], axis=1)
    return _Meetings(at[best], kinds, costs)


def _without_some(runs: _Runs, chains: _Chains) -> _Chains:
    """Pieces left out where their neighbours can meet somewhere within them for less."""
    live = np.ones(len(runs.first), dtype=bool)
    while True:
        run = chains.run
        inner = np.flatnonzero((run[:-2] == run[2:]) & live[run[:-2]]) + 1
        if not len(inner):
            return chains
        # Counted in each run, for halves are rounded to even numbers.
        start = runs.first[run[inner], None]
        low, high = chains.first[inner, None] - start, chains.last[inner, None] - start
        at = start + np.round(low + (high - low) * np.linspace(0, 1, _LEFT_OUT)).astype(np.int64)
        own = np.repeat(np.arange(len(inner)), _LEFT_OUT)
        found = _meetings(runs, run[inner], chains.first[inner - 1], chains.last[inner + 1], own, at.ravel())
        old = chains.cost[inner - 1] + chains.cost[inner] + chains.cost[inner + 1]
        with np.errstate(invalid="ignore"):
            taken = _taken(inner, old - found.cost.sum(axis=1), 2)
        if not len(taken):
            return chains
        gone, best = inner[taken], found.at(taken)
        first, last = chains.first.copy(), chains.last.copy()
        kind, cost = chains.kind.copy(), chains.cost.copy()
        last[gone - 1] = first[gone + 1] = best.joint
        kind[gone - 1], kind[gone + 1] = best.kind.T
        cost[gone - 1], cost[gone + 1] = best.cost.T
        live = _among(run[gone], len(live))
        keep = np.ones(len(run), dtype=bool)
        keep[gone] = False
        chains = _Chains(run, first, last, kind, cost).at(keep)


def _off_line(x: FloatArray, y: FloatArray) -> FloatArray:
    """Distances of centred points (k, n) from their least-squares lines."""
    turned = np.arctan2(
        2 * np.einsum("kn,kn->n", x, y), np.einsum("kn,kn->n", x, x) - np.einsum("kn,kn->n", y, y)
    )
    off: FloatArray = y * np.cos(0.5 * turned)
    off -= x * np.sin(0.5 * turned)
    return off


def _off_circle(x: FloatArray, y: FloatArray) -> FloatArray:
    """Distances of centred points (k, n) from least-squares circles (Kasa's linear fit)."""
    w = x * x
    w += y * y
    sxx, sxy, syy, sx, sy = (np.einsum("kn,kn->n", a, b) for a, b in ((x, x), (x, y), (y, y), (x, w), (y, w)))
    det = sxx * syy - sxy * sxy
    straight = np.abs(det) < 1e-9 * (sxx + syy) ** 2
    det[straight] = 1.0
    cx, cy = (sx * syy - sy * sxy) / (2 * det), (sy * sxx - sx * sxy) / (2 * det)
    radius = np.sqrt(cx**2 + cy**2 + w.sum(axis=0) / _SAMPLES)
    off: FloatArray = x - cx
    off *= off
    aside = y - cy
    aside *= aside
    off += aside
    np.sqrt(off, out=off)
    off -= radius
    off[:, straight] = np.inf
    return off


_T = np.linspace(-1.0, 1.0, _SAMPLES)
_BASIS = np.asarray(np.polynomial.legendre.legvander(_T, 3), dtype=np.float64)
_SOLVE = np.asarray(np.linalg.pinv(_BASIS), dtype=np.float64)
_SLOPE: FloatArray = np.stack(
    [np.polynomial.legendre.legval(_T, np.polynomial.legendre.legder(np.eye(4)[k])) for k in range(4)], axis=1
)


def _off_cubic(x: FloatArray, y: FloatArray) -> FloatArray:
    """Distances across the curve of points (k, n) from least-squares cubics in arc length."""
    a, b = _SOLVE @ x, _SOLVE @ y
    along, up = _SLOPE @ a, _SLOPE @ b
    off = y - _BASIS @ b
    off *= along
    aside = x - _BASIS @ a
    aside *= up
    off -= aside
    along *= along
    up *= up
    along += up
    np.sqrt(along, out=along)
    off /= np.maximum(along, 1e-9, out=along)
    return off
