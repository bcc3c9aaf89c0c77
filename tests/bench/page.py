"""How long the page takes: first view of a 4-megapixel picture, and from a slider's move to the redraw.

Run: python tests/bench/page.py. Needs Debian's chromium. Wall times depend on what else the machine does, so
each is set beside something measured in the same run: reading the same picture without the page, and the
emptiest request the page can make.
"""

from __future__ import annotations

import json
import math
import shutil
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter
from playwright.sync_api import Page, sync_playwright
from skimage.data import horse

from cutout.page import create_app
from cutout.page.server import listening, server_of
from cutout.read import read
from cutout.read.options import ReadOptions

ROUNDS = 7
SLIDES = 40
TARGET_FIRST, TARGET_SLIDE = 1500, 150

_WATCH = """() => { window.times = []; window.begun = 0;
  const path = document.querySelector(".waste path");
  new MutationObserver(() => requestAnimationFrame(() => window.times.push(performance.now() - window.begun)))
    .observe(document.querySelector(".waste"), { subtree: true, attributes: true, attributeFilter: ["d"] }); }"""
_SLIDE = """(value) => { const slider = document.getElementById("f-size"); window.begun = performance.now();
  slider.value = value; slider.dispatchEvent(new Event("input", { bubbles: true })); }"""
_EMPTY = """async () => { const key = new URLSearchParams(location.hash.slice(1)).get("key"); const times = [];
  for (let n = 0; n < 30; n += 1) { const begun = performance.now();
    await (await fetch("/api/choices", { headers: { "x-cutout-key": key } })).json();
    times.push(performance.now() - begun); }
  return times; }"""


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        picture, drawing = Path(folder) / "horse.png", Path(folder) / "wavy.svg"
        _large_horse().save(picture)
        drawing.write_text(_wavy(2000))
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        with _running(Path(folder) / "jobs") as address:
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(address)
            page.locator("#file-list li").first.wait_for()
            empty = statistics.median(page.evaluate(_EMPTY))
            shares = [_share()]
            firsts = [_first_view(page, picture) for _ in range(ROUNDS)]
            alone = [_reading(picture) for _ in range(ROUNDS)]
            slides = _slides(page, drawing)
            shares.append(_share())
        browser.close()
    print(f"a busy loop got {statistics.mean(shares):.2f} of a core meanwhile")
    first, reading, slide = (statistics.median(times) for times in (firsts, alone, slides))
    print(
        f"first view, 2240 x 1840 pixels: median {first:.0f} ms (wanted {TARGET_FIRST}), all {_row(firsts)}"
    )
    print(
        f"  reading it whole in this process: median {reading:.0f} ms; first view: {first / reading:.2f} of that"
    )
    print(f"slider to redraw, 2000 points: median {slide:.0f} ms (wanted {TARGET_SLIDE}), 90th centile "
          f"{statistics.quantiles(slides, n=10)[-1]:.0f} ms")  # fmt: skip
    print(f"  emptiest request: median {empty:.1f} ms; a redraw takes {slide / empty:.1f} times that")


def _first_view(page: Page, picture: Path) -> float:
    page.click("#new-job")
    page.locator(".hold.figure").wait_for(state="detached")
    page.wait_for_timeout(300)
    begun = time.perf_counter()
    page.set_input_files("#picture-file", picture)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)
    return (time.perf_counter() - begun) * 1000


def _reading(picture: Path) -> float:
    begun = time.perf_counter()
    read(picture, ReadOptions(width=350.0))
    return (time.perf_counter() - begun) * 1000


def _slides(page: Page, drawing: Path) -> list[float]:
    page.click("#new-job")
    page.locator(".hold.figure").wait_for(state="detached")
    page.set_input_files("#picture-file", drawing)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)
    page.evaluate(_WATCH)
    times: list[float] = []
    for n in range(SLIDES):
        page.evaluate(_SLIDE, 200 + 3 * n)
        for _ in range(2000):
            if len(page.evaluate("window.times")) > n:
                break
            page.wait_for_timeout(5)
        times = page.evaluate("window.times")
    return times[3:]


def _large_horse() -> Image.Image:
    """The horse of scikit-image at 2240 x 1840 pixels, its edges a pixel soft as a scanner's are."""
    large = Image.fromarray((horse() * 255).astype(np.uint8)).resize((2240, 1840), Image.Resampling.BICUBIC)
    sharp = large.filter(ImageFilter.GaussianBlur(5)).point(lambda v: 255 if v > 127 else 0)
    return sharp.filter(ImageFilter.GaussianBlur(0.8))


def _share() -> float:
    """The part of a core that a busy loop gets just now: below 1 when the machine has other work too."""
    wall, own = time.perf_counter(), time.process_time()
    while time.process_time() - own < 0.3:
        pass
    return 0.3 / (time.perf_counter() - wall)


def _wavy(count: int) -> str:
    """A drawing whose outline has `count` corners; invented for this measurement."""
    turn = [2 * math.pi * n / count for n in range(count)]
    reach = [100 * (1 + 0.15 * math.sin(5 * t) + 0.02 * math.sin(61 * t)) for t in turn]
    points = " ".join(
        f"{150 + r * math.cos(t):.3f},{150 + r * math.sin(t):.3f}" for r, t in zip(reach, turn, strict=True)
    )
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 300"><polygon points="{points}"/></svg>'


@contextmanager
def _running(folder: Path) -> Iterator[str]:
    key = "bench"
    with listening(None) as sock:
        server = server_of(create_app(key, folder))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield f"http://127.0.0.1:{sock.getsockname()[1]}/#key={key}"
        server.should_exit = True
        thread.join(10)


def _row(times: list[float]) -> str:
    return json.dumps([round(t) for t in times])


if __name__ == "__main__":
    main()
