"""Whatever a file is wanted for, why it can't be had is told in the same words, safe to show."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from cutout.errors import ReadError
from cutout.read import read
from cutout.read.letters.face import open_face
from cutout.read.names import read_names
from cutout.read.options import ReadOptions
from cutout.run import compare_photos, read_gauge

READERS: dict[str, Callable[[Path], object]] = {
    "picture": lambda path: read(path, ReadOptions()),
    "font": open_face,
    "names": read_names,
    "test card": read_gauge,
    "result": lambda path: compare_photos(path, ()),
}


@pytest.mark.parametrize("name", READERS)
def test_what_can_t_be_had_is_told_in_one_line(name: str, tmp_path: Path) -> None:
    ask = READERS[name]
    with pytest.raises(ReadError, match=r"there is no such .*: check the name and the folder\.$") as missing:
        ask(tmp_path / "a\x1b[2Jb")
    assert "\x1b" not in str(missing.value)
    with pytest.raises(ReadError, match=r"is a folder: name the .* in it\.$"):
        ask(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
@pytest.mark.parametrize("name", READERS)
def test_nothing_waits_for_a_pipe_that_nobody_writes_to(name: str, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ReadError, match=r"a device or a pipe, not a file"):
        READERS[name](tmp_path / "pipe")
