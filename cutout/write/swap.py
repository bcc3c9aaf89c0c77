"""Putting a set of files in the place of an earlier one, so that a folder never holds a mix for good.

A set goes through three hidden folders beside its targets, and only one of them exists at a time:

    .cutout-part    being gathered, or done with: whoever finds it without its writer throws it away
    .cutout-whole   gathered and flushed to disk, with a journal: the swap is under way and can be finished
    .cutout-back    the swap failed: what the journal says was there is being put back

One rename turns each into the next, so that a run that is killed at any moment leaves a state that says which way
to go; `settle` goes there. Every step may be done twice. (The method is that of a write-ahead journal with undo, as
databases keep.)
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

PART, WHOLE, BACK = ".cutout-part", ".cutout-whole", ".cutout-back"
_JOURNAL, _NEW, _OLD = "journal", "new", "old"
_NO_FLUSH = frozenset([errno.EINVAL, errno.ENOTSUP, errno.EBADF, errno.EACCES, errno.EPERM, errno.EISDIR])
"""What systems say that can't flush a folder by itself; anything else is a disk that fails."""
_MOST = 1 << 20
"""No journal is longer (bytes)."""


class ForeignError(Exception):
    """A hidden folder whose journal was written for another place: nothing it says is done."""


@dataclass(frozen=True, slots=True)
class _Journal:
    """What a swap does. place: number the disk has for the hidden folder, so that one that was copied or unpacked
    here is told from ours. write, remove: names; had: those of them that were there before."""

    place: int
    write: tuple[str, ...]
    remove: tuple[str, ...]
    had: tuple[str, ...]


def gather(folder: Path, files: Mapping[str, bytes], remove: Iterable[str]) -> None:
    """Everything a swap needs, flushed to disk, in the folder's `.cutout-part`. Raises OSError."""
    part = folder / PART
    part.mkdir()
    (part / _NEW).mkdir()
    (part / _OLD).mkdir()
    for name in sorted(files):
        _write(part / _NEW / name, files[name])
    gone = tuple(sorted(n for n in set(remove) - set(files) if os.path.lexists(folder / n)))
    had = tuple(n for n in (*sorted(files), *gone) if os.path.lexists(folder / n))
    for name in had:
        _hold(folder / name, part / _OLD / name)
    journal = _Journal(part.stat().st_ino, tuple(sorted(files)), gone, had)
    _write(part / _JOURNAL, json.dumps(asdict(journal)).encode())
    for inner in (part / _NEW, part / _OLD, part):
        _flush_folder(inner)


def swap(folder: Path) -> None:
    """Put what was gathered in place; from the first rename on, `settle` can finish or undo it. Raises OSError."""
    _rename(folder, PART, WHOLE)
    _forward(folder)


def settle(folder: Path, *, forward: bool = True) -> str:
    """Finish what an earlier swap left, or undo it; returns "" where nothing was left, else forward or back.

    forward: a swap that can be finished is; False: it is undone. One whose undoing had begun is undone in any case.
    Raises OSError, ForeignError.
    """
    done = ""
    if os.path.lexists(folder / WHOLE):
        done = "forward"
        if forward:
            try:
                _forward(folder)
            except OSError:
                _rename(folder, WHOLE, BACK)
        else:
            _journal_in(folder / WHOLE)
            _rename(folder, WHOLE, BACK)
    if os.path.lexists(folder / BACK):
        done = "back"
        _backward(folder)
    if os.path.lexists(folder / PART):
        done = done or "back"
        _throw_away(folder / PART)
    return done


def left_in(folder: Path) -> bool:
    """An earlier run was cut short here."""
    return any(os.path.lexists(folder / name) for name in (PART, WHOLE, BACK))


def _forward(folder: Path) -> None:
    whole = folder / WHOLE
    journal = _journal_in(whole)
    for name in journal.write:
        if os.path.lexists(whole / _NEW / name):
            os.replace(whole / _NEW / name, folder / name)  # noqa: PTH105 - one call, one rename
    for name in journal.remove:
        (folder / name).unlink(missing_ok=True)
    _flush_folder(folder)
    # Not flushed again: were this rename lost, all that stands above would be done once more, to no effect.
    os.rename(folder / WHOLE, folder / PART)  # noqa: PTH104


def _backward(folder: Path) -> None:
    back = folder / BACK
    journal = _journal_in(back)
    for name in (*journal.write, *journal.remove):
        if name in journal.had:
            if os.path.lexists(back / _OLD / name):
                os.replace(back / _OLD / name, folder / name)  # noqa: PTH105
        elif not os.path.lexists(back / _NEW / name):
            (folder / name).unlink(missing_ok=True)
    _flush_folder(folder)
    os.rename(folder / BACK, folder / PART)  # noqa: PTH104


def _journal_in(hidden: Path) -> _Journal:
    """The journal of a hidden folder. Raises ForeignError for one that was not written there."""
    try:
        with (hidden / _JOURNAL).open("rb") as stream:
            said = json.loads(stream.read(_MOST))
        names = [tuple(said[key]) for key in ("write", "remove", "had")]
        plain = all(isinstance(n, str) and n and Path(n).name == n for group in names for n in group)
        if plain and not hidden.is_symlink() and said["place"] == hidden.stat().st_ino:
            return _Journal(said["place"], *names)
    except (ValueError, KeyError, TypeError, FileNotFoundError):
        pass
    raise ForeignError(hidden.name)


def _throw_away(part: Path) -> None:
    """Remove a hidden folder; one that can't be is no harm, and in the way of the next run, which says so."""
    shutil.rmtree(part, ignore_errors=True)


def _write(path: Path, data: bytes) -> None:
    """A new file with these bytes, on the disk when this returns."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        left = memoryview(data)
        while left:
            left = left[os.write(handle, left) :]
        os.fsync(handle)
    finally:
        os.close(handle)


def _hold(target: Path, held: Path) -> None:
    """A second name for a file that is about to be replaced; a copy where the disk knows no hard links."""
    try:
        os.link(target, held, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(target, held, follow_symlinks=False)
        if not held.is_symlink():
            with held.open("rb+") as stream:
                os.fsync(stream.fileno())


def _rename(folder: Path, old: str, new: str) -> None:
    os.rename(folder / old, folder / new)  # noqa: PTH104 - one call, one rename
    _flush_folder(folder)


def _flush_folder(folder: Path) -> None:
    """Make renames last through a power cut, where the system can."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError as error:
        if error.errno in _NO_FLUSH:
            return
        raise
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _NO_FLUSH:
            raise
    finally:
        with contextlib.suppress(OSError):
            os.close(handle)
