"""Numbers that are none, or that nothing in a workshop has; and what of a drawing may be left out in silence."""

from __future__ import annotations

import json
import re
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from cutout.cli import run
from cutout.errors import CutoutError
from cutout.job.file import dump_job, job_from, parse_job
from cutout.page.changes import Change, changed
from cutout.page.start import empty
from cutout.page.store import Store
from cutout.units import parse_length, spelled
from tests.bad.jobs import GOOD
from tests.bad.pictures import good

PANEL = ["--panel", "200x200mm"]
SVG = '<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {w} {w}">{shapes}</svg>'


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    begun = time.monotonic()
    assert run(["check", "--no-sizes", *arguments]) == 2
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert "should not have happened" not in message
    assert time.monotonic() - begun < 20
    return message


@pytest.fixture
def kite(tmp_path: Path) -> str:
    (tmp_path / "kite.png").write_bytes(good("PNG"))
    return str(tmp_path / "kite.png")


@pytest.mark.parametrize("word", ["nan", "inf", "-inf", "1e999", "9" * 5000, "1e300"])
@pytest.mark.parametrize(
    "flag", ["--turn", "--width", "--thickness", "--grain", "--smooth", "--kerf", "--at"]
)
def test_no_number_that_is_none_at_the_command_line(
    kite: str, flag: str, word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = f"{word},{word}" if flag == "--at" else word
    width = [] if flag == "--width" else ["--width", "120mm"]
    assert flag in refused(capsys, kite, *width, *PANEL, "--units", "mm", flag, asked)


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e999", "1e300", "1" * 5000, "1" * 4200, "true"])
@pytest.mark.parametrize(
    "place",
    ["turn = {}", "width = {}", "at = [{}, {}]", "smooth = {}", "tolerance = {}", "corners = [[{}, {}]]"],
)
def test_no_number_that_is_none_in_a_job_file(place: str, value: str) -> None:
    text = GOOD.replace('width = "120mm"', "") + place.replace("{}", value) + "\n"
    if place.startswith("corners") and value in ("1e300", "1" * 4200, "true"):
        return  # pixels of a picture nobody has: refused when it is read
    with pytest.raises(CutoutError) as caught:
        parse_job(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), -float("inf"), 1e300, 10**400, "nan", "1e999", "infmm"]
)
@pytest.mark.parametrize("path", ["panel.width", "panel.thickness", "panel.grain", "saw.kerf", "limits.edge"])
def test_no_number_that_is_none_from_the_page(path: str, value: object) -> None:
    with pytest.raises(CutoutError) as caught:
        changed(empty("mm"), [Change(path=path, value=value)])
    assert "\n" not in str(caught.value)


def test_a_change_that_can_not_be_read_back_is_not_stored(tmp_path: Path) -> None:
    store = Store(tmp_path)
    state = store.new(empty("mm"))
    bad = state.job.model_copy(update={"panel": state.job.panel.model_copy(update={"width": float("nan")})})
    with pytest.raises(CutoutError):
        store.change(state.id, state.revision, bad)
    assert store.state(state.id) == state
    worse = state.job.model_copy(update={"title": "x", "units": "parsec"})
    with pytest.raises(CutoutError):
        store.change(state.id, state.revision, worse)
    assert store.state(state.id) == state


@pytest.mark.parametrize("content", [b"", b"\xff\xff", b'[panel]\nwidth = "nanmm"\n'])
def test_a_stored_step_that_can_not_be_read_falls_back_to_the_one_before(
    tmp_path: Path, content: bytes
) -> None:
    store = Store(tmp_path)
    first = store.new(empty("mm"))
    job = changed(first.job, [Change(path="panel.width", value=321.0)])
    second = store.change(first.id, first.revision, job)
    (tmp_path / first.id / "history" / f"{second.entries[-1]}.toml").write_bytes(content)
    state = store.state(first.id)
    assert (state.job, state.at, state.lost) == (first.job, 0, 1)
    assert store.change(first.id, state.revision, job).job == job


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"at": 3}', b"\xff"])
def test_a_history_without_its_index_is_still_there(tmp_path: Path, content: bytes) -> None:
    store = Store(tmp_path)
    first = store.new(empty("mm"))
    store.add_file(first.id, b"picture", "heron.png")
    job = changed(first.job, [Change(path="panel.width", value=321.0)])
    store.change(first.id, first.revision, job)
    (tmp_path / first.id / "state.json").write_bytes(content)
    state = store.state(first.id)
    assert state.job == job
    assert state.can_undo
    assert state.labels == {"source-1": "source-1"}


