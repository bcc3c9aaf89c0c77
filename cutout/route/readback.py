"""The router's programs read back as a controller reads them, and looked at once more.

Shares no code with what plans or writes them. Words and their meaning: NISTIR 6556, The NIST RS274/NGC Interpreter;
a word that is not among them is a fault, never passed over.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.errors import CutoutError
from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi
from cutout.kit import Bit
from cutout.pattern import Pattern
from cutout.route.model import Tile, ToolPath
from cutout.route.prove import GOUGE
from cutout.units import MM_PER_INCH

PLUNGE = 0.2
"""Deepest straight way down (mm) into the wood of a bit that does not drill."""
_SLACK = {1.0: 0.002, MM_PER_INCH: 0.0002}
"""How far start and end radius of an arc may differ, in the program's units (NISTIR 6556, 3.5.3.2)."""
_SAGITTA = 5e-4
"""How far (mm) the points drawn for an arc let their chords stray from it."""
_FINE = 1e-3
"""Between a curve and its chords, and over what a machine reaches (mm): a twentieth of a gouge."""
_BESIDE = 0.5
"""Within this distance (mm) of its middle a bit is over a hole it drills."""
_BEEN = 0.01
"""A bit whose moves begin or end no farther off a place than this (mm) has cut there."""
_WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
_MOTIONS = {0, 1, 2, 3, 81, 83}
_OTHERS = {4, 17, 20, 21, 40, 43, 49, 80, 90, 94}
_MACHINE = {3, 5, 6, 30}
_LETTERS = frozenset("GMTHSFXYZIJPRQ")


class ProgramError(CutoutError):
    """A line of a program that a controller would refuse or read otherwise than it was meant."""


@dataclass(frozen=True, slots=True)
class Move:
    """One move in mm from `start` to `end` (x, y, z), of the bit `tool`.

    turn: 0 for a straight move, +1 counter-clockwise, -1 clockwise about `centre`. feed: mm/min, None when fast.
    drills: part of a drilling cycle. line: number in the program, from 1.
    """

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    turn: int
    centre: tuple[float, float]
    feed: float | None
    tool: int
    drills: bool
    line: int

    def points(self) -> FloatArray:
        """The way of the bit's tip as points (n, 3), their chords within half a thousandth of an arc."""
        a, b = np.array(self.start), np.array(self.end)
        if self.turn == 0:
            return np.stack([a, b])
        c = np.array(self.centre)
        first, sweep = math.atan2(*(a[:2] - c)[::-1]), self.sweep
        step = 2 * math.acos(max(1 - _SAGITTA / max(math.dist(a[:2], c), _SAGITTA), 0.0))
        share = np.linspace(0.0, 1.0, max(3, math.ceil(abs(sweep) / step) + 1))
        radius = math.dist(a[:2], c) + share * (math.dist(b[:2], c) - math.dist(a[:2], c))
        angle = first + share * sweep
        xy = c + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        return np.column_stack([xy, a[2] + share * (b[2] - a[2])])

    @property
    def sweep(self) -> float:
        """Turn of an arc, radians, positive counter-clockwise; 0 for a straight move."""
        if self.turn == 0:
            return 0.0
        c = complex(*self.centre)
        angle = math.atan2(*reversed(_parts((complex(*self.end[:2]) - c) / (complex(*self.start[:2]) - c))))
        return angle % (2 * math.pi) if self.turn > 0 else -(-angle % (2 * math.pi))

    @property
    def length(self) -> float:
        """Length of the way in mm."""
        flat = (
            abs(self.sweep) * math.dist(self.start[:2], self.centre)
            if self.turn
            else math.dist(self.start[:2], self.end[:2])
        )
        return math.hypot(flat, self.end[2] - self.start[2])


@dataclass(frozen=True, slots=True)
class Program:
    """What a program does: its moves, seconds of waiting after each start of the spindle, and its speeds."""

    moves: tuple[Move, ...]
    waits: tuple[float, ...]
    speeds: tuple[float, ...]

    @property
    def minutes(self) -> float:
        """Time of all moves with a feed: length over feed, a bound no machine can be quicker than."""
        return math.fsum(m.length / m.feed for m in self.moves if m.feed)


