"""The router's program read back by two independent readers, and the bit moved along what they read."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pygcode
import pytest
import shapely
from gcodeparser import parse_gcode_lines
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from cutout.geom.outline import Outline, from_region
from cutout.kit import bit
from cutout.pattern import Panel, cut_pattern
from cutout.route import tool_path
from cutout.route.readback import read_back
from cutout.write.gcode import router_bits, router_ngc
from tests.kits import kit_of

KIT = replace(kit_of(), small_bit=bit("3mm"))
PANEL = Panel(300.0, 260.0, 18.0)
DEEPEST = -18.4


def invented() -> BaseGeometry:
    """An invented figure: a wavy leaf with a square window, a long slot, and sharp points."""
    t = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    r = 80 + 18 * np.cos(3 * t) + 6 * np.sin(7 * t)
    leaf = Polygon(np.column_stack([150 + r * np.cos(t), 130 + r * np.sin(t)]))
    return shapely.union(leaf, box(140, 20, 144, 130)).difference(box(130, 110, 170, 150))


@dataclass(frozen=True)
class Move:
    """One move as read: line (n, 2) of the bit's middle in mm, z at both ends, whether it cuts."""

    xy: np.ndarray
    z0: float
    z1: float
    fast: bool


def moves(program: str, unit: float) -> Iterator[Move]:
    """Moves by gcodeparser; arcs drawn out from I and J as NISTIR 6556 3.5.3 describes them."""
    at, z = np.zeros(2), 50.0
    for line in parse_gcode_lines(program):
        if line.command[0] != "G" or line.command[1] > 3:
            continue
        to = (
            np.array([line.get_param("X", default=at[0] / unit), line.get_param("Y", default=at[1] / unit)])
            * unit
        )
        deep = line.get_param("Z", default=z / unit) * unit
        run = np.array([at, to])
        if line.command[1] >= 2:
            centre = at + np.array([line.params["I"], line.params["J"]]) * unit
            run = arc(at, to, centre, clockwise=line.command[1] == 2)
        yield Move(run, z, deep, line.command[1] == 0)
        at, z = to, deep


def arc(a: np.ndarray, b: np.ndarray, c: np.ndarray, *, clockwise: bool) -> np.ndarray:
    first, last = math.atan2(*(a - c)[::-1]), math.atan2(*(b - c)[::-1])
    turn = (first - last) % (2 * math.pi) if clockwise else (last - first) % (2 * math.pi)
    angle = first + np.linspace(0, -turn if clockwise else turn, max(3, math.ceil(turn / 0.02)))
    radius = np.linspace(math.dist(a, c), math.dist(b, c), len(angle))
    return c + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


@pytest.fixture(scope="module", params=["panel", "figure"])
def job(request, make_work):
    pattern = cut_pattern(Outline(from_region(invented()), 1.0), PANEL, request.param, KIT.blade.kerf)
    path = tool_path(pattern, KIT)
    fixed = {"kit": KIT, "before": pattern, "pattern": pattern, "router": path, "findings": ()}
    return lambda **fields: make_work(**{**fixed, **fields})


def cut_at(work, level: float, unit: float = 1.0) -> BaseGeometry:
    """The wood the bits sweep in the turn at `level`, each unbroken run of moves as one line."""
    swept = []
    for tool in router_bits(work):
        chain: list[np.ndarray] = []
        for m in [*moves(router_ngc(work, tool).decode("ascii"), unit), None]:
            if m is not None and not m.fast and abs(m.z0 - level) < 2e-4 and abs(m.z1 - level) < 2e-4:
                chain.append(m.xy if not chain else m.xy[1:])
            elif chain:
                swept.append(shapely.buffer(shapely.LineString(np.vstack(chain)), tool.radius, quad_segs=48))
                chain = []
    return shapely.union_all(swept)


def without_tabs(path):
    return replace(path, passes=tuple(replace(p, tabs=()) for p in path.passes))


