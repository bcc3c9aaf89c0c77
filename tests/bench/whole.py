"""A whole `make` of a 12-megapixel photo, stage by stage, beside what no program could do without.

    python tests/bench/whole.py             shares of the stages, ratios of the whole and of `cutout --help`
    python tests/bench/whole.py --runs 1    the same from one run each
    python tests/bench/whole.py --circle    a bare circle and `cutout --help` alone
    python tests/bench/whole.py --others    then the ratios of the other benches as well, one after the other
    python tests/bench/whole.py --megapixels 0.3 4 12 48    photos of these sizes, one run each on one core: CPU time
                                            of the stages, ratio of the whole, and the most memory it held

The photo is the shipped drawing of a heron (invented) as a camera would see it: blur, light that falls off to one
corner, grain, JPEG. Each run is a process of its own, so that nothing it works out is cached. Its modules are
compiled by a run before, as an installed program's are. Half of the runs are kept to one core and one thread: of
those the CPU time is given (median). The others have two cores: of the quickest of those the time by the clock is
given, its CPU time with that of the processes it started, and its own without them: on cores that nobody else uses
the clock shows about the last, on busy ones it shows how busy they are. Beside it: decoding that JPEG (median of
nine), one iso-line through it (scikit-image) and one GEOS buffer of the finished pattern.
"""

from __future__ import annotations

import io
import itertools
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import resvg_py
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage.measure import find_contours

HERE = Path(__file__).parent
HERON = HERE.parent.parent / "examples" / "heron-shutter" / "heron.svg"
WIDTH, MEGAPIXELS = 3000, 12.0
"""The drawing's width in a photo of that size (pixels)."""
RIM = 200
"""Pixels of white paper round it there."""
OPTIONS = {"width": "400mm", "panel": "500x700mm", "thickness": "18mm"}
RUNS = 3
OTHERS = (
    ("trace.py", "--speed"),
    ("checks.py",),
    ("saw.py", "--count", "2", "--sizes", "300", "--mend"),
    ("route.py",),
    ("template.py", "--count", "6"),
)


def photo(folder: Path, megapixels: float = MEGAPIXELS) -> Path:
    """The heron as a camera of so many megapixels would save it."""
    larger = math.sqrt(megapixels / MEGAPIXELS)
    width, rim = round(WIDTH * larger), round(RIM * larger)
    png = bytes(resvg_py.svg_to_bytes(svg_string=HERON.read_text("utf-8"), width=width, background="white"))
    drawn = np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)
    seen = gaussian_filter(40 + 0.8 * np.pad(drawn, rim, constant_values=255.0), 1.5)
    rows, columns = seen.shape
    light = 1 - 0.25 * np.add.outer(np.linspace(0, 1, rows), np.linspace(0, 1, columns))
    grain = np.random.default_rng(12).normal(0, 3, seen.shape)
    path = folder / "photo.jpg"
    Image.fromarray(np.clip(seen * light + grain, 0, 255).astype(np.uint8)).convert("RGB").save(
        path, quality=90
    )
    return path


def surroundings(compiled: Path) -> dict[str, str]:
    """The environment of a measured process: one thread, compiled modules in that folder whatever is set here."""
    own = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**own, "OPENBLAS_NUM_THREADS": "1", "PYTHONPYCACHEPREFIX": str(compiled)}


def seconds(work: Callable[[], object], runs: int = RUNS) -> float:
    """Median CPU time of a few runs."""
    spent = []
    for _ in range(runs):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return statistics.median(spent)


CHILD = """
import cProfile, json, os, pstats, resource, sys, tempfile, time
from pathlib import Path
def spent():
    t = os.times()
    return t.children_user + t.children_system + time.process_time()
now = lambda stage: [stage, spent(), time.perf_counter(), time.process_time()]
marks = [now("import")]
from cutout.processes import own_process
own_process()
from cutout.job.options import asked_for
from cutout.run import make
from cutout.write.outputs import write_out
note = lambda stage, done: "(" in stage or marks.append(now(stage))
profile = cProfile.Profile(time.process_time) if sys.argv[3] == "profile" else None
if profile:
    profile.enable()
job, folder = asked_for(Path(sys.argv[1]), json.loads(sys.argv[2]))
work = make(job, folder, note)
note("writing the files", 0.9)
with tempfile.TemporaryDirectory() as out:
    write_out(work, Path(out))
note("", 1.0)
if profile:
    profile.disable()
    stats = pstats.Stats(profile).stats
    dearest = sorted(stats.items(), key=lambda item: -item[1][2])[:10]
    for (file, _, name), (_, calls, own, *_) in dearest:
        print(f"  {own * 1000:6.0f} ms {calls:8d} calls  {'/'.join(Path(file).parts[-2:])} {name}", file=sys.stderr)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps([marks, work.pattern.waste.wkb.hex(), peak]))
"""


