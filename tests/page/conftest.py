"""A running server, a browser that may talk to nothing else, and small pictures invented for these tests."""

from __future__ import annotations

import io
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright

from cutout.page import create_app
from cutout.page.server import listening, server_of
from tests.page.handle import hold_plans

KEY = "a key that only these tests know"

# Only a failing test waits as long: a machine with other work to do must not fail one that is right.
expect.set_options(timeout=60_000)


@dataclass(frozen=True)
class Served:
    """Where a page runs, and the key that opens it."""

    port: int
    folder: Path
    key: str = KEY

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def address(self) -> str:
        return f"{self.origin}/#key={self.key.replace(' ', '%20')}"

    def client(self) -> httpx.Client:
        """A client that carries what the page's own requests carry."""
        headers = {"x-cutout-key": self.key, "origin": self.origin, "sec-fetch-site": "same-origin"}
        return httpx.Client(base_url=self.origin, headers=headers, timeout=180)


@contextmanager
def running(folder: Path) -> Iterator[Served]:
    with listening(None) as sock:
        server = server_of(create_app(KEY, folder))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        deadline = time.monotonic() + 20
        while not server.started and time.monotonic() < deadline:
            time.sleep(0.02)
        assert server.started
        yield Served(sock.getsockname()[1], folder)
        server.should_exit = True
        thread.join(10)


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with running(tmp_path_factory.mktemp("jobs")) as served:
        yield served


@pytest.fixture
def run_server(tmp_path: Path) -> Callable[[], AbstractContextManager[Served]]:
    """Starts a server of the test's own."""
    return lambda: running(tmp_path / "jobs")


@pytest.fixture
def client(served: Served) -> Iterator[httpx.Client]:
    with served.client() as client:
        yield client


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    chromium = shutil.which("chromium")
    if chromium is None and not os.environ.get("CI"):
        pytest.skip("Debian's chromium is not installed: apt-get install chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield browser
        browser.close()


class Visit:
    """A tab of its own that notes every request and every error on the page."""

    def __init__(self, browser: Browser, served: Served, **options: object) -> None:
        self.served = served
        self.requests: list[str] = []
        self.errors: list[str] = []
        self.expected: list[str] = []
        self.context = browser.new_context(locale="en-GB", accept_downloads=True, **options)  # type: ignore[arg-type]
        self.context.on("request", self._note)
        hold_plans(self.context)
        self.page = self.tab()

    def tab(self, address: str | None = None) -> Page:
        page = self.context.new_page()
        page.set_default_timeout(60_000)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", self._hear)
        page.goto(address or self.served.address)
        page.locator("#file-list li").first.wait_for(state="attached")
        return page

    def _hear(self, line: ConsoleMessage) -> None:
        """Any error on the console fails the test, but for refusals a test provokes and says so."""
        if line.type == "error" and not any(word in line.text for word in self.expected):
            self.errors.append(f"{line.text} ({line.location['url']})")

    def _note(self, request: Request) -> None:
        self.requests.append(request.url)

    def close(self) -> None:
        self.context.close()
        outside = [
            u for u in self.requests if not u.startswith((self.served.origin, f"blob:{self.served.origin}"))
        ]
        assert not outside, f"requests left the machine: {outside}"
        assert not self.errors, self.errors


@pytest.fixture
def visit(browser: Browser, served: Served) -> Iterator[Visit]:
    visit = Visit(browser, served, viewport={"width": 1280, "height": 800})
    yield visit
    visit.close()


@pytest.fixture
def visit_of() -> type[Visit]:
    return Visit


@pytest.fixture
def page(visit: Visit) -> Page:
    return visit.page


def png(draw_on: tuple[int, int], *shapes: tuple[str, tuple[float, ...], int]) -> bytes:
    image = Image.new("L", draw_on, 255)
    pen = ImageDraw.Draw(image)
    for kind, box, grey in shapes:
        getattr(pen, kind)(box, fill=grey)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


@pytest.fixture(scope="session")
def pebble(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An oval: nothing wrong with it anywhere."""
    path = tmp_path_factory.mktemp("pictures") / "pebble.png"
    path.write_bytes(png((300, 240), ("ellipse", (20, 20, 280, 220), 0)))
    return path


@pytest.fixture(scope="session")
def eye(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ring round a disc: the disc would drop out without a bridge."""
    path = tmp_path_factory.mktemp("pictures") / "eye.png"
    path.write_bytes(
        png((300, 300), ("ellipse", (10, 10, 290, 290), 0), ("ellipse", (80, 80, 220, 220), 255))
    )
    return path
