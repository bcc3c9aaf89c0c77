"""The cheapest rows of a table that together cover all its columns, exactly (set cover by branch and bound)."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from cutout.geom.curve import FloatArray

TRIES = 1500
"""So many partial covers are looked at before a table is given up: a limit in time would not repeat itself."""
_SAME = 1e-9
"""A cover that is cheaper by less is not."""


def cheapest_cover(table: np.ndarray, cost: FloatArray) -> list[int] | None:
    """Rows (rising) of a boolean table (n, m) that cover all columns at the least cost in all; None where that is
    not known after TRIES. Every column must be covered by some row; cost (n,) > 0.

    Method: what decides nothing is taken away first (a row that another covers for less; a column that is covered
    whenever another is), then one way after the other to cover the column fewest rows cover, as long as the least
    that the rest costs leaves room below the best found.
    """
    rows, columns = _deciding(table, cost)
    search = _Search(
        [_bits(r) for r in table[np.ix_(rows, columns)]],
        [np.flatnonzero(c).tolist() for c in table[np.ix_(rows, columns)].T],
        cost[rows].tolist(),
    )
    search.go(0, 0.0, ())
    if search.tries > TRIES or search.best is None:
        return None
    return sorted(int(rows[k]) for k in search.best)


def _bits(row: np.ndarray) -> int:
    return int.from_bytes(np.packbits(row, bitorder="little").tobytes(), "little")


def _deciding(table: np.ndarray, cost: FloatArray) -> tuple[np.ndarray, np.ndarray]:
    """Rows and columns that decide which cover is cheapest."""
    rows, columns = np.arange(len(table)), np.arange(table.shape[1])
    while True:
        part = table[np.ix_(rows, columns)]
        kept_rows = _undominated(part, cost[rows])
        part = part[kept_rows]
        # A column is needless where another is covered by some of its rows only.
        kept_columns = _undominated(~part.T, np.zeros(part.shape[1]))
        if len(kept_rows) == len(rows) and len(kept_columns) == len(columns):
            return rows, columns
        rows, columns = rows[kept_rows], columns[kept_columns]


def _undominated(table: np.ndarray, cost: FloatArray) -> np.ndarray:
    """Rows that no other row holds wholly at no more cost; of equal ones the first."""
    wide = table.astype(np.float32)
    held = (wide @ wide.T) == wide.sum(axis=1)[:, None]
    dearer = cost[:, None] - cost[None, :]
    number = np.arange(len(table))
    worse = held & ((dearer > 0) | ((dearer == 0) & (~held.T | (number[:, None] > number[None, :]))))
    return np.flatnonzero(~worse.any(axis=1))


@dataclass
class _Search:
    """Rows as bits of the columns they cover, columns as lists of rows, what each row costs; the best so far."""

    rows: list[int]
    columns: list[list[int]]
    cost: list[float]
    best: tuple[int, ...] | None = None
    least: float = float("inf")
    tries: int = 0
    order: list[int] = field(init=False)
    lowest: float = field(init=False)
    dearest: float = field(init=False)

    def __post_init__(self) -> None:
        self.lowest, self.dearest = min(self.cost), max(self.cost)
        self.order = sorted(range(len(self.columns)), key=lambda c: (len(self.columns[c]), c))

    def go(self, covered: int, spent: float, taken: tuple[int, ...]) -> None:
        """Look at every cover that holds the rows taken and may be the cheapest."""
        self.tries += 1
        if self.tries > TRIES:
            return
        first, rest = self._left(covered)
        if first is None:
            if spent < self.least - _SAME:
                self.best, self.least = taken, spent
            return
        if spent + rest >= self.least - _SAME:
            return
        gain = {r: (self.rows[r] & ~covered).bit_count() for r in self.columns[first]}
        for r in sorted(gain, key=lambda r: (-gain[r] / self.cost[r], r)):
            self.go(covered | self.rows[r], spent + self.cost[r], (*taken, r))

    def _left(self, covered: int) -> tuple[int | None, float]:
        """The column to be covered next, and the least that all the rest costs: each column in turn is charged what
        its cheapest row has left of its cost (dual ascent), and so many rows cost as many times the cheapest."""
        first, least, left = None, 0.0, self.cost.copy()
        for c in self.order:
            if covered >> c & 1:
                continue
            first = c if first is None else first
            share = min(left[r] for r in self.columns[c])
            if share > 0:
                least += share
                for r in self.columns[c]:
                    left[r] -= share
        return first, max(least, math.ceil(least / self.dearest - _SAME) * self.lowest)
