"""Writing a set of files so that either all of them are new or nothing has changed."""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import stat
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from cutout.errors import WriteError, shown
from cutout.write.lock import WAIT, BusyError, alone_in
from cutout.write.swap import ForeignError, gather, left_in, settle, swap

_REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "your share of the disk is used up",
    errno.EFBIG: "the file would be larger than this disk or account allows",
    errno.EROFS: "the disk is read-only",
    errno.EACCES: "you have no right to write there",
    errno.EPERM: "you have no right to write there",
    errno.ENOTDIR: "something on that path is a file, not a folder",
    errno.EEXIST: "a file of that name is in the way",
    errno.EISDIR: "a folder of that name is in the way",
    errno.ENAMETOOLONG: "the name is too long",
}
_UNCHANGED = "nothing there was changed"
_HALF = "the next run into this folder puts it right"


def write_files(
    folder: Path,
    files: Mapping[str, bytes],
    remove: Callable[[], Iterable[str]] = tuple,
    wait: float = WAIT,
) -> None:
    """Write `files` (plain name to bytes) into `folder`, which is made where missing.

    remove: names that go in the same swap, asked for when nobody else can change the folder any more.

    Everything is first written and flushed to disk in a hidden folder beside the targets, then renamed into place
    under a journal. When anything fails, or the run is interrupted, the folder is put back as it was; when the run is
    killed, whoever comes next here, or `recover`, finishes it or puts it back. wait: seconds to wait for another run
    that is writing there. Raises WriteError.
    """
    _refuse_paths(files)
    made = _make_folder(folder)
    try:
        with _alone(folder, wait):
            _settle(folder)
            gone = tuple(remove())
            _refuse_paths(gone)
            for name in sorted((*files, *gone)):
                _refuse_odd(folder / name)
            _swap_in(folder, files, gone)
    except BaseException:
        _remove_folders(made)
        raise


def write_file(out: Path, content: bytes) -> None:
    """Write one file, a PDF or a picture, whose whole name the user chose; one of another kind is not written over.

    Raises WriteError.
    """
    with contextlib.suppress(OSError):
        if out.is_file() and (begins := _beginning(out)) and begins != content[: len(begins)]:
            raise WriteError(
                f"{shown(out)}: is a file of another kind, so it is not written over: choose another name."
            )
    write_files(out.parent, {out.name: content})


def _beginning(path: Path) -> bytes:
    """The bytes that tell which kind of file it is."""
    with path.open("rb") as stream:
        return stream.read(4)


def _refuse_paths(names: Iterable[str]) -> None:
    for name in names:
        if not name or Path(name).name != name:
            raise WriteError(f'"{name}" is not a plain file name: give a name without folders.')


def recover(folder: Path) -> bool:
    """Put right what a run that was killed left in a folder; whether there was anything. Raises WriteError.

    A run that is at work there just now is left alone.
    """
    if not left_in(folder):
        return False
    try:
        with alone_in(folder, wait=0.0):
            _settle(folder)
    except BusyError:
        return False
    except OSError as error:
        raise _sentence(folder, error, _HALF) from error
    return True


def _swap_in(folder: Path, files: Mapping[str, bytes], gone: tuple[str, ...]) -> None:
    try:
        gather(folder, files, gone)
        swap(folder)
    except BaseException as error:
        left = _UNCHANGED
        try:
            with _undisturbed():
                settle(folder, forward=False)
        except OSError:
            left = _HALF
        if isinstance(error, OSError):
            raise _sentence(_named_by(error, folder), error, left) from error
        raise
    # What is left of a set that is in place is in nobody's way, and the next run clears it.
    with contextlib.suppress(OSError):
        settle(folder)


@contextmanager
def _undisturbed() -> Iterator[None]:
    """While this lasts signals that end the program wait: putting back takes a moment, and half of it is a mix."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    heard: list[int] = []
    ends = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {number: signal.signal(number, lambda number, _: heard.append(number)) for number in ends}
    try:
        yield
    finally:
        for number, how in before.items():
            signal.signal(number, signal.SIG_DFL if how is None else how)
        for number in heard[:1]:
            signal.raise_signal(number)


@contextmanager
def _alone(folder: Path, wait: float) -> Iterator[None]:
    try:
        with alone_in(folder, wait):
            yield
    except BusyError as error:
        raise WriteError(
            f"{shown(folder)}: another run has been writing there for {wait:.0f} seconds: wait for it to end, or "
            "choose another folder."
        ) from error
    except OSError as error:
        raise _sentence(folder, error) from error


def _settle(folder: Path) -> None:
    try:
        settle(folder)
    except OSError as error:
        raise _sentence(folder, error, _HALF) from error
    except ForeignError as error:
        raise WriteError(
            f"{shown(folder / str(error))}: is left of a run that was cut short, and not in this place: look at "
            "what is in it, then remove it."
        ) from error


def _refuse_odd(target: Path) -> None:
    """Only a file may be replaced: no folder, no device, no pipe. Raises WriteError."""
    try:
        kind = target.stat().st_mode
    except FileNotFoundError:
        return
    except OSError as error:
        raise _sentence(target, error) from error
    if stat.S_ISDIR(kind):
        raise _sentence(target, IsADirectoryError(errno.EISDIR, "is a folder"))
    if not stat.S_ISREG(kind):
        raise WriteError(f"{shown(target)}: is a device or a pipe, not a file: choose another name.")


def _make_folder(folder: Path) -> list[Path]:
    """Make the folder; the ones that had to be made, deepest first."""
    missing: list[Path] = []
    try:
        missing += [p for p in (folder, *folder.parents) if not p.exists()]
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _remove_folders(missing)
        raise _sentence(folder, error) from error
    return missing


def _remove_folders(made: list[Path]) -> None:
    for path in made:
        with contextlib.suppress(OSError):
            path.rmdir()


def _named_by(error: OSError, folder: Path) -> Path:
    """The file an error is about, where the user knows it: in the folder itself, not in a hidden one."""
    about = error.filename2 or error.filename
    if not isinstance(about, str | bytes | Path):
        return folder
    name = Path(os.fsdecode(about)).name
    return folder if name.startswith(".cutout-") or name in ("new", "old", "journal") else folder / name


def _sentence(path: Path, error: OSError, left: str = _UNCHANGED) -> WriteError:
    reason = _REASONS.get(error.errno or 0, (error.strerror or str(error)).lower())
    return WriteError(f"{shown(path)}: can't be written, {reason}; {left}.")
