"""A whole `make` of a 12-megapixel photo, stage by stage, beside what no program could do without.

    python tests/bench/whole.py             shares of the stages, ratios of the whole and of `cutout --help`
    python tests/bench/whole.py --others    then the ratios of the other benches as well, one after the other

The photo is the shipped drawing of a heron (invented) as a camera would see it: blur, light that falls off to one
corner, grain, JPEG. Beside it, in the same run: decoding that
JPEG, one iso-line through it (scikit-image) and one GEOS buffer of the finished pattern.
"""

from __future__ import annotations

import io
import itertools
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import resvg_py
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage.measure import find_contours

from cutout.job.options import asked_for
from cutout.run import make
from cutout.write.outputs import write_out

HERE = Path(__file__).parent
HERON = HERE.parent.parent / "examples" / "heron-shutter" / "heron.svg"
WIDTH = 3000
OPTIONS = {"width": "400mm", "panel": "500x700mm", "thickness": "18mm"}
RUNS = 3
OTHERS = (
    ("trace.py", "--speed"),
    ("checks.py",),
    ("saw.py", "--count", "2", "--sizes", "300", "--mend"),
    ("route.py",),
    ("template.py", "--count", "6"),
)


def photo(folder: Path) -> Path:
    """The heron as a camera of 12 megapixels would save it."""
    png = bytes(resvg_py.svg_to_bytes(svg_string=HERON.read_text("utf-8"), width=WIDTH, background="white"))
    drawn = np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)
    seen = gaussian_filter(40 + 0.8 * np.pad(drawn, 200, constant_values=255.0), 1.5)
    rows, columns = seen.shape
    light = 1 - 0.25 * np.add.outer(np.linspace(0, 1, rows), np.linspace(0, 1, columns))
    grain = np.random.default_rng(12).normal(0, 3, seen.shape)
    path = folder / "photo.jpg"
    Image.fromarray(np.clip(seen * light + grain, 0, 255).astype(np.uint8)).convert("RGB").save(
        path, quality=90
    )
    return path


def seconds(work: Callable[[], object]) -> float:
    """Median time of a few runs."""
    spent = []
    for _ in range(RUNS):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def stages(source: Path, target: Path) -> tuple[dict[str, float], shapely.Geometry]:
    """Seconds of each stage of one run, and the pattern it made."""
    marks: list[tuple[str, float]] = []

    def note(stage: str, done: float) -> None:
        marks.append((stage, time.perf_counter()))

    job, folder = asked_for(source, dict(OPTIONS))
    work = make(job, folder, note)
    write_out(work, target)
    marks.append(("", time.perf_counter()))
    spent = {name: end - start for (name, start), (_, end) in itertools.pairwise(marks)}
    spent["writing the files"] = spent.pop("drawing the template")
    return spent, work.pattern.waste


def whole() -> None:
    """The table of shares, and the whole against its least parts."""
    with tempfile.TemporaryDirectory() as name:
        source = photo(Path(name))
        stages(source, Path(name) / "out")  # imports done
        runs = [stages(source, Path(name) / "out") for _ in range(RUNS)]
        spent = {stage: statistics.median(r[0][stage] for r in runs) for stage in runs[0][0]}
        total = sum(spent.values())
        for stage, took in spent.items():
            print(f"{stage:32s} {took / total:6.1%}")
        grey = np.asarray(Image.open(source).convert("L"), dtype=float)
        parts = {
            "decode": seconds(lambda: Image.open(source).load()),
            "iso-line": seconds(lambda: find_contours(grey, 128)),
            "buffer": seconds(lambda: shapely.buffer(runs[0][1], -0.64, quad_segs=16)),
        }
    print(", ".join(f"{part} {took * 1000:.0f} ms" for part, took in parts.items()), f"- whole {total:.2f} s")
    print(f"whole make against decode + iso-line + buffer: {total / sum(parts.values()):.1f}")


def shell() -> None:
    """`cutout --help` against importing the library it is written with."""

    def run(code: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)

    ours = seconds(run("from cutout.cli import run; run(['--help'])"))
    bare = seconds(run("import click"))
    print(f"cutout --help against import click: {ours / bare:.2f}")


def main() -> None:
    """Print everything asked for."""
    whole()
    shell()
    if "--others" in sys.argv[1:]:
        for name, *arguments in OTHERS:
            print(f"\n{name} {' '.join(arguments)}", flush=True)
            subprocess.run([sys.executable, str(HERE / name), *arguments], check=True)


if __name__ == "__main__":
    main()
