"""The framed, two-faced job on the page; what a frame closes; the job in one file; stopping what takes long."""

from __future__ import annotations

import re
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Page, expect

from cutout.page.form import form
from tests.page.handle import (
    PANEL_WIDTH,
    SLOW,
    WIDTH,
    field,
    fill,
    job_id,
    look_as,
    middle,
    planned,
    put,
    show,
    switch,
    until,
)


@pytest.fixture
def screen(page: Page) -> Page:
    page.click("[data-example=screen-leaf]")
    expect(page.locator(".frame path:not(.grain)")).to_have_count(2)
    return page


def test_what_the_frame_decides_is_shown_and_closed(screen: Page, client: httpx.Client) -> None:
    page = screen
    width = show(page, PANEL_WIDTH)
    expect(width).to_be_disabled()
    expect(width).to_have_value("612 mm")
    expect(page.locator("[data-field='panel.width'] .why")).to_contain_text("frame decides")
    expect(page.locator("[data-field='panel.grain'] .why")).to_contain_text("no grain")
    expect(page.locator("[data-field='figures.$.at'] .why")).to_contain_text("row decides")
    reach = [show(page, field("panel.frame.reach", n)).input_value() for n in range(4)]
    assert reach == ["8 mm", "8 mm", "12 mm", "5 mm"]
    section = page.locator("#section")
    expect(section).to_contain_text("lip over 6 mm")
    expect(section).to_contain_text("reveal 2 mm")
    fill(page, field("panel.frame.reveal"), "4")
    expect(section).to_contain_text("reveal 4 mm")
    # By hand: 600 + 8 + 8 less twice the reveal of 4 mm.
    expect(width).to_have_value("608 mm")
    switch(page, "#s-panel-frame", False)
    now = until(page, client, lambda job: job["panel"]["frame"] is None)
    assert now["panel"]["width"] == 608
    expect(width).to_be_enabled()


def test_every_part_of_the_framed_job_is_there_to_change(screen: Page, client: httpx.Client) -> None:
    page = screen
    expect(page.locator(field("panel.zones.0.name"))).to_have_value("turn-button")
    fill(page, field("panel.zones.0.at", 0), "250")
    fill(page, field("faces.back.stile"), "50")
    show(page, field("backing.sheet")).select_option("mdf")
    fill(page, field("backing.thickness"), "4")
    show(page, field("arrange.align")).select_option("low")
    now = until(page, client, lambda job: (job["arrange"] or {}).get("align") == "low")
    assert now["panel"]["zones"][0]["at"] == [250, 385]
    assert now["faces"]["back"]["stile"] == 50
    assert (now["backing"]["sheet"], now["backing"]["thickness"]) == ("mdf", 4)
    show(page, "[data-add='panel.zones']").click()
    now = until(page, client, lambda job: len(job["panel"]["zones"]) == 2)
    fill(page, field("panel.zones.1.name"), "hinge")
    fill(page, field("panel.zones.1.diameter"), "20")
    now = until(page, client, lambda job: job["panel"]["zones"][1]["diameter"] == 20)
    assert now["panel"]["zones"][1]["size"] is None
    show(page, page.get_by_role("button", name="Take away hinge")).click()
    until(page, client, lambda job: len(job["panel"]["zones"]) == 1)


def test_every_setting_of_the_schema_stands_in_a_drawer(page: Page) -> None:
    """Made from the same list the server sends: none is lost between drawers, groups and tables. What an entry of a
    list holds comes with the entry; the figure's picture is chosen by its own button."""
    wanted = [
        re.sub(r"^figures\.\*", "figures.$", entry["path"])
        for entry in form()
        if entry["kind"] != "table" or entry["switched"]
    ]
    listed = [path for path in wanted if ".*" in path or path in ("figures", "figures.$.source")]
    found = set(
        page.evaluate(
            """[...document.querySelectorAll("[data-path], [data-table]")]
                 .map((e) => e.dataset.path ?? e.dataset.table)"""
        )
    )
    assert sorted(set(wanted) - set(listed) - found) == []
    lists = {path.split(".*")[0] for path in listed if ".*" in path}
    assert sorted(lists - found) == []


