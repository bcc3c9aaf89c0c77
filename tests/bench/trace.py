"""Our tracer beside potrace and the plain iso-line, on exact shapes; prints tables of medians.

    python tests/bench/trace.py            accuracy: every shape at three sizes in eight qualities
    python tests/bench/trace.py --ours     the same for our tracer only; --verbose adds every shape
    python tests/bench/trace.py --quick    the middle size only; --size N only that one
    python tests/bench/trace.py --kind TEXT   only pictures whose kind has TEXT in it
    python tests/bench/trace.py --seeds 3  as many turns, places and grains of each shape; --from N: other ones
    python tests/bench/trace.py --others   other shapes, on which nothing in the tracer was tuned
    python tests/bench/trace.py --bound    how far corners may move and leave a black-and-white picture as it is
    python tests/bench/trace.py --speed    CPU time and memory on large scans, beside decoding and an iso-line
                                           (--megapixels N: of one size; --beside FOLDER: other code in turns)

potrace is called as a program (Debian package of that name) and measured only.
"""

from __future__ import annotations

import io
import json
import math
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
import svgpathtools
from PIL import Image
from shapely.geometry.base import BaseGeometry
from skimage.measure import find_contours

sys.path.insert(0, str(Path(__file__).parent))
import shapes

from cutout.errors import CutoutError
from cutout.geom.curve import Cubic, Line, Segment, Similarity
from cutout.geom.outline import Ring
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

SIZES = (200, 500, 1000)
TRUE_CORNER = math.radians(44.9)
SEEN_CORNER = math.radians(25)
TOLERANCE = 0.25
"""Pixels: 0.1 mm on a silhouette 400 mm wide from a picture 1000 pixels wide."""


@dataclass
class Score:
    """How one trace of one shape differs from the truth; pixels."""

    rms: float
    worst: float
    nodes: int
    corners: int
    missed: int
    off: list[float]
    false: int
    smooth: float


def ours(data: bytes, shape: shapes.Shape) -> list[Ring]:
    z = np.concatenate([ring.complex_points() for ring in shape.rings])
    options = ReadOptions(width=float(np.ptp(z.real)), tolerance=TOLERANCE)
    return list(read_picture(data, "bench", options).rings)


def potrace(data: bytes, shape: shapes.Shape) -> list[Ring]:
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "in.pgm", Path(folder) / "out.svg"
        Image.open(io.BytesIO(data)).convert("L").save(source)
        command = ["potrace", "-b", "svg", "--flat", "-u", "1000", "-o", str(target), str(source)]
        subprocess.run(command, check=True)
        text = target.read_text()
    d = text.split(' d="')[1].split('"')[0] if ' d="' in text else ""
    # Before its group's transform the file is in thousandths of a pixel, y up.
    rings = []
    for path in svgpathtools.parse_path(d).continuous_subpaths() if d else []:
        parts: list[Segment] = []
        for s in path:
            if abs(s.end - s.start) < 1e-9:
                continue
            if isinstance(s, svgpathtools.Line):
                parts.append(Line(s.start / 1000, s.end / 1000))
            else:
                parts.append(Cubic(s.start / 1000, s.control1 / 1000, s.control2 / 1000, s.end / 1000))
        rings.append(Ring(tuple(parts)))
    return rings


def iso_line(data: bytes, shape: shapes.Shape) -> list[Ring]:
    grey = 1 - np.asarray(Image.open(io.BytesIO(data)).convert("L"), dtype=float) / 255
    found = find_contours(np.pad(grey, 1), 0.5)
    h = grey.shape[0]
    return [Ring.of_points(np.column_stack([c[:, 1] - 0.5, h - c[:, 0] + 0.5])) for c in found if len(c) > 3]


