"""Starting and stopping the page as its command does."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from cutout.errors import WriteError
from cutout.page import serve
from cutout.page.server import listening
from cutout.page.start import empty
from cutout.page.store import NoSuchJobError, Store


def test_it_says_its_address_answers_there_and_stops_when_interrupted(tmp_path: Path) -> None:
    jobs = str(tmp_path / "jobs")
    code = f"from pathlib import Path; from cutout.page import serve; serve(None, False, Path({jobs!r}))"
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    found = re.search(r"(http://127\.0\.0\.1:\d+/)#key=([\w-]{20,})", process.stdout.readline())
    assert found
    with httpx.Client(base_url=found[1], timeout=60) as client:
        assert client.get("/").status_code == 200
        assert client.get("/api/jobs").status_code == 403
        assert client.get("/api/jobs", headers={"x-cutout-key": found[2]}).json() == {"jobs": []}
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "Traceback" not in errors


def test_it_stops_at_once_while_a_plan_is_worked_out(tmp_path: Path, eye: Path) -> None:
    jobs = str(tmp_path / "jobs")
    code = f"from pathlib import Path; from cutout.page import serve; serve(None, False, Path({jobs!r}))"
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    found = re.search(r"(http://127\.0\.0\.1:\d+)/#key=([\w-]{20,})", process.stdout.readline())
    assert found
    headers = {"x-cutout-key": found[2], "origin": found[1]}
    with (
        httpx.Client(base_url=found[1], timeout=60, headers=headers) as client,
        ThreadPoolExecutor(1) as pool,
    ):
        job = client.post("/api/jobs", json={}).json()["state"]["id"]
        client.post(f"/api/jobs/{job}/picture", content=eye.read_bytes())
        waiting = pool.submit(client.get, f"/api/jobs/{job}/work/planned")
        time.sleep(0.5)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
        assert waiting.result().status_code in (200, 204)
    assert process.returncode == 0
    assert errors == ""


def test_each_run_has_a_key_of_its_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("uvicorn.Server.run", lambda self, sockets: None)
    serve(None, False, tmp_path)
    serve(None, False, tmp_path)
    said = re.findall(r"http://\S+", capsys.readouterr().out)
    assert said[0].split("#key=")[1] != said[1].split("#key=")[1]


def test_only_this_machine_can_connect() -> None:
    with listening(None) as sock:
        assert sock.getsockname()[0] == "127.0.0.1"


def test_a_taken_port_is_said_in_one_line() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(WriteError, match=f"port {port} can't be used") as raised, listening(port):
            pass
    assert "\n" not in str(raised.value)


def test_a_folder_that_cannot_be_made_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(WriteError, match="can't keep jobs there"):
        serve(None, False, tmp_path / "file" / "jobs")


def test_jobs_never_touched_are_swept_away_the_day_after(tmp_path: Path) -> None:
    store = Store(tmp_path)
    old, new = store.new(empty("mm")), store.new(empty("mm"))
    yesterday = time.time() - 25 * 3600
    os.utime(tmp_path / old.id / "state.json", (yesterday, yesterday))
    store.sweep()
    assert store.state(new.id) == new
    with pytest.raises(NoSuchJobError):
        store.state(old.id)
