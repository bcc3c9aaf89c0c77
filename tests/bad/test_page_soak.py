"""The page among bad company: half-open requests, broken uploads, a nosy neighbour, a browser in the foreground."""

from __future__ import annotations

import asyncio
import errno
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from cutout.page.server import without_a_traceback
from cutout.page.store import MOST_STEPS

ROOT = Path(__file__).parents[2]
QUICK = (
    "import cutout.page.patience as p; p.HEAD_WITHIN, p.STALL, p._TICK = {head}, {stall}, 0.05\n"
    "import sys; from pathlib import Path; from cutout.page import serve\n"
    "serve(None, {browser}, Path(sys.argv[1]))\n"
)


@dataclass
class Running:
    process: subprocess.Popen[bytes]
    port: int
    key: str
    errors: Path
    jobs: Path

    def client(self) -> httpx.Client:
        at = f"http://127.0.0.1:{self.port}"
        return httpx.Client(base_url=at, timeout=30, headers={"x-cutout-key": self.key, "origin": at})

    def half(self, sent: bytes) -> socket.socket:
        made = socket.create_connection(("127.0.0.1", self.port), 10)
        made.sendall(sent)
        return made


@contextmanager
def page(
    tmp_path: Path, prelude: str = "", head: float = 0.5, stall: float = 0.5, browser: str = ""
) -> Iterator[Running]:
    code = prelude + QUICK.format(head=head, stall=stall, browser=bool(browser))
    errors = tmp_path / "errors"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **({"BROWSER": browser} if browser else {})}
    with errors.open("wb") as stream:
        process = subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path / "jobs")],
            stdout=subprocess.PIPE,
            stderr=stream,
            env=environment,
        )
    try:
        assert process.stdout is not None
        found = re.search(rb"http://127\.0\.0\.1:(\d+)/#key=([\w-]{20,})", process.stdout.readline())
        assert found
        yield Running(process, int(found[1]), found[2].decode(), errors, tmp_path / "jobs")
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()


LOW = "import resource; resource.setrlimit(resource.RLIMIT_NOFILE, (256, 256))\n"


@pytest.mark.skipif(sys.platform == "win32", reason="limits of open files are POSIX")
def test_half_open_requests_do_not_keep_others_out(tmp_path: Path) -> None:
    """Three hundred connections that never finish a request or send none that is one, with 256 files allowed."""
    with page(tmp_path, LOW) as running:
        greeting = b"\x16\x03\x01\x00\xc8 of a browser that takes it for a page in cipher"
        line = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        starts = (b"", b"GET / HT", line, b"POST /api/jobs HTTP/1.1\r\n", greeting)
        held = [running.half(starts[n % len(starts)]) for n in range(300)]
        with running.client() as client:
            for _ in range(20):
                assert client.get("/").status_code == 200
        time.sleep(1.5)
        ended = 0
        for connection in held:
            connection.settimeout(2)
            try:
                while connection.recv(4096):
                    pass
                ended += 1
            except ConnectionError:
                ended += 1
            except TimeoutError:
                pass
            connection.close()
        assert ended == 300, "a half-open request is ended"
    assert running.errors.read_bytes() == b""


def test_running_out_of_files_is_waited_out_without_a_traceback(caplog: pytest.LogCaptureFixture) -> None:
    loop = asyncio.new_event_loop()
    try:
        loop.set_exception_handler(without_a_traceback)
        too_many = OSError(errno.EMFILE, "too many open files")
        loop.call_exception_handler({"message": "socket.accept() failed", "exception": too_many})
        assert caplog.records == []
        loop.call_exception_handler({"message": "something else", "exception": ValueError("x")})
        assert [record.levelname for record in caplog.records] == ["ERROR"]
    finally:
        loop.close()