def score(rings: list[Ring], shape: shapes.Shape) -> Score:
    """Both ways: from points of the trace to the truth, and from points of the truth to the trace."""
    truth = shapely.MultiLineString([shapely.LinearRing(b) for b in shape.boundary()])
    got = shapely.MultiLineString([shapely.LinearRing(r.points(0.002)) for r in rings])
    d = np.concatenate([_distances(got, truth), _distances(truth, got)])
    corners = shape.corners(TRUE_CORNER)
    seen = np.array([p for r in rings for p, _ in r.corners(SEEN_CORNER)], dtype=complex)
    nearest = (
        np.abs(corners[:, None] - seen[None, :]).min(axis=1) if len(seen) else np.full(len(corners), 99.0)
    )
    bent = shape.corners(math.radians(15))
    false = sum(1 for p in seen if not len(bent) or np.abs(bent - p).min() > 3)
    return Score(
        math.sqrt(float(np.mean(d**2))),
        float(d.max()),
        sum(len(r.segments) for r in rings),
        len(corners),
        int((nearest > 2).sum()),
        nearest[nearest <= 2].tolist(),
        false,
        truth.length,
    )


def _distances(one: BaseGeometry, two: BaseGeometry) -> np.ndarray:
    xy = np.concatenate([shapely.get_coordinates(shapely.segmentize(g, 0.5)) for g in shapely.get_parts(one)])
    ends = [shapely.get_coordinates(g) for g in shapely.get_parts(two)]
    pairs = np.concatenate([np.stack([e[:-1], e[1:]], axis=1) for e in ends])
    tree = shapely.STRtree(np.asarray(shapely.linestrings(pairs)))
    _, distance = tree.query_nearest(shapely.points(xy), return_distance=True, all_matches=False)
    return distance


SEED = 7
"""The first seed of the turns, places and grains that thresholds in the tracer were chosen on."""


def accuracy(
    sizes: tuple[int, ...],
    verbose: bool,
    only: str | None,
    part: str = "",
    seeds: range = range(SEED, SEED + 1),
    others: bool = False,
) -> None:
    tracers = {"ours": ours, "potrace": potrace, "iso-line": iso_line}
    if only:
        tracers = {only: tracers[only]}
    made = [(s, shapes.coverage(s)) for k in seeds for s in shapes.all_shapes(sizes, k, others)]
    grain = (seeds.start - SEED) * len(made) // len(seeds)
    print(
        f"{len(made)} pictures of each quality, {len(made) // len(sizes) // len(seeds)} shapes, sizes {sizes} px, "
        f"{len(seeds)} seeds from {seeds.start}; "
        "medians, px; most: the farthest off in any picture; false: corners per 1000 px"
    )
    columns = ("RMS", "worst", "most", "nodes", "missed", "off", "false", "failed")
    head = f"{'picture':14}{'tracer':10}" + "".join(f"{c:>8}" for c in columns)
    for kind in (k for k in shapes.PICTURES if part in k):
        print(head)
        for name, tracer in tracers.items():
            scores, failed = [], 0
            for k, (shape, cover) in enumerate(made):
                try:
                    rings = tracer(shapes.picture(cover, kind, seed=grain + k), shape)
                    one = score(rings, shape)
                except CutoutError as error:
                    failed += 1
                    if verbose:
                        print("   ", shape.name, shape.width, error)
                    continue
                if verbose and name == "ours":
                    off = float(np.median(one.off)) if one.off else 0.0
                    print(
                        f"    {shape.name:16}{shape.width:6} rms {one.rms:.3f} worst {one.worst:.2f} "
                        f"nodes {one.nodes} missed {one.missed}/{one.corners} off {off:.3f} "
                        f"false {one.false} rings {len(rings)}/{len(shape.rings)}"
                    )
                scores.append(one)
            _row(kind, name, scores, failed)