@pytest.mark.parametrize(("units", "unit"), [("mm", 1.0), ("in", 25.4)])
def test_sweep_cuts_the_waste_and_only_the_waste(job, units, unit):
    """With the last turn and no tabs, what is left is what stays, slugs of waste, and what no bit can reach."""
    work = job(units=units, router=without_tabs(job().router))
    swept = cut_at(work, DEEPEST, unit)
    keep = work.pattern.keep
    assert shapely.intersection(swept, shapely.buffer(keep, -0.02)).area < 1e-6
    wood_left = shapely.get_parts(shapely.difference(PANEL.polygon, swept))
    joined = shapely.union_all([p for p in wood_left if shapely.intersection(p, keep).area > 1])
    extra = shapely.difference(joined, shapely.union(keep, shapely.buffer(work.router.unreached, 0.03)))
    assert shapely.buffer(extra, -0.03).area < 1e-6
    assert swept.area > 1000


def test_at_full_depth_only_the_tabs_are_missing(job):
    work = job()
    whole, held = cut_at(job(router=without_tabs(work.router)), DEEPEST), cut_at(work, DEEPEST)
    missing = [p for p in shapely.get_parts(shapely.buffer(whole.difference(held), -0.05)) if p.area > 1]
    tabs = [t for p in work.router.passes for t in p.tabs]
    assert len(tabs) >= 3
    assert len(missing) == len(tabs)
    for tab in tabs:
        assert min(p.distance(shapely.Point(tab.at)) for p in missing) < 0.1


def test_tabs_join_every_part_at_full_depth(job):
    wood_left = shapely.difference(PANEL.polygon, cut_at(job(), DEEPEST))
    assert len([p for p in shapely.get_parts(wood_left) if p.area > 20]) == 1


def test_fast_moves_clear_the_panel(job):
    for tool in router_bits(job()):
        for m in moves(router_ngc(job(), tool).decode("ascii"), 1.0):
            if m.fast:
                assert m.z1 > 0
                assert np.ptp(m.xy, axis=0).max() == 0 or m.z0 >= 8.0 - 1e-9


def test_our_own_reader_agrees_with_the_first_on_every_line(job):
    """gcodeparser and what the proof reads with: the same moves, ends within the file's last decimal, fast or not."""
    for units, unit in (("mm", 1.0), ("in", 25.4)):
        for tool in router_bits(job()):
            program = router_ngc(job(units=units), tool).decode("ascii")
            theirs = list(moves(program, unit))
            ours = read_back(program).moves
            # The first moves, to places no line has named yet, are left to whoever stands at the machine.
            theirs = theirs[len(theirs) - len(ours) :]
            assert len(ours) > 100
            for a, b in zip(theirs, ours, strict=True):
                assert np.allclose(a.xy[-1], b.end[:2], atol=1e-9)
                assert (a.z1, a.fast) == (pytest.approx(b.end[2]), b.feed is None)
                assert abs(length_of(a.xy) - length_of(b.points()[:, :2])) < 0.01


def length_of(xy: np.ndarray) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def test_the_second_reader_takes_every_line_and_agrees_on_where_it_goes(job):
    """pygcode knows every word, finds one motion a line at most, and the same ends in the same order."""
    program = router_ngc(job()).decode("ascii")
    ends: list[tuple[float, float]] = []
    kinds = set()
    for text in program.splitlines():
        codes = pygcode.Line(text).block.gcodes
        kinds |= {type(code).__name__ for code in codes}
        motions = [c for c in codes if isinstance(c, pygcode.GCodeMotion)]
        assert len(motions) <= 1
        ends += [(c.params["X"].value, c.params["Y"].value) for c in motions if "X" in c.params]
    assert {"GCodeRapidMove", "GCodeLinearMove", "GCodeArcMoveCW", "GCodeArcMoveCCW"} <= kinds
    assert {"GCodeStopSpindle", "GCodeEndProgramPalletShuttle"} <= kinds
    first = [
        (line.params["X"], line.params["Y"]) for line in parse_gcode_lines(program) if "X" in line.params
    ]
    assert np.array_equal(np.array(ends), np.array(first))
