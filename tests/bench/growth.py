"""How each stage grows with what it is given: CPU time and peak memory, one process a run.

    python tests/bench/growth.py                                   every series at 100, 1,000 and 10,000 points
    python tests/bench/growth.py star teeth --sizes 100 300        some of it
    python tests/bench/growth.py --until "planning the cuts"       no farther than a stage's start

Series (all invented): a blob, smooth; a star, tip beside tip; teeth, needles 30 mm long on a bar; a spiral,
one long narrow opening; squares, four points each, on a grid; noise, a picture of as many grains. Each is
300 mm wide on a panel of 400 by 400 mm. A run ends where it has used up --seconds of CPU time: the stage it
was in is marked with a `>`. Between two sizes: the power of the size that time and peak memory grow with.
"""

from __future__ import annotations

import argparse
import io
import itertools
import json
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

STAGES = (
    "reading",
    "checking and mending",
    "planning the cuts",
    "proving the plan",
    "working out the router's path",
    "writing",
)
OPTIONS = {"width": "300mm", "panel": "400x400mm", "thickness": "18mm"}


def blob(n: int) -> list[np.ndarray]:
    """A round shape with soft waves."""
    t = 2 * np.pi * np.arange(n) / n
    r = 110 * (1 + 0.15 * np.cos(3 * t + 0.3) + 0.08 * np.cos(7 * t + 1) + 0.03 * np.cos(13 * t))
    return [r * np.exp(1j * t)]


def star(n: int) -> list[np.ndarray]:
    """Half as many tips as points, a third of the radius deep."""
    return [np.where(np.arange(n) % 2, 100, 145) * np.exp(2j * np.pi * np.arange(n) / n)]


def teeth(n: int) -> list[np.ndarray]:
    """Needles side by side on a bar."""
    k = n // 2
    x = np.linspace(0, 300, 2 * k + 1)
    return [np.concatenate([x + 1j * np.where(np.arange(2 * k + 1) % 2, 30.0, 0.0), [300 + 100j, 100j]])]