def test_uploads_that_break_off_or_stall_are_ended_without_a_word(tmp_path: Path) -> None:
    with page(tmp_path) as running, running.client() as client:
        job = client.post("/api/jobs", json={}).json()["state"]["id"]
        head = (
            f"POST /api/jobs/{job}/picture HTTP/1.1\r\nHost: 127.0.0.1:{running.port}\r\n"
            f"Origin: http://127.0.0.1:{running.port}\r\nx-cutout-key: {running.key}\r\n"
            "Content-Length: 100000\r\n\r\n"
        ).encode()
        for n in range(20):
            made = running.half(head + b"x" * (n * 1000))
            if n % 2:
                made.close()
        time.sleep(1.5)
        stalled = running.half(head + b"x" * 10)
        stalled.settimeout(5)
        with pytest.raises(ConnectionError):
            if not stalled.recv(4096):
                raise ConnectionResetError
        assert client.get("/api/jobs").status_code == 200
    said = running.errors.read_text()
    assert said.count("\n") <= 1, said[-2000:]


def test_a_connection_in_use_is_not_ended(tmp_path: Path) -> None:
    """One connection kept for many requests, longer than a head may take."""
    with page(tmp_path, head=0.4, stall=0.4) as running, running.client() as client:
        begun = time.monotonic()
        while time.monotonic() - begun < 1.5:
            assert client.get("/").status_code == 200
            time.sleep(0.05)


def test_more_changes_than_are_kept_are_all_there(tmp_path: Path) -> None:
    """With slow clients beside it; every step back in order, as far as steps are kept."""
    most = MOST_STEPS + 30
    with page(tmp_path, LOW if sys.platform != "win32" else "") as running, running.client() as client:
        slow = [running.half(b"GET / HTTP/1.1\r\n") for _ in range(30)]
        state = client.post("/api/jobs", json={}).json()["state"]
        for n in range(most):
            change = {"revision": state["revision"], "changes": [{"path": "panel.width", "value": 300.0 + n}]}
            answer = client.post(f"/api/jobs/{state['id']}/change", json=change)
            assert answer.status_code == 200, answer.text
            state = answer.json()["state"]
        for connection in slow:
            connection.close()
        for _ in range(5):
            answer = client.post(f"/api/jobs/{state['id']}/undo", json={"revision": state["revision"]})
            state = answer.json()["state"]
        assert state["job"]["panel"]["width"] == 300.0 + most - 6
        assert len(list((running.jobs / state["id"] / "history").iterdir())) <= MOST_STEPS + 1
    assert running.errors.read_bytes() == b""


@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="looks at processes as Linux lists them")
def test_the_key_is_in_no_list_of_processes_and_a_browser_in_the_foreground_keeps_nobody_waiting(
    tmp_path: Path,
) -> None:
    script = tmp_path / "browser"
    script.write_text(f'#!/bin/sh\necho "$1" > "{tmp_path}/asked"\nexec sleep 30\n')
    script.chmod(0o755)
    with page(tmp_path, browser=f"{script} %s") as running:
        with running.client() as client:
            assert client.get("/api/jobs").status_code == 200
        for _ in range(100):
            if (tmp_path / "asked").exists() and (tmp_path / "asked").read_text().strip():
                break
            time.sleep(0.05)
        asked = (tmp_path / "asked").read_text().strip()
        assert asked.startswith("file://")
        listed = b"".join(
            p.read_bytes() for p in Path("/proc").glob("[0-9]*/cmdline") if os.access(p, os.R_OK)
        )
        assert running.key.encode() not in listed
        opened = Path(asked.removeprefix("file://"))
        assert running.key in opened.read_text()
        assert stat.S_IMODE(opened.stat().st_mode) == 0o600
    assert not opened.exists()


def test_the_page_opens_from_that_file_and_nothing_else_does(tmp_path: Path) -> None:
    """What browsers send when a page of another origin (a file is one) leads here: the Fetch Metadata headers."""
    led = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    with page(tmp_path) as running, running.client() as client:
        assert client.get("/", headers=led).status_code == 200
        assert client.get("/api/jobs", headers=led).status_code == 403
        assert client.get("/", headers=led | {"sec-fetch-dest": "iframe"}).status_code == 403
        assert client.get("/", headers=led | {"sec-fetch-mode": "no-cors"}).status_code == 403
