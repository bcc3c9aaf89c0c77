"""Marks and handles: nothing keeps a figure or a bridge from being taken hold of; the chosen finding stays itself."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Page, expect

from tests.page.conftest import png
from tests.page.handle import (
    BRIDGE,
    EASE,
    SLOW,
    WIDTH,
    drag,
    field,
    fill,
    middle,
    pixel,
    planned,
    put,
    settle,
    show,
    switch,
    until,
)


@pytest.fixture(scope="session")
def comb(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bar with two dozen narrow teeth: a finding or more at each."""
    teeth = [("rectangle", (20 + 32 * n, 60, 30 + 32 * n, 300), 0) for n in range(24)]
    path = tmp_path_factory.mktemp("pictures") / "comb.png"
    path.write_bytes(png((800, 360), ("rectangle", (20, 20, 780, 80), 0), *teeth))
    return path


def test_many_marks_are_gathered_and_counted(page: Page, comb: Path) -> None:
    switch(page, EASE, False)
    put(page, comb)
    settle(page)
    marks, count = page.locator(".marks > .mark"), page.locator("#finding-list .finding").count()
    assert count > 40
    assert marks.count() < count
    said = "".join(marks.locator("> text").all_text_contents())
    assert sum(int(n) for n in re.findall(r"×(\d+)", said)) + marks.count() >= count
    places = page.evaluate(
        """[...document.querySelectorAll(".marks > .mark > path")].map((e) => {
             const box = e.getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2]; })"""
    )
    gaps = [math.dist(a, b) for n, a in enumerate(places) for b in places[:n]]
    assert min(gaps) > 12  # no sign lies on another: they are 14 pixels across
    expect(page.locator("#finding-list details")).not_to_have_count(0)
    next_one = show(page, "#finding-list [data-key^='next-']").first
    next_one.click()
    first = page.locator("#finding-list [aria-current]").inner_text()
    next_one.click()
    expect(page.locator("#finding-list [aria-current]")).not_to_have_text(first)


def test_a_figure_under_its_marks_is_taken_hold_of(page: Page, comb: Path, client: httpx.Client) -> None:
    switch(page, EASE, False)
    put(page, comb)
    settle(page)
    start = middle(page.locator(".marks > .mark path").first)
    drag(page, start, (start[0] + 20, start[1] + 30))
    now = until(page, client, lambda job: job["figures"][0]["at"] is not None)
    assert now["figures"][0]["at"][1] < 350


def test_a_bridge_under_its_finding_is_moved(page: Page, eye: Path, client: httpx.Client) -> None:
    """A bridge where it reaches no wood: the finding lies on its handle, and does not keep it from being moved."""
    switch(page, EASE, False)
    put(page, eye)
    settle(page)
    page.click("#add-bridge")
    page.mouse.click(*middle(page.locator("#board")))
    until(page, client, lambda job: len(job["mend"]["bridges"]) == 1)
    settle(page)
    entry = page.locator("#finding-list .finding", has_text=re.compile("bridge", re.I))
    if entry.count():
        show(page, entry).first.click()  # its mark is drawn and chosen
    page.click("#whole")
    own = page.locator(".hold.bridge[aria-label*='your own'] .grip")
    at = middle(own)
    top = page.evaluate(
        "([x, y]) => document.elementFromPoint(x, y).closest('.hold')?.dataset.hold ?? ''", list(at)
    )
    assert top == "bridge-0"
    before = until(page, client, lambda job: True)["mend"]["bridges"][0]["at"]
    mm = pixel(page)
    drag(page, at, (at[0] + 40, at[1]))
    now = until(page, client, lambda job: job["mend"]["bridges"][0]["at"] != before)
    assert now["mend"]["bridges"][0]["at"] == pytest.approx([before[0] + 40 * mm, before[1]], abs=1.5)


def test_the_chosen_finding_stays_itself_over_new_checks(page: Page, comb: Path) -> None:
    switch(page, EASE, False)
    put(page, comb)
    settle(page)
    entry = show(page, "#finding-list .finding").nth(7)
    entry.click()
    kind = re.sub(r"^\d+\. ", "", entry.locator("strong").inner_text())
    place = page.locator(".marks .chosen").evaluate("(mark) => [mark.dataset.x, mark.dataset.y].map(Number)")
    fill(page, field("mend.bridge_count"), "3")
    settle(page)
    chosen = page.locator("#finding-list [aria-current] strong")
    expect(chosen).to_have_text(re.compile(kind))
    after = page.locator(".marks .chosen").evaluate("(mark) => [mark.dataset.x, mark.dataset.y].map(Number)")
    assert math.dist(place, after) < 15
    # Once nothing of the kind is there any more, nothing else is taken for it.
    page.click("#undo")
    fill(page, WIDTH, "120")
    expect(page.locator("#caption")).to_contain_text("figure 120 x")
    settle(page)
    if page.locator("#finding-list [aria-current]").count():
        expect(chosen).to_have_text(re.compile(kind))


def test_marks_are_put_away_and_numbers_come_near(page: Page, eye: Path) -> None:
    switch(page, BRIDGE, False)
    switch(page, EASE, False)
    put(page, eye)
    settle(page)
    marks = page.locator(".marks > .mark")
    expect(marks).not_to_have_count(0)
    expect(page.locator(".marks .flag")).to_have_count(0)
    page.mouse.move(*middle(marks.first.locator("path")))
    expect(page.locator(".marks .flag")).to_have_count(1)
    for _ in range(7):
        page.click("#closer")
    expect(page.locator(".marks .flag")).to_have_count(
        marks.count()
    )  # from near every mark has its number ...
    expect(page.locator(".marks .leader")).to_have_count(marks.count())  # ... and a line to it
    page.click("#show-marks")
    expect(marks).to_have_count(0)


