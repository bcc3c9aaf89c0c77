"""What people do on the page, in Debian's Chromium; the `visit` fixture fails a test whose page asks elsewhere."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Dialog, Page, expect

from tests.page.handle import (
    AT,
    BRIDGE,
    EASE,
    PANEL_HEIGHT,
    PANEL_WIDTH,
    SLOW,
    THICKNESS,
    WIDTH,
    drag,
    field,
    fill,
    job_id,
    look_as,
    middle,
    pixel,
    planned,
    put,
    settle,
    show,
    switch,
    until,
)


@pytest.fixture
def eye_mended(page: Page, eye: Path, client: httpx.Client) -> Page:
    """The ring round a disc, bridged; corners left as they are, to be quick."""
    switch(page, EASE, False)
    until(page, client, lambda job: not job["mend"]["ease"])
    put(page, eye)
    settle(page)
    return page


def test_a_chosen_picture_is_seen_on_the_panel(page: Page, pebble: Path) -> None:
    put(page, pebble)
    expect(page.locator("#caption")).to_have_text(
        re.compile(r"500 x 700 mm, 18 mm thick; figure 350 x (269|270) mm")
    )
    assert page.locator(".waste path").get_attribute("d").startswith("M")  # type: ignore[union-attr]
    expect(page.locator("#job-title")).to_have_text("pebble")
    settle(page)
    expect(page.locator("#findings-sum")).to_have_text("Nothing found.")


def test_the_size_shown_is_the_exact_one_once_it_is_known(page: Page, tmp_path: Path) -> None:
    """A large picture is seen from a small copy first, in which a thin point is shorter."""
    picture = tmp_path / "thorn.png"
    image = Image.new("L", (600, 480), 255)
    pen = ImageDraw.Draw(image)
    pen.ellipse((40, 80, 560, 460), fill=0)
    pen.polygon([(292, 90), (300, 4), (308, 90)], fill=0)
    image.save(picture)
    put(page, picture)
    fill(page, WIDTH, "90mm")
    settle(page)
    said = page.locator("#picture-state").inner_text()
    height = page.input_value(field("figures.$.height"))
    assert said == f"90 x {height}", "the heading and the field say one size"


def test_a_dropped_picture_is_taken(page: Page, pebble: Path) -> None:
    data = page.evaluate_handle(
        """(bytes) => { const data = new DataTransfer();
           data.items.add(new File([new Uint8Array(bytes)], "dropped.png")); return data; }""",
        list(pebble.read_bytes()),
    )
    page.dispatch_event("#board", "drop", {"dataTransfer": data})
    expect(page.locator("#figure-list")).to_contain_text("dropped.png")


def test_a_bad_picture_is_refused_in_words(page: Page, visit: Any, tmp_path: Path) -> None:
    visit.expected.append("422")
    broken = tmp_path / "broken.png"
    broken.write_bytes(b"\x89PNG\r\n\x1a\n and then nothing")
    page.set_input_files("#picture-file", broken)
    expect(page.get_by_role("alert").first).to_contain_text("broken.png")
    expect(page.locator(".hold.figure")).to_have_count(0)


def test_every_setting_reaches_the_job(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    for path, text in {
        "figures.$.width": "300",
        "figures.$.turn": "10",
        "figures.$.threshold": "128",
        "panel.width": "60cm",
        "panel.height": "31in",
        "panel.thickness": "3/4in",
        "panel.grain": "0",
        "saw.turning_radius": "5",
        "saw.kerf": "1.2mm",
        "saw.drills": "3mm, 8mm",
        "template.paper": "300x420mm",
        "mend.bridge_width": "9",
        "mend.bridge_count": "2",
        "limits.edge": "15",
        "limits.web_along": "1.5",
        "router.tab_width": "9",
        "title": "Garden door",
    }.items():
        if path == "title":
            page.locator("#job-menu > summary").click()
        fill(page, field(path), text)
    page.keyboard.press("Escape")
    for path, value in {
        "panel.wood": "red-oak",
        "saw.blade": "scroll-coarse",
        "router.bit": "3mm",
        "router.dxf": "R12",
        "figures.$.invert": "false",
        "keep": "figure",
        "overlap": "refuse",
    }.items():
        show(page, field(path)).select_option(value)
    for path in ("template.back", "template.turn", "figures.$.mirror", "router.gcode"):
        switch(page, field(path), True)
    for n, scale in enumerate(("0.994", "0.998")):
        fill(page, field("template.print_scale", n), scale)
    now = until(page, client, lambda job: job["template"]["print_scale"] == [0.994, 0.998])
    assert now["title"] == "Garden door"
    assert now["figures"][0]["turn"] == 10
    assert now["figures"][0]["mirror"]
    assert (now["figures"][0]["invert"], now["figures"][0]["threshold"]) == (False, 128)
    assert (now["panel"]["width"], now["panel"]["height"]) == (600, pytest.approx(787.4))
    assert now["panel"]["thickness"] == pytest.approx(19.05)
    assert (now["panel"]["wood"], now["panel"]["grain"]) == ("red-oak", 0)
    wanted = {"blade": "scroll-coarse", "turning_radius": 5, "kerf": 1.2, "drills": "3mm, 8mm"}
    assert wanted.items() <= now["saw"].items()
    assert now["template"]["paper"] == "300x420mm"
    assert now["template"]["back"]
    assert now["template"]["turn"]
    assert (now["mend"]["bridge_width"], now["mend"]["bridge_count"]) == (9, 2)
    assert (now["limits"]["edge"], now["limits"]["web_along"]) == (15, 1.5)
    assert (now["router"]["bit"], now["router"]["dxf"], now["keep"]) == ("3mm", "R12", "figure")
    assert (now["router"]["gcode"], now["router"]["tab_width"], now["overlap"]) == (True, 9, "refuse")
    show(page, field("units")).select_option("in")
    expect(page.locator(THICKNESS)).to_have_value("3/4 in")
    expect(page.locator(field("saw.turning_radius"))).to_have_value("13/64 in")


def test_a_slider_redraws_and_is_one_step_of_undo(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    before = page.locator(".waste path").get_attribute("d")
    show(page, "#f-size").evaluate(
        """(slider) => { for (const value of [340, 330, 320, 310]) {
             slider.value = value; slider.dispatchEvent(new Event("input", { bubbles: true })); }
           slider.dispatchEvent(new Event("change", { bubbles: true })); }"""
    )
    until(page, client, lambda job: job["figures"][0]["width"] == 310)
    expect(page.locator("#caption")).to_contain_text("figure 310 x")
    assert page.locator(".waste path").get_attribute("d") != before
    page.click("#undo")
    until(page, client, lambda job: job["figures"][0]["width"] == 350)
    expect(page.locator(WIDTH)).to_have_value("350 mm")


def test_a_wrong_value_is_explained_at_its_field(page: Page, visit: Any, client: httpx.Client) -> None:
    visit.expected.append("422")
    fill(page, THICKNESS, "thick")
    wrong = page.locator("#s-panel-thickness-wrong")
    expect(wrong).to_contain_text("not a length")
    expect(page.locator(THICKNESS)).to_have_attribute("aria-invalid", "true")
    fill(page, THICKNESS, "20")
    expect(wrong).to_have_count(0)
    until(page, client, lambda job: job["panel"]["thickness"] == 20)


def test_a_figure_larger_than_the_panel_is_explained(page: Page, pebble: Path) -> None:
    put(page, pebble)
    fill(page, WIDTH, "900")
    expect(page.get_by_role("alert").first).to_contain_text("900")
    fill(page, WIDTH, "200")
    expect(page.locator("#problem")).to_be_hidden()
    expect(page.locator("#caption")).to_contain_text("figure 200 x")


def test_findings_are_listed_marked_and_brought_into_view(eye_mended: Page) -> None:
    page = eye_mended
    switch(page, BRIDGE, False)
    settle(page)
    planned(page)  # so that nothing else is announced meanwhile
    expect(page.locator("#findings-sum")).to_contain_text("can't be cut")
    expect(page.locator("#findings-state")).to_contain_text("to be settled")
    loose = page.locator("#finding-list .finding", has_text="Loose piece")
    number = loose.locator("strong").inner_text().split(".")[0]
    view = page.locator("svg.board").get_attribute("viewBox")
    loose.press("Enter")
    expect(page.locator("svg.board")).not_to_have_attribute("viewBox", view or "")
    expect(loose).to_have_attribute("aria-current", "true")
    expect(page.locator("#status")).to_contain_text("shown on the panel")
    mark = page.locator(".marks > .mark.chosen")
    expect(mark.locator(".flag text")).to_have_text(number)
    (x, y), board = middle(mark.locator("path")), page.locator("#board").bounding_box()
    assert board is not None
    assert abs(x - board["x"] - board["width"] / 2) < 25
    assert abs(y - board["y"] - board["height"] / 2) < 25
    page.click("#whole")
    page.click("#picture > h2 > .front")
    page.mouse.click(*middle(mark.locator("path")))
    expect(loose).to_be_focused()


def test_a_figure_is_dragged_sized_and_turned(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    start = middle(page.locator(".hold.figure"))
    mm = pixel(page)
    drag(page, start, (start[0] + 30, start[1] - 40), let_go=False)
    # While it moves, its distances to the edges stand on the board, in the same numbers.
    left = round(75 + 30 * mm, 1)
    expect(page.locator(".dims .live text").first).to_have_text(
        re.compile(rf"{left:g}|{left + 0.1:g}|{left - 0.1:g}")
    )
    page.mouse.up()
    now = until(page, client, lambda job: job["figures"][0]["at"] is not None)
    assert now["figures"][0]["at"] == pytest.approx([250 + 30 * mm, 350 + 40 * mm], abs=1)
    expect(page.locator(".handle")).to_have_count(5)
    corner, centre = middle(page.locator(".handle.nwse .grip").first), middle(page.locator(".hold.figure"))
    half = ((corner[0] + centre[0]) / 2, (corner[1] + centre[1]) / 2)
    drag(page, corner, half)
    now = until(page, client, lambda job: job["figures"][0]["width"] != 350)
    assert now["figures"][0]["width"] == pytest.approx(175, abs=4)
    expect(page.locator("#caption")).to_contain_text("figure 17")
    centre, arm = middle(page.locator(".hold.figure")), middle(page.locator(".handle.turn .knob"))
    drag(page, arm, (centre[0] - 150, centre[1]))
    now = until(page, client, lambda job: job["figures"][0]["turn"] != 0)
    assert now["figures"][0]["turn"] == pytest.approx(90, abs=1)
    assert now["figures"][0]["width"] == pytest.approx(175 * 200 / 260, abs=5)


def test_a_figure_is_moved_with_keys(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    figure = page.locator(".hold.figure")
    figure.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    until(page, client, lambda job: job["figures"][0]["at"] == [253, 360])
    expect(figure).to_be_focused()
    page.keyboard.press("r")
    until(page, client, lambda job: job["figures"][0]["turn"] == -1)
    page.keyboard.press("l")
    until(page, client, lambda job: job["figures"][0]["turn"] == 0)
    page.keyboard.press("+")
    until(page, client, lambda job: abs(job["figures"][0]["width"] - 353.5) < 0.2)
    page.keyboard.press("-")
    page.keyboard.press("-")
    until(page, client, lambda job: abs(job["figures"][0]["width"] - 346.5) < 0.3)
    page.keyboard.press("Control+z")
    until(page, client, lambda job: abs(job["figures"][0]["width"] - 353.5) < 0.2)
    page.keyboard.press("Control+Shift+z")
    until(page, client, lambda job: abs(job["figures"][0]["width"] - 346.5) < 0.3)
    figure.focus()
    page.keyboard.press("Delete")
    until(page, client, lambda job: job["figures"] == [])


def test_several_figures_and_taking_one_away(
    page: Page, pebble: Path, eye: Path, client: httpx.Client
) -> None:
    put(page, pebble)
    fill(page, WIDTH, "100")
    until(page, client, lambda job: job["figures"][0]["width"] == 100)
    with page.expect_file_chooser() as chooser:
        show(page, "#add-figure").click()
    chooser.value.set_files(eye)
    expect(page.locator(".hold.figure")).to_have_count(2)
    until(page, client, lambda job: len(job["figures"]) == 2)
    for part in AT:
        expect(page.locator(part)).to_have_value(re.compile("mm$"))
    fill(page, WIDTH, "80")
    until(page, client, lambda job: job["figures"][1]["width"] == 80)
    fill(page, AT[0], "80")
    until(page, client, lambda job: job["figures"][1]["at"][0] == 80)
    fill(page, AT[1], "600")
    now = until(page, client, lambda job: job["figures"][1]["at"] == [80, 600])
    assert now["figures"][0]["at"] is None
    page.get_by_role("button", name="pebble.png", exact=True).click()
    expect(page.locator(WIDTH)).to_have_value("100 mm")
    page.get_by_role("button", name="Take away pebble.png").click()
    now = until(page, client, lambda job: len(job["figures"]) == 1)
    assert now["figures"][0]["width"] == 80


def test_bridges_are_added_moved_and_taken_away(eye_mended: Page, client: httpx.Client) -> None:
    page = eye_mended
    found = show(page, "#bridge-list li")
    expect(found.first).to_be_visible()
    count = found.count()
    page.click("#add-bridge")
    page.keyboard.press("Escape")
    expect(page.locator("#status")).to_have_text("Nothing placed.")
    page.click("#add-bridge")
    x, y = middle(page.locator("#board"))
    page.mouse.click(x + 90, y)
    now = until(page, client, lambda job: len(job["mend"]["bridges"]) == 1)
    at = now["mend"]["bridges"][0]["at"]
    own = page.locator(".hold.bridge[aria-label*='your own']")
    expect(own).to_be_focused()
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("l")
    now = until(page, client, lambda job: job["mend"]["bridges"][0]["at"] != at)
    assert now["mend"]["bridges"][0]["at"] == pytest.approx([at[0], at[1] - 10], abs=0.02)
    assert now["mend"]["bridges"][0]["angle"] == 91
    fill(page, field("mend.bridges.0.width"), "14")
    fill(page, field("mend.bridges.0.angle"), "45")
    now = until(page, client, lambda job: job["mend"]["bridges"][0]["angle"] == 45)
    assert now["mend"]["bridges"][0]["width"] == 14
    settle(page)
    page.get_by_role("button", name=re.compile("Take away Bridge of your own")).click()
    until(page, client, lambda job: job["mend"]["bridges"] == [])
    settle(page)
    expect(found).to_have_count(count)
    page.get_by_role("button", name=re.compile(r"Take away Bridge \d.*from the left")).first.click()
    until(page, client, lambda job: len(job["mend"]["without"]) == 1)
    settle(page)
    show(page, page.get_by_role("button", name="Put back the one at")).click()
    until(page, client, lambda job: job["mend"]["without"] == [])


def test_moving_a_found_bridge_makes_it_ones_own(eye_mended: Page, client: httpx.Client) -> None:
    page = eye_mended
    show(page, "#bridge-list .entry").first.click()
    expect(page.locator(".hold.bridge.chosen")).to_be_focused()
    page.keyboard.press("Shift+ArrowRight")
    now = until(page, client, lambda job: len(job["mend"]["bridges"]) == 1)
    (x, y), (old_x, old_y) = now["mend"]["bridges"][0]["at"], now["mend"]["without"][0]
    assert (x, y) == pytest.approx((old_x + 10, old_y), abs=0.02)


def test_holes_of_ones_own_with_keys_alone(page: Page, pebble: Path, client: httpx.Client) -> None:
    put(page, pebble)
    page.locator("#add-hole").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#status")).to_contain_text("press Enter")
    for _ in range(4):
        page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Enter")
    now = until(page, client, lambda job: len(job["holes"]) == 1)
    assert now["holes"][0] == {"at": [210, 350], "diameter": 6}
    hole = page.locator(".hold.hole")
    expect(hole).to_be_focused()
    page.keyboard.press("ArrowUp")
    until(page, client, lambda job: job["holes"][0]["at"] == [210, 351])
    page.keyboard.press("+")
    until(page, client, lambda job: job["holes"][0]["diameter"] == 6.3)
    page.keyboard.press("Delete")
    until(page, client, lambda job: job["holes"] == [])
    page.wait_for_function("document.activeElement !== document.body")  # the keys go on from somewhere


def test_mending_on_and_off_before_and_after(eye_mended: Page) -> None:
    page = eye_mended
    cut = page.locator(".waste path").get_attribute("d")
    expect(page.locator(".bridges path").first).to_be_attached()
    look_as(page, "before")
    drawn = page.locator(".waste path").get_attribute("d")
    assert drawn != cut
    expect(page.locator(".bridges path")).to_have_count(0)
    look_as(page, "both")
    assert page.locator(".before path").get_attribute("d") == drawn
    assert page.locator(".waste path").get_attribute("d") == cut
    expect(page.locator("#cleared-sum")).to_contain_text("Mended: ")
    switch(page, BRIDGE, False)
    settle(page)
    expect(page.locator("#finding-list")).to_contain_text("Loose piece")
    switch(page, BRIDGE, True)
    settle(page)
    expect(page.locator("#finding-list")).not_to_contain_text("Loose piece")


def test_the_plan_is_walked_step_by_step(page: Page, pebble: Path) -> None:
    put(page, pebble)
    planned(page)
    expect(page.locator("#plan-sum")).to_contain_text("checked by following it")
    page.click("#to-saw")
    expect(page.locator("#walk-at")).to_have_text(re.compile(r"Step 1 of \d+"))
    expect(page.locator("#walk-title")).to_have_text(re.compile("Drill 1 hole"))
    expect(page.locator("#walk-title")).to_be_focused()
    expect(page.locator(".holes .lit")).to_have_count(1)
    last = int(page.locator("#walk-at").inner_text().split()[-1])
    for step in range(2, last + 1):
        page.click("#walk-on")
        expect(page.locator("#walk-at")).to_have_text(f"Step {step} of {last}")
        expect(page.locator("#walk-title")).not_to_have_text(re.compile("Drill"))
        expect(page.locator("#walk-facts")).to_contain_text(re.compile(r"\d+cuts?.*min"))
        expect(page.locator(".legs .now")).not_to_have_count(0)
    expect(page.locator("#walk-hold")).to_contain_text("it falls")
    assert page.locator(".drops path").get_attribute("d")
    expect(page.locator("#walk-steps [data-done]")).to_have_count(last - 1)
    page.click("#walk-back")
    expect(page.locator("#walk-at")).to_have_text(f"Step {last - 1} of {last}")
    page.locator("#walk-steps button").last.click()
    expect(page.locator("#walk-on")).to_contain_text("done")
    page.click("#walk-on")
    expect(page.locator("#walk")).to_be_hidden()
    expect(page.locator(".legs path")).to_have_count(0)
    show(page, "#cautions")
    expect(page.locator("#cautions")).to_contain_text("eye")


def test_the_walk_goes_by_keys_and_keeps_its_ticks(page: Page, pebble: Path) -> None:
    put(page, pebble)
    planned(page)
    page.click("#to-saw")
    view = page.locator("svg.board").get_attribute("viewBox")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#walk-at")).to_contain_text("Step 2 of")
    assert page.locator("svg.board").get_attribute("viewBox") != view  # the view goes to the step
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#walk-at")).to_contain_text("Step 1 of")
    expect(page.locator("#walk-steps [data-done]")).to_have_count(1)
    page.keyboard.press("Escape")
    expect(page.locator("#to-saw")).to_be_focused()
    page.reload()
    planned(page)
    page.click("#to-saw")
    expect(page.locator("#walk-at")).to_contain_text("Step 2 of")  # on it goes where it was left
    expect(page.locator("#walk-steps [data-done]")).to_have_count(1)


def test_blades_are_compared_row_by_row(page: Page, pebble: Path) -> None:
    put(page, pebble)
    settle(page)
    show(page, "#compare").click()
    expect(page.locator("#sizes tbody tr")).to_have_count(
        page.locator(f"{field('saw.blade')} option").count()
    )
    expect(page.locator("#sizes tr.chosen")).to_contain_text("(chosen)")
    expect(page.locator("#sizes tbody tr").first.locator("td").nth(3)).to_have_text(
        re.compile("yes|no"), timeout=SLOW
    )


def test_files_are_downloaded(page: Page, pebble: Path) -> None:
    put(page, pebble)
    planned(page)
    for name, start in {
        "template.pdf": b"%PDF",
        "router.dxf": b" ",
        "job.toml": b"#",
        "everything.zip": b"PK",
    }.items():
        with page.expect_download(timeout=SLOW) as download:
            show(page, "#everything" if name == "everything.zip" else f"#print [data-key='{name}']").click()
        assert download.value.suggested_filename == name
        assert Path(download.value.path()).read_bytes().startswith(start.strip())


def test_a_job_file_is_opened_with_its_picture(
    page: Page, pebble: Path, tmp_path: Path, client: httpx.Client
) -> None:
    put(page, pebble)
    fill(page, WIDTH, "222")
    until(page, client, lambda job: job["figures"][0]["width"] == 222)
    with page.expect_download(timeout=SLOW) as download:
        show(page, "#file-list [data-key='job.toml']").click()
    saved = tmp_path / "job.toml"
    download.value.save_as(saved)
    assert tomllib.loads(saved.read_text())["figures"][0]["width"] == "222mm"
    first = job_id(page)
    page.set_input_files("#job-file", [saved, pebble])
    page.wait_for_url(lambda url: first not in url)
    expect(page.locator("#caption")).to_contain_text("figure 222 x")
    page.set_input_files("#job-file", saved)
    expect(page.locator(".needs")).to_contain_text("pebble.png")
    with page.expect_file_chooser() as chooser:
        show(page, page.get_by_role("button", name="Choose pebble.png")).click()
    chooser.value.set_files(pebble)
    expect(page.locator("#caption")).to_contain_text("figure 222 x")
    expect(page.locator(".needs")).to_have_count(0)


def test_work_survives_a_reload_and_is_found_again(page: Page, pebble: Path, visit: Any) -> None:
    put(page, pebble)
    fill(page, PANEL_HEIGHT, "666")
    expect(page.locator("#caption")).to_contain_text("500 x 666")
    page.reload()
    expect(page.locator("#caption")).to_contain_text("500 x 666")
    expect(page.locator("#undo")).to_have_attribute("aria-disabled", "false")
    first = job_id(page)
    page.click("#job-menu > summary")
    page.click("#new-job")
    expect(page.locator("#caption")).to_have_text("")
    page.click("#job-menu > summary")
    page.locator(f"#earlier-list [data-key='{first}']").click()
    expect(page.locator("#caption")).to_contain_text("500 x 666")
    page.click("#job-menu > summary")
    page.click("#new-job")
    expect(page.locator("#caption")).to_have_text("")
    page.click("#job-menu > summary")
    for take in (False, True):
        page.once("dialog", _accept if take else _dismiss)
        page.locator(f"#earlier-list li:has([data-key='{first}']) button").last.click()
        expect(page.locator(f"#earlier-list [data-key='{first}']")).to_have_count(0 if take else 1)


def test_two_tabs_do_not_mix(page: Page, pebble: Path, eye: Path, visit: Any, client: httpx.Client) -> None:
    put(page, pebble)
    other = visit.tab()
    put(other, eye)
    fill(other, PANEL_HEIGHT, "555")
    expect(other.locator("#caption")).to_contain_text("500 x 555")
    assert job_id(other) != job_id(page)
    page.reload()
    expect(page.locator("#job-title")).to_have_text("pebble")
    expect(page.locator("#caption")).to_contain_text("500 x 700")


def test_a_change_made_in_another_tab_is_not_overwritten(page: Page, pebble: Path, visit: Any) -> None:
    put(page, pebble)
    same = visit.tab(f"{visit.served.address}&job={job_id(page)}")
    fill(same, PANEL_HEIGHT, "555")
    expect(same.locator("#caption")).to_contain_text("500 x 555")
    visit.expected.append("409")
    fill(page, PANEL_WIDTH, "444")
    expect(page.locator("#s-panel-width-wrong")).to_contain_text("another tab")
    expect(page.locator("#caption")).to_contain_text("500 x 555")
    fill(page, PANEL_WIDTH, "444")
    expect(page.locator("#caption")).to_contain_text("444 x 555")


def test_without_the_key_the_page_says_what_to_do(page: Page, visit: Any) -> None:
    stranger = visit.context.new_page()
    stranger.goto(f"{visit.served.origin}/")
    expect(stranger.get_by_role("alert").first).to_contain_text("open the address that `cutout page` printed")


def _accept(asked: Dialog) -> None:
    asked.accept()


def _dismiss(asked: Dialog) -> None:
    asked.dismiss()
