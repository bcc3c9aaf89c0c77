"""Drawings by others: Debian's openclipart-svg, public domain, against the pixels of resvg, an independent renderer.

Fifty of its 8,000 files, taken at equal steps; CUTOUT_CLIP_ART=1000 in the environment takes that many. Each must
be read or refused in one line, within a minute; of those read nearly all must show the same silhouette. Grey 150
parts dark from light in both: a shadow of half-transparent black would be a draw at 128.
"""

from __future__ import annotations

import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from tests.bench.svg import Result, compare

CLIP_ART = Path("/usr/share/openclipart/svg")
COUNT = int(os.environ.get("CUTOUT_CLIP_ART", "50"))
SECONDS = 60
GREY = 150
SAME = 0.98
SHARE = 0.97
MEMORY = 1 << 30


def read_all(paths: list[Path]) -> tuple[list[Result], int]:
    """Every file compared, and the peak of the process that did it, in bytes."""
    return [compare(path, SECONDS, GREY) for path in paths], peak()


def peak() -> int:
    """Most bytes this process had in memory. `getrusage` is no help: it counts what the parent held before exec."""
    lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))


@pytest.fixture(scope="module")
def read_and_peak() -> tuple[list[Result], int]:
    """In a process of its own: what other tests took before is no matter of these files."""
    if not CLIP_ART.is_dir():
        pytest.skip("needs the Debian package openclipart-svg")
    files = sorted(CLIP_ART.rglob("*.svg"))
    chosen = [files[i] for i in np.linspace(3, len(files) - 1, COUNT).astype(int)]
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(read_all, chosen).result()


@pytest.fixture(scope="module")
def results(read_and_peak: tuple[list[Result], int]) -> list[Result]:
    return read_and_peak[0]


def test_none_crashes_or_takes_too_long(results: list[Result]) -> None:
    assert [(r.path.name, r.text) for r in results if r.state in ("crashed", "too long")] == []
    assert all("\n" not in r.text for r in results if r.state == "refused")


def test_the_silhouettes_are_those_of_the_renderer(results: list[Result]) -> None:
    read = [r for r in results if r.state == "read"]
    assert len(read) > 0.8 * len(results)
    worse = sorted((round(r.iou, 3), r.path.name) for r in read if r.iou < SAME)
    assert len(worse) <= (1 - SHARE) * len(read), worse


def test_memory_stays_modest(read_and_peak: tuple[list[Result], int]) -> None:
    """Peak of the process that read them all and holds both pictures of each."""
    results, peak = read_and_peak
    pictures = sum(
        r.expected.nbytes + r.got.nbytes for r in results if r.expected is not None and r.got is not None
    )
    assert peak - pictures < MEMORY