def test_groups_snapping_and_identity_as_plain_functions(page: Page) -> None:
    found = page.evaluate(
        """async () => {
          const { crowds, flagPlaces, sameAs } = await import("/crowd.js");
          const { snap } = await import("/snap.js");
          const { progress } = await import("/say.js");
          const at = (x, y, kind = "a") => ({ at: [x, y], kind });
          const crowd = Array.from({ length: 9 }, (_, n) => [(n % 3) * 12, Math.floor(n / 3) * 12]);
          const spots = [at(0, 0), at(3, 0), at(20, 0), at(22, 1), at(100, 0)];
          return {
            groups: crowds(spots, 5).map((group) => group.spots.length),
            apart: crowds(spots, 5, (spot) => spot === spots[1]).map((group) => group.spots.length),
            same: sameAs(at(0, 0), [at(9, 0), at(2, 0), at(1, 0, "b")]).at,
            none: sameAs(at(0, 0), [at(50, 0), at(1, 0, "b")]),
            centre: snap([48, 10, 58, 20], { width: 100, height: 400 }, 10, [], 5),
            edge: snap([88, 10, 98, 20], { width: 100, height: 400 }, 5, [], 5).shift[0],
            other: snap([21, 100, 31, 110], { width: 300, height: 400 }, 5, [[20, 200, 90, 230]], 5).lines,
            told: [progress(1, null), progress(7, null), progress(4, 20), progress(30, 20),
                   progress(4, 20, { stage: "proving", share: 0.6 })],
            flags: flagPlaces(crowd.map((at) => ({ at, wide: 28 }))).map(
              ([x, y], n) => [crowd[n][0] + x, crowd[n][1] + y]),
            free: snap([61, 100, 71, 110], { width: 300, height: 400 }, 5, [], 5),
          };
        }"""
    )
    assert found["groups"] == [2, 2, 1]
    assert found["apart"] == [1, 1, 2, 1]
    assert found["same"] == [2, 0]
    assert found["none"] is None
    # The middle of 48 to 58 is 53, the panel's is 50; the box's low side is put to the edge's 10.
    assert found["centre"]["shift"] == [-3, 0]
    assert found["edge"] == -3  # the high side, 98, to 95
    assert found["other"] == [{"axis": "x", "at": 20, "name": "in line"}]
    assert [told["words"] for told in found["told"]] == [
        "…",
        "…, 7 s",
        "…, about 16 s more",
        "…, 30 s",
        ": proving…, about 16 s more",
    ]
    assert [told["share"] for told in found["told"]] == [0, 0, 0.2, 0.95, 0.6]
    # Nine marks 12 pixels apart: no number lies on another, nor on the sign of any (28 x 20 and 16 x 16 pixels).
    flags = found["flags"]
    marks = [(12.0 * (n % 3), 12.0 * (n // 3)) for n in range(9)]
    assert all(
        abs(a[0] - b[0]) > 27.9 or abs(a[1] - b[1]) > 19.9 for n, a in enumerate(flags) for b in flags[:n]
    )
    assert all(abs(a[0] - b[0]) > 21.9 or abs(a[1] - b[1]) > 17.9 for a in flags for b in marks)
    assert found["free"] == {"shift": [0, 0], "lines": []}


def test_dragging_snaps_to_the_middle_and_says_so(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    for n, text in enumerate(("240", "300")):
        fill(page, f"{field('figures.$.at', n)}", text)
    until(page, client, lambda job: job["figures"][0]["at"] == [240, 300])
    start, mm = middle(page.locator(".hold.figure")), pixel(page)
    near = (start[0] + 8 / mm, start[1])  # 2 mm short of the middle, 250
    drag(page, start, near, let_go=False)
    expect(page.locator(".snap path")).to_have_count(2)
    expect(page.locator(".saying text")).to_contain_text("middle")
    page.mouse.up()
    now = until(page, client, lambda job: job["figures"][0]["at"] != [240, 300])
    assert now["figures"][0]["at"] == pytest.approx([250, 300], abs=0.2)
    expect(page.locator(".snap path")).to_have_count(0)


def test_two_figures_do_not_melt_without_a_word(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    with page.expect_file_chooser() as chooser:
        show(page, "#add-figure").click()
    chooser.value.set_files(pebble)
    expect(page.locator(".hold.figure")).to_have_count(2)
    expect(page.locator("#overlap")).to_be_hidden()
    for n, text in enumerate(("250", "350")):
        fill(page, f"{field('figures.$.at', n)}", text)
    expect(page.locator("#overlap")).to_contain_text("lie over each other", timeout=SLOW)


def test_the_walk_fits_a_phone(browser: Any, served: Any, visit_of: Any, pebble: Path) -> None:
    """Step, sentence and buttons are on the screen with the board: nothing has to be scrolled to."""
    visit = visit_of(browser, served, viewport={"width": 390, "height": 844}, has_touch=True)
    page = visit.page
    put(page, pebble)
    planned(page)
    page.tap("#to-saw")
    page.tap("#walk-on")
    for part in ("#board", "#walk-title", "#walk-say", "#walk-on", "#walk-back"):
        box = page.locator(part).bounding_box()
        assert box is not None, part
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= 844, part
    on = page.locator("#walk-on").bounding_box()
    assert on is not None
    assert on["height"] >= 60  # for a hand in a glove: common practice, no source
    assert on["width"] >= 160
    visit.close()