def test_the_panel_is_turned_round(screen: Page) -> None:
    page = screen
    expect(page.locator(".painted path.other")).to_have_count(2)
    left = middle(page.locator(".zones path").first)[0]
    page.click("#turn-round")
    expect(page.locator("#board")).to_have_attribute("aria-label", "Panel seen from the back")
    expect(page.locator(".painted path:not(.other)")).to_have_count(2)
    board = page.locator(".wood .face").bounding_box()
    assert board is not None
    right = middle(page.locator(".zones path").first)[0]
    assert left - board["x"] == pytest.approx(board["x"] + board["width"] - right, abs=2)
    look_as(page, "finished")
    page.click("#behind [data-behind=mesh]")
    expect(page.locator("#board")).to_have_attribute("data-behind", "mesh")


def test_a_hole_placed_on_the_back_lies_where_it_was_put(
    page: Page, pebble: Path, client: httpx.Client
) -> None:
    put(page, pebble)
    page.click("#turn-round")
    board = page.locator(".wood .face").bounding_box()
    assert board is not None
    page.click("#add-hole")
    page.mouse.click(board["x"] + 0.1 * board["width"], board["y"] + 0.1 * board["height"])
    now = until(page, client, lambda job: len(job["holes"]) == 1)
    # A tenth from the left as seen from the back is nine tenths from the left of the show face, 500 mm wide.
    assert now["holes"][0]["at"] == pytest.approx([450, 630], abs=3)
    hole = middle(page.locator(".hold.hole"))
    assert hole[0] == pytest.approx(board["x"] + 0.1 * board["width"], abs=3)


def test_a_painted_face_takes_a_picture(page: Page, pebble: Path, eye: Path, client: httpx.Client) -> None:
    put(page, pebble)
    switch(page, "#s-faces-back", True)
    until(page, client, lambda job: job["faces"]["back"] is not None)
    with page.expect_file_chooser() as chooser:
        show(page, "[data-add='faces.back.figures']").click()
    chooser.value.set_files(eye)
    until(page, client, lambda job: len(job["faces"]["back"]["figures"]) == 1)
    fill(page, field("faces.back.figures.0.width"), "60")
    now = until(page, client, lambda job: job["faces"]["back"]["figures"][0]["width"] == 60)
    assert now["faces"]["back"]["figures"][0]["source"] == "source-2"
    expect(page.locator("[data-table='faces.back.figures'] strong").first).to_have_text("eye.png")
    expect(page.locator(".painted path")).not_to_have_count(0)


def test_everything_in_one_file_opens_again(page: Page, pebble: Path, tmp_path: Path) -> None:
    put(page, pebble)
    fill(page, WIDTH, "222")
    planned(page)
    with page.expect_download(timeout=SLOW) as download:
        show(page, "#everything").click()
    saved = tmp_path / "everything.zip"
    download.value.save_as(saved)
    first = job_id(page)
    page.set_input_files("#job-file", saved)
    page.wait_for_url(lambda url: first not in url)
    expect(page.locator("#caption")).to_contain_text("figure 222 x")
    expect(page.locator(".needs")).to_have_count(0)


def test_something_else_than_a_zip_is_told(page: Page, tmp_path: Path) -> None:
    wrong = tmp_path / "mine.zip"
    wrong.write_bytes(b"this is no archive at all, only a few words of text")
    page.set_input_files("#job-file", wrong)
    expect(page.get_by_role("alert").first).to_contain_text("mine.zip can't be opened: it is not a zip.")


def test_what_takes_long_is_stopped_and_goes_on_with_the_next_change(page: Page, eye: Path) -> None:
    put(page, eye)
    expect(page.locator("#stop")).to_be_visible()
    expect(page.locator("#bar")).to_be_visible()
    page.click("#stop")
    expect(page.locator("#stop")).to_be_hidden()
    expect(page.locator("#doing")).to_have_text("Stopped")
    page.wait_for_timeout(700)
    expect(page.locator("#to-saw")).to_have_attribute("aria-disabled", "true")
    fill(page, WIDTH, "200")
    planned(page)


def test_three_touches_from_nothing_to_the_printed_template(page: Page) -> None:
    """An example, the drawer, the file: counted."""
    page.click("[data-example=key-rack]")
    page.click("#print > h2 > .front")
    with page.expect_download(timeout=SLOW) as download:
        page.click("#file-list [data-key='template.pdf']")
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF")