@dataclass(slots=True)
class _State:
    """A controller between two lines; the bit's place in mm, None where no line has said it yet."""

    unit: float = 1.0
    place: list[float | None] = field(default_factory=lambda: [None, None, None])
    motion: int | None = None
    feed: float | None = None
    speed: float | None = None
    running: bool = False
    absolute: bool = False
    tool: int = 0
    ended: bool = False


def read_back(text: str, dwell: str = "seconds") -> Program:
    """What a controller makes of a program; dwell: what P after G4 counts. Raises ProgramError with the line."""
    state, moves, waits, speeds = _State(), list[Move](), list[float](), list[float]()
    for number, raw in enumerate(text.splitlines(), 1):
        words = _words(raw, number)
        if not words:
            continue
        if state.ended:
            raise ProgramError(f"line {number}: there is more after the program's end.")
        codes = {v for letter, v in words if letter == "G"}
        machine = {v for letter, v in words if letter == "M"}
        values = {letter: v for letter, v in words if letter not in "GM"}
        _modes(state, codes, machine, values, number)
        if 4 in codes:
            waits.append(_need(values, "P", number) / (1000 if dwell == "milliseconds" else 1))
        elif state.motion is not None and set("XYZ") & set(values):
            moves += _moved(state, values, number)
        if 6 in machine:
            state.tool, state.running = int(_need(values, "T", number)), False
        if 3 in machine:
            if not state.speed:
                raise ProgramError(f"line {number}: the spindle is started without a speed.")
            state.running = True
            speeds.append(state.speed)
        if 5 in machine:
            state.running = False
        state.ended = 30 in machine
    if not state.ended:
        raise ProgramError("the program has no end (M30).")
    return Program(tuple(moves), tuple(waits), tuple(speeds))


def shifted(moves: Sequence[Move], by: tuple[float, float]) -> list[Move]:
    """The moves carried along x and y (mm)."""

    def at(place: tuple[float, float, float]) -> tuple[float, float, float]:
        return place[0] + by[0], place[1] + by[1], place[2]

    return [
        replace(m, start=at(m.start), end=at(m.end), centre=(m.centre[0] + by[0], m.centre[1] + by[1]))
        for m in moves
    ]


def faults(
    pattern: Pattern, moves: Sequence[Move], bits: Sequence[Bit], path: ToolPath, tile: Tile | None = None
) -> Iterator[str]:
    """What is wrong with the moves of a program for `bits`, in the order of its tools: a sentence each.

    Nothing of what stays may be cut; fast moves stay above the wood; a bit goes straight down only where it drills
    or has cut already; the bit must get through. In a tile it must keep to what the machine reaches.
    """
    holes: list[complex] = []
    if tile is not None:
        moves = shifted(moves, tile.shift)
        holes = [complex(*hole) for hole in tile.holes]
        yield from _beyond(moves, tile)
    board = pattern.panel.polygon
    figure = shapely.intersection(pattern.outline.region(_FINE), board)
    stays = as_multi(shapely.difference(board, figure) if pattern.keep_mode == "panel" else figure)
    drilled = [*(p.ring.segments[0].start for p in path.passes if p.drilled), *holes]
    for n, move in enumerate(moves):
        x0, y0, z0 = move.start
        x1, y1, z1 = move.end
        aside = math.hypot(x1 - x0, y1 - y0)
        hole = move.drills or _over_hole(x1, y1, drilled)
        if move.feed is None and min(z0, z1) < 0 and (aside > 0 or z1 < z0) and not hole:
            yield f"line {move.line}: a fast move goes through the wood."
        straight = min(z0, 0.0) - z1
        into_wood = move.feed is not None and aside < 1e-6 and straight > PLUNGE and not hole
        if into_wood and not _cut_before(moves[:n], move):
            yield f"line {move.line}: the bit goes straight down {straight:.1f} mm into the wood."
    deepest = min((m.end[2] for m in moves), default=0.0)
    if moves and -deepest < pattern.panel.thickness:
        yield "the program does not go through the panel."
    if path.settings.index_in == "anywhere":
        moves = [m for m in moves if not _over_hole(m.end[0], m.end[1], holes) or m.start[:2] != m.end[:2]]
    yield from _gouges(moves, bits, stays)