def test_nobody_else_may_read_a_job(tmp_path: Path) -> None:
    store = Store(tmp_path / "jobs")
    id = store.new(empty("mm")).id
    store.add_file(id, b"picture", "heron.png")
    files = [p for p in (tmp_path / "jobs").rglob("*") if p.is_file()]
    assert len(files) == 3
    assert {p.stat().st_mode & 0o077 for p in files} == {0}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (
            ["--width", "120mm", "--panel", "1000x1000m"],
            "--panel width: it may be|10000 mm at most|more than 100 m",
        ),
        (["--width", "120mm", "--panel", "20000x300mm"], "10000 mm at most"),
        (["--width", "120mm", *PANEL, "--thickness", "1000m"], "--thickness.*more than 100 m"),
        (["--width", "120mm", *PANEL, "--thickness", "9m"], "--thickness.*2000 mm at most"),
        (["--width", "120mm", *PANEL, "--turning-radius", "90m"], "10000 mm at most"),
        (["--width", "120mm", *PANEL, "--turn", "1e9"], "--turn"),
        (["--width", "1,234mm", *PANEL], "may be read two ways: write 1234mm or 1.234mm"),
        (["--width", "120mm", "--panel", "0.0000000001x200mm"], "0.01 mm at least"),
    ],
)
def test_sizes_no_workshop_has(
    kite: str, arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    message = refused(capsys, kite, *arguments)
    assert re.search(says, message), message
    assert "e-1" not in message


@pytest.mark.parametrize(
    ("text", "mm"), [("1,5mm", 1.5), ("12,25 mm", 12.25), ("0,125in", 3.175), ("1,2345mm", 1.2345)]
)
def test_a_comma_is_a_decimal_sign_where_it_can_be_nothing_else(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm)


@pytest.mark.parametrize("mm", [1e-10, 0.1, 123456.0, 2.5e-7, 1e5])
def test_numbers_are_spelled_as_people_type_them(mm: float) -> None:
    assert "e" not in spelled(mm).removesuffix("mm")
    assert float(spelled(mm).removesuffix("mm")) == mm


def test_a_length_survives_its_job_file_however_small() -> None:
    job = job_from({"limits": {"edge": 1e-10, "speck": 25.4}}, bare="mm")
    assert parse_job(dump_job(job)) == job


@pytest.mark.parametrize("size", ['width="-5mm" height="5mm"', 'width="5mm" height="-5mm"', 'width="-5"'])
def test_a_page_of_less_than_nothing_is_refused(
    tmp_path: Path, size: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "n.svg"
    path.write_text(SVG.format(size=size, w=9, shapes='<circle cx="4" cy="4" r="3"/>'))
    assert "no page is less than nothing" in refused(capsys, str(path), "--width", "100mm", *PANEL)


@pytest.mark.parametrize("form", ["svg", "png"])
def test_it_is_a_stop_where_most_of_what_was_painted_is_left_out(
    tmp_path: Path, form: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """2,038 small squares and ten large ones: at this size the small ones are specks."""
    places = [(4 * (k % 50), 4 * (k // 50)) for k in range(2038)]
    large = [(4.0 * k, 190.0) for k in range(0, 50, 5)]
    path = tmp_path / f"squares.{form}"
    if form == "svg":
        small = "".join(f'<rect x="{x}" y="{y}" width="2" height="2"/>' for x, y in places)
        big = "".join(f'<rect x="{x}" y="{y}" width="8" height="8"/>' for x, y in large)
        path.write_text(SVG.format(size="", w=200, shapes=small + big))
    else:
        grey = np.full((800, 800), 255, np.uint8)
        for x, y in places:
            grey[4 * y : 4 * y + 8, 4 * x : 4 * x + 8] = 0
        for left, top in large:
            grey[int(4 * top) : int(4 * top) + 32, int(4 * left) : int(4 * left) + 32] = 0
        Image.fromarray(grey).save(path)
    assert run(["check", "--no-sizes", str(path), "--width", "190mm", *PANEL]) == 1
    out = capsys.readouterr().out
    assert re.search(r"STOP  source at .*203\d of the 204\d pieces drawn .* most of the drawing is lost", out)


def test_dust_round_a_figure_is_no_stop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    dust = "".join(f'<rect x="{5 * (k % 40)}" y="{k // 40}" width=".3" height=".3"/>' for k in range(400))
    path = tmp_path / "dusty.svg"
    path.write_text(SVG.format(size="", w=200, shapes=dust + '<circle cx="100" cy="100" r="80"/>'))
    run(["check", "--no-sizes", str(path), "--width", "150mm", *PANEL])
    assert "most of the drawing" not in capsys.readouterr().out


@pytest.mark.parametrize("side", [40, 20])
def test_a_ring_one_pixel_wide_has_an_answer(
    tmp_path: Path, side: int, capsys: pytest.CaptureFixture[str]
) -> None:
    for smooth in ("0", "1"):
        grey = np.full((60, 60), 255, np.uint8)
        far = 10 + side
        grey[10, 10:far] = grey[far - 1, 10:far] = grey[10:far, 10] = grey[10:far, far - 1] = 0
        Image.fromarray(grey).save(tmp_path / "ring.png")
        code = run(
            ["check", "--no-sizes", str(tmp_path / "ring.png"), "--width", "20mm", *PANEL, "--smooth", smooth]
        )
        captured = capsys.readouterr()
        assert code in (0, 1, 2)
        assert "should not have happened" not in captured.err


def test_uses_within_uses_are_counted_before_they_are_drawn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ten thousand million circles in a kilobyte."""
    groups = "".join(f'<g id="g{n + 1}">' + f'<use href="#g{n}"/>' * 10 + "</g>" for n in range(10))
    path = tmp_path / "bomb.svg"
    path.write_text(SVG.format(size="", w=9, shapes=f'<circle id="g0" cx="4" cy="4" r="3"/>{groups}'))
    begun = time.monotonic()
    message = refused(capsys, str(path), "--width", "100mm", *PANEL)
    assert "draws more than" in message
    assert time.monotonic() - begun < 2


def test_json_of_the_page_holds_no_such_number_either() -> None:
    assert json.loads("NaN") != json.loads("NaN"), "the reader of the page's requests takes it: we must not"
