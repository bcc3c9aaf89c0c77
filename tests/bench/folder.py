"""A folder of pictures on one core and on two: how near to linear that is, and what a job takes of memory.

    python tests/bench/folder.py [--jobs 8] [--rounds 1]

Jobs as good as equal: one invented drawing, each a hair different. All on one core, then on two, in turn. On a busy
machine the wall says little; then the CPU time of all jobs together over twice the wall tells how much of two cores
was used, and that over the CPU time on one core what working side by side costs.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from cutout.folder import made_all

OPTIONS = {"width": "160mm", "panel": "220x220mm", "thickness": "12mm", "blade": "jigsaw-narrow"}


def drawing(n: int) -> str:
    """An invented leaf with a few lobes, as SVG; each a hair different, so that none is known from another."""
    t = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    r = 40 * (1 + 0.25 * np.cos(3 * t + 0.4 + 0.001 * n) + 0.12 * np.cos(7 * t) + 0.05 * np.cos(11 * t + 1))
    x, y = 60 + r * np.cos(t), 60 + r * np.sin(t)
    path = "M" + "L".join(f"{a:.3f} {b:.3f}" for a, b in zip(x, y, strict=True)) + "Z"
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 120"><path d="{path}"/></svg>'


@dataclass
class Seen:
    """What was seen of the processes of a session: CPU seconds of each, and the most memory (MB) one took."""

    cpu: dict[str, float] = field(default_factory=dict)
    peak: float = 0.0

    def look(self, session: int) -> None:
        """Look at all of them once more."""
        for process in Path("/proc").glob("[0-9]*"):
            with suppress(OSError, IndexError, ValueError):
                fields = (process / "stat").read_text().rpartition(")")[2].split()
                if int(fields[3]) != session:
                    continue
                self.cpu[process.name] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
                lines = (process / "status").read_text().splitlines()
                high = next((line for line in lines if line.startswith("VmHWM")), "VmHWM: 0")
                self.peak = max(self.peak, int(high.split()[1]) / 1024)


def run(folder: Path, jobs: int, cores: set[int]) -> tuple[float, float, float]:
    """Wall and CPU seconds of all jobs on these cores, and the peak (MB); in a session of its own."""
    begun = time.perf_counter()
    pid = os.fork()
    if pid == 0:
        os.setsid()
        os.sched_setaffinity(0, cores)
        sources = [folder / f"{n}.svg" for n in range(jobs)]
        with tempfile.TemporaryDirectory() as out:
            done = made_all(sources, Path(out), OPTIONS)
        os._exit(int(any(o.code == 2 for o in done)))
    seen = Seen()
    while True:
        seen.look(pid)
        ended, status = os.waitpid(pid, os.WNOHANG)
        if ended:
            break
        time.sleep(0.4)
    if status:
        sys.exit("a job failed")
    return time.perf_counter() - begun, sum(seen.cpu.values()), seen.peak


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=8)
    parser.add_argument("--rounds", type=int, default=1)
    asked = parser.parse_args()
    able = sorted(os.sched_getaffinity(0))
    if len(able) < 2:
        sys.exit("two cores are needed")
    rows: list[list[float]] = []
    peak = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for n in range(asked.jobs):
            (folder / f"{n}.svg").write_text(drawing(n), "utf-8")
        for _ in range(asked.rounds):
            one, two = run(folder, asked.jobs, {able[0]}), run(folder, asked.jobs, set(able[:2]))
            rows.append([one[0], one[1], two[0], two[1]])
            peak = max(peak, one[2], two[2])
            print(
                f"one core: wall {one[0]:.1f} s, CPU {one[1]:.1f} s; two: wall {two[0]:.1f} s, CPU {two[1]:.1f} s; "
                f"{one[0] / two[0] / 2:.2f} of linear by wall; two cores used {two[1] / two[0] / 2:.2f}, "
                f"CPU {two[1] / one[1]:.2f} times that of one",
                flush=True,
            )
    print(f"of linear by wall, median: {statistics.median(r[0] / r[2] / 2 for r in rows):.2f}")
    print(f"largest process: {peak:.0f} MB")


if __name__ == "__main__":
    main()
