from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.errors import KitError
from cutout.kit import (
    Bit,
    Limits,
    bit,
    bits,
    boards,
    drill_sets,
    drills,
    hankinson,
    paper,
    papers,
    wood,
    woods,
)


@pytest.mark.parametrize(
    ("text", "sizes", "unit"),
    [
        ("3mm,6mm,10mm", (3, 6, 10), "mm"),
        ("10mm, 3mm; 3mm", (3, 10), "mm"),
        ("3,6,10mm", (3, 6, 10), "mm"),
        ("1/8in, 1/4in", (3.175, 6.35), "in"),
        ('1/8, 1/4"', (3.175, 6.35), "in"),
        ("3mm,1/4in", (3, 6.35), "mm"),
    ],
)
def test_the_user_s_own_drills(text: str, sizes: tuple[float, ...], unit: str) -> None:
    own = drills(text)
    assert own.sizes == pytest.approx(sizes)
    assert own.unit == unit


def test_bare_drills_need_a_unit() -> None:
    with pytest.raises(KitError, match="give a unit"):
        drills("3, 6")
    assert drills("3, 6", "mm").sizes == (3, 6)
    assert drills("1/8", "in").unit == "in"
    for bad in ("0mm", "3mm 4mm", "big"):
        with pytest.raises(KitError):
            drills(bad)


@given(st.floats(0.1, 40))
@settings(max_examples=60, deadline=None)
def test_the_next_drill_up_and_down(d: float) -> None:
    for own in drill_sets().values():
        up, down = own.at_least(d), own.up_to(d)
        assert up is None or (up >= d - 1e-9 and not any(d <= s < up for s in own.sizes))
        assert down is None or (down <= d + 1e-9 and not any(down < s <= d for s in own.sizes))
        assert (up is None) == (d > own.sizes[-1] + 1e-9)
        assert list(own.sizes) == sorted(set(own.sizes))


def test_papers_by_name_sheet_and_roll() -> None:
    assert (paper("A4").width, paper("A4").height) == (210, 297)
    assert (paper("420x300mm").width, paper("420x300mm").height) == (300, 420)
    assert (paper("roll 610mm").width, paper("roll 610mm").height) == (610, None)
    assert paper("roll 24", "in").width == pytest.approx(609.6)
    for bad in ("a9", "50x50mm", "roll 20mm", "300x400"):
        with pytest.raises(KitError):
            paper(bad)


def test_bits_have_sizes_a_bit_can_have() -> None:
    for b in bits().values():
        assert b.radius == b.diameter / 2
        assert b.depth_per_pass <= b.diameter
    with pytest.raises(KitError, match="unknown bit"):
        bit("wide")
    with pytest.raises(KitError, match="more than zero"):
        Bit("own", "", 0.0, "")


@given(st.floats(0, math.pi / 2), st.floats(0, math.pi / 2), st.floats(0.02, 0.9))
@settings(max_examples=60, deadline=None)
def test_wood_is_never_stronger_further_from_the_grain(a: float, b: float, ratio: float) -> None:
    near, far = sorted((a, b))
    assert hankinson(near, ratio) >= hankinson(far, ratio) - 1e-12
    assert ratio - 1e-12 <= hankinson(far, ratio) <= 1 + 1e-12
    assert hankinson(-a, ratio) == pytest.approx(hankinson(a, ratio))
    assert hankinson(math.pi - a, ratio) == pytest.approx(hankinson(a, ratio))


def test_sheet_goods_have_no_grain_and_solid_wood_has() -> None:
    assert {w.name for w in woods().values() if not w.has_grain} == {"plywood", "mdf", "hardboard"}
    assert wood("plywood").across_ratio == 1.0
    assert wood("walnut").across_ratio == 0.05
    assert 0.02 < wood("red-oak").across_ratio < 0.08


def test_every_value_of_the_kit_says_where_it_is_from() -> None:
    sources = [
        *(w.source for w in woods().values()),
        *(p.source for p in papers().values()),
        *(b.source for b in bits().values()),
    ]
    assert all(sources)
    assert all(origin for _, origin in Limits.origins().values())
    assert all(b.source and b.usable > 0 for b in boards().values())


def test_drills_a_plan_draws_from_lie_well_apart() -> None:
    few = drills("2mm,2.5mm,3mm,4mm,5mm,5.5mm,6mm,7mm,8mm,9.5mm,10mm,12mm").apart(4.9)
    assert few == (2.0, 3.0, 5.0, 7.0, 10.0)
    assert drills("3mm,6mm").apart(7.0) == ()


@given(st.lists(st.floats(0.5, 40.0), min_size=1, max_size=30, unique=True), st.floats(0.5, 40.0))
def test_no_drill_is_left_without_one_of_about_its_size(sizes: list[float], least: float) -> None:
    own = drills(",".join(f"{d:.2f}mm" for d in sizes))
    few = own.apart(least)
    if few:
        assert own.at_least(least) in few
        assert all(b >= 1.4 * a - 1e-6 for a, b in itertools.pairwise(few))
        assert all(any(d < 1.4 * f + 0.01 and f < 1.4 * d + 0.01 for f in few) for d in own.sizes)
