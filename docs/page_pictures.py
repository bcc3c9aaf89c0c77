"""Make the pictures of docs/how-to/page.md with the page itself in a Chromium: python docs/page_pictures.py"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from cutout.page import create_app, desk
from cutout.page.server import listening, server_of

PICTURES = Path(__file__).parent / "pictures"
DESK, TABLET, PHONE = (1400, 900), (820, 1180), (390, 844)
HIGH = 430
"""Pixels of each view's height in a picture."""
GAP = 10
SLOW = 600_000


def place(page: Page) -> None:
    """A figure taken hold of."""
    page.locator(".hold.figure").first.focus()


def findings(page: Page) -> None:
    """The findings with their buttons, the first of them looked at from near."""
    page.click("#findings > h2 > .front")
    page.locator("#finding-list details").first.locator("summary").click()
    page.locator("#finding-list .finding").first.click()


def sheets(page: Page) -> None:
    """The template's sheets on the panel."""
    page.click("#print > h2 > .front")


def saw(page: Page) -> None:
    """A step at the saw."""
    page.click("#to-saw")
    for _ in range(2):
        page.click("#walk-on")
    page.wait_for_timeout(800)


def finished(page: Page) -> None:
    """On the wall, with light behind it."""
    page.locator("#shows label:has([value=finished])").click()


def turned_round(page: Page) -> None:
    """Seen from the back, with the drawer of its frame open."""
    page.click("#turn-round")
    page.click("#panel > h2 > .front")


VIEWS: dict[str, Sequence[tuple[str, Callable[[Page], None], tuple[int, int], str]]] = {
    "page-place": [
        ("heron-shutter", place, DESK, "light"),
        ("heron-shutter", place, TABLET, "dark"),
        ("heron-shutter", place, PHONE, "light"),
    ],
    "page-saw": [
        ("heron-shutter", findings, DESK, "light"),
        ("heron-shutter", findings, PHONE, "dark"),
        ("heron-shutter", saw, PHONE, "light"),
    ],
    "page-finished": [
        ("heron-shutter", finished, DESK, "light"),
        ("screen-leaf", turned_round, DESK, "light"),
    ],
    "page-sheets": [("heron-shutter", sheets, DESK, "dark"), ("screen-leaf", finished, TABLET, "light")],
}


def main() -> None:
    """Every picture."""
    desk.SLOW_SECONDS = SLOW / 1000  # nobody waits for these
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("a Chromium is needed for this: apt-get install chromium")
    with tempfile.TemporaryDirectory() as folder, listening(None) as sock, sync_playwright() as playwright:
        server = server_of(create_app("pictures", Path(folder)))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        address = f"http://127.0.0.1:{sock.getsockname()[1]}/#key=pictures"
        jobs: dict[str, str] = {}
        for name, views in VIEWS.items():
            shots = [shot(browser, address, jobs, *view) for view in views]
            joined(shots).quantize(160).save(PICTURES / f"{name}.png", optimize=True)
        browser.close()
        server.should_exit = True
        thread.join(10)


def shot(
    browser: Browser,
    address: str,
    jobs: dict[str, str],
    example: str,
    view: Callable[[Page], None],
    size: tuple[int, int],
    scheme: str,
) -> Image.Image:
    """One example in one window; its plan is worked out the first time only."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme="dark" if scheme == "dark" else "light"
    )
    page = context.new_page()
    page.set_default_timeout(SLOW)
    page.goto(f"{address}&job={jobs[example]}" if example in jobs else address)
    if example not in jobs:
        page.click(f"[data-example={example}]")
    page.locator("#to-saw[aria-disabled=false]").wait_for(timeout=SLOW)
    jobs[example] = str(page.evaluate("new URLSearchParams(location.hash.slice(1)).get('job')"))
    view(page)
    page.wait_for_timeout(700)
    taken = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    context.close()
    return taken.resize((round(taken.width * HIGH / taken.height), HIGH), Image.Resampling.LANCZOS)


def joined(shots: Sequence[Image.Image]) -> Image.Image:
    """Views side by side."""
    whole = Image.new("RGB", (sum(s.width for s in shots) + GAP * (len(shots) - 1), HIGH), "white")
    x = 0
    for one in shots:
        whole.paste(one, (x, 0))
        x += one.width + GAP
    return whole


if __name__ == "__main__":
    main()