def _beyond(moves: Sequence[Move], tile: Tile) -> Iterator[str]:
    """The first move that leaves what the machine reaches in a tile."""
    x0, y0, x1, y1 = (
        tile.reach[0] - _FINE,
        tile.reach[1] - _FINE,
        tile.reach[2] + _FINE,
        tile.reach[3] + _FINE,
    )
    for move in moves:
        xy = move.points()[:, :2]
        if xy[:, 0].min() < x0 or xy[:, 1].min() < y0 or xy[:, 0].max() > x1 or xy[:, 1].max() > y1:
            yield f"line {move.line}: the bit leaves what the machine reaches."
            return


def _cut_before(earlier: Sequence[Move], down: Move) -> bool:
    """Whether the bit has been at the place of a straight way down before, and no less deep."""
    x, y, z = down.end
    return any(
        move.feed is not None
        and move.tool == down.tool
        and any(p[2] <= z + PLUNGE and math.hypot(p[0] - x, p[1] - y) < _BEEN for p in (move.start, move.end))
        for move in reversed(earlier)
    )


def _words(raw: str, number: int) -> list[tuple[str, float]]:
    """The words of one line, comments taken out."""
    text = re.sub(r"\([^()]*\)", "", raw).strip()
    if "(" in text or ")" in text:
        raise ProgramError(f"line {number}: a comment is not closed.")
    left = _WORD.sub("", text).strip()
    found = [(letter, float(value)) for letter, value in _WORD.findall(text)]
    if left or any(letter not in _LETTERS for letter, _ in found):
        raise ProgramError(f'line {number}: "{text}" holds what is no word of a program.')
    once = [letter for letter, _ in found if letter not in "GM"]
    if len(set(once)) < len(once):
        raise ProgramError(f'line {number}: "{text}" says the same thing twice.')
    return found


def _modes(
    state: _State, codes: set[float], machine: set[float], values: dict[str, float], number: int
) -> None:
    for letter, odd in (("G", codes - _MOTIONS - _OTHERS), ("M", machine - _MACHINE)):
        if odd:
            raise ProgramError(f"line {number}: {letter}{min(odd):g} is not known here.")
    if len(codes & _MOTIONS) > 1:
        raise ProgramError(f"line {number}: two motions on one line.")
    if {20, 21} & codes:
        state.unit = MM_PER_INCH if 20 in codes else 1.0
    state.absolute = state.absolute or 90 in codes
    if 80 in codes:
        state.motion = None
    for motion in codes & _MOTIONS:
        state.motion = int(motion)
    if "F" in values:
        state.feed = values["F"] * state.unit
    if "S" in values:
        state.speed = values["S"]


def _moved(state: _State, values: dict[str, float], number: int) -> Iterator[Move]:
    """The moves of one line; a drilling cycle gives several."""
    if not state.absolute:
        raise ProgramError(f"line {number}: a move before it is said that places are absolute (G90).")
    to = [values[c] * state.unit if c in values else state.place[i] for i, c in enumerate("XYZ")]
    if state.motion in (81, 83):
        yield from _drilled(state, to, values, number)
        return
    fast = state.motion == 0
    if not fast and (state.feed is None or not state.running):
        raise ProgramError(f"line {number}: a cut without a feed, or with the spindle still.")
    start, state.place = state.place, to
    if None in start or None in to:
        return  # the way from a place nobody knows is the operator's
    a, b = _known(start), _known(to)
    turn, centre = 0, (0.0, 0.0)
    if state.motion in (2, 3):
        turn = 1 if state.motion == 3 else -1
        centre = (
            a[0] + _need(values, "I", number) * state.unit,
            a[1] + _need(values, "J", number) * state.unit,
        )
        slack = abs(math.dist(a[:2], centre) - math.dist(b[:2], centre)) / state.unit
        if slack > _SLACK[state.unit] + 1e-9:
            raise ProgramError(f"line {number}: the arc's radii differ by {slack:.4f}.")
    yield Move(a, b, turn, centre, None if fast else state.feed, state.tool, False, number)


