"""The page's addresses, asked as its own scripts ask them."""

from __future__ import annotations

import io
import multiprocessing
import re
import struct
import time
import tomllib
import zipfile
import zlib
from collections.abc import Callable
from contextlib import AbstractContextManager
from itertools import combinations
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image

from cutout.cli import run


def new(client: httpx.Client, units: str = "mm") -> dict[str, Any]:
    answer = client.post("/api/jobs", json={"units": units})
    assert answer.status_code == 200, answer.text
    return dict(answer.json()["state"])


def upload(
    client: httpx.Client, job: str, data: bytes, name: str = "a.png", figure: int | None = None
) -> httpx.Response:
    where = "" if figure is None else f"?figure={figure}"
    return client.post(f"/api/jobs/{job}/picture{where}", content=data, headers={"x-file-name": name})


def change(
    client: httpx.Client, state: dict[str, Any], *changes: tuple[str, Any], gesture: str | None = None
) -> httpx.Response:
    body = {
        "revision": state["revision"],
        "changes": [{"path": path, "value": value} for path, value in changes],
        "gesture": gesture,
    }
    return client.post(f"/api/jobs/{state['id']}/change", json=body)


def box(answer: httpx.Response) -> list[float]:
    assert answer.status_code == 200, answer.text
    assert answer.json()["problem"] is None
    return [round(v, 2) for v in answer.json()["look"]["figures"][0]["box"]]


@pytest.fixture
def state(client: httpx.Client, pebble: Path) -> dict[str, Any]:
    """A job with the pebble on its panel."""
    return dict(upload(client, new(client)["id"], pebble.read_bytes(), "pebble.png").json()["state"])


def test_a_picture_is_seen_on_the_panel_at_once(client: httpx.Client, pebble: Path) -> None:
    answer = upload(client, new(client)["id"], pebble.read_bytes(), "pebble.png")
    look = answer.json()["look"]
    assert look["panel"]["width"] == 500
    assert look["waste"].startswith("M")
    x0, y0, x1, y1 = box(answer)
    assert x1 - x0 == pytest.approx(350, abs=0.1)
    assert (x0 + x1) / 2 == pytest.approx(250, abs=0.1)
    assert (y0 + y1) / 2 == pytest.approx(350, abs=0.1)
    assert answer.json()["state"]["title"] == "pebble"


def test_a_tall_picture_is_fitted_by_its_height(client: httpx.Client, eye: Path) -> None:
    state = new(client)
    state = change(client, state, ("panel.width", "900"), ("panel.height", "300")).json()["state"]
    _, y0, _, y1 = box(upload(client, state["id"], eye.read_bytes()))
    assert y1 - y0 == pytest.approx(210, abs=0.1)


def test_size_place_turn_and_mirror(client: httpx.Client, state: dict[str, Any]) -> None:
    answer = change(client, state, ("figures.0.width", "200"), ("figures.0.at", ["150", "15cm"]))
    assert box(answer) == pytest.approx([50, 73.1, 250, 226.9], abs=1)
    wide = box(answer)
    answer = change(client, answer.json()["state"], ("figures.0.turn", 90))
    turned = box(answer)
    assert turned[2] - turned[0] == pytest.approx(wide[3] - wide[1], abs=0.1)
    assert turned[3] - turned[1] == pytest.approx(200, abs=0.1)
    answer = change(client, answer.json()["state"], ("figures.0.turn", 0))
    assert box(answer) == pytest.approx(wide, abs=0.1)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not a picture",
        b"\x89PNG\r\n\x1a\n broken",
        b"<svg><g></svg>",
        b"%PDF-1.4",
        b"GIF89a",
        bytes(5000),
    ],
)
def test_a_bad_picture_is_refused_in_one_line(client: httpx.Client, data: bytes) -> None:
    job = new(client)["id"]
    answer = upload(client, job, data, "holiday photo.png")
    assert answer.status_code == 422
    message = answer.json()["error"]
    assert "\n" not in message
    assert "holiday photo.png" in message
    assert "source-" not in message
    assert "/" not in message
    after = client.get(f"/api/jobs/{job}").json()["state"]
    assert after["labels"] == {}
    assert after["job"]["figures"] == []


