"""Who is let in, asked over a bare socket so that nothing on the way puts a request right.

What each status means: RFC 9110 (400, 403, 404, 405, 411, 413).
"""

from __future__ import annotations

import asyncio
import json
import socket
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from cutout.page.guard import Guard


class Answer:
    def __init__(self, raw: bytes) -> None:
        head, _, body = raw.partition(b"\r\n\r\n")
        lines = head.decode("latin-1").split("\r\n")
        self.status = int(lines[0].split()[1])
        self.headers = {k.lower(): v.strip() for k, _, v in (line.partition(":") for line in lines[1:])}
        self.body = body


def ask(port: int, request: str, body: bytes = b"") -> Answer:
    with socket.create_connection(("127.0.0.1", port), 10) as connection:
        connection.sendall(request.replace("\n", "\r\n").encode("latin-1") + body)
        connection.settimeout(10)
        raw = b""
        while chunk := connection.recv(65536):
            raw += chunk
            head, _, rest = raw.partition(b"\r\n\r\n")
            length = [ln for ln in head.split(b"\r\n") if ln.lower().startswith(b"content-length:")]
            if length and len(rest) >= int(length[0].split(b":")[1]):
                break
    return Answer(raw)


def post(served: Any, path: str, *extra: str, leave_out: str = "", body: bytes = b"{}") -> Answer:
    lines = {
        "Host": f"127.0.0.1:{served.port}",
        "Origin": served.origin,
        "X-Cutout-Key": served.key,
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
    }
    lines |= dict(line.split(": ", 1) for line in extra)
    sent = "".join(f"{k}: {v}\n" for k, v in lines.items() if k != leave_out)
    return ask(served.port, f"POST {path} HTTP/1.1\n{sent}\n", body)