def _row(kind: str, name: str, scores: list[Score], failed: int) -> None:
    corners = sum(s.corners for s in scores)
    missed = 100 * sum(s.missed for s in scores) / max(corners, 1)
    off = [d for s in scores for d in s.off]
    per_1000 = 1000 * sum(s.false for s in scores) / max(sum(s.smooth for s in scores), 1.0)
    told = name != "iso-line"
    print(
        f"{kind:14}{name:10}{np.median([s.rms for s in scores]):8.3f}{np.median([s.worst for s in scores]):8.2f}"
        f"{max(s.worst for s in scores):8.2f}{np.median([s.nodes for s in scores]):8.0f}"
        + (
            f"{missed:7.1f}%{np.median(off) if off else 0:8.3f}{per_1000:8.2f}"
            if told
            else f"{'-':>8}{'-':>8}{'-':>8}"
        )
        + f"{failed:8}",
        flush=True,
    )


REACH, FARTHEST, SLIDE = 12.0, 4.0, 0.2
"""Length (px) of flank that follows a corner moved along its bisector, how far it is moved, in such steps."""

BOW, TRIES = 0.25, 60
"""Sigma (px) of how far a corner moves aside and its flanks bow meanwhile, and how many such ways are tried."""


def bound(sizes: tuple[int, ...], seeds: range, others: bool = False) -> None:
    """How far corners may move along their bisectors while not a pixel of the black-and-white picture changes.

    Whoever has only the picture errs by half of that, at least, at one of the places the corner may have: no reader
    can do better in the worst case.
    """
    print(
        "half the room of a corner in a black-and-white picture, px: median, 95 %, most; corners with over 1 px"
    )
    for size in sizes:
        room = (
            np.array([r for k in seeds for s in shapes.all_shapes((size,), k, others) for r in _rooms(s)]) / 2
        )
        print(
            f"{size:6} px {np.median(room):6.2f}{np.percentile(room, 95):6.2f}{room.max():6.2f}"
            f"{(room > 1).sum():5} of {len(room)}",
            flush=True,
        )


def _rooms(shape: shapes.Shape) -> list[float]:
    return [
        _room(line[:, 0] + 1j * line[:, 1], p) for line in shape.boundary() for p in _sharp_on(shape, line)
    ]


def _sharp_on(shape: shapes.Shape, line: np.ndarray) -> list[int]:
    """Numbers of the points of a ring that are corners."""
    z = line[:, 0] + 1j * line[:, 1]
    away = np.abs(shape.corners(TRUE_CORNER)[:, None] - z)
    return [
        int(k) for k, nearest in zip(away.argmin(axis=1), away.min(axis=1), strict=True) if nearest < 1e-6
    ]


def _room(z: np.ndarray, at: int) -> float:
    """Room of the corner at point `at` of a closed line, px, up to FARTHEST either way."""
    z = np.roll(z, -at)
    z = z[: np.flatnonzero(np.abs(z - z[0]) > 1e-9)[-1] + 1]
    s = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(np.append(z, z[0]))))])
    dense = np.unique(np.concatenate([s, np.arange(0.0, REACH, 0.25), s[-1] - np.arange(0.25, REACH, 0.25)]))[
        :-1
    ]
    closed = np.append(z, z[0])
    z = np.interp(dense, s, closed.real) + 1j * np.interp(dense, s, closed.imag)
    share = np.clip(1 - np.minimum(dense, s[-1] - dense) / REACH, 0.0, None)
    near = np.flatnonzero(share > 0)
    ways = (z[0] - z[(1, -1),]) / np.abs(z[0] - z[(1, -1),])
    way = ways.sum() / abs(ways.sum())
    # Flanks may bow while they follow: those of a leaf do, and nobody tells a reader which they are.
    along = np.minimum(dense, s[-1] - dense) / REACH
    bow = np.where(along < 1, 4 * along * (1 - along), 0.0) * 1j * way
    first = dense < s[-1] / 2
    low = np.floor(z[near].real.min() - 6) + 1j * np.floor(z[near].imag.min() - 6)
    size = (int(np.ptp(z[near].real)) + 14, int(np.ptp(z[near].imag)) + 14)

    def bits(t: float, aside: float = 0.0, one: float = 0.0, two: float = 0.0) -> np.ndarray:
        moved = z + (t + 1j * aside) * way * share + bow * np.where(first, one, two) - low
        return shapes.covered([np.column_stack([moved.real, moved.imag])], *size) < 0.5

    same = bits(0.0)
    rng = np.random.default_rng(at)

    def hidden(t: float) -> bool:
        ways = np.concatenate([np.zeros((1, 3)), rng.normal(0, BOW, (TRIES, 3))])
        return any((bits(t, *p) == same).all() for p in ways.tolist())

    room = 0.0
    for sign in (1, -1):
        steps = (sign * np.arange(SLIDE, FARTHEST + SLIDE / 2, SLIDE)).tolist()
        room += SLIDE * next((k for k, t in enumerate(steps) if not hidden(t)), len(steps))
    return room


