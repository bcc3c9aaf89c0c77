"""A folder of pictures: the same job for each, on every core, one crash or mistake harming no other."""

from __future__ import annotations

import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, TypeAlias

from cutout.errors import JobError, in_one_line
from cutout.job.options import asked_for
from cutout.processes import quick_context
from cutout.run import make, write_out
from cutout.units import count

SUFFIXES = frozenset(
    [".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff", ".bmp", ".gif", ".svg", ".svgz", ".dxf"]
)
"""Names of files that are taken for pictures; what they really are is found out when they are read."""

Progress: TypeAlias = Callable[[str, float], None]
"""Told what was finished last and the share of all that is done."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one picture. code: as the exit code of a run of its own; line: one line for people."""

    source: Path
    target: Path
    code: int
    line: str


def pictures_in(folder: Path) -> tuple[Path, ...]:
    """The pictures in a folder, by name; folders in it are not entered. Raises JobError."""
    try:
        found = sorted(p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
    except OSError as error:
        raise JobError(f"{folder}: can't be read ({error.strerror}).") from error
    if not found:
        raise JobError(f"{folder}: there is no picture in this folder (PNG, JPEG, SVG, DXF and others are).")
    return tuple(found)


def targets(pictures: tuple[Path, ...], out: Path) -> tuple[Path, ...]:
    """Where each picture's files go: named after it, with its ending where two share a name."""
    stems = Counter(p.stem.lower() for p in pictures)
    return tuple(out / f"{p.stem if stems[p.stem.lower()] == 1 else p.name}-cutout" for p in pictures)


def make_all(
    pictures: tuple[Path, ...],
    out: Path,
    options: dict[str, Any],
    progress: Progress = lambda what, share: None,
    cores: int | None = None,
) -> tuple[Outcome, ...]:
    """Work out every picture with the same options, each in a process of its own, `cores` at a time.

    Outcomes come in the order of the pictures. An interrupt ends the processes at work; what is finished stays.
    """
    context = quick_context(__name__)
    jobs = list(zip(pictures, targets(pictures, out), strict=True))
    waiting = list(reversed(range(len(jobs))))
    running: dict[Connection, tuple[int, BaseProcess]] = {}
    done: dict[int, Outcome] = {}
    try:
        while waiting or running:
            while waiting and len(running) < (cores or os.cpu_count() or 1):
                n = waiting.pop()
                ours, theirs = context.Pipe(duplex=False)
                process = context.Process(target=_worked_out, args=(theirs, *jobs[n], options))  # type: ignore[attr-defined]
                with _deaf():
                    process.start()
                theirs.close()
                running[ours] = n, process
            for pipe in wait(list(running)):
                assert isinstance(pipe, Connection)
                n, process = running.pop(pipe)
                done[n] = _answer(pipe, process, *jobs[n])
                progress(done[n].source.name, len(done) / len(jobs))
    finally:
        for _, process in running.values():
            process.terminate()
    return tuple(done[n] for n in range(len(jobs)))


def exit_code(outcomes: tuple[Outcome, ...]) -> int:
    """0 where all went well, 2 where nothing could be made, else 1 where something needs the user."""
    if all(o.code == 2 for o in outcomes):
        return 2
    return max(min(o.code, 1) for o in outcomes)


@contextmanager
def _deaf() -> Iterator[None]:
    """Processes started meanwhile take no notice of an interrupt: it is for this one, which ends them."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _answer(pipe: Connection, process: BaseProcess, source: Path, target: Path) -> Outcome:
    try:
        outcome = pipe.recv()
    except EOFError:
        outcome = Outcome(source, target, 2, "the work on it stopped unexpectedly; nothing was written.")
    process.join()
    assert isinstance(outcome, Outcome)
    return outcome


def _worked_out(pipe: Connection, source: Path, target: Path, options: dict[str, Any]) -> None:
    """In the process of its own: the whole job of one picture."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        outcome = _made(source, target, options)
    except Exception as error:
        outcome = Outcome(source, target, 2, in_one_line(error).removeprefix(f"{source.name}: "))
    pipe.send(outcome)


def _made(source: Path, target: Path, options: dict[str, Any]) -> Outcome:
    job, folder = asked_for(source, options)
    work = make(job, folder)
    write_out(work, job, folder, target)
    stops = sum(f.severity == "stop" and not f.cleared for f in work.findings)
    plan = work.plan
    verdict = f"{stops} to stop for" if stops else "proved by simulation"
    line = (
        f"{count(len(plan.holes), 'hole')}, {count(len(plan.legs), 'leg')}, about {plan.minutes:.0f} minutes "
        f"(an estimate); {verdict}"
    )
    return Outcome(source, target, 1 if stops else 0, line)
