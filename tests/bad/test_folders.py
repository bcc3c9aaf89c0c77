"""What a run does to the folder it writes into: nothing stale stays, no source is lost, no device is replaced."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from cutout.cli import run
from tests.bad.pictures import good

PANEL = ["--panel", "200x200mm"]
SIZES = ["--width", "120mm", *PANEL]
MORE = ["--gcode", "--film", "--outline"]
EXTRA = {"router.ngc", "film.svg", "outline.pdf"}
DRAWING = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="3"/></svg>'
JOB = """\
# My kite, as I like it.
[panel]
width = "20cm"   # the board in the shed
height = "200mm"

[[figures]]
source = "kite.png"
width = "120mm"  # fits the door
"""


@pytest.fixture
def kite(tmp_path: Path) -> Path:
    path = tmp_path / "kite.png"
    path.write_bytes(good("PNG"))
    return path


def names(folder: Path) -> set[str]:
    return {p.name for p in folder.iterdir()}


def test_what_an_earlier_run_made_and_this_one_does_not_goes(
    kite: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A router program of the other size beside the new template would be cut."""
    target = tmp_path / "st"
    assert run(["make", str(kite), *SIZES, *MORE, "--out", str(target)]) == 0
    assert names(target) >= EXTRA
    (target / "notes.txt").write_text("mine")
    (target / "router-mine.ngc").write_text("mine too")
    capsys.readouterr()
    assert run(["make", str(kite), "--width", "60mm", *PANEL, "--out", str(target)]) == 0
    assert not names(target) & EXTRA
    assert {"notes.txt", "router-mine.ngc"} <= names(target)
    gone = "film.svg, outline.pdf, routed.png, router-dry.ngc, router-setup.pdf, router.ngc"
    assert f"gone from there, of an earlier run and not of this one: {gone}" in capsys.readouterr().out


