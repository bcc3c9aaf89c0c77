"""The cut sheet on a phone without a network: one file opened from its memory, walked through with a thumb."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser, expect

from cutout.write.cutsheet.page import cut_sheet
from cutout.write.work import Work

PHONE = (390, 844)


def test_a_phone_reads_and_walks_it_offline(browser: Browser, work: Work, tmp_path: Path) -> None:
    sheet = tmp_path / "cutsheet.html"
    sheet.write_bytes(cut_sheet(work))
    context = browser.new_context(
        viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True, offline=True
    )
    errors: list[str] = []
    context.on("weberror", lambda error: errors.append(str(error.error)))
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    page = context.new_page()
    page.goto(sheet.as_uri())
    # Tables stack: no row is taller than the screen, nothing has to be moved sideways.
    tallest, across = page.evaluate(
        """[Math.max(...[...document.querySelectorAll("tr")].map((row) => row.getBoundingClientRect().height)),
            document.documentElement.scrollWidth]"""
    )
    assert 0 < tallest < PHONE[1] / 2
    assert across <= PHONE[0]

    page.tap(".walk-open")
    first = page.locator("#walk-say").inner_text()
    on = page.locator(".walk-done").bounding_box()
    assert on is not None
    assert on["y"] > 0 and on["y"] + on["height"] <= PHONE[1]  # under the thumb, without scrolling
    page.tap(".walk-done")
    expect(page.locator("#walk-say")).not_to_have_text(first)
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#walk-say")).to_have_text(first)
    context.close()
    assert errors == []
    assert asked == [sheet.as_uri()]
