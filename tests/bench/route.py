"""How the router's geometry compares, as ratios measured side by side in one run.

    python tests/bench/route.py

Prints how far the bit turns where two runs meet; points of the fit against a polyline simplified (Douglas-Peucker,
GEOS) to the same tolerance; the time of offset, fit and order, without tabs, findings and proof, against one GEOS
buffer of the same outline, and that of the whole path with all of them. Then feeds
beside the published charts (their sources stand in cutout/kit/data/chips.toml), the words that wait for the spindle,
and how the bit goes down in forty jobs.
Silhouettes are invented, except skimage's horse.
"""

from __future__ import annotations

import cmath
import math
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import shapely
import skimage.data
from PIL import Image
from shapely import LinearRing, Polygon

from cutout.geom.arcfit import fit_rings
from cutout.geom.curve import Arc
from cutout.geom.outline import Outline, Ring, from_region, polygons_of
from cutout.kit import Kit, bit, blade, chip_load, drills, feeds, machine, wood
from cutout.pattern import Panel, Placement, cut_pattern, place
from cutout.read import read
from cutout.read.letters import Lettering, read_text
from cutout.read.options import ReadOptions
from cutout.route import Settings, offset, tool_path
from cutout.route.order import order
from cutout.route.prove import prove
from cutout.route.readback import read_back
from cutout.route.track import from_middle_of_longest
from cutout.write.gcode import router_bits, router_ngc

TOLERANCE = 0.01
RADIUS = 3.0
KIT = Kit(blade("jigsaw-narrow"), drills("metric"), bit("6mm"), wood("white-pine"))


def blob(vertices: int, radius: float = 150.0, waves: int = 20, seed: int = 3) -> Polygon:
    """A smooth closed curve with `vertices` vertices."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 2 * math.pi, vertices, endpoint=False)
    r = radius * (
        1 + sum(rng.normal() * 0.12 / k * np.cos(k * t + rng.uniform(0, 6.28)) for k in range(2, 2 + waves))
    )
    return Polygon(np.column_stack([300 + r * np.cos(t), 300 + r * np.sin(t)]))


def star(points: int = 5) -> Polygon:
    """A star with sharp points."""
    turn = math.pi / 2 + np.arange(2 * points) * math.pi / points
    r = np.where(np.arange(2 * points) % 2, 60.0, 150.0)
    return Polygon(np.column_stack([300 + r * np.cos(turn), 300 + r * np.sin(turn)]))


def many(count: int, vertices: int) -> list[Polygon]:
    """A sheet of small smooth openings, `vertices` vertices in all."""
    side = math.ceil(math.sqrt(count))
    small = [blob(vertices // count, 12.0, 5, seed=n) for n in range(count)]
    return [
        shapely.transform(p, lambda xy, n=n: xy - 300 + 40.0 * np.array([n % side, n // side]) + 40.0)
        for n, p in enumerate(small)
    ]


def horse(width: float = 300.0) -> Outline:
    """skimage.data.horse(), read like any picture."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "horse.png"
        Image.fromarray((skimage.data.horse() * 255).astype(np.uint8)).save(file)
        return place(read(file, ReadOptions(width=width)), Panel(400, 400, 18), Placement(width=width))