def test_a_stale_file_changed_by_hand_stays_and_is_told_of(
    kite: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "st"
    assert run(["make", str(kite), *SIZES, "--gcode", "--out", str(target)]) == 0
    with (target / "router.ngc").open("a") as program:
        program.write("(slower, by hand)\n")
    capsys.readouterr()
    assert run(["make", str(kite), "--width", "60mm", *PANEL, "--out", str(target)]) == 0
    assert "router.ngc" in names(target)
    assert "care  router.ngc there: of an earlier run, changed by hand since, NOT of this job." in (
        capsys.readouterr().out
    )


@pytest.mark.parametrize(
    "result",
    [
        b"not json",
        b"[" * 100_000,
        b'{"schema": "other/1", "files": [{"name": "router.ngc", "bytes": 4}]}',
        b'{"schema": "cutout-result/1", "files": [{"name": "mine.doc", "bytes": 4}]}',
        b'{"schema": "cutout-result/1", "files": [{"name": "../up.svg", "bytes": 4}]}',
        b'{"schema": "cutout-result/1", "files": [{"name": 3, "bytes": "x"}, "y"]}',
        b'{"schema": "cutout-result/1", "files": 3}',
    ],
)
def test_a_strange_result_file_removes_nothing(kite: Path, tmp_path: Path, result: bytes) -> None:
    target = tmp_path / "st"
    target.mkdir()
    mine = (target / "mine.doc", target / "router.ngc", tmp_path / "up.svg")
    for path in mine:
        path.write_bytes(b"mine")
    (target / "result.json").write_bytes(result)
    assert run(["make", str(kite), *SIZES, "--out", str(target)]) == 0
    assert all(path.read_bytes() == b"mine" for path in mine)


@pytest.mark.parametrize("link", ["itself", "symbolic", "hard"])
def test_a_source_is_never_written_over(
    tmp_path: Path, link: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    drawing = tmp_path / ("pattern.svg" if link == "itself" else "drawing.svg")
    drawing.write_text(DRAWING)
    if link == "symbolic":
        (tmp_path / "pattern.svg").symlink_to(drawing)
    elif link == "hard":
        os.link(drawing, tmp_path / "pattern.svg")
    before = names(tmp_path)
    assert run(["make", drawing.name, *SIZES, "--out", "."]) == 2
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert "would be written over by pattern.svg of this job" in message
    assert drawing.read_text() == DRAWING
    assert names(tmp_path) == before


def test_a_source_on_a_face_is_never_written_over(kite: Path, tmp_path: Path) -> None:
    (tmp_path / "pattern.svg").write_text(DRAWING)
    text = JOB + '[[faces.show.figures]]\nsource = "pattern.svg"\nwidth = "20mm"\n'
    (tmp_path / "kite.toml").write_text(text)
    assert run(["make", str(tmp_path / "kite.toml"), "--out", str(tmp_path)]) == 2
    assert (tmp_path / "pattern.svg").read_text() == DRAWING


@pytest.mark.parametrize("elsewhere", [False, True])
def test_a_job_file_keeps_its_comments_and_wording(kite: Path, tmp_path: Path, elsewhere: bool) -> None:
    (tmp_path / "job.toml").write_text(JOB)
    target = tmp_path / "out" if elsewhere else tmp_path
    assert run(["make", str(tmp_path / "job.toml"), "--width", "60mm", "--out", str(target)]) == 0
    written = (target / "job.toml").read_text()
    expected = JOB.replace('width = "120mm"', 'width = "60mm"')
    assert written == (expected.replace("kite.png", "../kite.png") if elsewhere else expected)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
@pytest.mark.parametrize("where", ["source", "job", "font", "job file"])
@pytest.mark.parametrize("special", ["pipe", "/dev/zero"])
def test_special_files_are_refused_at_once(
    tmp_path: Path, where: str, special: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pipe nobody writes to would be waited for, a device read until memory is gone, for a stranger's job too."""
    odd = tmp_path / "odd"
    if special == "pipe":
        os.mkfifo(odd)
    else:
        odd = Path(special)
    job = tmp_path / "job.toml"
    job.write_text(JOB.replace("kite.png", str(odd)))
    if where == "font":
        job.write_text(JOB.replace('source = "kite.png"', f'text = "ab"\nfont = "{odd}"'))
    if where == "job file":
        job.unlink()
        job.symlink_to(odd)
    source = str(odd) if where == "source" else str(job)
    begun = time.monotonic()
    assert run(["make", source, *(SIZES if where == "source" else []), "--out", str(tmp_path / "out")]) == 2
    assert time.monotonic() - begun < 20
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert "it is a device or a pipe, not a file" in message


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
def test_only_a_file_may_be_replaced(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert run(["gauge", "--out", str(tmp_path / "pipe")]) == 2
    assert "is a device or a pipe, not a file" in capsys.readouterr().err
    assert (tmp_path / "pipe").is_fifo()
    assert names(tmp_path) == {"pipe"}


def cutout(words: str, *arguments: str, cwd: Path) -> subprocess.CompletedProcess[bytes]:
    """The command line in a shell, with its streams as `words` (with "$@" for the command) has them."""
    command = [sys.executable, "-m", "cutout.cli", *arguments]
    return subprocess.run(["/bin/sh", "-c", words, "sh", *command], capture_output=True, cwd=cwd)


@pytest.mark.parametrize("words", ['"$@" 2>&-', '"$@" <&- 2>&-', '"$@" >&- 2>&-', '"$@" >&-'])
def test_closed_streams_are_no_hindrance(kite: Path, tmp_path: Path, words: str) -> None:
    done = cutout(words, "make", str(kite), *SIZES, "--out", str(tmp_path / "out"), cwd=tmp_path)
    assert done.returncode == 0
    assert done.stderr == b""
    result = json.loads((tmp_path / "out" / "result.json").read_text())
    for file in result["files"]:
        assert (tmp_path / "out" / file["name"]).stat().st_size == file["bytes"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_output_that_takes_no_more_is_told_and_what_was_written_is_named(kite: Path, tmp_path: Path) -> None:
    done = cutout('"$@" >/dev/full', "make", str(kite), *SIZES, "--out", str(tmp_path / "out"), cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1
    assert b"standard output takes no more (no space left on device)" in done.stderr
    assert b"files are in" in done.stderr
    assert (tmp_path / "out" / "result.json").exists()
    quiet = cutout('"$@" 2>/dev/full', "make", str(kite), "--width", "-3mm", *PANEL, cwd=tmp_path)
    assert quiet.returncode == 2


@pytest.mark.skipif(sys.platform == "win32", reason="these signals are POSIX")
@pytest.mark.parametrize("how", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_polite_end_is_an_interrupt(kite: Path, tmp_path: Path, how: str) -> None:
    target = tmp_path / "out"
    command = [sys.executable, "-m", "cutout.cli", "make", str(kite), *SIZES, "--out", str(target)]
    code = -1
    for wait in (1.0, 0.6, 0.35):  # on a fast machine the first may come too late
        shutil.rmtree(target, ignore_errors=True)
        running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        time.sleep(wait)
        running.send_signal(getattr(signal, how))
        _, said = running.communicate(timeout=60)
        code = running.returncode
        if code == 130:
            assert b"interrupted; nothing half written" in said
            assert not target.exists()
            break
    assert code == 130


def test_a_run_that_was_cut_short_is_put_right_by_check(
    kite: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The journal is left between two renames, as a kill leaves it."""
    monkeypatch.chdir(tmp_path)
    assert run(["make", kite.name, *SIZES, "--gcode"]) == 0
    target = tmp_path / "kite-cutout"
    before = {p.name: p.read_bytes() for p in target.iterdir()}
    real, count = os.replace, [0]

    class Killed(BaseException):
        pass

    def dies(source: str, to: str) -> None:
        count[0] += 1
        if count[0] > 3:
            raise Killed
        real(source, to)

    monkeypatch.setattr(os, "replace", dies)
    monkeypatch.setattr("cutout.write.files.settle", lambda *_, **__: "")
    with pytest.raises(Killed):
        run(["make", kite.name, "--width", "60mm", *PANEL])
    monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    assert (target / ".cutout-whole").exists()
    capsys.readouterr()
    assert run(["check", kite.name, *SIZES, "--no-sizes"]) == 0
    assert "a run was cut short there; its files were put right" in capsys.readouterr().out
    after = {p.name: p.read_bytes() for p in target.iterdir()}
    assert set(after) == set(before) - {"router.ngc", "router-dry.ngc", "router-setup.pdf", "routed.png"}
    assert not any(after[n] == before[n] for n in ("template.pdf", "result.json", "pattern.svg"))


@pytest.mark.parametrize("name", ["evil\u202egnp.png", "tab\there.png", "line\nbreak.png", "bell\x07.png"])
def test_names_do_not_steer_the_terminal(
    kite: Path, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    shutil.copyfile(kite, pictures / name)
    (pictures / ("broken " + name)).write_bytes(b"")
    assert run(["make", str(pictures), *SIZES, "--out", str(tmp_path / "out")]) in (0, 1)
    table = capsys.readouterr().out
    assert table.count("\n") == 3
    assert run(["make", str(pictures / ("broken " + name)), *SIZES]) == 2
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    for said in (table, message):
        assert not any(c in said for c in "\u202e\t\x07")


def test_a_name_as_long_as_the_disk_takes_needs_no_folder_named(
    kite: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    long = "é" * 125 + ".png"
    shutil.copyfile(kite, long)
    assert run(["make", long, *SIZES]) == 0
    assert len([p for p in tmp_path.iterdir() if p.is_dir()]) == 1


@pytest.mark.parametrize("card", [[], ["--camera"]])
def test_a_card_is_not_written_over_a_drawing(
    tmp_path: Path, card: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    drawing = tmp_path / "heron.svg"
    drawing.write_text("<svg/>")
    assert run(["gauge", *card, "--out", str(drawing)]) == 2
    assert "is a file of another kind" in capsys.readouterr().err
    assert drawing.read_text() == "<svg/>"
    for _ in range(2):
        assert run(["gauge", *card, "--out", str(tmp_path / "card.pdf")]) == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")
