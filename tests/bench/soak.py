"""The page among bad company for long: a thousand changes while slow, nosy and breaking-off clients come and go.

    python tests/bench/soak.py                  1,000 changes; --changes 5000 for longer

Only 256 files may be open. Said at the end: answers that were not as they should be, what the server's memory and
open files came to, and how many lines it complained in. Ends with 1 where anything was lost.
"""

from __future__ import annotations

import argparse
import random
import socket
import sys
import tempfile
import time
from pathlib import Path

import httpx

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.bad.test_page_soak import LOW, Running, page


def used(running: Running) -> tuple[float, int]:
    """Memory (MB) and open files of the server's own process."""
    proc = Path(f"/proc/{running.process.pid}")
    pages = int((proc / "statm").read_text().split()[1])
    return pages * 4096 / 2**20, len(list((proc / "fd").iterdir()))


def bother(running: Running, rng: random.Random, held: list[socket.socket]) -> str:
    """One of the things bad company does; what was not answered as it should be, if anything."""
    what = rng.randrange(5)
    at = f"http://127.0.0.1:{running.port}"
    if what == 0:
        held.append(running.half(rng.choice([b"", b"GET / HT", b"POST /api/jobs HTTP/1.1\r\nHost: x\r\n"])))
    elif what == 1:
        running.half(b"POST /api/jobs HTTP/1.1\r\nContent-Length: 99999\r\n\r\nxx").close()
    elif what == 2:
        answer = httpx.get(f"{at}/api/jobs", timeout=30)
        return "" if answer.status_code in (401, 403) else f"without a key: {answer.status_code}"
    elif what == 3:
        answer = httpx.get(f"{at}/api/jobs", timeout=30, headers={"x-cutout-key": "0" * 43, "origin": at})
        return "" if answer.status_code in (401, 403) else f"with a wrong key: {answer.status_code}"
    else:
        held.append(running.half(b"\x16\x03\x01" + rng.randbytes(200)))
    return ""


def changed(client: httpx.Client, state: dict[str, object], width: float) -> tuple[dict[str, object], str]:
    """The state after one change, or the same and what went wrong."""
    change = {"revision": state["revision"], "changes": [{"path": "panel.width", "value": width}]}
    answer = client.post(f"/api/jobs/{state['id']}/change", json=change)
    if answer.status_code != 200:
        return state, f"a change: {answer.status_code} {answer.text[:80]}"
    return answer.json()["state"], ""


def main() -> int:
    """Run it and say what came."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--changes", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng, held, wrong = random.Random(asked.seed), list[socket.socket](), list[str]()
    with tempfile.TemporaryDirectory() as folder:
        with page(Path(folder), LOW, head=5.0, stall=5.0) as running, running.client() as client:
            state = client.post("/api/jobs", json={}).json()["state"]
            first, slowest = used(running), 0.0
            for n in range(asked.changes):
                wrong += [said for _ in range(2) if (said := bother(running, rng, held))]
                for connection in held[:-150]:
                    connection.close()
                held = held[-150:]
                begun = time.monotonic()
                state, said = changed(client, state, 300.0 + n % 500)
                slowest = max(slowest, time.monotonic() - begun)
                wrong += [said] if said else []
                if n == 100:
                    first = used(running)
            last = used(running)
            kept = client.get(f"/api/jobs/{state['id']}").json()["state"]["job"]["panel"]["width"]
            if kept != 300.0 + (asked.changes - 1) % 500:
                wrong.append(f"kept {kept}, not the last change")
            for connection in held:
                connection.close()
        complaints = running.errors.read_text().splitlines()
    print(f"{asked.changes} changes, {2 * asked.changes} bad visits; the slowest change took {slowest:.2f} s")
    print(
        f"after 100 changes {first[0]:.0f} MB, {first[1]} files open; at the end {last[0]:.0f} MB, {last[1]} files"
    )
    print(f"lines of complaint: {len(complaints)}; wrong answers: {len(wrong)}")
    for said in (*complaints[:3], *wrong[:5]):
        print(said)
    return 1 if wrong or complaints else 0


if __name__ == "__main__":
    sys.exit(main())
