"""The cheapest rows that cover all columns: against trying them all, and against a solver of integer programs."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from cutout.saw.planner import cover
from cutout.saw.planner.cover import cheapest_cover


def table_of(seed: int, n: int, m: int, share: float) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    table = random.random((n, m)) < share
    table[random.integers(0, n, m), np.arange(m)] = True
    return table, 1.0 + 0.05 * random.random(n)


def runs_of(seed: int, n: int, m: int) -> tuple[np.ndarray, np.ndarray]:
    """As holes reach outline: each row a run of columns, and here and there one elsewhere."""
    random = np.random.default_rng(seed)
    table = np.zeros((n, m), dtype=bool)
    for row in table:
        start, size = int(random.integers(0, m)), int(random.integers(1, m // 6))
        row[start : start + size] = True
        row[random.integers(0, m)] |= random.random() < 0.2
    table[random.integers(0, n, m), np.arange(m)] = True
    return table, 1.0 + 0.05 * random.random(n)


@pytest.mark.parametrize("seed", range(12))
def test_no_other_rows_are_cheaper(seed: int) -> None:
    table, cost = table_of(seed, 9, 7, 0.3)
    found = cheapest_cover(table, cost)
    assert found is not None
    assert table[found].any(axis=0).all()
    all_covers = (
        list(rows)
        for size in range(1, 10)
        for rows in combinations(range(9), size)
        if table[list(rows)].any(axis=0).all()
    )
    assert found == min(all_covers, key=lambda rows: cost[rows].sum())


@pytest.mark.parametrize("seed", range(3))
def test_a_solver_finds_the_same_of_a_hundred(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cover, "TRIES", 50_000)
    table, cost = runs_of(seed, 120, 40)
    solved = milp(
        cost,
        constraints=LinearConstraint(table.T.astype(float), lb=np.ones(40)),
        integrality=np.ones(120, dtype=np.int64),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0},
    )
    found = cheapest_cover(table, cost)
    assert found is not None
    assert cost[found].sum() == pytest.approx(solved.fun, abs=1e-6)


def test_rows_alike_and_columns_alike_are_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many of the same decide nothing: they are not tried one by one. Of equals the first is taken."""
    monkeypatch.setattr(cover, "TRIES", 5)
    table = np.repeat(np.repeat(np.eye(3, dtype=bool), 40, axis=0), 30, axis=1)
    assert cheapest_cover(table, np.ones(120)) == [0, 40, 80]


def test_what_takes_too_long_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    table, cost = runs_of(1, 60, 40)
    assert cheapest_cover(table, cost) is not None
    monkeypatch.setattr(cover, "TRIES", 2)
    assert cheapest_cover(table, cost) is None
