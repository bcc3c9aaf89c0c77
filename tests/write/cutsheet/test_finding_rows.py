from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.finding import Finding, Severity
from cutout.write.cutsheet.finding_rows import finding_numbers, finding_rows, merged
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.work import Work
from tests.telling import remedy, worded


def curve(
    radius: float,
    x: float,
    text: str = "",
    remedy: str = "Drill a 5 mm hole there.",
    *,
    severity: Severity = "care",
    cleared: bool = False,
) -> Finding:
    said = text or f"Inside curve of {radius:g} mm radius: the blade turns no tighter than 9 mm."
    return worded("tight curve", severity, (x, 20.0), radius, 9.0, 1, said, remedy, cleared=cleared)


ROUTER = worded("router", "care", (5.0, 5.0), 1.0, None, 1, "The bit leaves corners round.", "Use a chisel.")


def test_sentences_merge_into_a_span() -> None:
    assert merged(["2.5 mm wide", "10 mm wide", "4 mm wide"]) == "2.5 to 10 mm wide"
    assert merged(["1-1/2 in and 3/8 in", "7/8 in and 3/8 in"]) == "7/8 to 1-1/2 in and 3/8 in"
    assert merged(["drill hole 4"]) == "drill hole 4"


def test_the_same_said_of_many_places_is_one_row(make_work: Callable[..., Work]) -> None:
    """Alike but for their measures they share a row; another remedy or another opening's name makes another."""
    found = (
        curve(2.5, 10.0),
        curve(3.0, 20.0, remedy="Leave it."),
        curve(4.0, 30.0),
        curve(1.0, 40.0, text="Curve in opening 1."),
        curve(1.0, 50.0, text="Curve in opening 2."),
        curve(6.0, 60.0, cleared=True),
    )
    rows = finding_rows(make_work(findings=found))
    assert [row.numbers for row in rows] == [(1, 2), (3,), (4,), (5,), ()]
    assert rows[0].text == "Inside curve of 2.5 to 4 mm radius: the blade turns no tighter than 9 mm."


@settings(deadline=None, max_examples=30)
@given(picks=st.lists(st.tuples(st.sampled_from("abc"), st.booleans(), st.booleans()), max_size=12))
def test_every_finding_is_in_one_row_and_open_ones_are_numbered(
    make_work: Callable[..., Work], picks: list[tuple[str, bool, bool]]
) -> None:
    found = tuple(
        curve(n + 1, 5.0 * n, remedy=way, cleared=cleared, severity="stop" if stop else "care")
        for n, (way, cleared, stop) in enumerate(picks)
    )
    work = make_work(findings=found)
    rows = finding_rows(work)
    assert sorted(f.at for row in rows for f in row.findings) == sorted(f.at for f in found)
    numbered = finding_numbers(work)
    assert [n for n, _ in numbered] == list(range(1, len(numbered) + 1))
    assert {f.at for _, f in numbered} == {f.at for f in found if not f.cleared}
    for row in rows:
        assert len({(f.severity, f.cleared or remedy(f)) for f in row.findings}) == 1


def test_findings_keep_the_order_they_come_in(make_work: Callable[..., Work]) -> None:
    first, second = curve(2.0, 10.0), curve(3.0, 20.0, remedy="Leave it.")
    for found in ((first, second), (second, first)):
        assert [f for _, f in finding_numbers(make_work(findings=found))] == list(found)


def test_the_router_speaks_only_where_it_is_wanted(make_work: Callable[..., Work]) -> None:
    found = (curve(2.0, 10.0), ROUTER)
    jigsaw, router = (
        cut_sheet(make_work(findings=found, router_wanted=wanted)).decode() for wanted in (False, True)
    )
    assert (
        "The bit leaves" not in jigsaw and "With a router" not in jigsaw and "read the 1 finding " in jigsaw
    )
    assert "The bit leaves" in router and "With a router" in router and "read the 2 findings " in router


def test_no_size_is_a_dash(make_work: Callable[..., Work]) -> None:
    html = cut_sheet(make_work(findings=(replace(ROUTER, kind="speck", size=None),))).decode()
    cells = re.sub(r' data-head="[^"]*"', "", html)
    assert '<td class="short">-</td><td class="short">-</td><td>The bit leaves' in cells


def test_a_shared_row_lists_its_places(make_work: Callable[..., Work]) -> None:
    html = cut_sheet(make_work(findings=(curve(2.0, 10.0), curve(3.5, 44.0)))).decode()
    assert "In mm: 1 at 10, 20 (2 mm); 2 at 44, 20 (3.5 mm)." in html
    assert "2 to 3.5 mm" in html
