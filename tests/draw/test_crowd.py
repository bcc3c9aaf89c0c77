from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from cutout.draw.crowd import crowds, in_a_row, numbers_in_words
from cutout.saw.model import CORNER, Leg, Place
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.drawing import Drawing
from cutout.write.steps import by_leg
from cutout.write.template.annotate import annotate
from cutout.write.template.template import template_pdf, tiling_of
from cutout.write.work import Work
from tests.conftest import hand_made_steps

TIP = np.array([150.0, 140.0])
AWAY = np.array([40.0, 0.0])


def nibble(
    order: int, *, end: np.ndarray = TIP, length: float = 8.0, turn: float = 0.0, **more: object
) -> Leg:
    """A short leg that ends at a place, coming from below."""
    start = end - length * np.array([np.sin(turn), np.cos(turn)])
    leg = Leg(order, 2, np.array([start, end]), Place("leg", 1), CORNER)
    return replace(leg, **more)  # type: ignore[arg-type]


def fan(count: int, first: int = 21) -> tuple[Leg, ...]:
    """Cuts side by side against one rounded tip."""
    return tuple(
        nibble(first + n, end=TIP + np.array([1.1 * n - 5, 0.0]), length=5.0 + n / 2, turn=0.06 * n)
        for n in range(count)
    )


@pytest.fixture
def crowded(make_work: Callable[..., Work]) -> Work:
    work = make_work()
    legs = (*work.plan.legs, *fan(10))
    steps = hand_made_steps(work.plan.holes, legs)
    return replace(work, plan=replace(work.plan, legs=legs, steps=steps))


def test_ten_short_legs_at_a_tip_share_one_label(crowded: Work) -> None:
    drawing = Drawing.of(crowded)
    notes = annotate(drawing, tiling_of(drawing))
    texts = [p.label.text for p in notes.placed]
    (letter,) = {by_leg(crowded.plan.steps)[n].letter for n in range(21, 31)}
    assert texts.count(f"{letter}21-30") == 1
    assert not {f"{letter}{n}" for n in range(21, 31)} & set(texts)
    near = [a for a in notes.arrows if np.hypot(*(np.array(a.tip) - TIP)) < 12]
    assert len(near) <= 3, "one arrow for the crowd, and what long legs have there"


def test_the_label_stays_clear_of_lines_and_others(crowded: Work) -> None:
    drawing = Drawing.of(crowded)
    notes = annotate(drawing, tiling_of(drawing))
    boxes = shapely.box(*np.array([p.box for p in notes.placed]).T)
    assert not shapely.intersects(boxes, drawing.cuts).any()
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    assert (first == second).all()


def test_legend_explains_what_is_there_and_only_that(crowded: Work, make_work: Callable[..., Work]) -> None:
    def words(work: Work) -> str:
        pages = pdfium.PdfDocument(template_pdf(work))
        return " ".join(" ".join(page.get_textpage().get_text_range() for page in pages).split())

    assert "several: short cuts at one spot" in words(crowded)
    assert "short thick bar" in words(crowded)
    plain = words(make_work())
    assert "several:" not in plain
    assert "dots:" not in plain, "no zone to keep clear of"


def test_the_cut_sheet_gives_them_one_row(crowded: Work) -> None:
    html = cut_sheet(crowded).decode()
    assert ">21-30</th>" in html
    assert "clear this tip" in html and "5 to 9.5 mm each" in html and "back out each time" in html
    assert ">22</th>" not in html


def test_what_is_long_elsewhere_or_ends_in_a_cut_stands_alone() -> None:
    legs = (
        nibble(1),
        nibble(2, length=60.0),
        nibble(3),
        nibble(4, end=TIP + AWAY),
        nibble(5, end=TIP + AWAY, ends=Place("leg", 1)),
        nibble(6, end=TIP + AWAY, opening=3),
    )
    assert [len(row) for row in in_a_row(legs)] == [1] * 6
    assert [leg.order for row in in_a_row(legs) for leg in row] == [1, 2, 3, 4, 5, 6]


def test_a_crowd_need_not_be_sawn_in_one_go() -> None:
    legs = (
        nibble(1),
        nibble(2, length=60.0),
        nibble(3, turn=0.2),
        nibble(4, end=TIP + AWAY),
        nibble(9, turn=-0.2),
    )
    (crowd,) = crowds(legs)
    assert [leg.order for leg in crowd] == [1, 3, 9]


@given(ends=st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60), st.integers(2, 30)), max_size=25))
def test_crowds_are_small_and_apart(ends: list[tuple[int, int, int]]) -> None:
    """No leg in two crowds; every crowd within its spread; all short."""
    legs = [
        nibble(n, end=np.array([x, y], float), length=float(d)) for n, (x, y, d) in enumerate(ends, start=1)
    ]
    found = crowds(legs)
    orders = [leg.order for crowd in found for leg in crowd]
    assert len(orders) == len(set(orders))
    for crowd in found:
        tips = np.array([leg.path[-1] for leg in crowd])
        assert np.hypot(*(tips[:, None] - tips[None]).transpose(2, 0, 1)).max() <= 12.0
        assert max(leg.length for leg in crowd) < 18.0


@given(st.sets(st.integers(1, 60), min_size=1))
def test_numbers_in_words_read_back(numbers: set[int]) -> None:
    words = numbers_in_words(sorted(numbers))
    back: set[int] = set()
    for part in words.split(", "):
        first, _, last = part.partition("-")
        back |= set(range(int(first), int(last or first) + 1))
    assert back == numbers
