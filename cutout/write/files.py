"""Writing a set of files so that either all of them are new or nothing has changed."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path

from cutout.errors import WriteError, shown

_HIDDEN = ".cutout-"
_STALE = 86400.0
"""Seconds after which a hidden folder belongs to no run any more."""
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


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write `files` (plain name to bytes) into `folder`, which is made where missing.

    Everything is first written and flushed to disk in a hidden folder beside the targets, then renamed
    into place; files that are replaced are held until the last rename. When anything fails, or the run
    is interrupted, the folder is put back as it was. Raises WriteError.
    """
    for name in files:
        if not name or Path(name).name != name:
            raise WriteError(f'"{name}" is not a plain file name: give a name without folders.')
    made = _make_folder(folder)
    _sweep(folder)
    try:
        staging = Path(tempfile.mkdtemp(prefix=_HIDDEN, dir=folder))
    except OSError as error:
        _remove_folders(made)
        raise _sentence(folder, error) from error
    try:
        _stage(staging, files)
        _swap_in(folder, staging, sorted(files))
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        _remove_folders(made)
        raise
    shutil.rmtree(staging, ignore_errors=True)
    _flush_folder(folder)


def _sweep(folder: Path) -> None:
    """Remove hidden folders of runs that were killed, a day after: until then one may be at work."""
    with contextlib.suppress(OSError):
        for left in folder.glob(f"{_HIDDEN}*"):
            if time.time() - left.stat().st_mtime > _STALE:
                shutil.rmtree(left, ignore_errors=True)


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


def _stage(staging: Path, files: Mapping[str, bytes]) -> None:
    for name in sorted(files):
        path = staging / name
        try:
            with path.open("xb") as stream:
                stream.write(files[name])
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            raise _sentence(staging.parent / name, error) from error


def _swap_in(folder: Path, staging: Path, names: list[str]) -> None:
    """Rename every staged file into place; on any failure bring back what was there."""
    held = staging / ".before"
    done: list[str] = []
    name = ""
    try:
        held.mkdir()
        for name in names:
            if (folder / name).is_dir():
                raise IsADirectoryError(errno.EISDIR, "is a folder")
            _hold(folder / name, held / name)
        for name in names:
            done.append(name)
            os.replace(staging / name, folder / name)  # noqa: PTH105 - one call, one rename
    except BaseException as error:
        for undo in reversed(done):
            _put_back(folder / undo, staging / undo, held / undo)
        if isinstance(error, OSError):
            raise _sentence(folder / name, error) from error
        raise


def _hold(target: Path, held: Path) -> None:
    """A second name for a file that is about to be replaced; a copy where the disk knows no hard links."""
    if not target.exists() and not target.is_symlink():
        return
    try:
        os.link(target, held, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(target, held, follow_symlinks=False)


def _put_back(target: Path, staged: Path, held: Path) -> None:
    if staged.exists():
        return  # this one was never renamed
    with contextlib.suppress(OSError):
        if held.exists() or held.is_symlink():
            held.replace(target)
        else:
            target.unlink()


def _flush_folder(folder: Path) -> None:
    """Make the renames last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sentence(path: Path, error: OSError) -> WriteError:
    reason = _REASONS.get(error.errno or 0, (error.strerror or str(error)).lower())
    return WriteError(f"{shown(path)}: can't be written, {reason}; nothing there was changed.")