def clock(work: Callable[[], Any], rounds: int = 5) -> float:
    """Median seconds (CPU) of `rounds` calls."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return statistics.median(times)


def offset_fit_order(shapes: list[Polygon]) -> list[Ring]:
    """The path of every opening in cutting order, without tabs and proof."""
    rooms = polygons_of(offset.grow(shapely.MultiPolygon(shapes), -RADIUS))
    lines = [line for room in rooms for line in (room.exterior, *room.interiors)]
    fitted = fit_rings([shapely.get_coordinates(line)[:-1] for line in lines], TOLERANCE)
    rings = from_middle_of_longest(fitted)
    turn, _ = order(rings, [0] * len(rings))
    return [rings[i] for i in turn]


def points(name: str, region: shapely.Geometry) -> None:
    """Print points of the polyline, points of the fit, and their ratio, inside and outside the outline."""
    for side, by in (("inside", -RADIUS), ("outside", RADIUS)):
        grown = max(polygons_of(offset.grow(region, by)), key=lambda p: p.area)
        xy = shapely.get_coordinates(grown.exterior)[:-1]
        ring = fit_rings([xy], TOLERANCE)[0]
        dust = len(shapely.get_coordinates(shapely.simplify(LinearRing(xy), TOLERANCE))) - 1
        away = farthest(ring.points(1e-4), xy), farthest(xy, ring.points(1e-4))
        print(
            f"{name:>12} {side:>8}: polyline {dust:5d}, lines and arcs {len(ring.segments):4d}, "
            f"1/{dust / len(ring.segments):.1f}, two-sided distance {max(away):.4f} mm, "
            f"valid {ring.polygon(1e-3).is_valid}"
        )


def farthest(a: np.ndarray, b: np.ndarray) -> float:
    """Greatest distance of the closed polyline a from the closed polyline b."""
    spots = shapely.points(shapely.get_coordinates(shapely.segmentize(LinearRing(a), 0.05)))
    closed = np.vstack([b, b[:1]])
    edges = np.asarray(shapely.linestrings(np.stack([closed[:-1], closed[1:]], axis=1)))
    return float(
        shapely.STRtree(edges).query_nearest(spots, return_distance=True, all_matches=False)[1].max()
    )


def times(name: str, shapes: list[Polygon]) -> None:
    """Print the time of offset, fit and order as a multiple of one plain GEOS buffer."""
    whole = shapely.MultiPolygon(shapes)
    size = len(shapely.get_coordinates(whole))
    segs = offset.quad_segs(RADIUS)
    once = clock(lambda: shapely.buffer(whole, -RADIUS, quad_segs=segs))
    path = clock(lambda: offset_fit_order(shapes))
    print(f"{name:>12}: {size} vertices, offset + fit + order {path / once:.1f} x one GEOS buffer")


def joints() -> None:
    """Print how far the bit turns where runs of letters' paths meet, corners of the outline left out."""
    font = Path(__file__).resolve().parents[2] / "examples" / "school-names" / "VeraBd.ttf"
    turned: list[float] = []
    for text, cap in (("Sagebrook", 80.0), ("quick fox", 50.0), ("RBS&@", 120.0)):
        word = place(read_text(text, font, Lettering(cap_height=cap)), Panel(1000, 400, 18), Placement())
        for radius in (0.5, 1.5, 3.0):
            rooms = polygons_of(offset.grow(word.region(1e-3), radius))
            lines = [shapely.get_coordinates(line)[:-1] for p in rooms for line in (p.exterior, *p.interiors)]
            for xy, ring in zip(lines, fit_rings(lines, TOLERANCE), strict=True):
                z = xy @ [1, 1j]
                bends = np.abs(np.angle((np.roll(z, -1) - z) / (z - np.roll(z, 1))))
                before, after = ring.segments[-1:] + ring.segments[:-1], ring.segments
                for one, two in zip(before, after, strict=True):
                    at = int(np.argmin(np.abs(z - two.start)))
                    if bends[at] < math.radians(12):
                        turned.append(abs(math.degrees(cmath.phase(way(two, 0) / way(one, 1)))))
    turn = np.array(turned)
    over = [f"{np.count_nonzero(turn > limit)} over {limit}" for limit in (1, 2, 3, 6)]
    print(f"letters: {len(turn)} smooth joints, degrees turned: {', '.join(over)}; most {turn.max():.1f}")


def way(segment: Any, end: int) -> complex:
    """Direction of travel at the start (0) or the end (1) of a line or arc."""
    half = segment.sweep / 2 if isinstance(segment, Arc) else 0.0
    return complex((segment.end - segment.start) * cmath.exp(1j * half * (2 * end - 1)))


def main() -> int:
    """Print every ratio."""
    joints()
    points("blob", blob(4000, waves=6))
    points("star", star())
    points("horse", horse().region(1e-3))
    times("blob", [blob(50_000)])
    times("200 openings", many(200, 50_000))
    traced = shapely.segmentize(horse().region(1e-3), 0.04)
    times("horse", list(polygons_of(traced)))
    kit = KIT
    whole_path("the blob", shapely.MultiPolygon([blob(30_000)]), kit)
    whole_path("200 openings", shapely.MultiPolygon(many(200, 20_000)), kit)
    feed_table()
    waits()
    forty_jobs(kit)
    return 0


def whole_path(name: str, shapes: shapely.MultiPolygon, kit: Kit) -> None:
    """Print the time of all the router's stage does, its proof included, as a multiple of one plain GEOS buffer."""
    x0, y0, x1, y1 = shapes.bounds
    there = shapely.transform(shapes, lambda xy: xy - (x0, y0) + 30.0)
    panel = Panel(x1 - x0 + 60, y1 - y0 + 60, 18)
    pattern = cut_pattern(Outline(from_region(there), 1.0), panel, "panel", 1.28)
    once = clock(lambda: shapely.buffer(pattern.waste, -RADIUS, quad_segs=offset.quad_segs(RADIUS)))
    whole = clock(lambda: tool_path(pattern, kit), 3)
    path = tool_path(pattern, kit)
    proof = clock(lambda: prove(pattern, path), 3)
    print(
        f"whole path of {name}, with tabs, findings and proof: {whole / once:.0f} x that buffer, "
        f"the proof alone {proof / once:.0f}"
    )


