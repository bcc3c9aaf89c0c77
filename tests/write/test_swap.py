"""A set of files is all or none: the n-th call to the system fails, or the run is killed there, for every n.

The method is the one embedded databases publish for their own tests: every write, flush, rename and removal fails in
turn, once or from then on, or the process dies there; then the whole folder is looked at, hidden names too.
"""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

import cutout
from cutout.errors import WriteError
from cutout.write.files import recover, write_files

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are copied by fork here")

CALLS = ("open", "write", "fsync", "replace", "rename", "unlink", "mkdir", "rmdir", "link")
OLD = {"a.txt": b"old a", "c.txt": b"old c", "stale.txt": b"old stale"}
MINE = {"mine.txt": b"not ours"}
NEW = {"a.txt": b"new a", "b.txt": b"new b", "c.txt": b"new c"}
REMOVE = ("stale.txt",)


def everything(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too, and empty folders as empty text."""
    return {
        p.relative_to(folder).as_posix() + ("/" if p.is_dir() else ""): b"" if p.is_dir() else p.read_bytes()
        for p in folder.rglob("*")
    }


def fill(folder: Path) -> None:
    folder.mkdir()
    for name, content in (OLD | MINE).items():
        (folder / name).write_bytes(content)


@contextmanager
def calls_watched(at: Callable[[int], None]) -> Iterator[list[str]]:
    """`at` is told the number of every call that changes the disk, before it is made."""
    made: list[str] = []
    real = {name: getattr(os, name) for name in CALLS}

    def watched(name: str) -> Callable[..., Any]:
        def call(*args: Any, **named: Any) -> Any:
            made.append(name)
            at(len(made))
            return real[name](*args, **named)

        return call

    for name in CALLS:
        setattr(os, name, watched(name))
    try:
        yield made
    finally:
        for name in CALLS:
            setattr(os, name, real[name])


def nothing(_: int) -> None:
    pass


def in_a_fork(work: Callable[[], None]) -> int:
    """The exit status of a copy of this process that does the work; -9 where it was killed."""
    process = multiprocessing.get_context("fork").Process(target=work)
    process.start()
    process.join()
    code = process.exitcode
    assert code is not None
    return code


def killed_at(n: int, work: Callable[[], object]) -> bool:
    """Do the work in a copy of this process that is killed before its n-th call; whether it got that far."""

    def die(count: int) -> None:
        if count == n:
            os.kill(os.getpid(), signal.SIGKILL)

    def watched() -> None:
        with calls_watched(die):
            work()

    code = in_a_fork(watched)
    assert code in (0, -signal.SIGKILL)
    return code != 0


def write(folder: Path) -> None:
    write_files(folder, NEW, lambda: REMOVE)


def test_a_set_replaces_adds_and_removes_in_one_go(tmp_path: Path) -> None:
    fill(tmp_path / "at")
    write(tmp_path / "at")
    assert everything(tmp_path / "at") == NEW | MINE


def number_of_calls(folder: Path) -> int:
    fill(folder)
    with calls_watched(nothing) as made:
        write(folder)
    assert {"write", "fsync", "rename", "replace", "unlink"} <= set(made)
    return len(made)


def test_killed_before_every_call_the_next_who_comes_finds_one_whole_set(tmp_path: Path) -> None:
    """Put right by `recover`, by `recover` that is itself killed anywhere, and by another run."""
    total = number_of_calls(tmp_path / "count")
    outcomes = set()
    for n in range(1, total + 1):
        folder = tmp_path / f"k{n}"
        fill(folder)
        assert killed_at(n, lambda folder=folder: write(folder))
        recover(folder)
        state = everything(folder)
        assert state in (OLD | MINE, NEW | MINE), n
        outcomes.add(state == NEW | MINE)
    assert outcomes == {True, False}


def test_a_recovery_that_is_killed_is_finished_by_the_next(tmp_path: Path) -> None:
    total = number_of_calls(tmp_path / "count")
    for n in range(1, total + 1, 3):
        m, killed = 0, True
        while killed:
            m += 1
            folder = tmp_path / f"k{n}-{m}"
            fill(folder)
            killed_at(n, lambda folder=folder: write(folder))
            killed = killed_at(m, lambda folder=folder: recover(folder))
            recover(folder)
            assert everything(folder) in (OLD | MINE, NEW | MINE), (n, m)


def test_killed_before_every_call_another_run_writes_its_own_set(tmp_path: Path) -> None:
    total = number_of_calls(tmp_path / "count")
    other = {"a.txt": b"other a", "z.txt": b"other z"}
    for n in range(1, total + 1):
        folder = tmp_path / f"k{n}"
        fill(folder)
        killed_at(n, lambda folder=folder: write(folder))
        write_files(folder, other, lambda: ("b.txt", "c.txt", "stale.txt"))
        assert everything(folder) == other | MINE, n


@pytest.mark.parametrize("ever_after", [False, True])
@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC])
def test_a_failing_call_changes_nothing_or_the_next_who_comes_puts_it_right(
    tmp_path: Path, ever_after: bool, code: int
) -> None:
    total = number_of_calls(tmp_path / "count")
    for n in range(1, total + 1):
        folder = tmp_path / f"f{n}"
        fill(folder)

        def fail(count: int, n: int = n) -> None:
            if count == n or (ever_after and count > n):
                raise OSError(code, os.strerror(code))

        said = ""
        with calls_watched(fail):
            try:
                write(folder)
            except WriteError as error:
                said = str(error)
        state = everything(folder)
        if "nothing there was changed" in said:
            assert {k: v for k, v in state.items() if not k.startswith(".")} == OLD | MINE, n
        if not said:
            assert {k: v for k, v in state.items() if not k.startswith(".")} == NEW | MINE, n
        assert said.count("\n") == 0
        recover(folder)
        assert everything(folder) == (OLD if said and "puts it right" not in said else NEW) | MINE or (
            "puts it right" in said and everything(folder) == OLD | MINE
        ), (n, said)


@pytest.mark.parametrize("how", [KeyboardInterrupt, MemoryError])
def test_an_interrupt_at_every_call_changes_nothing_or_leaves_the_whole_new_set(
    tmp_path: Path, how: type[BaseException]
) -> None:
    total = number_of_calls(tmp_path / "count")
    for n in range(1, total + 1):
        folder = tmp_path / f"i{n}"
        fill(folder)

        def interrupt(count: int, n: int = n) -> None:
            if count == n:
                raise how

        raised = False
        with calls_watched(interrupt):
            try:
                write(folder)
            except how:
                raised = True
        state = everything(folder)
        # What only clears away behind a set that is in place may swallow it.
        assert raised or {k: v for k, v in state.items() if not k.startswith(".")} == NEW | MINE, n
        shown = {k: v for k, v in state.items() if not k.startswith(".")}
        assert shown in (OLD | MINE, NEW | MINE), n
        recover(folder)
        assert everything(folder) == shown


def test_two_writers_never_mix(tmp_path: Path) -> None:
    """Two processes replace eight files over and over, slowly; whoever looks between two sets sees one of them."""
    folder = tmp_path / "both"

    def writer(mark: bytes) -> Callable[[], None]:
        def slow(_: int) -> None:
            time.sleep(0.0005)

        def work() -> None:
            with calls_watched(slow):
                for _ in range(5):
                    write_files(folder, {f"{k}.txt": mark * 1000 for k in range(8)})

        return work

    context = multiprocessing.get_context("fork")
    running = [context.Process(target=writer(mark)) for mark in (b"A", b"B")]
    for process in running:
        process.start()
    for process in running:
        process.join()
        assert process.exitcode == 0
    assert len({content[:1] for content in everything(folder).values()}) == 1
    assert len(everything(folder)) == 8


def test_a_run_that_never_ends_is_not_waited_for_for_ever(tmp_path: Path) -> None:
    root = Path(cutout.__file__).parents[1]
    code = (
        f"import sys; sys.path.insert(0, {str(root)!r})\n"
        "import time; from pathlib import Path; from cutout.write.lock import alone_in\n"
        f"with alone_in(Path({str(tmp_path)!r})):\n    print('in', flush=True); time.sleep(60)\n"
    )
    holder = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
    try:
        assert holder.stdout is not None
        holder.stdout.readline()
        with pytest.raises(WriteError, match="another run has been writing there") as caught:
            write_files(tmp_path, NEW, wait=0.2)
        assert "\n" not in str(caught.value)
        assert everything(tmp_path) == {}
    finally:
        holder.kill()
        holder.communicate()
    write_files(tmp_path, NEW, wait=5.0)
    assert everything(tmp_path) == NEW


def test_a_journal_unpacked_from_elsewhere_is_not_followed(tmp_path: Path) -> None:
    """A stranger's archive may hold a hidden folder of ours: it must neither replace nor remove anything."""
    whole = tmp_path / ".cutout-whole"
    (whole / "new").mkdir(parents=True)
    (whole / "old").mkdir()
    (whole / "new" / "mine.txt").write_bytes(b"theirs")
    (tmp_path / "mine.txt").write_bytes(b"mine")
    (tmp_path / "thesis.txt").write_bytes(b"mine too")
    journal = {"place": 1, "write": ["mine.txt"], "remove": ["thesis.txt"], "had": ["mine.txt", "thesis.txt"]}
    (whole / "journal").write_text(json.dumps(journal))
    for work in (lambda: recover(tmp_path), lambda: write_files(tmp_path, NEW)):
        with pytest.raises(WriteError, match="look at what is in it, then remove it"):
            work()
    assert (tmp_path / "mine.txt").read_bytes() == b"mine"
    assert (tmp_path / "thesis.txt").read_bytes() == b"mine too"


@pytest.mark.parametrize("names", [["../up.txt"], ["/etc/x"], [""], [3], "ab", None])
def test_a_journal_with_odd_names_is_not_followed(tmp_path: Path, names: Any) -> None:
    whole = tmp_path / "in" / ".cutout-whole"
    (whole / "new").mkdir(parents=True)
    (tmp_path / "up.txt").write_bytes(b"mine")
    journal = {"place": whole.stat().st_ino, "write": [], "remove": names, "had": []}
    (whole / "journal").write_text(json.dumps(journal))
    if names == "ab":  # a text is taken letter by letter: plain names, of files that are not there
        recover(tmp_path / "in")
    else:
        with pytest.raises(WriteError):
            recover(tmp_path / "in")
    assert (tmp_path / "up.txt").read_bytes() == b"mine"


def test_a_second_interrupt_does_not_keep_the_first_from_being_undone(tmp_path: Path) -> None:
    """Whoever presses the keys twice: at every fourth call, and at once again while it is put back."""
    fill(tmp_path / "old")
    fill(tmp_path / "new")
    with calls_watched(nothing) as made:
        write(tmp_path / "new")
    before, after = everything(tmp_path / "old"), everything(tmp_path / "new")
    for n in range(1, len(made) + 1, 4):
        at = tmp_path / f"at-{n}"
        fill(at)

        def interrupt(count: int, n: int = n) -> None:
            if count in (n, n + 1):
                os.kill(os.getpid(), signal.SIGINT)

        def work(at: Path = at, interrupt: Callable[[int], None] = interrupt) -> None:
            with suppress(KeyboardInterrupt), calls_watched(interrupt):
                write(at)

        assert in_a_fork(work) == 0
        seen = {name: content for name, content in everything(at).items() if not name.startswith(".")}
        assert seen in (before, after), n