def test_a_picture_with_too_many_pixels_is_refused(client: httpx.Client) -> None:
    """A few bytes that claim 60,000 x 60,000 pixels (PNG's IHDR chunk, ISO/IEC 15948)."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return (
            struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        )

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 0, 0, 0, 0)
    data = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(bytes(1000)))
        + chunk(b"IEND", b"")
    )
    answer = upload(client, new(client)["id"], data)
    assert answer.status_code == 422
    assert "pixels" in answer.json()["error"]


def test_svg_that_points_elsewhere_is_not_followed(client: httpx.Client, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("hidden words")
    data = (
        f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file://{secret}">]>'
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="50mm" viewBox="0 0 50 50">'
        '<rect width="40" height="30"/><text>&x;</text></svg>'
    )
    answer = upload(client, new(client)["id"], data.encode(), "a.svg")
    assert answer.status_code in (200, 422)
    assert "hidden words" not in answer.text


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("panel.width", "wide"),
        ("panel.thickness", "-1mm"),
        ("keep", "nothing"),
        ("figures.0.smooth", 7),
        ("nonsense", 1),
    ],
)
def test_a_wrong_value_changes_nothing(
    client: httpx.Client, state: dict[str, Any], path: str, value: Any
) -> None:
    answer = change(client, state, (path, value))
    assert answer.status_code == 422
    assert "\n" not in answer.json()["error"]
    assert client.get(f"/api/jobs/{state['id']}").json()["state"] == state


def test_a_source_can_only_be_one_chosen_here(client: httpx.Client, state: dict[str, Any]) -> None:
    for name in ("/etc/passwd", "../state.json", "source-2"):
        assert change(client, state, ("figures.0.source", name)).status_code == 422
        assert change(client, state, ("figures.0.font", name)).status_code == 422
        assert change(client, state, ("faces.show", {"figures": [{"source": name}]})).status_code == 422


def test_what_does_not_fit_is_said_and_the_job_goes_on(client: httpx.Client, state: dict[str, Any]) -> None:
    answer = change(client, state, ("panel.width", "300"))
    assert answer.status_code == 200
    assert "300" in answer.json()["problem"]
    assert answer.json()["look"] is None
    assert box(change(client, answer.json()["state"], ("figures.0.width", "200")))


@pytest.mark.parametrize(
    "body", [b"", b"{", b"[]", b'{"revision": "x", "changes": []}', b'{"changes": []}', b"\xff"]
)
def test_malformed_requests_are_told_so(client: httpx.Client, state: dict[str, Any], body: bytes) -> None:
    answer = client.post(f"/api/jobs/{state['id']}/change", content=body)
    assert answer.status_code == 400
    assert answer.json()["error"]


def test_undo_and_redo(client: httpx.Client, state: dict[str, Any]) -> None:
    after = change(client, state, ("panel.height", "800")).json()["state"]
    assert after["can_undo"]
    back = client.post(f"/api/jobs/{state['id']}/undo", json={"revision": after["revision"]}).json()["state"]
    assert back["job"] == state["job"]
    assert back["can_redo"]
    again = client.post(f"/api/jobs/{state['id']}/redo", json={"revision": back["revision"]}).json()["state"]
    assert again["job"] == after["job"]


def test_two_tabs_on_one_job_do_not_overwrite_each_other(client: httpx.Client, state: dict[str, Any]) -> None:
    assert change(client, state, ("panel.height", "800")).status_code == 200
    late = change(client, state, ("panel.height", "900"))
    assert late.status_code == 409
    assert late.json()["kind"] == "stale"
    assert client.get(f"/api/jobs/{state['id']}").json()["state"]["job"]["panel"]["height"] == 800


def test_two_jobs_do_not_mix(client: httpx.Client, state: dict[str, Any], eye: Path) -> None:
    other = upload(client, new(client)["id"], eye.read_bytes(), "eye.png").json()["state"]
    assert other["id"] != state["id"]
    change(client, other, ("panel.height", "1234"), ("figures.0.width", "111"))
    assert client.get(f"/api/jobs/{state['id']}").json()["state"] == state
    assert client.get(f"/api/jobs/{other['id']}/sources/source-1").content == eye.read_bytes()
    assert client.get(f"/api/jobs/{state['id']}/sources/source-1").content != eye.read_bytes()


def test_work_behind_the_look(client: httpx.Client, state: dict[str, Any]) -> None:
    checked = client.get(f"/api/jobs/{state['id']}/work/checked").json()
    assert checked["revision"] == state["revision"]
    assert checked["findings"] == []
    planned = client.get(f"/api/jobs/{state['id']}/work/planned").json()
    assert planned["proved"]
    assert planned["holes"][0]["roles"][0] == "starter"
    assert planned["steps"][0]["title"] == "Drill 1 hole"
    assert planned["steps"][-1]["drops"]
    assert client.get(f"/api/jobs/{state['id']}/work/nothing").status_code == 404


def test_examples_are_shown_and_opened(client: httpx.Client) -> None:
    names = client.get("/api/choices").json()["examples"]
    assert len(names) == 3
    for name in names:
        seen = client.get(f"/api/examples/{name}").json()
        assert seen["title"]
        assert seen["about"]
        assert seen["figure"].startswith("M")
        opened = client.post("/api/jobs", json={"example": name}).json()
        assert opened["problem"] is None
        assert opened["state"]["missing"] == []
        assert opened["look"]["waste"].startswith("M")
    assert client.get("/api/examples/spoon").status_code == 404
    assert client.post("/api/jobs", json={"example": "../spoon"}).status_code == 404


def test_a_further_figure_goes_to_free_room(
    client: httpx.Client, state: dict[str, Any], pebble: Path
) -> None:
    """Three ovals on one panel: no box of one over a box of another, and nothing is said to overlap."""
    for n in range(2):
        answer = upload(client, state["id"], pebble.read_bytes(), f"more-{n}.png")
    look = answer.json()["look"]
    boxes = [figure["box"] for figure in look["figures"]]
    assert len(boxes) == 3
    for a, b in combinations(boxes, 2):
        assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]
    assert look["overlaps"] == []
    over = change(client, answer.json()["state"], ("figures.2.at", ["250mm", "350mm"])).json()
    assert [0, 2] in over["look"]["overlaps"]


def test_a_file_for_a_field_is_kept_and_can_be_named(
    client: httpx.Client, state: dict[str, Any], eye: Path
) -> None:
    headers = {"x-file-name": "painted.png"}
    name = client.post(f"/api/jobs/{state['id']}/sources", content=eye.read_bytes(), headers=headers).json()[
        "name"
    ]
    painted = {"figures": [{"source": name, "width": "90mm"}]}
    answer = change(client, state, ("faces.back", painted)).json()
    assert answer["problem"] is None
    assert answer["state"]["labels"][name] == "painted.png"
    assert [zone["face"] for zone in answer["look"]["panel"]["drawn"]] == ["back"]


def test_the_frame_of_a_panel_is_drawn_round_it(client: httpx.Client) -> None:
    """Opening 600 x 400 mm, reach 8, 8, 12 and 5 mm, reveal 2 mm: the panel is 612 x 413 mm, by hand."""
    answer = client.post("/api/jobs", json={"example": "screen-leaf"}).json()
    panel = answer["look"]["panel"]
    assert (panel["width"], panel["height"]) == (612, 413)
    assert panel["frame"]["opening"] == [6, 3, 606, 403]
    assert answer["state"]["shown"]["panel.width"] == "612 mm"
    assert "frame" in answer["state"]["closed"]["panel.width"]
    assert "grain" in answer["state"]["closed"]["panel.grain"]
    assert "row" in answer["state"]["closed"]["figures.0.at"]


def test_files_are_those_of_the_command_line(client: httpx.Client, state: dict[str, Any]) -> None:
    starts = {
        "template.pdf": b"%PDF-",
        "cutsheet.html": b"<!",
        "cutsheet.pdf": b"%PDF-",
        "shopdrawing.pdf": b"%PDF-",
        "pattern.svg": b"<",
        "router.dxf": b"",
        "router.ngc": b"",
        "router-dry.ngc": b"",
        "routed.png": b"\x89PNG",
        "router-setup.pdf": b"%PDF-",
        "film.svg": b"<",
        "outline.pdf": b"%PDF-",
        "preview.png": b"\x89PNG",
        "job.toml": b"#",
    }
    for name, start in starts.items():
        answer = client.get(f"/api/jobs/{state['id']}/files/{name}")
        assert answer.status_code == 200, (name, answer.text)
        assert answer.content.lstrip().startswith(start), name
        assert answer.headers["content-disposition"] == f'attachment; filename="{name}"'
        assert len(answer.content) > 100
    first = client.get(f"/api/jobs/{state['id']}/files/everything.zip").content
    assert client.get(f"/api/jobs/{state['id']}/files/everything.zip").content == first
    with zipfile.ZipFile(io.BytesIO(first)) as packed:
        on_request = {
            "router.ngc",
            "router-dry.ngc",
            "router-setup.pdf",
            "routed.png",
            "film.svg",
            "outline.pdf",
        }
        assert {*starts, "result.json", "pebble.png"} - on_request == set(packed.namelist())
    assert client.get(f"/api/jobs/{state['id']}/files/nothing.pdf").status_code == 404


def test_the_download_holds_what_the_command_line_writes(
    client: httpx.Client, state: dict[str, Any], tmp_path: Path
) -> None:
    """The same job, with a small bit, a mat smaller than the figure, and an outline to trace round."""
    asked = {
        "router.gcode": True,
        "router.small_bit": "3mm",
        "template.film": True,
        "template.mat": ["80mm", "80mm"],
        "template.outline": True,
    }
    state = change(client, state, *asked.items()).json()["state"]
    packed = client.get(f"/api/jobs/{state['id']}/files/everything.zip").content
    with zipfile.ZipFile(io.BytesIO(packed)) as files:
        files.extractall(tmp_path / "job")
    assert run(["make", str(tmp_path / "job" / "job.toml"), "--out", str(tmp_path / "out")]) in (0, 1)
    written = {p.name for p in (tmp_path / "out").iterdir()}
    assert written == {p.name for p in (tmp_path / "job").iterdir()} - {"pebble.png"}
    assert len(written) > 14
    film = client.get(f"/api/jobs/{state['id']}/files/film.svg")
    assert film.headers["content-disposition"] == 'attachment; filename="film.zip"'


def test_the_test_card_needs_no_picture(client: httpx.Client) -> None:
    answer = client.get(f"/api/jobs/{new(client)['id']}/files/test-card.pdf")
    assert answer.content.startswith(b"%PDF-")


def test_what_reading_did_is_told(client: httpx.Client, state: dict[str, Any], eye: Path) -> None:
    image = Image.open(eye).convert("L")
    for x in (3, 290):
        image.paste(0, (x, 3, x + 4, 7))
    out = io.BytesIO()
    image.save(out, "PNG")
    job = upload(client, new(client)["id"], out.getvalue()).json()["state"]
    small = change(client, job, ("figures.0.width", "60")).json()["state"]
    notes = client.get(f"/api/jobs/{small['id']}/work/checked").json()["notes"]
    assert any("2 specks" in note for note in notes)


def test_a_missing_size_is_asked_for_in_the_pages_words(client: httpx.Client, state: dict[str, Any]) -> None:
    problem = change(client, state, ("figures.0.width", None)).json()["problem"]
    assert "width" in problem
    assert "--" not in problem


def test_a_job_file_comes_back_with_its_picture(
    client: httpx.Client, state: dict[str, Any], pebble: Path
) -> None:
    changed = change(client, state, ("figures.0.turn", 30), ("mend.ease", False), ("panel.height", "28in"))
    text = client.get(f"/api/jobs/{state['id']}/files/job.toml").text
    assert tomllib.loads(text)["figures"][0]["source"] == "pebble.png"
    opened = client.post("/api/jobs", json={"job_file": text, "name": "job.toml"}).json()
    assert opened["state"]["missing"] == ["source-1"]
    assert opened["state"]["labels"] == {"source-1": "pebble.png"}
    waiting = client.get(f"/api/jobs/{opened['state']['id']}/work/planned")
    assert waiting.status_code == 422
    assert "pebble.png" in waiting.json()["error"]
    filled = client.post(f"/api/jobs/{opened['state']['id']}/sources/source-1", content=pebble.read_bytes())
    assert filled.json()["state"]["missing"] == []
    assert box(filled) == box(changed)
    assert filled.json()["state"]["job"] == changed.json()["state"]["job"]


def test_paths_in_a_job_file_are_not_followed(client: httpx.Client) -> None:
    text = (
        '[[figures]]\nsource = "/etc/passwd"\nwidth = "100mm"\n[panel]\nwidth = "300mm"\nheight = "300mm"\n'
    )
    answer = client.post("/api/jobs", json={"job_file": text, "name": "../x.toml"}).json()
    assert answer["state"]["missing"] == ["source-1"]
    assert answer["look"] is None
    assert client.get(f"/api/jobs/{answer['state']['id']}/sources/source-1").status_code == 404


def test_a_job_file_that_makes_no_sense_is_refused_with_its_line(client: httpx.Client) -> None:
    answer = client.post("/api/jobs", json={"job_file": '[panel]\nwidht = "3mm"\n', "name": "mine.toml"})
    assert answer.status_code == 422
    assert "mine.toml, line 2" in answer.json()["error"]


def test_blades_are_compared(client: httpx.Client, state: dict[str, Any]) -> None:
    fine = client.get(f"/api/jobs/{state['id']}/blades/jigsaw").json()
    assert fine["manages"]
    # A smooth oval: the search ends at its least width, and says so.
    assert re.fullmatch(r"[\d.]+ mm or less", fine["smallest"])
    assert client.get(f"/api/jobs/{state['id']}/blades/spoon").status_code == 422


def test_earlier_jobs_are_listed_and_deleted(client: httpx.Client, state: dict[str, Any]) -> None:
    listed = {job["id"]: job for job in client.get("/api/jobs").json()["jobs"]}
    entry = listed[state["id"]]
    assert (entry["title"], entry["size"]) == ("pebble", "500 mm x 700 mm")
    assert 0 <= time.time() - entry["changed"] < 600
    address = f"/api/jobs/{state['id']}/sketch"
    sketch = client.get(address).json()
    assert sketch["figure"].startswith("M")
    assert (sketch["panel"]["width"], sketch["cut_out"]) == (500, True)
    assert client.post(f"/api/jobs/{state['id']}/remove", content=b"").status_code == 200
    assert state["id"] not in [job["id"] for job in client.get("/api/jobs").json()["jobs"]]
    assert client.get(f"/api/jobs/{state['id']}").status_code == 404
    # The list may still ask for the picture of what was deleted meanwhile: no fault, and nothing to show.
    assert client.get(address).status_code == 204


def test_work_outlives_the_server(
    run_server: Callable[[], AbstractContextManager[Any]], pebble: Path
) -> None:
    with run_server() as served, served.client() as client:
        state = upload(client, new(client)["id"], pebble.read_bytes()).json()["state"]
    with run_server() as served, served.client() as client:
        again = client.get(f"/api/jobs/{state['id']}").json()
    assert again["state"] == state
    assert again["look"]["figures"]


def test_a_killed_process_harms_no_other_request(client: httpx.Client, state: dict[str, Any]) -> None:
    for process in multiprocessing.active_children():
        if process.name == "cutout-geometry":
            process.kill()
            process.join(5)
    assert box(change(client, state, ("panel.height", "800")))


def test_work_nobody_waits_for_is_stopped(
    run_server: Callable[[], AbstractContextManager[Any]], eye: Path
) -> None:
    """A tab that is closed while its plan is worked out leaves no process busy: the next plan need not queue."""
    with run_server() as served, served.client() as client:
        jobs = [upload(client, new(client)["id"], eye.read_bytes()).json()["state"]["id"] for _ in range(4)]
        for job in jobs:
            with pytest.raises(httpx.TimeoutException):
                client.get(f"/api/jobs/{job}/work/planned", timeout=0.3)
        assert client.get(f"/api/jobs/{jobs[0]}/work/checked", timeout=30).status_code == 200