def _drilled(state: _State, to: list[float | None], values: dict[str, float], number: int) -> Iterator[Move]:
    """G81, and G83 with its pecks, as NISTIR 6556 3.5.16 describes them with the retract to where Z was."""
    x, y, deep = _known(to)
    above = _known(state.place)
    start = _need(values, "R", number) * state.unit
    peck = _need(values, "Q", number) * state.unit if state.motion == 83 else start - deep
    if state.feed is None or not state.running or peck <= 0 or start < deep:
        raise ProgramError(f"line {number}: a drilling cycle that can't be carried out.")
    tool, feed = state.tool, state.feed

    def move(a: tuple[float, float, float], b: tuple[float, float, float], at: float | None) -> Move:
        return Move(a, b, 0, (0.0, 0.0), at, tool, True, number)

    yield move(above, (x, y, above[2]), None)
    yield move((x, y, above[2]), (x, y, start), None)
    z, low = start, start
    while low > deep + 1e-9:
        low = max(low - peck, deep)
        yield move((x, y, z), (x, y, low), feed)
        yield move((x, y, low), (x, y, start), None)
        z = start
    yield move((x, y, start), (x, y, above[2]), None)
    state.place = [x, y, above[2]]


def _gouges(moves: Sequence[Move], bits: Sequence[Bit], stays: MultiPolygon) -> Iterator[str]:
    """The deepest cut of each bit into what stays, where too deep: its radius less how near its middle comes."""
    if stays.is_empty:
        return
    rings = shapely.get_parts(shapely.boundary(stays))
    xy, which = shapely.get_coordinates(rings, return_index=True)
    same = which[1:] == which[:-1]
    sides = np.asarray(shapely.linestrings(np.stack([xy[:-1][same], xy[1:][same]], axis=1)))
    tree = shapely.STRtree(sides)
    shapely.prepare(stays)
    tools = sorted({move.tool for move in moves})
    for n, tool in enumerate(tools):
        radius = bits[n if len(tools) > 1 else 0].radius
        low = [m for m in moves if m.tool == tool and m.feed is not None and min(m.start[2], m.end[2]) < 0]
        ways = [m.points()[:, :2] for m in low]
        if not ways:
            continue
        edges = np.concatenate([np.stack([way[:-1], way[1:]], axis=1) for way in ways])
        nearest, away = tree.query_nearest(
            shapely.linestrings(edges), return_distance=True, all_matches=False
        )
        start = edges[nearest[0], 0]
        away = np.where(shapely.contains_xy(stays, start[:, 0], start[:, 1]), -away, away)
        if radius - float(away.min()) > GOUGE:
            x, y = start[int(np.argmin(away))]
            yield f"the bit cuts {radius - float(away.min()):.2f} mm into wood that stays, at X{x:.1f} Y{y:.1f} mm."


def _over_hole(x: float, y: float, holes: Sequence[complex]) -> bool:
    return any(abs(complex(x, y) - hole) < _BESIDE for hole in holes)


def _need(values: dict[str, float], letter: str, number: int) -> float:
    if letter not in values:
        raise ProgramError(f"line {number}: {letter} is missing.")
    return values[letter]


def _known(place: Sequence[float | None]) -> tuple[float, float, float]:
    x, y, z = place
    if x is None or y is None or z is None:
        raise ProgramError("a move from or to a place the program has not said.")
    return x, y, z


def _parts(z: complex) -> tuple[float, float]:
    return z.real, z.imag
