"""Short legs crowded at one spot: the template names them once, the cut sheet gives them one row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from cutout.saw.model import CORNER, Leg

SHORT = 18.0
"""A leg shorter than this (mm) may be one of a crowd."""

SPREAD = 12.0
"""Legs whose ends all lie this close together (mm) clear one spot."""

_NEXT = 6.0
"""An end this close (mm) to one of a crowd crowds it; further off there is room to write."""

_CROWD = 3
"""Legs at one spot that can still be told apart, one less."""


def crowds(legs: Iterable[Leg]) -> tuple[tuple[Leg, ...], ...]:
    """Three or more short legs that end at one spot, whatever their turn, in the order of their first ones."""
    found: list[list[Leg]] = []
    for leg in legs:
        if len(leg.path) < 2 or leg.length >= SHORT:
            continue
        home = next((crowd for crowd in found if _belongs(leg, crowd)), None)
        if home is None:
            found.append([leg])
        else:
            home.append(leg)
    return tuple(tuple(crowd) for crowd in found if len(crowd) >= _CROWD)


def _belongs(leg: Leg, crowd: Sequence[Leg]) -> bool:
    apart = _apart(leg, crowd)
    return bool(apart.max() <= SPREAD and apart.min() <= _NEXT)


def in_a_row(legs: Iterable[Leg]) -> tuple[tuple[Leg, ...], ...]:
    """All legs in order, those one after the other that clear one spot together: short, ending in a corner of
    the same opening and backed out."""
    rows: list[list[Leg]] = []
    for leg in legs:
        if rows and _nibbles(leg) and all(map(_nibbles, rows[-1])) and _goes_on(leg, rows[-1]):
            rows[-1].append(leg)
        else:
            rows.append([leg])
    return tuple(tuple(row) for row in rows)


def _nibbles(leg: Leg) -> bool:
    return leg.ends == CORNER and len(leg.path) > 1 and leg.length < SHORT


def _goes_on(leg: Leg, row: Sequence[Leg]) -> bool:
    return leg.opening == row[-1].opening and bool(_apart(leg, row).max() <= SPREAD)


def _apart(leg: Leg, others: Sequence[Leg]) -> np.ndarray:
    """Distances (mm) between the end of one leg and those of others."""
    return np.asarray(np.hypot(*(np.array([o.path[-1] for o in others]) - leg.path[-1]).T))


def numbers_in_words(numbers: Sequence[int]) -> str:
    """Rising numbers, runs joined: 21-30; 84, 87-88, 95."""
    breaks = [0, *(n for n, (a, b) in enumerate(pairwise(numbers), start=1) if b != a + 1), len(numbers)]
    runs = [numbers[a:b] for a, b in pairwise(breaks)]
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)
