"""The walk shown in the network: its own key, its own port, one page to look at and nothing else."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
import segno

from cutout.errors import WriteError
from cutout.page import create_app, server
from cutout.page.server import listening, serve, server_of
from cutout.page.share import Shared, code_path, code_text, lan_address
from tests.page.conftest import KEY

HERE = "127.0.0.1"
WALK_KEY = "k" * 32


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, int]]:
    """The port of the page and the port of the shared walk, of one server."""
    with listening(None) as own, listening(None, HERE) as other:
        shared = Shared(HERE, other.getsockname()[1], WALK_KEY)
        running = server_of(create_app(KEY, tmp_path_factory.mktemp("jobs"), shared))
        thread = threading.Thread(target=running.run, kwargs={"sockets": [own, other]}, daemon=True)
        thread.start()
        while not running.started:
            time.sleep(0.02)
        yield own.getsockname()[1], shared.port
        running.should_exit = True
        thread.join(10)


def ask(port: int, path: str, method: str = "GET", **headers: str) -> httpx.Response:
    return httpx.request(method, f"http://{HERE}:{port}{path}", headers=headers, timeout=60)


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/walk",
        "/walk/",
        "/main.js",
        "/index.html",
        "/api/jobs",
        "/api/choices",
        "/favicon.ico",
        f"/walk/{WALK_KEY}/",
        f"/walk/{WALK_KEY}/../api/jobs",
        f"/Walk/{WALK_KEY}",
        f"//walk/{WALK_KEY}",
    ],
)
def test_nothing_else_is_there_even_with_the_pages_own_key(both: tuple[int, int], path: str) -> None:
    answer = ask(both[1], path, **{"x-cutout-key": KEY})
    assert answer.status_code == (403 if path == "/walk/" else 404)
    assert KEY not in answer.text


@pytest.mark.parametrize("key", ["wrong", WALK_KEY[:-1], WALK_KEY + "k", KEY.replace(" ", "%20"), "%00", "ö"])
def test_a_wrong_key_is_refused(both: tuple[int, int], key: str) -> None:
    assert ask(both[1], f"/walk/{key}").status_code == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_it_can_only_be_looked_at(both: tuple[int, int], method: str) -> None:
    answer = ask(both[1], f"/walk/{WALK_KEY}", method)
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD"


def test_a_foreign_name_made_to_point_here_is_refused(both: tuple[int, int]) -> None:
    assert ask(both[1], f"/walk/{WALK_KEY}", host="example.org").status_code == 400


def test_the_key_of_the_walk_opens_nothing_on_the_page(both: tuple[int, int]) -> None:
    assert ask(both[0], "/api/jobs", **{"x-cutout-key": WALK_KEY}).status_code == 403
    assert ask(both[0], f"/walk/{WALK_KEY}").status_code == 404


def test_the_open_job_is_shown_and_no_other_file_of_it(both: tuple[int, int], pebble: Path) -> None:
    own = {"x-cutout-key": KEY, "origin": f"http://{HERE}:{both[0]}", "sec-fetch-site": "same-origin"}
    with httpx.Client(base_url=f"http://{HERE}:{both[0]}", headers=own, timeout=60) as client:
        before = ask(both[1], f"/walk/{WALK_KEY}")
        assert before.status_code == 503
        assert 'http-equiv="refresh"' in before.text  # it asks again by itself
        job = client.post("/api/jobs", json={}).json()["state"]
        assert ask(both[1], f"/walk/{WALK_KEY}").status_code == 503
        state = client.post(f"/api/jobs/{job['id']}/picture", content=pebble.read_bytes()).json()["state"]
        edit = {"revision": state["revision"], "changes": [{"path": "figures.0.width", "value": 120}]}
        client.post(f"/api/jobs/{job['id']}/change", json=edit)
        shown = ask(both[1], f"/walk/{WALK_KEY}")
        assert shown.status_code == 200
        assert shown.content == client.get(f"/api/jobs/{job['id']}/files/cutsheet.html").content
        for name in ("template.pdf", "job.toml", "everything.zip"):
            assert ask(both[1], f"/api/jobs/{job['id']}/files/{name}").status_code == 404
        # Even a fault in the file could load nothing and send nothing: the policy says so to the browser.
        policy = shown.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "connect-src" not in policy
        assert ask(both[1], f"/walk/{WALK_KEY}", "HEAD").content == b""
        told = client.get("/api/choices").json()["shared"]
        assert told["address"] == f"http://{HERE}:{both[1]}/walk/{WALK_KEY}"


def test_nothing_is_shared_unless_it_is_asked_for(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken: list[list[str]] = []
    monkeypatch.setattr(
        "uvicorn.Server.run", lambda self, sockets: taken.append([s.getsockname()[0] for s in sockets])
    )
    monkeypatch.setattr(server, "lan_address", lambda: "127.0.0.2")
    serve(None, False, tmp_path)
    assert "walk" not in capsys.readouterr().out
    serve(None, False, tmp_path, share=True)
    said = capsys.readouterr().out
    assert taken == [["127.0.0.1"], ["127.0.0.1", "127.0.0.2"]]
    assert "http://127.0.0.2:" in said
    for words in (
        "whoever is in your network",
        "Nothing can be changed",
        "not encrypted",
        "ends with the page",
    ):
        assert words in said


def test_without_a_network_it_is_said_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("socket.socket.connect", lambda *_: (_ for _ in ()).throw(OSError("no route")))
    with pytest.raises(WriteError, match="in no network"):
        lan_address()


def test_the_code_is_the_address() -> None:
    """Drawn three ways it is one code, and the one a QR library makes of the address (ISO/IEC 18004)."""
    shared = Shared("192.0.2.7", 40123, WALK_KEY)
    rows = shared.code()
    plain = [tuple(map(bool, row)) for row in segno.make(shared.address, error="m", micro=False).matrix]
    assert [row[2:-2] for row in rows[2:-2]] == plain
    assert not any(any(row) for row in (*rows[:2], *rows[-2:]))
    assert code_path(rows).count("M") == sum(map(sum, rows))
    lines = code_text(rows, colour=True).splitlines()
    ink = [line.removeprefix("\x1b[30;107m").removesuffix("\x1b[0m") for line in lines]
    upper = [tuple(mark in "▀█" for mark in line) for line in ink]
    lower = [tuple(mark in "▄█" for mark in line) for line in ink]
    drawn = [row for pair in zip(upper, lower, strict=True) for row in pair][: len(rows)]
    assert drawn == list(rows)
    assert (
        code_text(rows, colour=False).splitlines()[0].startswith("██")
    )  # light modules are the letters there


def test_other_connections_go_to_the_page() -> None:
    """Even one whose socket is not known: it meets the page's own guard, never the walk."""
    seen: list[str] = []

    class Page:
        stop = staticmethod(lambda: None)

        async def __call__(self, scope: object, receive: object, send: object) -> None:
            seen.append("page")

    async def walk() -> bytes:
        raise AssertionError("the walk was asked for")

    from cutout.page.share import Sharing

    door = Sharing(Page(), Shared(HERE, 5, WALK_KEY), walk)
    for where in (None, (HERE, 6)):
        scope = {"type": "http", "server": where, "headers": [], "method": "GET", "path": f"/walk/{WALK_KEY}"}
        # In a thread of its own: the browser of other tests may have an event loop waiting in this one.
        with ThreadPoolExecutor(1) as pool:
            pool.submit(asyncio.run, door(scope, None, None)).result()  # type: ignore[arg-type]
    assert seen == ["page", "page"]
