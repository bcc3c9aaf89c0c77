"""Remedies at one touch: taken, each does away with its finding. Drawings invented for these tests."""

from __future__ import annotations

import math
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Page, Route, expect

from cutout import run
from cutout.finding import Finding
from cutout.job.file import parse_job
from cutout.job.schema import FigurePart, Job
from cutout.page.changes import Change, changed
from cutout.page.remedies import MANY, SMOOTHED, Case, Remedy, lead, remedies, smooth_first, take_width
from tests.page.handle import EASE, field, put, settle, show, switch, until

DRAWINGS = {
    "oval": '<ellipse cx="100" cy="100" rx="60" ry="40"/>',
    "ring": '<path fill-rule="evenodd" d="M20 100a80 80 0 1 0 160 0a80 80 0 1 0 -160 0Z'
    'M70 100a30 30 0 1 0 60 0a30 30 0 1 0 -60 0Z"/>',
    "arch": '<path d="M86 100a14 14 0 0 1 28 0h-4a10 10 0 0 0 -20 0Z"/>',
    "notch": '<path d="M20 20H180V90H103A3 3 0 0 0 103 96H180V180H20Z"/>',
    "slots": '<path d="M20 20H180V94H20ZM20 102H180V180H20Z"/>',
}


def case_of(folder: Path, drawing: str, **tables: str) -> Case:
    """The drawing (200 mm a side) on a panel of 300 by 300 mm, mended."""
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 200">{DRAWINGS[drawing]}</svg>'
    (folder / "d.svg").write_text(svg)
    parts = {"panel": 'width = "300mm"\nheight = "300mm"', "figure": 'width = "160mm"'} | tables
    figure = parts.pop("figure")
    text = "".join(f"[{name}]\n{body}\n" for name, body in parts.items())
    job = parse_job(f'{text}[[figures]]\nsource = "d.svg"\n{figure}\n', "job.toml")
    return again(job, folder)


def again(job: Job, folder: Path) -> Case:
    laid = run.lay_out(job, folder)
    done = run.mend_laid(laid)
    boxes = (laid.asked.outline.bounds,)
    case = Case(job, laid.asked.kit, done.pattern, done.bridges, boxes)
    object.__setattr__(case, "found", done.findings)
    return case


def found(case: Case, *kinds: str) -> list[Finding]:
    return [f for f in case.found if f.kind in kinds and not f.cleared]  # type: ignore[attr-defined]


def taken(case: Case, remedy: Remedy, folder: Path) -> Case:
    return again(changed(case.job, [Change(**change) for change in remedy.changes]), folder)


def offered(case: Case, words: str, *kinds: str) -> Remedy:
    ways = [way for one in found(case, *kinds) for way in remedies(one, case) if words in way.label]
    assert ways, [(f.kind, f.severity, f.text) for f in case.found]  # type: ignore[attr-defined]
    return ways[0]


def test_a_bridge_too_narrow_is_left_wider(tmp_path: Path) -> None:
    case = case_of(tmp_path, "ring", mend='bridge_width = "7mm"\nbridge_count = 1')
    webs = found(case, "thin web", "short grain")
    way = offered(case, "Leave this bridge", "thin web", "short grain")
    after = taken(case, way, tmp_path)
    assert len(found(after, "thin web", "short grain")) < len(webs)
    assert [b.width > 7 for b in after.bridges if b.by_hand] == [True]
    # The one that was found does not come back beside it.
    assert len(after.bridges) == len(case.bridges)
    # Once it is one's own it is made wider where it stands.
    own = case.job.model_copy(update={"mend": after.job.mend})
    narrow = changed(own, [Change(path="mend.bridges.0.width", value=7.0)])
    again_narrow = again(narrow, tmp_path)
    wider = offered(again_narrow, "Leave this bridge", "thin web", "short grain")
    assert [change["path"] for change in wider.changes] == ["mend.bridges.0.width"]


