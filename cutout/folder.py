"""A folder of pictures: the same job for each, on every core, one crash or mistake harming no other."""

from __future__ import annotations

import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, as_completed
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pebble import ProcessExpired, ProcessPool

from cutout.errors import JobError, WriteError, in_one_line
from cutout.job.options import asked_for, is_job_file, laid_over, named
from cutout.processes import at_once, limit_memory, quick_context
from cutout.run import make
from cutout.units import Units, count, format_minutes
from cutout.write.files import recover

SUFFIXES = frozenset(
    [".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff", ".bmp", ".gif", ".svg", ".svgz", ".dxf"]
)
"""Names of files that are taken for pictures; what they really are is found out when they are read."""

_LOADED = ("cutout.write.outputs", "cutout.read.picture.reader", "cutout.read.svg.reader", "ezdxf")
"""What a job loads as it is needed, and nearly every one of a folder needs."""


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


def targets(pictures: Sequence[Path], out: Path) -> tuple[Path, ...]:
    """Where each picture's files go: named after it, with its ending where two share a name."""
    stems = Counter(p.stem.lower() for p in pictures)
    return tuple(out / f"{p.stem if stems[p.stem.lower()] == 1 else p.name}-cutout" for p in pictures)


def made_all(
    sources: Sequence[Path],
    out: Path,
    options: Mapping[str, Any],
    each: Callable[[Outcome], None] = lambda outcome: None,
    executor: Executor | None = None,
    bare: Units | None = None,
) -> tuple[Outcome, ...]:
    """Work out every source with the same options and write each into a folder of its own in `out`.

    executor: where the work is done; None: processes of our own on every core, as far as there is memory for them
    (`processes.at_once`), replaced when they crash, the largest source first, so that none is left over at the end.
    each: told every outcome as it comes. bare: the unit of bare numbers. Outcomes come in the order of the
    sources. An interrupt ends the processes at work; what is finished stays.
    """
    jobs = list(zip(sources, targets(sources, out), strict=True))
    if executor is not None:
        return _gathered([executor.submit(_worked_out, *job, options, bare) for job in jobs], jobs, each)
    several, memory = at_once(len(jobs))
    with _deaf():
        pool = ProcessPool(
            several,
            # All that any job needs is loaded once, before the processes part.
            context=quick_context(__name__, *_LOADED),
            initializer=limit_memory,
            initargs=[memory],
        )
    try:
        with _deaf():
            running = {
                n: pool.schedule(_worked_out, [*jobs[n], options, bare]) for n in _largest_first(sources)
            }
        return _gathered([running[n] for n in range(len(jobs))], jobs, each)
    finally:
        pool.stop()  # type: ignore[no-untyped-call]
        pool.join()
        # A process that was ended while it swapped its files in left a journal.
        for _, target in jobs:
            with suppress(WriteError):
                recover(target)


def _largest_first(sources: Sequence[Path]) -> list[int]:
    """Numbers of the sources, the largest file first: about what takes longest."""

    def size(source: Path) -> int:
        with suppress(OSError):
            return source.stat().st_size
        return 0

    return sorted(range(len(sources)), key=lambda n: (-size(sources[n]), n))


def _gathered(
    running: Sequence[Future[Outcome]], jobs: Sequence[tuple[Path, Path]], each: Callable[[Outcome], None]
) -> tuple[Outcome, ...]:
    """Every outcome; a process that died stands for one that says so."""
    of = dict(zip(running, jobs, strict=True))
    done: dict[Future[Outcome], Outcome] = {}
    for future in as_completed(running):
        try:
            done[future] = future.result()
        except (ProcessExpired, BrokenExecutor, MemoryError):
            done[future] = Outcome(
                *of[future], 2, "the work on it stopped unexpectedly; nothing is half written."
            )
        each(done[future])
    return tuple(done[future] for future in running)


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


def _worked_out(source: Path, target: Path, options: Mapping[str, Any], bare: Units | None) -> Outcome:
    """In another process: the whole job of one source."""
    try:
        return _made(source, target, options, bare)
    except Exception as error:
        return Outcome(source, target, 2, in_one_line(error).removeprefix(f"{source.name}: "))


def _made(source: Path, target: Path, options: Mapping[str, Any], bare: Units | None) -> Outcome:
    if bare is None:
        job, folder = asked_for(source, options)
    else:
        job, folder = named(source)
        job = laid_over(job, options, source.name, bare)
    from cutout.write.outputs import refuse_sources

    refuse_sources(job, folder, target)
    work = make(job, folder, job_file=source if is_job_file(source) else None)
    work.write(target)
    stops = sum(f.severity == "stop" and not f.cleared for f in work.findings)
    plan = work.plan
    verdict = f"{stops} to stop for" if stops else "proved by simulation"
    line = (
        f"{count(len(plan.holes), 'hole')}, {count(len(plan.legs), 'leg')}, about {format_minutes(plan.minutes)} "
        f"(an estimate); {verdict}"
    )
    return Outcome(source, target, 1 if stops else 0, line)
