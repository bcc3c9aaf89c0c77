"""The cut sheet judged by axe-core (the rules behind WCAG checks) in a real browser."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from cutout.write.cutsheet.page import cut_sheet
from cutout.write.work import Work

LOOK = """
import json, sys
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright
address, chromium = sys.argv[1], sys.argv[2] or None
asked, seen = [], {}
with sync_playwright() as playwright:
    browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
    for width in (1000, 360):
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        found = Axe().run(page)
        seen[width] = [page.evaluate("document.documentElement.scrollWidth"), found.generate_report()
                       if found.violations_count else ""]
    heard, view = [], "document.querySelector('.walk-view').getAttribute('viewBox')"
    context = browser.new_context(viewport={"width": 390, "height": 844}, reduced_motion="reduce")
    page = context.new_page()
    page.on("console", lambda message: heard.append(message.text))
    page.on("pageerror", lambda error: heard.append(str(error)))
    page.goto(address)
    page.click(".walk-open")
    found = Axe().run(page)
    walk = {"axe": found.generate_report() if found.violations_count else "", "views": [], "words": [],
            "wide": page.evaluate("document.querySelector('.walk').scrollWidth"),
            "least": page.evaluate("Math.min(...[...document.querySelectorAll('.walk button')]"
                                   ".map(b => b.getBoundingClientRect().height))")}
    for go in (None, "click", "ArrowLeft", "ArrowRight", "ArrowRight"):
        page.click(".walk-done") if go == "click" else page.keyboard.press(go) if go else None
        page.wait_for_timeout(60)
        walk["views"].append(page.evaluate(view))
        walk["words"].append(page.inner_text("#walk-say"))
    page.reload()
    page.click(".walk-open")
    walk["after"] = [page.inner_text("#walk-say"), page.inner_text(".walk-chips li:first-child")]
    walk["said"] = heard
    browser.close()
print(json.dumps({"asked": [url for url in asked if not url.startswith("data:")], "seen": seen, "walk": walk}))
"""
"""Run in a process of its own: a browser another test holds open would be in its way."""


def test_no_accessibility_fault(work: Work, tmp_path: Path) -> None:
    """axe-core, every rule, at the width of a desk screen and of a telephone, and the walk in use; nothing is asked
    of the network."""
    chromium = shutil.which("chromium")
    if chromium is None and not os.environ.get("CI"):
        pytest.skip("Debian's chromium is not installed: apt-get install chromium")
    page = tmp_path / "cutsheet.html"
    page.write_bytes(cut_sheet(work))
    command = [sys.executable, "-c", LOOK, page.as_uri(), chromium or ""]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    result = json.loads(done.stdout)
    assert set(result["asked"]) == {page.as_uri()}
    for width, (scroll, report) in result["seen"].items():
        assert report == ""
        assert scroll <= int(width), "the page does not scroll sideways"
    walk, steps = result["walk"], [work.told(step).text for step in work.plan.steps]
    assert walk["axe"] == ""
    assert walk["said"] == [], "its own policy lets its script run, and nothing else is wanted"
    assert walk["wide"] <= 390 and walk["least"] >= 44
    first, second, third = (n if n < len(steps) else len(steps) - 1 for n in range(3))
    assert walk["words"] == [steps[n] for n in (first, second, first, second, third)]
    assert len(set(walk["views"])) == len({first, second, third}), "the drawing goes to each step"
    assert walk["after"][0] == steps[second] and "\u2713" in walk["after"][1], (
        "what was ticked off is remembered"
    )