@pytest.mark.parametrize("at", ["[20.0, 150.0]", "[150.0, 290.0]", "[10.0, 5.0]"])
def test_what_runs_off_the_panel_is_moved_in(tmp_path: Path, at: str) -> None:
    place = at.replace(".0", "mm").replace("[", '["').replace("]", '"]').replace(", ", '", "')
    case = case_of(tmp_path, "oval", figure=f'width = "120mm"\nat = {place}')
    after = taken(case, offered(case, "Move the figure in", "off the panel", "too near the edge"), tmp_path)
    assert not found(after, "off the panel", "too near the edge")


def test_what_is_too_large_for_the_panel_is_made_smaller(tmp_path: Path) -> None:
    case = case_of(tmp_path, "oval", figure='width = "296mm"')
    after = taken(case, offered(case, "smaller", "off the panel", "too near the edge"), tmp_path)
    assert not found(after, "off the panel", "too near the edge")
    x0, _, x1, _ = after.boxes[0]
    assert x1 - x0 == pytest.approx(280, abs=4)  # as large as fits, the edge's 10 mm left on both sides


def test_loose_pieces_are_tied_where_bridges_were_off(tmp_path: Path) -> None:
    case = case_of(tmp_path, "ring", mend="bridge = false")
    after = taken(case, offered(case, "Tie it", "loose piece"), tmp_path)
    assert not found(after, "loose piece")
    assert after.bridges


def test_a_blade_that_is_stopped_gives_way_to_one_that_is_not(tmp_path: Path) -> None:
    """A curved slot narrower than the blade is wide: nothing turns in it but a scroll saw's blade."""
    kinds = ("tight corner", "tight curve", "narrow opening", "kit")
    saw = 'blade = "jigsaw"\nturning_radius = "20mm"'
    case = case_of(tmp_path, "arch", saw=saw, mend="ease = false", figure='width = "28mm"')
    assert [f for f in found(case, *kinds) if f.severity == "stop"]
    after = taken(case, offered(case, "Take the", *kinds), tmp_path)
    assert after.job.saw.blade != "jigsaw"
    assert after.job.saw.turning_radius is None  # it was measured with the other blade
    assert not [f for f in found(after, *kinds) if f.severity == "stop"]


def test_a_figure_is_made_larger_until_the_web_is_sound(tmp_path: Path) -> None:
    case = case_of(
        tmp_path,
        "slots",
        figure='width = "90mm"',
        panel='width = "900mm"\nheight = "900mm"\nthickness = "4mm"',
    )
    ways = found(case, "thin web", "short grain")
    after = taken(case, offered(case, "larger", "thin web", "short grain"), tmp_path)
    assert len(found(after, "thin web", "short grain")) < len(ways)
    x0, _, x1, _ = after.boxes[0]
    assert 90 < x1 - x0 <= 180


def test_turning_the_pattern_does_what_the_sentence_says(tmp_path: Path) -> None:
    panel = 'width = "300mm"\nheight = "300mm"\ngrain = 0'
    case = case_of(tmp_path, "slots", figure='width = "120mm"\nturn = 60', panel=panel)
    said = lead(case)
    assert said is not None
    words, way = said
    assert way is not None
    assert words.startswith(("Turn the pattern", "Lay the boards"))
    after = taken(case, way, tmp_path)
    weakest = [
        min(f.size / f.limit for f in found(c, "thin web", "short grain"))
        for c in (case, after)
        if found(c, "thin web", "short grain")
    ]  # type: ignore[operator]
    assert len(weakest) == 1 or weakest[1] > 1.05 * weakest[0]


def test_nothing_is_offered_for_what_was_mended(tmp_path: Path) -> None:
    case = case_of(tmp_path, "ring")
    mended = [f for f in case.found if f.cleared]  # type: ignore[attr-defined]
    assert mended
    assert not any(remedies(f, case) for f in mended)


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_every_remedy_is_a_change_a_job_takes(tmp_path: Path, drawing: str) -> None:
    """Whatever is offered can be taken: no button leads to an error."""
    case = case_of(tmp_path, drawing, mend="ease = false\nbridge = false", figure='width = "290mm"')
    for one in case.found:  # type: ignore[attr-defined]
        for way in remedies(one, case):
            assert way.label
            assert changed(case.job, [Change(**change) for change in way.changes]) != case.job