def feed_table() -> None:
    """Feed at each chart's least and most and the one taken, mm/min at 18,000 turns and two flutes."""
    free = replace(machine("plain"), feed=1e6)
    to_feed = 18_000 * 2
    print("feed by the charts (A, B: least to most of each) and as taken, mm/min; held: the plain machine")
    for species in ("white-pine", "red-oak", "plywood", "mdf"):
        for name in ("1/8in", "3mm", "1/4in", "6mm", "3/8in", "12mm", "1/2in"):
            load = chip_load(bit(name), wood(species))
            taken = feeds(bit(name), wood(species), free, bit(name).depth_per_pass)
            held = feeds(bit(name), wood(species), machine("plain"), bit(name).depth_per_pass)
            print(
                f"{species:>12} {name:>6}: charts {load.least * to_feed:6.0f} to {load.most * to_feed:6.0f}, "
                f"taken {taken.feed:6.0f} ({load.chart[:7]}), held {held.feed:5.0f} at {held.speed:.0f}"
            )


def waits() -> None:
    """The words that start the spindle, by what a controller's P counts."""
    for dwell in ("seconds", "milliseconds"):
        work = job_of(0, "panel", "upright", replace(KIT, machine=replace(machine("plain"), dwell=dwell)))
        lines = router_ngc(work).decode("ascii").splitlines()
        i = next(n for n, line in enumerate(lines) if line.endswith("M3"))
        print(f"{dwell}: {lines[i]} / {lines[i + 1]}")


def job_of(seed: int, keep: Any, ends: Any, kit: Kit) -> Any:
    """One invented leaf on its panel, as much of a finished job as the program's writer takes."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 2 * math.pi, 300, endpoint=False)
    r = (
        70
        * (1 + sum(rng.uniform(0, 0.5) / k * np.cos(k * t + rng.uniform(0, 6)) for k in range(2, 8)))
        * rng.uniform(0.3, 1)
    )
    leaf = Polygon(np.column_stack([150 + r * np.cos(t), 130 + r * np.sin(t)])).buffer(0)
    pattern = cut_pattern(Outline(from_region(leaf), 1.0), Panel(300, 260, rng.uniform(6, 25)), keep, 1.28)
    path = tool_path(pattern, kit, Settings(tab_ends=ends))
    return SimpleNamespace(
        title="invented", units="mm", router=path, pattern=pattern, kit=kit, findings=path.findings
    )


def forty_jobs(kit: Kit) -> None:
    """Ways down and times of forty invented jobs, from their programs as read back."""
    steepest, straight, ratios, seen = {"upright": 0.0, "sloped": 0.0}, 0, [], 0
    for seed in range(40):
        keep, ends = ("panel", "figure")[seed % 2], ("upright", "sloped")[seed // 2 % 2]
        work = job_of(seed, keep, ends, replace(kit, small_bit=bit("3mm") if seed % 5 == 0 else None))
        for one in router_bits(work):
            program = read_back(router_ngc(work, one).decode("ascii"))
            seen += len(program.moves)
            for move in program.moves:
                drop = min(move.start[2], 0.0) - move.end[2]
                if move.feed is None or drop <= 1e-9:
                    continue
                flat = math.sqrt(max(move.length**2 - (move.start[2] - move.end[2]) ** 2, 0.0))
                if flat < 1e-6:
                    straight += drop > 0.2
                else:
                    # Four decimals: a way of a few hundredths says nothing about its slope.
                    steepest[ends] = max(
                        steepest[ends], math.degrees(math.atan2(drop, flat)) if flat > 0.05 else 0
                    )
            cut = [p for p in work.router.passes if p.bit == one]
            bound = math.fsum(p.ring.length * len(p.depths) / work.router.feeds_for(p).feed for p in cut)
            ratios.append(program.minutes / bound)
    print(
        f"40 jobs, {seen} moves: {straight} straight ways down deeper than 0.2 mm; steepest "
        f"{steepest['upright']:.1f} degrees, with sloped tabs {steepest['sloped']:.1f}"
    )
    print(
        f"time of the program over length / feed: median {statistics.median(ratios):.2f}, worst {max(ratios):.2f}"
    )


if __name__ == "__main__":
    sys.exit(main())