def in_a_thread(coroutine: Coroutine[Any, Any, None]) -> None:
    """Run it where no other event loop runs: the browser's may be waiting in this thread."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, coroutine).result()


def get(served: Any, path: str, host: str | None = None, *extra: str) -> Answer:
    host_line = f"Host: {host}\n" if host is not None else ""
    return ask(served.port, f"GET {path} HTTP/1.1\n{host_line}{''.join(e + chr(10) for e in extra)}\n")


def test_own_addresses_are_answered(served: Any) -> None:
    for name in ("127.0.0.1", "localhost"):
        assert get(served, "/", f"{name}:{served.port}").status == 200


@pytest.mark.parametrize(
    "host",
    [
        "",
        "evil.example",
        "evil.example:{port}",
        "127.0.0.1",
        "127.0.0.1:1",
        "localhost.evil.example:{port}",
        "[::1]:{port}",
    ],
)
def test_foreign_host_or_port_is_refused(served: Any, host: str) -> None:
    assert get(served, "/", host.format(port=served.port)).status == 400


def test_missing_and_doubled_host_are_refused(served: Any) -> None:
    assert get(served, "/").status == 400
    own = f"127.0.0.1:{served.port}"
    assert get(served, "/", own, "Host: evil.example").status == 400


@pytest.mark.parametrize(
    "origin",
    [
        "null",
        "http://evil.example",
        "https://127.0.0.1:{port}",
        "http://127.0.0.1:1",
        "http://localhost:{port}",
    ],
)
def test_post_from_elsewhere_is_refused(served: Any, origin: str) -> None:
    assert post(served, "/api/jobs", f"Origin: {origin.format(port=served.port)}").status == 403


def test_post_without_origin_is_refused(served: Any) -> None:
    assert post(served, "/api/jobs", leave_out="Origin").status == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_fetch_from_another_site_is_refused(served: Any, site: str) -> None:
    host = f"127.0.0.1:{served.port}"
    assert get(served, "/", host, f"Sec-Fetch-Site: {site}").status == 403
    assert post(served, "/api/jobs", f"Sec-Fetch-Site: {site}").status == 403


def test_without_the_key_nothing_is_told(served: Any) -> None:
    host = f"127.0.0.1:{served.port}"
    for key in ([], ["X-Cutout-Key: wrong"], ["X-Cutout-Key: "]):
        assert get(served, "/api/jobs", host, *key).status == 403
        assert get(served, "/api/choices", host, *key).status == 403
    assert post(served, "/api/jobs", leave_out="X-Cutout-Key").status == 403
    assert get(served, "/api/jobs", host, f"X-Cutout-Key: {served.key}").status == 200


def test_too_large_is_refused_before_the_body_is_sent(served: Any) -> None:
    """Only the head is sent: an answer at all shows that the body was not waited for."""
    answer = post(served, "/api/jobs", "Content-Length: 400000", body=b"")
    assert answer.status == 413
    assert "at most" in json.loads(answer.body)["error"]
    job = json.loads(post(served, "/api/jobs").body)["state"]["id"]
    assert post(served, f"/api/jobs/{job}/picture", "Content-Length: 40000001", body=b"").status == 413


@pytest.mark.parametrize("length", ["-1", "1e3", "abc"])
def test_nonsense_length_is_refused(served: Any, length: str) -> None:
    assert post(served, "/api/jobs", f"Content-Length: {length}", body=b"").status in (400, 413)


def test_chunked_body_without_length_is_refused(served: Any) -> None:
    answer = post(
        served,
        "/api/jobs",
        "Transfer-Encoding: chunked",
        leave_out="Content-Length",
        body=b"2\r\n{}\r\n0\r\n\r\n",
    )
    assert answer.status == 411
    assert post(served, "/api/jobs", leave_out="Content-Length", body=b"").status == 411


@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd",
        "/..%2f..%2fetc/passwd",
        "/static/page.css",
        "/page.css/..",
        "/app.py",
        "/%2e%2e/app.py",
        "/api/jobs/..",
        "/api/jobs/..%2f..%2fetc",
        "/api/jobs/AAAAAAAAAAAAAAAA",
        "/api/jobs/AAAAAAAAAAAAAAAA/sources/..%2fstate.json",
        "/api/nothing",
    ],
)
def test_no_path_leads_out(served: Any, path: str) -> None:
    host = f"127.0.0.1:{served.port}"
    assert get(served, path, host, f"X-Cutout-Key: {served.key}").status == 404


def test_names_of_sources_are_not_paths(served: Any) -> None:
    job = json.loads(post(served, "/api/jobs").body)["state"]["id"]
    host = f"127.0.0.1:{served.port}"
    for name in ("..%2fstate.json", "%2e%2e%2fstate.json", "state.json", "source-9", ".."):
        assert (
            get(served, f"/api/jobs/{job}/sources/{name}", host, f"X-Cutout-Key: {served.key}").status == 404
        )
        assert post(served, f"/api/jobs/{job}/sources/{name}").status == 404
    assert (
        get(served, f"/api/jobs/{job}/files/..%2f..%2fx", host, f"X-Cutout-Key: {served.key}").status == 404
    )


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_are_refused(served: Any, method: str) -> None:
    answer = ask(served.port, f"{method} /api/jobs HTTP/1.1\nHost: 127.0.0.1:{served.port}\n\n")
    assert answer.status == 405
    assert answer.headers["allow"] == "GET, HEAD, POST"


def test_every_answer_carries_the_safe_headers(served: Any) -> None:
    host = f"127.0.0.1:{served.port}"
    for answer in (get(served, "/", host), get(served, "/api/jobs", host), get(served, "/", "evil.example")):
        policy = dict(
            part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
        assert "unsafe" not in answer.headers["content-security-policy"]
        assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "server" not in answer.headers


def test_page_has_nothing_inline_and_nothing_from_elsewhere(served: Any) -> None:
    text = get(served, "/", f"127.0.0.1:{served.port}").body.decode()
    assert "<style" not in text
    assert " style=" not in text
    assert " onclick" not in text
    assert text.count("<script") == text.count('<script type="module" src="/main.js">')
    assert "http:" not in text
    assert "https:" not in text


def test_body_longer_than_said_is_stopped_while_it_streams() -> None:
    """A server in front that does not hold a body to its length: the guard counts for itself."""
    seen: list[int] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        while True:
            message = await receive()
            seen.append(len(message["body"]))
            if not message["more_body"]:
                return

    scope = {
        "type": "http",
        "method": "POST",
        "path": "/api/x",
        "server": ("127.0.0.1", 8000),
        "headers": [
            (b"host", b"127.0.0.1:8000"),
            (b"origin", b"http://127.0.0.1:8000"),
            (b"content-length", b"10"),
            (b"x-cutout-key", b"k"),
        ],
    }

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"x" * 40, "more_body": True}

    async def send(message: Any) -> None:
        raise AssertionError("nothing should be sent")

    with pytest.raises(Exception, match="too large") as raised:
        in_a_thread(Guard(app, "k", lambda path: 100)(scope, receive, send))
    assert getattr(raised.value, "status_code", None) == 413
    assert sum(seen) <= 100