SPEED_PIXELS = (1, 4, 16, 64)
RINGS, RINGS_PIXELS = 940, (4, 16)
"""So many small shapes on one sheet, and the sizes such sheets are read at."""

_WORKER = """
import json, sys, time
from pathlib import Path
from PIL import Image
import io
import numpy as np
what, path = sys.argv[1:]
data = Path(path).read_bytes()
if what == "ours":
    from cutout.read.picture.reader import read_picture
    from cutout.read.options import ReadOptions
    from cutout.trace import iso
    from cutout.trace import rings as trace
elif what == "iso":
    from skimage.measure import find_contours
def peak(field):
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith(field)) * 1024
Path("/proc/self/clear_refs").write_text("5")
before = peak("VmRSS")
start = time.process_time()
rings = nodes = 0
if what == "ours":
    traced = read_picture(data, "bench", ReadOptions(width=600.0)).rings
    rings, nodes = len(traced), sum(len(r.segments) for r in traced)
else:
    picture = Image.open(io.BytesIO(data)); picture.load()
    if what == "iso":
        find_contours(np.asarray(picture.convert("L")), 127.5)
took = time.process_time() - start
print(json.dumps([took, peak("VmHWM") - before, rings, nodes]))
"""

_TRIES = 3


def speed(beside: str, megapixels: int) -> None:
    """CPU time, each in a process and a thread of its own, best of three; memory is what it grew to over its imports.

    beside: folder of other code, measured in turns with this; megapixels: only pictures as large, all where 0.
    """
    trees = {"this": str(Path(__file__).parents[2])} | ({"beside": beside} if beside else {})
    heads = "".join(f"{name:>9}{'ratio':>7}{'bytes/px':>9}{'rings':>6}{'nodes':>7}" for name in trees)
    print(f"{'scan':18}{'decode':>9}{'+ iso-line':>11}{heads}")
    with tempfile.TemporaryDirectory() as folder:
        for size, kind in [
            (m, k) for m in SPEED_PIXELS for k in ("PNG grey", "JPEG colour", "JPEG uneven")
        ] + [(m, f"{RINGS} rings") for m in RINGS_PIXELS]:
            if megapixels in (0, size):
                path = _scan(Path(folder), size, kind)
                runs = _runs(path, trees)
                least = min(runs["iso"])[0]
                told = "".join(_told(min(runs[name]), least, size * 1e6) for name in trees)
                print(f"{size:3} MP {kind:12}{min(runs['decode'])[0]:8.3f}s{least:10.3f}s{told}", flush=True)


def _told(run: list[float], least: float, pixels: float) -> str:
    took, grown, rings, nodes = run
    return f"{took:8.3f}s{took / least:7.2f}{grown / pixels:9.1f}{rings:6}{nodes:7}"


def _runs(path: Path, trees: dict[str, str]) -> dict[str, list[list[float]]]:
    """Of decoding, of decoding and iso-line, and of each tree: what the worker says of each run, all in turns."""
    runs: dict[str, list[list[float]]] = {}
    for _ in range(_TRIES):
        for name in ("decode", "iso", *trees):
            what = "ours" if name in trees else name
            env = dict(
                os.environ, PYTHONPATH=trees.get(name, ""), OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1"
            )
            done = subprocess.run(
                [sys.executable, "-c", _WORKER, what, str(path)],
                check=True,
                capture_output=True,
                text=True,
                env=env,
                cwd=path.parent,
            )
            runs.setdefault(name, []).append(json.loads(done.stdout))
    return runs


