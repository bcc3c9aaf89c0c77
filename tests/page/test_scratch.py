"""Where a run of the page works: what a killed run left goes with the next, what a living one has stays."""

from __future__ import annotations

import multiprocessing
import os
import sys
import tempfile
from pathlib import Path

import pytest

from cutout.page import scratch
from cutout.page.scratch import Scratch

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are copied by fork here")


def die_with_a_picture(told: multiprocessing.connection.Connection) -> None:
    """A run that is killed while a picture of the user's lies in its folder."""
    mine = Scratch()
    (mine.path / "picture.png").write_bytes(b"a picture")
    told.send(str(mine.path))
    os.kill(os.getpid(), 9)


def test_what_a_killed_run_left_goes_and_a_living_one_keeps_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(scratch, "_YOUNG", -1.0)
    stranger = tmp_path / "cutout-page-of-somebody"
    stranger.symlink_to(tmp_path)
    living = Scratch()
    ours, theirs = multiprocessing.Pipe()
    killed = multiprocessing.get_context("fork").Process(target=die_with_a_picture, args=(theirs,))
    killed.start()
    left = Path(ours.recv())
    killed.join()
    assert (left / "picture.png").exists()
    fresh = Scratch()
    assert not left.exists()
    assert living.path.exists()
    assert stranger.is_symlink()
    living.close()
    fresh.close()
    assert [p.name for p in tmp_path.iterdir()] == [stranger.name]


def test_a_folder_that_was_just_made_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    about_to_be_locked = tmp_path / "cutout-page-young"
    about_to_be_locked.mkdir()
    Scratch().close()
    assert about_to_be_locked.exists()
