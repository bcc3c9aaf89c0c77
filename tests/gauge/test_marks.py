"""Marks read whatever the perspective; cells misread are put right or noticed, never taken for another mark."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.gauge.camera import homography
from cutout.gauge.card import MARK, RIM, cells, mark_words
from cutout.gauge.marks import read_mark

WORDS = sorted(mark_words())


def drawn(black: np.ndarray, paper: float, ink: float) -> np.ndarray:
    """A mark on paper, 20 pixels a cell, a cell's width of paper round it."""
    side = 20
    rim = round(RIM / ((MARK - 2 * RIM) / 4) * side)
    inner = np.kron(black, np.ones((side, side), bool))
    mark = np.pad(inner, rim, constant_values=True)
    return np.where(np.pad(mark, 3 * side), ink, paper).astype(np.float32)


def seen(picture: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """The picture with its mark's corners moved to `corners` (4, 2), by looking up every pixel (nearest)."""
    h, w = picture.shape
    a = 60.0
    own = np.array([[a, a], [w - a, a], [w - a, h - a], [a, h - a]])
    back = homography(corners, own)
    y, x = np.mgrid[0:400, 0:400] + 0.5
    k = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    u = ((back[0, 0] * x + back[0, 1] * y + back[0, 2]) / k).astype(int)
    v = ((back[1, 0] * x + back[1, 1] * y + back[1, 2]) / k).astype(int)
    return picture[np.clip(v, 0, h - 1), np.clip(u, 0, w - 1)]


SHIFT = st.floats(-25, 25)
SQUARE = np.array([[120.0, 120.0], [280.0, 120.0], [280.0, 280.0], [120.0, 280.0]])


@settings(max_examples=60, deadline=None)
@given(
    word=st.sampled_from(WORDS),
    turn=st.integers(0, 3),
    shifts=st.lists(SHIFT, min_size=8, max_size=8),
    paper=st.floats(0.2, 1.0),
    dark=st.floats(0.02, 0.25),
)
def test_a_mark_says_itself_whichever_way_it_lies(
    word: int, turn: int, shifts: list[float], paper: float, dark: float
) -> None:
    quad = SQUARE + np.array(shifts).reshape(4, 2)
    picture = seen(drawn(np.rot90(cells(word), turn), paper, dark * paper), quad)
    mark = read_mark(picture, quad)
    assert mark is not None
    assert (mark.number, mark.corner) == mark_words()[word]
    assert mark.mended == 0
    # Turned by quarters counter-clockwise, the mark's lower left corner comes to the lower right, and so on.
    lower_left = [3, 2, 1, 0][turn]
    assert np.allclose(mark.quad[0], quad[lower_left])


@settings(max_examples=60, deadline=None)
@given(word=st.sampled_from(WORDS), where=st.lists(st.integers(0, 15), min_size=1, max_size=3, unique=True))
def test_one_cell_misread_is_put_right_more_are_never_another_mark_in_silence(
    word: int, where: list[int]
) -> None:
    flipped = word
    for k in where:
        flipped ^= 1 << k
    mark = read_mark(seen(drawn(cells(flipped), 0.8, 0.05), SQUARE), SQUARE)
    if len(where) == 1:
        assert mark is not None
        assert (mark.number, mark.corner, mark.mended) == (*mark_words()[word], 1)
    elif len(where) == 2:
        # Four cells apart: two misread are no word, and one more would have to be misread to come near another.
        assert mark is None or mark.mended == 1
    elif mark is not None:
        assert mark.mended == 1, "three cells misread may come within one of another mark, never on it"


def test_bare_paper_and_solid_ink_are_no_marks() -> None:
    for picture in (
        np.full((400, 400), 0.8, np.float32),
        seen(drawn(np.ones((4, 4), bool), 0.8, 0.05), SQUARE),
    ):
        assert read_mark(picture, SQUARE) is None
