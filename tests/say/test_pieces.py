"""What falls is called by its shape: plain figures, whose names a person would give without thinking."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon, affinity, box

from cutout.say.pieces import pieces_name, shape_of

WHOLE = 20_000.0
BOX = (0.0, 0.0, 300.0, 300.0)
WEDGE = Polygon([(0, 0), (14, 0), (7, 120)])
BROAD = Polygon([(0, 0), (50, 0), (25, 45)])
SLAT = box(0, 0, 110, 14)
SLANTED = Polygon([(0, 0), (110, 0), (100, 14), (6, 14)])
LEAF = Point(0, 0).buffer(200, 64).intersection(Point(0, 390).buffer(200, 64))
SHAPES = [
    ("tip", WEDGE),
    ("tip", BROAD),
    ("tip", LEAF),
    ("strip", SLAT),
    ("strip", SLANTED),
    ("round piece", Point(0, 0).buffer(20)),
    ("piece", box(0, 0, 40, 60)),
    ("small piece", box(0, 0, 20, 15)),
    ("main piece", box(0, 0, 100, 90)),
]


@pytest.mark.parametrize(("name", "piece"), SHAPES)
@given(degrees=st.floats(0, 360), mirrored=st.booleans())
def test_a_piece_is_called_the_same_however_it_lies(
    name: str, piece: Polygon, degrees: float, mirrored: bool
) -> None:
    turned = affinity.rotate(affinity.scale(piece, -1.0 if mirrored else 1.0, 1.0), degrees)
    assert shape_of(turned, WHOLE) == name


def at(piece: Polygon, x: float, y: float) -> Polygon:
    return affinity.translate(piece, x - piece.centroid.x, y - piece.centroid.y)


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("long tip at the upper left", [at(WEDGE, 40, 240)]),
        ("two tips at the right", [at(BROAD, 250, 120), at(BROAD, 250, 190)]),
        (
            "main piece in the middle and 2 more",
            [at(SLAT, 40, 40), box(50, 50, 250, 250), at(BROAD, 20, 270)],
        ),
        ("strip at the bottom", [at(SLAT, 150, 20)]),
        ("small piece at the lower right", [at(box(0, 0, 9, 9), 290, 10)]),
        ("12 strips at the top", [at(affinity.rotate(SLAT, 90), 94 + 10 * n, 240) for n in range(12)]),
    ],
)
def test_what_falls_is_said_in_a_few_words(name: str, pieces: list[Polygon]) -> None:
    assert pieces_name(pieces, WHOLE, BOX) == name


def test_a_rounded_tip_of_a_hand_drawn_line_is_one_all_the_same() -> None:
    """A blade leaves no point sharp, and a tracing wobbles."""
    turn = shapely.get_coordinates(shapely.segmentize(WEDGE.buffer(-1.5).buffer(1.5), 0.7))
    wobbly = turn + 0.1 * shapely.get_coordinates(
        shapely.linestrings([[math.sin(n), math.cos(3 * n)] for n in range(len(turn))])
    )
    assert shape_of(Polygon(wobbly), WHOLE) == "tip"