@dataclass(frozen=True)
class Run:
    """One run in a process of its own, all caches empty: seconds of each stage, the waste it made (WKB, hex), and the
    most memory it held (MB)."""

    cpu: dict[str, float]
    wall: dict[str, float]
    own: dict[str, float]
    waste: str
    peak: float


def process(source: Path, options: dict[str, str], compiled: Path, cores: int = 1, how: str = "time") -> Run:
    """A run of the whole job on so many cores. A stage that tells several times how far it has come is summed."""
    free = sorted(os.sched_getaffinity(0))[:cores]
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(source), json.dumps(options), how],
        check=True,
        stdout=subprocess.PIPE,
        text=True,
        env=surroundings(compiled),
        preexec_fn=lambda: os.sched_setaffinity(0, free),
    )
    marks, waste, peak = json.loads(done.stdout)
    cpu: dict[str, float] = defaultdict(float)
    wall: dict[str, float] = defaultdict(float)
    own: dict[str, float] = defaultdict(float)
    for (stage, *before), (_, *after) in itertools.pairwise(marks):
        for sums, a, b in zip((cpu, wall, own), before, after, strict=True):
            sums[stage] += b - a
    return Run(cpu, wall, own, waste, peak)


def work_of(stages: dict[str, float]) -> float:
    """A run's time without its imports."""
    return sum(stages.values()) - stages["import"]


def table(
    source: Path, options: dict[str, str], compiled: Path, runs: int
) -> tuple[float, float, float, str]:
    """The stages, printed; the whole's CPU time on one core, its time by the clock and its own CPU time on two, all
    without imports, and the waste."""
    process(source, options, compiled)  # Compiles what is not yet.
    one, two = zip(
        *((process(source, options, compiled), process(source, options, compiled, 2)) for _ in range(runs)),
        strict=True,
    )
    cpu = {stage: statistics.median(run.cpu[stage] for run in one) for stage in one[0].cpu}
    best = min(two, key=lambda run: work_of(run.wall))
    total = work_of(cpu)
    print(f"{'':32s} one core: CPU         two cores: clock, CPU, its own CPU")
    for stage, took in cpu.items():
        share = "" if stage == "import" else f"{took / total:6.1%}"
        both = f"{best.wall[stage]:9.3f} {best.cpu[stage]:9.3f} {best.own[stage]:9.3f}"
        print(f"{stage:32s} {took:9.3f} {share:10s} {both}")
    print(
        f"{'all but imports':32s} {total:9.3f} {'':10s} {work_of(best.wall):9.3f} {work_of(best.cpu):9.3f} "
        f"{work_of(best.own):9.3f}   (machine's load {os.getloadavg()[0]:.1f})"
    )
    return total, work_of(best.wall), work_of(best.own), one[0].waste


def bare(source: Path, made: str) -> dict[str, float]:
    """Seconds of CPU to decode a photo, to draw an iso-line through it, and to buffer the waste made (WKB, hex)."""
    grey = np.asarray(Image.open(source).convert("L"), dtype=float)
    waste = shapely.from_wkb(bytes.fromhex(made))
    return {
        "decode": seconds(lambda: Image.open(source).load(), 9),
        "iso-line": seconds(lambda: find_contours(grey, 128), 3),
        "buffer": seconds(lambda: shapely.buffer(waste, -0.64, quad_segs=16), 9),
    }


