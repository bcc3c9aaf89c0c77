"""Job folders: every tab's work on disk, with its history, so that it survives a reload.

    <folder>/<job id>/state.json       which entry of the history is shown, names the user knows files by
    <folder>/<job id>/history/<n>.toml one job file each, in the order they were made
    <folder>/<job id>/files/<own name> pictures and other sources, under names made here

Nothing a browser sends is ever used as a path: ids and names are made here and checked by their shape.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import threading
import time
from collections import defaultdict
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from cutout.errors import JobError
from cutout.job.fields import files_in
from cutout.job.file import dump_job, parse_job
from cutout.job.schema import Job

MOST_STEPS = 300
"""Steps of undo kept per job."""

_A_DAY = 24 * 3600
"""Seconds; an empty job left for longer is swept."""
_ID = re.compile(r"[A-Za-z0-9_-]{16}")
_NAME = re.compile(r"source-[0-9]{1,6}")


class NoSuchJobError(Exception):
    """The job is not in the folder."""


class StaleError(Exception):
    """The job was changed by someone else since the revision the request speaks of."""


@dataclass(frozen=True)
class State:
    """A job and where its history stands. revision: grows with every change, undo and redo.

    labels: what the user calls each source file. missing: sources the job names but the folder lacks. lost: entries
    of the history that could not be read and were passed over for the one shown.
    """

    id: str
    revision: int
    job: Job
    entries: tuple[int, ...]
    at: int
    gesture: str | None = None
    labels: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    lost: int = 0

    @property
    def can_undo(self) -> bool:
        """There is an older entry."""
        return self.at > 0

    @property
    def can_redo(self) -> bool:
        """There is a newer entry."""
        return self.at < len(self.entries) - 1


class Store:
    """Jobs in one folder. Every method is safe to call from several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._locks: defaultdict[str, threading.RLock] = defaultdict(threading.RLock)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)

    def new(self, job: Job, labels: Mapping[str, str] | None = None) -> State:
        """A folder of its own for this job."""
        # 96 bits: sixteen letters that nobody guesses.
        id = secrets.token_urlsafe(12)
        for part in ("history", "files"):
            (self._folder / id / part).mkdir(mode=0o700, parents=True)
        state = State(id, 0, job, (0,), 0, labels=dict(labels or {}))
        with self._locks[id]:
            self._write_entry(id, 0, job)
            self._write_state(state)
            return self.state(id)

    def state(self, id: str) -> State:
        """The job as it stands. Raises NoSuchJobError."""
        folder = self._home(id)
        with self._locks[id]:
            try:
                kept = _kept(folder)
                entries, revision, gesture = tuple(kept["entries"]), kept["revision"], kept["gesture"]
                at, labels = kept["at"], dict(kept["labels"])
                job, at, lost = self._readable(id, entries, at)
            except (OSError, ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
                raise NoSuchJobError(id) from error
            missing = tuple(n for n in files_in(job) if not (folder / "files" / n).is_file())
            return State(id, revision, job, entries, at, gesture, labels, missing, lost)

    def _readable(self, id: str, entries: tuple[int, ...], at: int) -> tuple[Job, int, int]:
        """The job at a place in the history, or the nearest before it that can be read (else after it).

        Returns it with its place and how many entries were passed over. Raises NoSuchJobError.
        """
        for lost, n in enumerate((*range(at, -1, -1), *range(at + 1, len(entries)))):
            try:
                text = (self._home(id) / "history" / f"{entries[n]}.toml").read_text("utf-8")
                if text.strip():  # an empty file would be a job too: one that says nothing
                    return parse_job(text, "the job"), n, lost
            except (OSError, ValueError, JobError):
                continue
        raise NoSuchJobError(id)

    def change(self, id: str, revision: int, job: Job, gesture: str | None = None) -> State:
        """The job as the newest entry of the history. Changes of one gesture make one entry.

        Raises StaleError when `revision` is not the one that stands, JobError when the job names a source
        that was not put there by `add_file`.
        """
        with self._locks[id]:
            state = self._at(id, revision)
            unknown = [name for name in files_in(job) if name not in state.labels]
            if unknown:
                raise JobError("a figure's source can only be a file that was chosen on this page.")
            if job == state.job:
                return state
            kept, dropped = state.entries[: state.at + 1], state.entries[state.at + 1 :]
            if gesture is not None and gesture == state.gesture and state.at > 0:
                kept, dropped = kept[:-1], (kept[-1], *dropped)
            number = max(state.entries) + 1
            dropped, kept = (*dropped, *kept[:-MOST_STEPS]), kept[-MOST_STEPS:]
            self._write_entry(id, number, job)
            entries = (*kept, number)
            after = replace(
                state, revision=state.revision + 1, entries=entries, at=len(entries) - 1, gesture=gesture
            )
            self._write_state(after)
            for old in dropped:
                (self._home(id) / "history" / f"{old}.toml").unlink(missing_ok=True)
            return self.state(id)

    def step(self, id: str, revision: int, by: int) -> State:
        """Undo (-1) or redo (+1); the state unchanged where there is nothing to step to. Raises StaleError."""
        with self._locks[id]:
            state = self._at(id, revision)
            if not 0 <= state.at + by < len(state.entries):
                return state
            after = replace(state, revision=state.revision + 1, at=state.at + by, gesture=None)
            self._write_state(after)
            return self.state(id)

    def add_file(self, id: str, data: bytes, label: str) -> str:
        """Store a source under a name made here; `label` is only shown. Returns the name."""
        with self._locks[id]:
            state = self.state(id)
            taken = [int(name.removeprefix("source-")) for name in state.labels]
            name = f"source-{max(taken, default=0) + 1}"
            self.fill(id, name, data, state)
            self._write_state(replace(state, labels={**state.labels, name: label}))
            return name

    def fill(self, id: str, name: str, data: bytes, state: State | None = None) -> None:
        """Put data in the place of a source the job already names. Raises NoSuchJobError for other names."""
        if not _NAME.fullmatch(name) or (state is None and name not in self.state(id).labels):
            raise NoSuchJobError(name)
        write_beside(self._home(id) / "files" / name, data)

    def drop_file(self, id: str, name: str) -> None:
        """Forget a source that turned out useless."""
        with self._locks[id]:
            state = self.state(id)
            if name in state.labels:
                labels = {n: label for n, label in state.labels.items() if n != name}
                self._write_state(replace(state, labels=labels))
                (self._home(id) / "files" / name).unlink(missing_ok=True)

    def read_file(self, id: str, name: str) -> bytes:
        """A source's bytes. Raises NoSuchJobError when there is none of that name."""
        state = self.state(id)
        if name not in state.labels or name in state.missing:
            raise NoSuchJobError(name)
        return (self.files(id) / name).read_bytes()

    def files(self, id: str) -> Path:
        """The folder that the job's sources are relative to."""
        return self._home(id) / "files"

    def sweep(self) -> None:
        """Delete jobs of earlier days that nothing was ever done to."""
        for id in sorted(path.name for path in self._folder.iterdir() if _ID.fullmatch(path.name)):
            try:
                untouched = self.state(id).revision == 0
                old = time.time() - (self._home(id) / "state.json").stat().st_mtime > _A_DAY
            except (NoSuchJobError, JobError, OSError):
                continue
            if untouched and old:
                self.remove(id)

    def earlier(self) -> tuple[State, ...]:
        """Every job with something in it, the one changed last first."""
        kept = (folder / "state.json" for folder in self._folder.iterdir() if _ID.fullmatch(folder.name))
        dated = [(-path.stat().st_mtime_ns, path.parent.name) for path in kept if path.is_file()]
        states = []
        for _, id in sorted(dated):
            try:
                states.append(self.state(id))
            except (NoSuchJobError, JobError):
                continue
        return tuple(state for state in states if state.job.figures)

    def changed(self, id: str) -> float:
        """When a job was last changed, in seconds of the system's clock; 0 for one that is gone."""
        try:
            return (self._home(id) / "state.json").stat().st_mtime
        except (NoSuchJobError, OSError):
            return 0.0

    def remove(self, id: str) -> None:
        """Delete a job and everything in it. Raises NoSuchJobError."""
        folder = self._home(id)
        with self._locks[id]:
            shutil.rmtree(folder)

    def _home(self, id: str) -> Path:
        if not _ID.fullmatch(id) or not (self._folder / id).is_dir():
            raise NoSuchJobError(id)
        return self._folder / id

    def _at(self, id: str, revision: int) -> State:
        state = self.state(id)
        if state.revision != revision:
            raise StaleError(id)
        return state

    def _write_entry(self, id: str, number: int, job: Job) -> None:
        """Store a job that can be read back. Raises JobError for one that can't: nothing is stored then."""
        text = dump_job(job)
        parse_job(text, "the job")
        write_beside(self._home(id) / "history" / f"{number}.toml", text.encode())

    def _write_state(self, state: State) -> None:
        kept = {
            "revision": state.revision,
            "entries": state.entries,
            "at": state.at,
            "gesture": state.gesture,
            "labels": dict(state.labels),
        }
        write_beside(self._home(state.id) / "state.json", json.dumps(kept).encode())


def _kept(folder: Path) -> dict[str, Any]:
    """What state.json says; where it can't be read, what the folder itself shows: every entry, the newest on top."""
    with suppress(OSError, ValueError):
        found = json.loads((folder / "state.json").read_text("utf-8"))
        if isinstance(found, dict) and found.keys() >= {"entries", "revision", "gesture", "at", "labels"}:
            return found
    entries = sorted(int(p.stem) for p in (folder / "history").glob("*.toml") if p.stem.isdecimal())
    labels = {p.name: p.name for p in (folder / "files").iterdir() if _NAME.fullmatch(p.name)}
    newest = len(entries) - 1
    return {"entries": entries, "revision": max(entries), "gesture": None, "at": newest, "labels": labels}


def write_beside(path: Path, data: bytes) -> None:
    """Write beside the target, then rename: a reader sees the old bytes or the new ones."""
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        # Nobody else on this machine may look at a user's jobs and pictures.
        with open(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:  # noqa: PTH123
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