def spiral(n: int) -> list[np.ndarray]:
    """One long opening 6 mm wide that winds inwards four times."""
    t = np.linspace(0, 8 * np.pi, n // 2)
    middle = (150 - 4 * t) * np.exp(1j * t)
    side = 1j * np.exp(1j * np.angle(np.gradient(middle)))
    return [np.concatenate([middle + 3 * side, (middle - 3 * side)[::-1]])]


def squares(n: int) -> list[np.ndarray]:
    """Squares on a grid, as much wood between them as they are wide."""
    count = max(n // 4, 1)
    across = math.ceil(math.sqrt(count))
    size = 300 / (2 * across - 1)
    corners = size * np.array([0, 1, 1 + 1j, 1j])
    return [2 * size * complex(k % across, k // across) + corners for k in range(count)]


SERIES: dict[str, Callable[[int], list[np.ndarray]]] = {
    "blob": blob,
    "star": star,
    "teeth": teeth,
    "spiral": spiral,
    "squares": squares,
}


def drawn(rings: list[np.ndarray]) -> bytes:
    """The rings as an SVG in millimetres."""
    low = min(z.real.min() for z in rings) + 1j * min(z.imag.min() for z in rings)
    paths = ("M" + "L".join(f"{p.real:.5f} {p.imag:.5f}" for p in z - low) + "Z" for z in rings)
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="320mm" height="320mm" viewBox="0 0 320 320">'
    return f'{head}<path d="{" ".join(paths)}"/></svg>'.encode()


def noise(n: int) -> bytes:
    """A PNG of about `n` grains, black on white."""
    side = max(round(8 * math.sqrt(n)), 32)
    rough = gaussian_filter(np.random.default_rng(1).normal(size=(side, side)), 2.0)
    dark = rough > np.quantile(rough, 0.9)
    dark[[0, 1, -2, -1]] = dark[:, [0, 1, -2, -1]] = False
    out = io.BytesIO()
    Image.fromarray(np.where(dark, 0, 255).astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


CHILD = """
import json, resource, sys, tempfile, time
from pathlib import Path
from cutout.errors import CutoutError
from cutout.job.options import asked_for
from cutout.run import make
from cutout.write.outputs import write_out
source, options, seconds, until = Path(sys.argv[1]), json.loads(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
begun = int(time.process_time()) + 1
resource.setrlimit(resource.RLIMIT_CPU, (begun + seconds, begun + seconds))
def note(stage, done):
    if "(" in stage:
        return
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([stage, time.process_time(), peak]), flush=True)
    if stage == until:
        sys.exit(0)
job, folder = asked_for(source, options)
try:
    work = make(job, folder, note)
except CutoutError as error:
    note("", 1.0)
    print(json.dumps([f"refused: {error}", 0, 0]))
    sys.exit(0)
note("writing", 0.9)
with tempfile.TemporaryDirectory() as out:
    write_out(work, Path(out))
note("", 1.0)
print(json.dumps([f"{len(work.findings)} findings, {'proved' if work.proof.ok else 'not proved'}", 0, 0]))
"""


@dataclass(frozen=True)
class Run:
    """What each stage took (s CPU), the peak once it was done (MB), where it ended, and in what words."""

    took: dict[str, float]
    peak: dict[str, float]
    ended: dict[str, str]
    said: str

    def cells(self) -> list[str]:
        """A cell for each stage: seconds, and the peak where it rose by more than a tenth in it."""
        made, before = [], 0.0
        for stage in STAGES:
            if stage not in self.took:
                made.append(self.ended.get(stage, ""))
                continue
            peak = self.peak[stage]
            made.append(f"{self.took[stage]:.2f}" + (f" ({peak:.0f} MB)" if peak > 1.1 * before else ""))
            before = max(before, peak)
        return made


def one(source: Path, seconds: int, until: str) -> Run:
    """One run in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(source), json.dumps(OPTIONS), str(seconds), until],
        capture_output=True,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "CUTOUT_ONE_PROCESS": "1"},
    )
    marks = [json.loads(line) for line in done.stdout.splitlines()]
    said = marks.pop()[0] if marks and marks[-1][1] == 0 else (done.stderr.strip().splitlines() or [""])[-1]
    # A stage tells of itself again and again: from its first mark to the next stage's.
    marks = [mark for k, mark in enumerate(marks) if k == 0 or mark[0] != marks[k - 1][0]]
    pairs = list(itertools.pairwise(marks))
    ended = {}
    if marks and marks[-1][0] not in ("", until):
        ended[marks[-1][0]] = f">{seconds}" if done.returncode < 0 else "failed"
    return Run({a[0]: b[1] - a[1] for a, b in pairs}, {a[0]: b[2] for a, b in pairs}, ended, said[:90])


def power(less: float, more: float, times: float) -> str:
    """The power of the size that a figure grows with, where it is long enough to be told."""
    return f"{math.log(more / less) / math.log(times):.1f}" if min(less, more) >= _TOLD else ""


_TOLD = 0.05
"""Shorter times (s) say more of the machine than of the size."""


def growth(less: Run, more: Run, times: float) -> list[str]:
    """A cell for each stage: the powers that time and, behind a stroke, peak memory grow with."""
    made = []
    for stage in STAGES:
        if stage not in less.took or stage not in more.took:
            made.append("")
            continue
        seconds = power(less.took[stage], more.took[stage], times)
        made.append(f"{seconds} / {power(less.peak[stage], more.peak[stage], times)}" if seconds else "")
    return made


def main() -> None:
    """Print the table asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("series", nargs="*", default=[*SERIES, "noise"])
    parser.add_argument("--sizes", nargs="*", type=int, default=[100, 1000, 10_000])
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--until", default="-")
    asked = parser.parse_args()
    print("| series | points |" + "".join(f" {s} |" for s in STAGES) + " in all | |")
    print("|---" * (len(STAGES) + 4) + "|")
    with tempfile.TemporaryDirectory() as folder:
        for name in asked.series:
            before: tuple[int, Run] | None = None
            for size in asked.sizes:
                source = Path(folder) / f"{name}-{size}.{'png' if name == 'noise' else 'svg'}"
                source.write_bytes(noise(size) if name == "noise" else drawn(SERIES[name](size)))
                run = one(source, asked.seconds, asked.until)
                row = " | ".join(run.cells())
                whole = f"{math.fsum(run.took.values()):.1f}"
                print(f"| {name} | {size:,} | {row} | {whole} | {run.said} |", flush=True)
                if before is not None:
                    cells = growth(before[1], run, size / before[0])
                    if any(cells):
                        print(f"| | grows as (time / memory) | {' | '.join(cells)} | | |", flush=True)
                before = size, run


if __name__ == "__main__":
    main()