def by_size(sizes: list[float], compiled: Path) -> None:
    """Photos of several sizes, one run each on one core."""
    found: list[tuple[Run, float]] = []
    with tempfile.TemporaryDirectory() as name:
        process(photo(Path(name), MEGAPIXELS), OPTIONS, compiled)  # Compiles what is not yet.
        for size in sizes:
            source = photo(Path(name), size)
            run = process(source, OPTIONS, compiled)
            found.append((run, sum(bare(source, run.waste).values())))
    print(f"{'megapixels; seconds of CPU':32s}" + "".join(f"{size:10g}" for size in sizes))
    for stage in found[0][0].cpu:
        print(f"{stage:32s}" + "".join(f"{run.cpu[stage]:10.3f}" for run, _ in found))
    print(f"{'all but imports':32s}" + "".join(f"{work_of(run.cpu):10.3f}" for run, _ in found))
    print(f"{'decode + iso-line + buffer':32s}" + "".join(f"{least:10.3f}" for _, least in found))
    print(f"{'ratio':32s}" + "".join(f"{work_of(run.cpu) / least:10.1f}" for run, least in found))
    print(f"{'most memory held, MB':32s}" + "".join(f"{run.peak:10.0f}" for run, _ in found))


def whole(compiled: Path, runs: int) -> None:
    """The photo's table, and the whole against its least parts."""
    with tempfile.TemporaryDirectory() as name:
        source = photo(Path(name))
        total, clock, own, made = table(source, OPTIONS, compiled, runs)
        parts = bare(source, made)
        print(", ".join(f"{part} {took * 1000:.0f} ms" for part, took in parts.items()))
        least = sum(parts.values())
        print(f"whole make against decode + iso-line + buffer: {total / least:.1f} (CPU, one core)")
        print(f"on two cores: {clock / least:.1f} by the clock, {own / least:.1f} by its own CPU time")
        print("dearest by own time:", flush=True)
        process(source, OPTIONS, compiled, how="profile")


def circle(compiled: Path, runs: int) -> None:
    """A bare circle, imports and all, against importing numpy, scipy.ndimage and shapely."""
    bare = "import numpy, scipy.ndimage, shapely, time; print(time.process_time())"
    env = surroundings(compiled)
    with tempfile.TemporaryDirectory() as name:
        source = Path(name) / "circle.svg"
        source.write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>'
        )
        print("\na bare circle")
        process(source, OPTIONS, compiled)  # Compiles what is not yet.
        ours = min(
            (process(source, OPTIONS, compiled) for _ in range(runs)), key=lambda r: sum(r.cpu.values())
        )
        least = min(
            float(
                subprocess.run([sys.executable, "-c", bare], check=True, capture_output=True, env=env).stdout
            )
            for _ in range(runs)
        )
        for stage, took in ours.cpu.items():
            print(f"{stage:32s} {took:9.3f} {took / least:6.2f}")
        spent = sum(ours.cpu.values())
        print(f"{spent:.2f} s CPU, bare imports {least:.2f} s: {spent / least:.2f}")


def shell(compiled: Path, runs: int) -> None:
    """`cutout --help` against importing the library it is written with."""

    def spent(code: str) -> float:
        code = f"import atexit, time; atexit.register(lambda: print('', time.process_time())); {code}"
        done = subprocess.run(
            [sys.executable, "-c", code], check=True, capture_output=True, env=surroundings(compiled)
        )
        return float(done.stdout.split()[-1])

    ours, bare = (
        min(spent(code) for _ in range(runs))
        for code in ("from cutout.cli import run; run(['--help'])", "import click")
    )
    print(f"cutout --help against import click: {ours / bare:.2f}")


def main() -> None:
    """Print everything asked for."""
    runs = int(sys.argv[sys.argv.index("--runs") + 1]) if "--runs" in sys.argv else RUNS
    with tempfile.TemporaryDirectory() as compiled:
        if "--megapixels" in sys.argv:
            by_size([float(size) for size in sys.argv[sys.argv.index("--megapixels") + 1 :]], Path(compiled))
            return
        if "--circle" not in sys.argv:
            whole(Path(compiled), runs)
        circle(Path(compiled), runs)
        shell(Path(compiled), runs)
    if "--others" in sys.argv[1:]:
        for name, *arguments in OTHERS:
            print(f"\n{name} {' '.join(arguments)}", flush=True)
            subprocess.run([sys.executable, str(HERE / name), *arguments], check=True)


if __name__ == "__main__":
    main()