def test_the_size_a_blade_needs_is_taken_rounded_up(tmp_path: Path) -> None:
    case = case_of(tmp_path, "oval")
    way = take_width(case.job, case.boxes[0], 200.2)
    assert way.label == "Take 201 mm"
    x0, _, x1, _ = taken(case, way, tmp_path).boxes[0]
    assert math.isclose(x1 - x0, 201, abs_tol=0.01)


def test_a_rough_photo_is_asked_about_once_it_gives_too_many_findings() -> None:
    job = Job().model_copy(update={"figures": (FigurePart(), FigurePart())})
    assert smooth_first(job, MANY - 1, [0, 1]) is None
    assert smooth_first(job, MANY, []) is None  # a drawing is as its maker drew it
    asked = smooth_first(job, MANY + 5, [1])
    assert asked is not None
    assert asked[0].startswith(f"{MANY + 5} findings")
    assert [change["path"] for change in asked[1].changes] == ["figures.1.smooth"]
    smooth = job.model_copy(update={"figures": (FigurePart(), FigurePart(smooth=SMOOTHED))})
    assert smooth_first(smooth, MANY, [1]) is None


@pytest.fixture
def narrow(page: Page, eye: Path) -> Page:
    """A ring round a disc, held by one bridge that is too narrow."""
    switch(page, EASE, False)
    for name, text in (("width", "7"), ("count", "1")):
        show(page, field(f"mend.bridge_{name}")).fill(text)
        page.keyboard.press("Tab")
    put(page, eye)
    settle(page)
    return page


def test_a_finding_is_done_away_with_by_its_button_and_comes_back_with_undo(
    narrow: Page, client: httpx.Client
) -> None:
    way = show(narrow, ".way:text('Leave this bridge')").first
    way.click()
    now = until(narrow, client, lambda job: len(job["mend"]["bridges"]) == 1)
    assert now["mend"]["bridges"][0]["width"] > 7
    expect(narrow.locator("#status")).to_contain_text("Done: Leave this bridge")
    settle(narrow)
    narrow.click("#undo-here")
    until(narrow, client, lambda job: job["mend"]["bridges"] == [])


def test_a_bridge_that_was_found_takes_numbers(narrow: Page, client: httpx.Client) -> None:
    show(narrow, "#bridge-list li button").nth(1).click()
    width = narrow.locator(field("mend.bridges.0.width"))
    expect(width).to_be_focused()
    width.fill("21")
    narrow.keyboard.press("Tab")
    now = until(narrow, client, lambda job: [b["width"] for b in job["mend"]["bridges"]] == [21])
    assert len(now["mend"]["without"]) == 1


def test_before_hundreds_of_findings_are_mended_the_page_asks(
    page: Page, eye: Path, client: httpx.Client
) -> None:
    """The server's question is put in by hand: a photo that gives hundreds of findings takes long to check."""
    way = {"label": "Smooth it", "changes": [{"path": "figures.0.smooth", "value": 0.5}]}

    def asking(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, json={**answer.json(), "ask": {"text": "412 findings.", "way": way}})

    mended: list[str] = []
    page.on("request", lambda request: mended.append(request.url) if "/work/mended" in request.url else None)
    page.route("**/work/checked", asking)
    put(page, eye)
    expect(page.locator("#ask")).to_contain_text("412 findings.")
    assert mended == []
    page.click("#ask-yes")
    until(page, client, lambda job: job["figures"][0]["smooth"] == 0.5)
    expect(page.locator("#ask")).to_be_visible()  # asked again: the answer was put in again
    page.click("#ask-no")
    settle(page)
    expect(page.locator("#ask")).to_be_hidden()
    assert mended
