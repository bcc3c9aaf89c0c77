"""Lines looked up piece by piece cross what they cross as a whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cutout.amend.rays import Edges, crossings
from tests.figures import wavy


def test_pieces_of_a_line_cross_what_the_whole_line_does() -> None:
    rng = np.random.default_rng(5)
    edges = Edges.of(
        [wavy(rng.uniform(8, 20), ((3, 0.2, 0.1),), complex(*rng.uniform(20, 280, 2)), 40) for _ in range(30)]
    )
    start = rng.uniform(0, 300, (200, 2))
    angle = rng.uniform(0, 2 * np.pi, 200)
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    reach = rng.uniform(1, 400, 200)
    found = crossings(edges, start, direction, reach, 4)
    whole = crossings(replace(edges, piece=1e9), start, direction, reach, 4)
    assert np.isfinite(found.distance).sum() > 200
    assert (found.distance == whole.distance).all()
    assert (found.owner == whole.owner).all()
