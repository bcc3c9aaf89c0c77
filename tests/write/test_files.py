from __future__ import annotations

import errno
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

import cutout
from cutout.errors import WriteError
from cutout.write.files import write_files
from cutout.write.outputs import write_out
from cutout.write.work import Work

NEW = {"a.txt": b"new a", "b.txt": b"new b", "c.txt": b"new c"}


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def old_set(folder: Path) -> dict[str, bytes]:
    (folder / "a.txt").write_bytes(b"old a")
    (folder / "c.txt").write_bytes(b"old c")
    (folder / "other.txt").write_bytes(b"not ours")
    return contents(folder)


def test_writes_a_set_and_leaves_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "deep" / "er"
    write_files(target, NEW)
    assert contents(target) == NEW
    assert sorted(p.name for p in target.iterdir()) == sorted(NEW)


def test_replaces_what_was_there_and_keeps_the_rest(tmp_path: Path) -> None:
    old_set(tmp_path)
    write_files(tmp_path, NEW)
    assert contents(tmp_path) == {**NEW, "other.txt": b"not ours"}


def test_files_get_the_usual_rights(tmp_path: Path) -> None:
    write_files(tmp_path, NEW)
    (tmp_path / "plain").write_bytes(b"")
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.parametrize("failing", range(3))
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()])
def test_a_failing_rename_puts_everything_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int, error: BaseException
) -> None:
    before = old_set(tmp_path)
    calls = 0
    real = os.replace

    def sometimes(src: str, dst: str) -> None:
        nonlocal calls
        if calls == failing:
            calls += 1
            raise error
        calls += 1
        real(src, dst)

    monkeypatch.setattr(os, "replace", sometimes)
    with pytest.raises((WriteError, KeyboardInterrupt)) as caught:
        write_files(tmp_path, NEW)
    assert contents(tmp_path) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(before)
    if isinstance(error, OSError):
        assert "disk is full" in str(caught.value)
        assert "\n" not in str(caught.value)


def test_a_failing_flush_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = old_set(tmp_path)

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteError, match="disk is full"):
        write_files(tmp_path, NEW)
    assert contents(tmp_path) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(before)


def test_no_hard_links_no_matter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some disks (memory cards, network shares) know no hard links."""
    before = old_set(tmp_path)

    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", refuse)
    write_files(tmp_path, {"a.txt": b"new a"})
    assert contents(tmp_path) == {**before, "a.txt": b"new a"}


def test_a_folder_in_the_way_is_named_and_nothing_changes(tmp_path: Path) -> None:
    before = old_set(tmp_path)
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(WriteError, match=r"b\.txt.*folder of that name is in the way"):
        write_files(tmp_path, NEW)
    assert contents(tmp_path) == before


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    (tmp_path / "here").write_bytes(b"mine")
    for target in (tmp_path / "here", tmp_path / "here" / "below"):
        with pytest.raises(WriteError, match="here"):
            write_files(target, NEW)
    assert (tmp_path / "here").read_bytes() == b"mine"


def test_a_folder_made_for_a_failed_write_is_taken_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WriteError):
        write_files(tmp_path / "new" / "deep", NEW)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["", "../up.txt", "a/b.txt", ".."])
def test_only_plain_names(tmp_path: Path, name: str) -> None:
    with pytest.raises(WriteError):
        write_files(tmp_path, {name: b""})
    assert not list(tmp_path.iterdir())


def run_as_someone(folder: Path, prelude: str) -> subprocess.CompletedProcess[str]:
    """Write a set in another process, so that rights and size limits are real."""
    root = Path(cutout.__file__).parents[1]
    code = (
        f"import os, resource, sys; sys.path.insert(0, {str(root)!r})\n"
        "from pathlib import Path\nfrom cutout.write.files import write_files\nfrom cutout.errors import WriteError\n"
        f"{prelude}\n"
        f"try:\n    write_files(Path({str(folder)!r}), {{'a.txt': b'x' * 200000}})\n"
        "except WriteError as error:\n    print(error); sys.exit(2)\n"
    )
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)


def test_a_read_only_folder() -> None:
    # Not tmp_path: pytest makes that one unreadable for anybody else.
    folder = Path(tempfile.mkdtemp(prefix="cutout-read-only-"))
    folder.chmod(0o755)
    try:
        (folder / "a.txt").write_bytes(b"old a")
        folder.chmod(0o555)
        became = "os.setuid(65534)" if os.getuid() == 0 else ""
        done = run_as_someone(folder, became)
        assert (done.returncode, done.stderr) == (2, "")
        assert "no right to write" in done.stdout
        assert (folder / "a.txt").read_bytes() == b"old a"
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_a_file_larger_than_allowed(tmp_path: Path) -> None:
    """A limit on file size fails the write half way, as a full disk does."""
    (tmp_path / "a.txt").write_bytes(b"old a")
    done = run_as_someone(tmp_path, "resource.setrlimit(resource.RLIMIT_FSIZE, (100000, 100000))")
    assert (done.returncode, done.stderr) == (2, "")
    assert contents(tmp_path) == {"a.txt": b"old a"}
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 100000


def test_where_the_list_of_an_earlier_run_can_not_be_read_nothing_is_written(
    make_work: Callable[..., Work], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What that run left, a router program perhaps, would stay beside the new template without a word."""
    (tmp_path / "result.json").write_text("{}")

    def failing(path: Path, most: int) -> bytes:
        raise OSError(errno.EIO, "Input/output error", str(path))

    monkeypatch.setattr("cutout.write.outputs.read_whole", failing)
    with pytest.raises(WriteError, match="which files of an earlier run lie there; nothing was written"):
        write_out(make_work(), tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["result.json"]
