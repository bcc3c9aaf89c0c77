"""A folder of pictures: each gets its own folder, one that fails harms no other, one summary tells of all."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from pebble import ProcessPool
from PIL import Image, ImageDraw

from cutout.cli import run
from cutout.errors import JobError
from cutout.folder import Outcome, _gathered, _largest_first, exit_code, pictures_in, targets

SIZES = ["--width", "120mm", "--panel", "200x200mm"]


def ellipse(path: Path, ring: bool = False) -> None:
    picture = Image.new("L", (200, 150), 255)
    draw = ImageDraw.Draw(picture)
    draw.ellipse((20, 20, 180, 130), fill=0)
    if ring:
        draw.ellipse((70, 50, 130, 100), fill=255)
    picture.save(path)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "pictures"
    folder.mkdir()
    ellipse(folder / "plain.png")
    ellipse(folder / "ring.PNG", ring=True)
    (folder / "broken.jpg").write_bytes(b"no picture")
    (folder / "notes.txt").write_text("not looked at")
    (folder / "deeper").mkdir()
    return folder


def test_each_picture_gets_its_folder_and_a_line(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = run(["make", str(folder), *SIZES, "--no-bridge", "--out", str(tmp_path / "out")])
    lines = capsys.readouterr().out.splitlines()
    assert code == 1
    assert [line.split()[:2] for line in lines[:3]] == [
        ["FAIL", "broken.jpg"],
        ["done", "plain.png"],
        ["STOP", "ring.PNG"],
    ]
    assert "not a picture that can be read" in lines[0]
    assert lines[0].count("broken.jpg") == 1
    assert "proved by simulation" in lines[1]
    assert "1 to stop for" in lines[2]
    assert lines[3].startswith("3 pictures into ")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["plain-cutout", "ring-cutout"]


def test_the_files_are_those_of_a_run_by_itself(folder: Path, tmp_path: Path) -> None:
    run(["make", str(folder), *SIZES, "--out", str(tmp_path / "all")])
    run(["make", str(folder / "plain.png"), *SIZES, "--out", str(tmp_path / "all" / "alone")])
    together, alone = (tmp_path / "all" / name for name in ("plain-cutout", "alone"))
    assert {p.name: p.read_bytes() for p in together.iterdir()} == {
        p.name: p.read_bytes() for p in alone.iterdir()
    }


def test_the_largest_file_is_begun_first(tmp_path: Path) -> None:
    sources = [tmp_path / name for name in ("small", "large", "gone", "also small")]
    for source, size in zip(sources, (3, 9, None, 3), strict=True):
        if size:
            source.write_bytes(bytes(size))
    assert _largest_first(sources) == [1, 0, 3, 2]


def test_two_pictures_of_one_name_keep_their_endings() -> None:
    pictures = (Path("a/moth.png"), Path("a/Moth.svg"), Path("a/leaf.svg"))
    assert [t.name for t in targets(pictures, Path("out"))] == [
        "moth.png-cutout",
        "Moth.svg-cutout",
        "leaf-cutout",
    ]


def test_a_folder_without_pictures_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["make", str(tmp_path), *SIZES]) == 2
    assert "there is no picture in this folder" in capsys.readouterr().err
    with pytest.raises(JobError, match="can't be read"):
        pictures_in(tmp_path / "missing")


def test_a_process_that_dies_is_a_line_not_the_end() -> None:
    told: list[Outcome] = []
    with ProcessPool(1) as pool:
        running: list[Any] = [
            pool.schedule(os._exit, [11]),
            pool.schedule(Outcome, [Path("b.png"), Path(), 0, "fine"]),
        ]
        jobs = [(Path("a.png"), Path("a-cutout")), (Path("b.png"), Path())]
        died, went_on = _gathered(running, jobs, told.append)
    assert (died.code, went_on.code, len(told)) == (2, 0, 2)
    assert "stopped unexpectedly" in died.line


@pytest.mark.parametrize(
    ("codes", "code"), [([0, 0], 0), ([0, 1], 1), ([0, 2], 1), ([2, 2], 2), ([1, 2], 1), ([2], 2)]
)
def test_the_exit_code_tells_the_worst_that_matters(codes: list[int], code: int) -> None:
    assert exit_code(tuple(Outcome(Path(), Path(), c, "") for c in codes)) == code


def test_an_interrupt_ends_every_process(folder: Path, tmp_path: Path) -> None:
    for n in range(6):
        ellipse(folder / f"more-{n}.png", ring=True)
    command = [
        sys.executable,
        "-m",
        "cutout.cli",
        "make",
        str(folder),
        *SIZES,
        "--out",
        str(tmp_path / "out"),
    ]
    running = subprocess.Popen(
        command,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    # Not while everything is still being imported: the work has begun once the first files are there.
    begun = time.monotonic()
    while not (tmp_path / "out").exists() and time.monotonic() - begun < 40:
        time.sleep(0.1)
    os.killpg(running.pid, signal.SIGINT)
    _, message = running.communicate(timeout=60)
    assert running.returncode in (130, 1), message
    if running.returncode == 130:
        assert message.strip() == "cutout: interrupted; nothing half written."
    for made in (tmp_path / "out").glob("*"):
        whole = (made / "result.json").exists()
        kept = [p for p in made.iterdir() if not p.name.startswith(".")]
        assert whole or not kept, "all files of a picture or none"