def _scan(folder: Path, megapixels: int, kind: str) -> Path:
    """A scan of shapes on paper with a little grain; saved as a scanner or a camera would."""
    # Drawn at most 16 megapixels large and enlarged from there: a blurred edge costs what a sharp one does.
    side = round(math.sqrt(min(megapixels, 16) * 1e6))
    shape = _many(side) if kind.endswith("rings") else _scene(side)
    cover = shapes.coverage(shape)
    grey = np.full((side, side), 235, dtype=np.uint8)
    top = (side - shape.height) // 2
    rows, columns = slice(max(top, 0), max(top, 0) + shape.height), slice(0, min(shape.width, side))
    grey[rows, columns] = (235 - 205 * cover[:side, :side]).astype(np.uint8)
    full = round(math.sqrt(megapixels * 1e6))
    if full > side:
        grey = np.array(Image.fromarray(grey).resize((full, full), Image.Resampling.BICUBIC))
        side = full
    rng = np.random.default_rng(3)
    tile = rng.normal(0, 2, (512, 512))
    for a in range(0, side, 512):
        for b in range(0, side, 512):
            part = grey[a : a + 512, b : b + 512]
            grey[a : a + 512, b : b + 512] = np.clip(part + tile[: part.shape[0], : part.shape[1]], 0, 255)
    if kind == "JPEG uneven":
        grey = (grey * np.linspace(1.0, 0.5, side, dtype=np.float32)[None, :]).astype(np.uint8)
    path = folder / ("scan.jpg" if kind.startswith("JPEG") else "scan.png")
    image = Image.fromarray(grey)
    if kind.startswith("JPEG"):
        image.convert("RGB").save(path, quality=90)
    else:
        image.save(path, compress_level=4)
    return path


def _scene(side: int) -> shapes.Shape:
    return shapes.placed("scene", dict(shapes.drawings())["scene"], round(side * 0.85), 1 + 0j, 0.3 + 0.4j)


def _many(side: int) -> shapes.Shape:
    """RINGS rings: points, stars, discs, gears with a hole, free shapes in rows, each turned by itself."""
    kinds = [r for name, r in shapes.drawings() if name not in ("bars", "holes", "scene", "corner 135")]
    rng = np.random.default_rng(11)
    across = math.ceil(math.sqrt(RINGS))
    width = round(0.83 * side)
    cell = width / (across + 1)
    rings: list[Ring] = []
    for k in range(across * across):
        turn = complex(np.exp(2j * math.pi * rng.random()))
        one = shapes.placed("one", kinds[k % len(kinds)], 0.7 * cell, turn, complex(*rng.random(2)))
        row, column = divmod(k, across)
        at = (0.5 + column) * cell + 1j * (0.5 + row) * cell
        more = [r.transform(Similarity(1 + 0j, at)) for r in one.rings]
        if len(rings) + len(more) > RINGS:
            break
        rings += more
    return shapes.Shape("many", tuple(rings), width, width)


def main() -> None:
    """Print the tables."""
    if "--speed" in sys.argv:
        speed(_asked("--beside", ""), int(_asked("--megapixels", "0")))
    else:
        size = _asked("--size", "")
        sizes = (int(size),) if size else SIZES[1:2] if "--quick" in sys.argv else SIZES
        only = "ours" if "--ours" in sys.argv else None
        first = int(_asked("--from", str(SEED)))
        seeds = range(first, first + int(_asked("--seeds", "1")))
        others = "--others" in sys.argv
        if "--bound" in sys.argv:
            bound(sizes, seeds, others)
            return
        accuracy(sizes, "--verbose" in sys.argv, only, _asked("--kind", ""), seeds, others)


def _asked(option: str, default: str) -> str:
    return sys.argv[sys.argv.index(option) + 1] if option in sys.argv else default


if __name__ == "__main__":
    main()
