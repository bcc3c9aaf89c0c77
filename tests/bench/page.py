"""How long the page takes: frames of a drag and of a pan, slider to redraw, first views beside a bare decode.

Run: python tests/bench/page.py. Needs Debian's chromium; ends within two minutes on a machine that is free. Wall
times depend on what else the machine does: it is said what part of a core was to be had, and beside each stands
the CPU time it took, of the browser for what is drawn, of the server's processes for what is worked out. A first
view is set beside decoding the same picture, both in CPU time. The photographs have a sensor's noise and colours.
"""

from __future__ import annotations

import math
import os
import shutil
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
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
NOISE = 3.0
"""Sigma of a photograph's noise, of 255: a phone's in daylight."""

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
        four, twelve, drawing = (Path(folder) / name for name in ("four.jpg", "twelve.jpg", "wavy.svg"))
        _large_horse((2240, 1840)).save(four, quality=92)
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
            page.wait_for_timeout(1500)
            page.evaluate("document.getElementById('stop').click()")
            drags, drag_cpu = _with_cpu(_of_browser, lambda: page.evaluate(_DRAG, FRAMES))
            slides = {
                path: _with_cpu(_of_server, lambda p=path: _slides(page, p)) for path in (drawing, four)
            }
            (pans, pan_cpu), toggles, marks, found, nodes = _many_marks(page, Path(folder) / "comb.png")
            shares.append(_share())
        browser.close()
    print(
        f"a busy loop got {statistics.mean(shares):.2f} of a core meanwhile; emptiest request {empty:.0f} ms\n"
    )
    print("| what | median | 95 % | worst | CPU | wanted |")
    print("|---|---|---|---|---|---|")
    frame = f"worst {TARGET_FRAME} ms"
    print(f"| frame of a drag, 400-point drawing | {_three(drags)} | {drag_cpu / FRAMES:.1f} ms | {frame} |")
    panned = f"frame of a pan, {found} findings in {marks} marks"
    print(f"| {panned} | {_three(pans)} | {pan_cpu / FRAMES:.1f} ms | {frame} |")
    for path, (times, cpu) in slides.items():
        row = f"{_three(times)} | {cpu / SLIDES:.0f} ms"
        print(f"| slider to redraw, {path.name} | {row} | median {TARGET_SLIDE} ms |")
    for path, pairs in firsts.items():
        wall = statistics.median(first[0] for first, _ in pairs)
        cpu, bare = (statistics.median(times) for times in zip(*((f[1], d) for f, d in pairs), strict=True))
        worst = max(first[0] for first, _ in pairs)
        row = f"{cpu:.0f} ms, {cpu / bare:.2f} x its decode ({bare:.0f} ms)"
        print(f"| first view, {path.name} | {wall:.0f} ms | | {worst:.0f} ms | {row} | {TARGET_FIRST} x |")
    print(f"| marks on or off, {nodes} elements | {_three(toggles)} | | |")


def _with_cpu(which: Callable[[], float], action: Callable[[], list[float]]) -> tuple[list[float], float]:
    """What an action gives, and the CPU time (ms) that processes of a kind took meanwhile."""
    before = which()
    given = action()
    return given, which() - before


def _of_browser() -> float:
    """CPU time (ms) of every process of the browser so far."""
    return sum(used for name, used in _children() if "chrom" in name)


def _of_server() -> float:
    """CPU time (ms) of the server, which is this process, and of its workers so far."""
    return time.process_time() * 1000 + sum(used for name, used in _children() if "python" in name)


def _children() -> list[tuple[str, float]]:
    """Name and CPU time (ms) of each process that comes of this one."""
    table: dict[int, tuple[int, str, float]] = {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            text = (entry / "stat").read_text()
        except (OSError, ValueError):
            continue
        name, rest = text[text.index("(") + 1 : text.rindex(")")], text[text.rindex(")") + 2 :].split()
        ticks = int(rest[11]) + int(rest[12])
        table[int(entry.name)] = (int(rest[1]), name, 1000 * ticks / os.sysconf("SC_CLK_TCK"))
    ours = {os.getpid()}
    for _ in range(8):  # no tree of processes here is deeper
        ours |= {pid for pid, (parent, _, _) in table.items() if parent in ours}
    return [(table[pid][1], table[pid][2]) for pid in ours - {os.getpid()} if pid in table]


def _three(times: list[float]) -> str:
    return f"{statistics.median(times):.1f} ms | {statistics.quantiles(times, n=20)[-1]:.1f} ms | {max(times):.1f} ms"


def _new(page: Page) -> None:
    page.evaluate("document.getElementById('new-job').click()")
    page.locator(".hold.figure").wait_for(state="detached")


def _choose(page: Page, picture: Path) -> None:
    _new(page)
    page.set_input_files("#picture-file", picture)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)


def _first_view(page: Page, picture: Path) -> tuple[float, float]:
    """Wall time, and CPU time of the server and its workers (ms), until the picture is on the panel."""
    _new(page)
    page.wait_for_timeout(500)
    begun, used = time.perf_counter(), _of_server()
    page.set_input_files("#picture-file", picture)
    page.locator(".hold.figure").wait_for(state="attached", timeout=60_000)
    wall, cpu = (time.perf_counter() - begun) * 1000, _of_server() - used
    page.evaluate("document.getElementById('stop').click()")
    return wall, cpu


def _decoding(picture: Path) -> float:
    """The least that any look at a picture takes: its file made into pixels."""
    begun = time.process_time()
    with Image.open(picture) as image:
        image.convert("RGB").load()
    return (time.process_time() - begun) * 1000


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


def _many_marks(page: Page, path: Path) -> tuple[tuple[list[float], float], list[float], int, int, int]:
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
    pans = _with_cpu(_of_browser, lambda: page.evaluate(_PAN, FRAMES))
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
    """The horse of scikit-image, large, its edges a pixel soft as a scanner's are, photographed."""
    large = Image.fromarray((horse() * 255).astype(np.uint8)).resize(size, Image.Resampling.BICUBIC)
    sharp = large.filter(ImageFilter.GaussianBlur(5)).point(lambda v: 255 if v > 127 else 0)
    soft = np.asarray(sharp.filter(ImageFilter.GaussianBlur(0.8)), dtype=np.float32)[..., None]
    colours = 40 + soft / 255 * np.array([190, 184, 170], np.float32)
    noise = np.random.default_rng(1).normal(0, NOISE, colours.shape)
    return Image.fromarray(np.clip(colours + noise, 0, 255).astype(np.uint8))


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
