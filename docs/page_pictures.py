"""Make page-finished.png with the page itself in a Chromium: python docs/page_pictures.py"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
import threading
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from cutout.page import create_app
from cutout.page.server import listening, server_of

PICTURES = Path(__file__).parent / "pictures"
SIZE = {"width": 1306, "height": 840}
SHOWN = (653, 420)
"""Pixels of one view in the picture."""


def heron_finished(page: Page) -> None:
    """The shutter with light behind it."""
    page.click("[data-example=heron-shutter]")
    page.locator("#shows label:has([value=finished])").click()
    page.click("#behind [data-behind=light]")


def screen_turned_round(page: Page) -> None:
    """The leaf of a screen seen from the back, with the drawer of its frame open."""
    page.click("[data-example=screen-leaf]")
    page.locator(".frame path").first.wait_for(state="attached")
    page.click("#turn-round")
    page.click("#panel > h2 > .front")


def main() -> None:
    """Both views side by side."""
    chromium = shutil.which("chromium")
    if chromium is None:
        sys.exit("a Chromium is needed for this: apt-get install chromium")
    views = []
    with tempfile.TemporaryDirectory() as folder, listening(None) as sock, sync_playwright() as playwright:
        server = server_of(create_app("pictures", Path(folder)))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        for view in (heron_finished, screen_turned_round):
            page = browser.new_page(viewport=SIZE)
            page.goto(f"http://127.0.0.1:{sock.getsockname()[1]}/#key=pictures")
            view(page)
            page.wait_for_timeout(2500)
            views.append(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
            page.close()
        browser.close()
        server.should_exit = True
        thread.join(10)
    whole = Image.new("RGB", (2 * SHOWN[0] + 12, SHOWN[1]), "white")
    for n, view_ in enumerate(views):
        whole.paste(view_.resize(SHOWN, Image.Resampling.LANCZOS), (n * (SHOWN[0] + 12), 0))
    whole.quantize(200).save(PICTURES / "page-finished.png", optimize=True)


if __name__ == "__main__":
    main()
