"""What the machine does to a run: signals, full disks, odd names, two runs at once. No file is ever lost or half."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from cutout.cli import run
from cutout.errors import WriteError
from cutout.write.files import write_files
from tests.bad.pictures import good

SIZES = ["--width", "120mm", "--panel", "200x200mm"]
NAMES = (
    "cutsheet.html",
    "cutsheet.pdf",
    "shopdrawing.pdf",
    "job.toml",
    "pattern.svg",
    "preview.png",
    "result.json",
    "router.dxf",
    "template.pdf",
)

WRITER = """
import sys
from pathlib import Path
from cutout.write.files import write_files
n = 0
while True:
    n += 1
    mark = b"AB"[n % 2:n % 2 + 1]
    write_files(Path(sys.argv[1]), {f"{k}.txt": mark * 200_000 for k in range(6)})
    print(n, flush=True)
"""


@pytest.fixture
def kite(tmp_path: Path) -> Path:
    path = tmp_path / "kite.png"
    path.write_bytes(good("PNG"))
    return path


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_killed_at_any_moment_every_file_is_whole(tmp_path: Path, how: signal.Signals) -> None:
    """A process that replaces six files over and over, ended at a random moment, several times."""
    moments = random.Random(how)
    for _ in range(4):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(moments.uniform(0.0, 0.15))
        writer.send_signal(how)
        writer.communicate(timeout=30)
        for k in range(6):
            content = (tmp_path / f"{k}.txt").read_bytes()
            assert len(content) == 200_000
            assert len(set(content)) == 1


def test_what_a_killed_run_left_behind_is_cleared_by_the_next(tmp_path: Path) -> None:
    left = tmp_path / ".cutout-part"
    left.mkdir()
    (left / "template.pdf").write_bytes(b"half")
    write_files(tmp_path, {"a.txt": b"a"})
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_a_whole_run_killed_leaves_the_earlier_results(kite: Path, tmp_path: Path) -> None:
    target = tmp_path / "out"
    assert run(["make", str(kite), *SIZES, "--out", str(target)]) == 0
    before = {name: (target / name).read_bytes() for name in NAMES}
    command = [sys.executable, "-m", "cutout.cli", "make", str(kite), "--width", "90mm", *SIZES[2:]]
    for wait in (0.3, 0.9):
        running = subprocess.Popen([*command, "--out", str(target)], stdout=subprocess.DEVNULL)
        time.sleep(wait)
        running.kill()
        running.wait(timeout=30)
        for name in NAMES:
            content = (target / name).read_bytes()
            # On a fast machine the second run may have finished: then the file is a new one, and whole.
            assert content == before[name] or content.rstrip().endswith(
                (b"%%EOF", b"</html>", b"</svg>", b"}", b"EOF", b"IEND\xaeB`\x82", b'"')
            )


def test_two_runs_into_one_folder_leave_one_whole_set(kite: Path, tmp_path: Path) -> None:
    """Whichever comes second wins; each file is whole and tells of one of the two runs."""
    target = tmp_path / "both"
    command = [sys.executable, "-m", "cutout.cli", "make", str(kite), *SIZES[2:], "--out", str(target)]
    runs = [subprocess.Popen([*command, "--width", w], stdout=subprocess.DEVNULL) for w in ("120mm", "90mm")]
    assert [r.wait(timeout=120) for r in runs] == [0, 0]
    alone = {}
    for width in ("120mm", "90mm"):
        assert run(["make", str(kite), *SIZES[2:], "--width", width, "--out", str(tmp_path / width)]) == 0
        alone[width] = {name: (tmp_path / width / name).read_bytes() for name in NAMES}
    for name in NAMES:
        assert (target / name).read_bytes() in [alone[width][name] for width in alone]
    assert sorted(p.name for p in target.iterdir()) == sorted(NAMES), "no hidden folder stays"


def test_a_full_disk_is_one_line_and_keeps_what_was_there(
    kite: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A disk of 48 kB with an earlier template on it; the new files need more."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    if mount is None or os.geteuid() != 0:
        pytest.skip("only root may mount a small disk")
    made = subprocess.run([mount, "-t", "tmpfs", "-o", "size=48k", "tmpfs", str(disk)], capture_output=True)
    if made.returncode != 0:
        pytest.skip("no right to mount a small disk here")
    try:
        target = disk / "out"
        target.mkdir()
        (target / "template.pdf").write_bytes(b"earlier")
        assert run(["make", str(kite), *SIZES, "--out", str(target)]) == 2
        message = capsys.readouterr().err
        assert "the disk is full; nothing there was changed" in message
        assert message.count("\n") == 1
        assert [p.name for p in target.iterdir()] == ["template.pdf"]
        assert (target / "template.pdf").read_bytes() == b"earlier"
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_names_that_are_not_utf_8(kite: Path, tmp_path: Path) -> None:
    """A folder may be called anything; the picture's name goes into files that hold text, so it must be text."""
    odd, target = os.fsencode(tmp_path) + b"/k\xff te.png", os.fsencode(tmp_path) + b"/o\xfet"
    try:
        shutil.copyfile(kite, odd)
    except OSError:
        pytest.skip("this disk takes no such names")

    def cutout(*words: bytes | str) -> subprocess.CompletedProcess[bytes]:
        return subprocess.run([sys.executable, "-m", "cutout.cli", *words], capture_output=True)

    done = cutout("make", str(kite), *SIZES, "--out", target)
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(Path(os.fsdecode(target), "result.json").read_bytes())["schema"]
    refusals: tuple[tuple[str | bytes, ...], ...] = (
        ("make", odd, *SIZES),
        ("check", odd + b"x", *SIZES),
        ("make", target + b"/job.toml"),
    )
    for words in refusals:
        refused = cutout(*words)
        assert refused.returncode == 2
        assert refused.stderr.count(b"\n") == 1
        assert b"its name is not text in UTF-8: rename it" in refused.stderr


@pytest.mark.parametrize("name", ["a b.png", "-.png", "ä ö.png", "x" * 200 + ".png", "%s{0}.png", "<b>&.png"])
def test_awkward_names(name: str, kite: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / name
    shutil.copyfile(kite, source)
    assert run(["make", str(source), *SIZES, "--out", str(tmp_path / "out")]) == 0
    assert capsys.readouterr().err == ""
    sheet = (tmp_path / "out" / "cutsheet.html").read_text("utf-8")
    assert "<b>&" not in sheet
    assert run(["check", str(tmp_path / "out" / "job.toml"), "--no-sizes"]) == 0


def test_a_name_too_long_for_the_disk(kite: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["make", str(kite), *SIZES, "--out", str(tmp_path / ("x" * 300))]) == 2
    assert "the name is too long" in capsys.readouterr().err


def test_a_disk_that_stops_taking_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk goes away between the first file and the second."""
    write_files(tmp_path, {"a.txt": b"old", "b.txt": b"old"})
    replace, calls = os.replace, []

    def failing(source: Path, target: Path) -> None:
        calls.append(target)
        if len(calls) == 2:
            raise OSError(5, "Input/output error")
        replace(source, target)

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(WriteError, match="input/output error"):
        write_files(tmp_path, {"a.txt": b"new", "b.txt": b"new"})
    assert [(tmp_path / n).read_bytes() for n in ("a.txt", "b.txt")] == [b"old", b"old"]
