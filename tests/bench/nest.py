"""Wood used by nested pieces against bounding boxes in shelves and against the sum of their areas.

    python tests/bench/nest.py [--pieces 30] [--tries 40] [--seeds 3]

Invented pieces, 60 to 220 mm, drawn with fixed seeds: blobs, crescents, L and U, stars, long-legged birds. A strip
600 mm wide, gap 5 mm, turns of 0 and 180 degrees only, so that the grain is kept; no margins.
"""

from __future__ import annotations

import argparse
import random
import time

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, affinity, box
from shapely.geometry.base import BaseGeometry

from cutout.geom.outline import polygons_of
from cutout.nest import Board, Piece, nest, shelf_length


def blob(rng: random.Random) -> Polygon:
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    r = 1 + sum(rng.uniform(0, 0.35 / k) * np.cos(k * a + rng.uniform(0, 6)) for k in range(2, 6))
    return Polygon(np.column_stack([r * np.cos(a), r * np.sin(a)]))


def crescent(rng: random.Random) -> BaseGeometry:
    return Point(0, 0).buffer(1).difference(Point(rng.uniform(0.35, 0.6), 0).buffer(0.85))


def angle(rng: random.Random) -> BaseGeometry:
    return box(0, 0, 1, 1).difference(box(rng.uniform(0.25, 0.4), rng.uniform(0.25, 0.4), 2, 2))


def trough(rng: random.Random) -> BaseGeometry:
    return box(0, 0, 1, 1).difference(box(0.25, rng.uniform(0.25, 0.4), 0.75, 2))


def star(rng: random.Random) -> Polygon:
    n = rng.randint(4, 7)
    a = np.pi * np.arange(2 * n) / n
    r = np.where(np.arange(2 * n) % 2, rng.uniform(0.35, 0.55), 1.0)
    return Polygon(np.column_stack([r * np.cos(a), r * np.sin(a)]))


def bird(rng: random.Random) -> Polygon:
    body = affinity.scale(Point(0, 0).buffer(1), 0.8, 0.4)
    legs = [LineString([(x, 0), (x + 0.1, -1.4)]).buffer(0.06) for x in (-0.15, 0.2)]
    neck = LineString([(0.6, 0.1), (0.8, 0.9), (1.3, 0.8)]).buffer(0.1)
    made = shapely.union_all([body, *legs, neck])
    assert isinstance(made, Polygon)
    return made


KINDS = (blob, crescent, angle, trough, star, bird)


def pieces(count: int, seed: int) -> list[Piece]:
    """Pieces of every kind in turn, scaled so that the longer side of their box is 60 to 220 mm."""
    rng = random.Random(seed)
    made = []
    for n in range(count):
        shape = affinity.rotate(KINDS[n % len(KINDS)](rng), rng.uniform(0, 360))
        x0, y0, x1, y1 = shape.bounds
        by = rng.uniform(60, 220) / max(x1 - x0, y1 - y0)
        made.append(Piece(str(n), polygons_of(affinity.scale(shape, by, by))[0]))
    return made


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=30)
    parser.add_argument("--tries", type=int, default=40)
    parser.add_argument("--seeds", type=int, default=3)
    asked = parser.parse_args()
    board = Board(length=4000, width=600, gap=5, margin=0)
    heads = (
        "seed",
        "tries",
        "shelves mm",
        "nested mm",
        "nested/shelves",
        "wood used",
        "least gap",
        "seconds",
    )
    print("".join(f"{head:>16}" for head in heads))
    for seed in range(asked.seeds):
        some = pieces(asked.pieces, seed)
        shelves = shelf_length(some, board)
        for tries in sorted({0, asked.tries}):
            begun = time.process_time()
            layout = nest(some, board, tries=tries)
            took = time.process_time() - begun
            shapes = list(layout.placed(0).geoms)
            least = min(a.distance(b) for n, a in enumerate(shapes) for b in shapes[:n])
            row = (
                seed,
                tries,
                round(shelves),
                round(layout.used),
                f"{layout.used / shelves:.2f}",
                f"{layout.share:.1%}",
                f"{least:.3f}",
                f"{took:.1f}",
            )
            print("".join(f"{value:>16}" for value in row))


if __name__ == "__main__":
    main()
