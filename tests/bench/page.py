"""How long the page takes: frames of a drag and of a pan, slider to redraw, first views beside a bare decode.

Run: python tests/bench/page.py. Needs Debian's chromium; ends within two minutes on a machine that is free. Wall
times depend on what else the machine does, so each is set beside something measured in the same run: decoding the
same picture, or the emptiest request the page can make; and it is said what part of a core was to be had.
"""

from __future__ import annotations

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
from PIL import Image, ImageDraw, ImageFilter
from playwright.sync_api import Page, sync_playwright
from skimage.data import horse

from cutout.page import create_app
from cutout.page.server import listening, server_of

ROUNDS = 3
SLIDES = 20
TARGET_FIRST, TARGET_SLIDE, TARGET_FRAME = 1.5, 150, 33
FRAMES = 150

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


_PAN = """(count) => new Promise((resolve) => {
  const board = document.querySelector("svg.board"); const times = []; let last = performance.now();
  const box = board.getBoundingClientRect(); let [x, y] = [box.x + box.width * 0.9, box.y + box.height * 0.92];
  const send = (kind) => board.dispatchEvent(new PointerEvent(kind, { bubbles: true, pointerId: 7, button: 0,
    buttons: 1, clientX: x, clientY: y }));
  board.setPointerCapture = () => {};
  send("pointerdown");
  const frame = (now) => { times.push(now - last); last = now;
    x += 4 * Math.sin(times.length / 9); y += 3 * Math.cos(times.length / 7); send("pointermove");
    if (times.length < count) requestAnimationFrame(frame); else { send("pointerup"); resolve(times.slice(5)); } };
  requestAnimationFrame(frame); })"""
_TOGGLE = """() => { const times = []; for (let n = 0; n < 6; n += 1) { const begun = performance.now();
  document.getElementById("show-marks").click(); times.push(performance.now() - begun); } return times; }"""


_DRAG = """(count) => new Promise((resolve) => {
  const board = document.querySelector("svg.board"); const held = document.querySelector(".hold.figure path");
  const box = held.getBoundingClientRect(); let [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  const times = []; let last = performance.now(); board.setPointerCapture = () => {};
  const send = (kind, on) => on.dispatchEvent(new PointerEvent(kind, { bubbles: true, pointerId: 8, button: 0,
    buttons: 1, clientX: x, clientY: y }));
  send("pointerdown", held);
  const frame = (now) => { times.push(now - last); last = now;
    x += 3 * Math.sin(times.length / 11); y += 3 * Math.cos(times.length / 8); send("pointermove", board);
    if (times.length < count) return requestAnimationFrame(frame);
    send("pointercancel", board); resolve(times.slice(5)); };
  requestAnimationFrame(frame); })"""


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        four, twelve, drawing = (Path(folder) / name for name in ("four.png", "twelve.jpg", "wavy.svg"))
        _large_horse((2240, 1840)).save(four)
        _large_horse((4000, 3000)).save(twelve, quality=92)
        drawing.write_text(_wavy(400))
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        with _running(Path(folder) / "jobs") as address:
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(address)
            page.locator("#file-list li").first.wait_for(state="attached")
            empty = statistics.median(page.evaluate(_EMPTY))
            shares = [_share()]
            firsts = {
                path: [(_first_view(page, path), _decoding(path)) for _ in range(ROUNDS)]
                for path in (four, twelve)
            }
            _choose(page, drawing)
            drags = page.evaluate(_DRAG, FRAMES)
            slides = {path: _slides(page, path) for path in (drawing, four)}
            pans, toggles, marks, found, nodes = _many_marks(page, Path(folder) / "comb.png")
            shares.append(_share())
        browser.close()
    print(
        f"a busy loop got {statistics.mean(shares):.2f} of a core meanwhile; emptiest request {empty:.0f} ms\n"
    )
    print("| what | median | 95 % | worst | wanted |")
    print("|---|---|---|---|---|")
    print(f"| frame of a drag, 400-point drawing | {_three(drags)} | worst {TARGET_FRAME} ms |")
    print(f"| frame of a pan, {found} findings in {marks} marks | {_three(pans)} | worst {TARGET_FRAME} ms |")
    for path, times in slides.items():
        print(f"| slider to redraw, {path.name} | {_three(times)} | median {TARGET_SLIDE} ms |")
    for path, pairs in firsts.items():
        first, bare = (statistics.median(times) for times in zip(*pairs, strict=True))
        row = f"{first:.0f} ms, {first / bare:.2f} x its decode ({bare:.0f} ms)"
        print(f"| first view, {path.name} | {row} | | {max(p[0] for p in pairs):.0f} ms | {TARGET_FIRST} x |")
    print(f"| marks on or off, {nodes} elements | {_three(toggles)} | |")


def _three(times: list[float]) -> str:
    return f"{statistics.median(times):.1f} ms | {statistics.quantiles(times, n=20)[-1]:.1f} ms | {max(times):.1f} ms"


def _new(page: Page) -> None:
    page.evaluate("document.getElementById('new-job').click()")
    page.locator(".hold.figure").wait_for(state="detached")


def _choose(page: Page, picture: Path) -> None:
    _new(page)
    page.set_input_files("#picture-file", picture)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)


def _first_view(page: Page, picture: Path) -> float:
    _new(page)
    page.wait_for_timeout(300)
    begun = time.perf_counter()
    page.set_input_files("#picture-file", picture)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)
    return (time.perf_counter() - begun) * 1000


def _decoding(picture: Path) -> float:
    """The least that any look at a picture takes: its file made into pixels."""
    begun = time.perf_counter()
    with Image.open(picture) as image:
        image.convert("L").load()
    return (time.perf_counter() - begun) * 1000


def _slides(page: Page, picture: Path) -> list[float]:
    _choose(page, picture)
    page.evaluate("document.getElementById('stop').click()")
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


def _many_marks(page: Page, path: Path) -> tuple[list[float], list[float], int, int, int]:
    """Frames of a pan over a figure with hundreds of findings, and how long showing its marks takes."""
    _comb().save(path)
    _new(page)
    page.evaluate("document.querySelector('[data-path=\"mend.ease\"]').click()")
    page.set_input_files("#picture-file", path)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)
    page.locator("#finding-list .finding").nth(60).wait_for(state="attached", timeout=60_000)
    page.wait_for_timeout(1500)
    page.evaluate("document.getElementById('stop').click()")
    page.wait_for_timeout(500)
    pans = page.evaluate(_PAN, FRAMES)
    toggles = page.evaluate(_TOGGLE)
    counts = [page.locator(f"{what}").count() for what in (".marks > .mark", "#finding-list .finding", "*")]
    return pans, toggles, counts[0], counts[1], counts[2]


def _comb() -> Image.Image:
    """A bar with a hundred narrow teeth, invented: a few findings at each."""
    image = Image.new("L", (1500, 700), 255)
    pen = ImageDraw.Draw(image)
    pen.rectangle((20, 20, 1480, 120), fill=0)
    for n in range(104):
        pen.rectangle((24 + 14 * n, 100, 29 + 14 * n, 660 - 9 * (n % 5)), fill=0)
    return image


def _large_horse(size: tuple[int, int]) -> Image.Image:
    """The horse of scikit-image, large, its edges a pixel soft as a scanner's are."""
    large = Image.fromarray((horse() * 255).astype(np.uint8)).resize(size, Image.Resampling.BICUBIC)
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


if __name__ == "__main__":
    main()
