"""G-code for a machine: plain RS274/NGC words, lines and arcs.

Source of the words and limits: NISTIR 6556, The NIST RS274/NGC Interpreter.
"""

from __future__ import annotations

import math
import textwrap
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cutout.errors import CutoutError, WriteError
from cutout.geom import curve
from cutout.geom.curve import Arc, FloatArray
from cutout.geom.outline import Ring
from cutout.kit import Bit, Machine
from cutout.route.model import Pass, Tile, ToolPath
from cutout.route.offset import SPOT
from cutout.route.readback import faults, read_back
from cutout.route.track import part
from cutout.route.walk import Step, turns
from cutout.units import MM_PER_INCH, Units, count, format_length, format_size
from cutout.write.work import Work

_DECIMALS: dict[Units, int] = {"mm": 4, "in": 5}
_RADIUS_SLACK: dict[Units, float] = {"mm": 0.002, "in": 0.0002}
"""How far start and end radius of an arc may differ, in the file's units (NISTIR 6556, 3.5.3.2)."""
_MOST_TURN = math.radians(270)
"""Arcs that turn further are written in two, so that none comes near a full circle."""
_COMMENT_WIDTH = 76  # characters; with its brackets a line stays under 80, which every sender shows
_SWAPS = str.maketrans("()—–×;", "[]--x,")
_APPROACH = 1.0
"""Height above the panel (mm), and above where a drill has been already, down to which the bit drops fast."""
_CHORD = 0.004
"""How far (mm) the chords that stand for an arc stray from it, where the machine knows no arcs."""
DRY_RUN, PINS = "router-dry.ngc", "router-pins.ngc"
PIN_DEPTH = 10.0
"""How deep (mm) the pins stand in the spoil board: common practice, no source."""
_CAUTIONS = (
    "Clamp the panel on a spoil board, clamps and screws off the way and lower than the bit travels",
    "Eye and ear protection, dust mask. Spindle unplugged while a bit is changed",
    "Stay at the machine while it runs, with its stop within reach",
    "Your machine's manual comes first",
)


@dataclass(frozen=True, slots=True)
class Listing:
    """One program: the bits it cuts with, in the order of its tools, and the tile it cuts, if the panel has any."""

    bits: tuple[Bit, ...]
    tile: Tile | None = None

    def passes(self, work: Work) -> tuple[Pass, ...]:
        """What it cuts, in order."""
        every = self.tile.passes if self.tile else work.router.passes
        return tuple(p for p in every if p.bit in self.bits)

    def holes(self, work: Work) -> tuple[Pass, ...]:
        """Holes for the pins of later tiles, which the job's own bit drills first of all."""
        if self.tile is None or work.kit.bit not in self.bits:
            return ()
        return tuple(_hole(work, at) for at in self.tile.holes)


def router_bits(work: Work) -> tuple[Bit, ...]:
    """The bits the path uses, in the order they cut: one program each."""
    return tuple(dict.fromkeys(p.bit for p in work.router.passes))


def router_programs(work: Work) -> dict[str, bytes]:
    """File names and programs: router.ngc for the job's bit, router-NAME.ngc for others, one for each tile.

    A machine that changes bits itself gets one program for all of them. Raises WriteError.
    """
    pins = {PINS: _pins(work)} if any(tile.pins for tile in work.router.tiles) else {}
    return pins | {name: _program(work, listing) for name, listing in listings(work).items()}


def listings(work: Work) -> dict[str, Listing]:
    """The programs that cut the panel, by name, in the order they are run."""
    if work.kit.machine.tool_change and router_bits(work):
        sets = {"router": router_bits(work)}
    else:
        sets = {_stem(work, b): (b,) for b in dict.fromkeys((work.kit.bit, *router_bits(work)))}
    if not work.router.tiles:
        return {f"{stem}.ngc": Listing(bits) for stem, bits in sets.items()}
    every = {
        f"{stem}-tile{tile.number}.ngc": Listing(bits, tile)
        for tile in work.router.tiles
        for stem, bits in sets.items()
    }
    return {n: one for n, one in every.items() if one.passes(work) or one.holes(work)}


def router_ngc(work: Work, bit: Bit | None = None) -> bytes:
    """The program that cuts with `bit` (the job's own bit when None); ASCII, one word group a line.

    A bit with nothing to cut, or a path whose proof failed, gives a program without a move that says why. What is
    written is read back and looked at once more before it is handed out. Raises WriteError when an arc can't be
    written within the standard's limit.
    """
    return _program(work, Listing((bit or work.kit.bit,)))


def dry_runs(work: Work) -> dict[str, bytes]:
    """The dry run by its name, or one for each tile."""
    if not work.router.tiles:
        return {DRY_RUN: dry_run(work)}
    tiles = [tile for tile in work.router.tiles if tile.passes]
    return {f"router-dry-tile{tile.number}.ngc": dry_run(work, tile) for tile in tiles}


def dry_run(work: Work, tile: Tile | None = None) -> bytes:
    """A program that leads the bit round all it will cut, at the height of travel, with the spindle still."""
    what = f"tile {tile.number}: " if tile else ""
    lines = _comments(
        [f"{work.title}: {what}dry run round all that will be cut, spindle off, nothing is cut"]
    )
    passes = tile.passes if tile else work.router.passes
    if why_not := _why_not(work, passes):
        return _text([*lines, *_comments([f"NO MOVES IN THIS PROGRAM: {why_not}"]), "M30"])
    ways = ((p, p.ring.points() if p.part is None else _way(p, work)) for p in passes)
    box = [(xy.min(axis=0) - p.bit.radius, xy.max(axis=0) + p.bit.radius) for p, xy in ways]
    shift = complex(*tile.shift) if tile else 0j
    x0, y0 = (min(float(low[k]) for low, _ in box) - (shift.real, shift.imag)[k] for k in (0, 1))
    x1, y1 = (max(float(high[k]) for _, high in box) - (shift.real, shift.imag)[k] for k in (0, 1))
    if tile:
        # What the bit's middle can't reach it can't go round: the bit's own edge is inside all the same.
        reach = [v - s for v, s in zip(tile.reach, tile.shift * 2, strict=True)]
        x0, y0, x1, y1 = max(x0, reach[0]), max(y0, reach[1]), min(x1, reach[2]), min(y1, reach[3])
    size = f"{format_size(x1 - x0, y1 - y0, work.units)} from X{x0:.1f} Y{y0:.1f} mm"
    height = format_length(work.router.settings.safe_height, work.units)
    lines += _comments(
        [
            f"It goes round {size}: the outer edge of all cuts, bits included"
            + (", as far as the machine reaches" if tile else ""),
            f"{height} above the panel. Clamps must not be touched",
        ]
    )
    program = _Program(work.units, work.kit.machine, work.router)
    corners = [complex(x0, y0), complex(x1, y0), complex(x1, y1), complex(x0, y1), complex(x0, y0)]
    lines += program.words(move for corner in corners for move in program.over(corner))
    return _text([*lines, "M30"])


def _program(work: Work, listing: Listing) -> bytes:
    passes = (*listing.holes(work), *listing.passes(work))
    lines = _comments(_header(work, listing))
    why_not = _why_not(work, passes) or (
        None if passes else f"the {listing.bits[0].title} has nothing to cut."
    )
    if not why_not:
        shift = listing.tile.shift if listing.tile else (0.0, 0.0)
        program = _Program(work.units, work.kit.machine, work.router, complex(*shift))
        for bit in listing.bits:
            mine = tuple(p for p in passes if p.bit == bit)
            lines += program.run(mine, router_bits(work).index(bit) + 1) if mine else []
        lines += program.end()
        why_not = _fault(work, listing, _text(lines))
    if why_not:
        head = _comments(_header(work, listing))
        lines = [*head, *_comments([f"NO MOVES IN THIS PROGRAM: {why_not}"]), "M30"]
    return _text(lines)


def _fault(work: Work, listing: Listing, program: bytes) -> str | None:
    """What is wrong with a program once it is read back, if anything is."""
    try:
        moves = read_back(program.decode("ascii"), work.kit.machine.dwell).moves
    except CutoutError as error:
        return str(error)
    bits = [b for b in listing.bits if any(p.bit == b for p in (*listing.holes(work), *listing.passes(work)))]
    return next(iter(faults(work.pattern, moves, bits, work.router, listing.tile)), None)


def _hole(work: Work, at: tuple[float, float], deep: float | None = None) -> Pass:
    """A hole the size of the job's bit, through the panel or so deep (mm)."""
    own = next(p for p in work.router.passes if p.bit == work.kit.bit)
    whole = deep if deep is not None else -own.depths[-1]
    count = math.ceil(whole / own.turn - 1e-9)
    left, right = complex(*at) - SPOT, complex(*at) + SPOT
    ring = Ring((Arc(left, right, 1.0), Arc(right, left, 1.0)))
    return Pass(0, 0, "inside", ring, own.bit, tuple(-whole * (k + 1) / count for k in range(count)), ())


def _pins(work: Work) -> bytes:
    """The program that drills the spoil board for the pins of every tile, before the panel lies on it."""
    bit, tiles = work.kit.bit, [tile for tile in work.router.tiles if tile.pins]
    size, deep = format_length(bit.diameter, work.units), format_length(PIN_DEPTH, work.units)
    lines = _comments(
        [
            f"{work.title}: holes for pins in the spoil board, {size} wide and {deep} deep",
            f"Units: {'millimetres' if work.units == 'mm' else 'inches'}",
            "Run it first, with no panel on the spoil board",
            "Origin: X0 Y0 where the panel's lower left corner will lie for tile 1, Z0 on the spoil board",
            *_of_bit(work, bit, [_hole(work, tiles[0].pins[0], PIN_DEPTH)]),
            "CAUTIONS",
            *_CAUTIONS[1:],
        ]
    )
    if why_not := _why_not(work, work.router.passes):
        return _text([*lines, *_comments([f"NO MOVES IN THIS PROGRAM: {why_not}"]), "M30"])
    program = _Program(work.units, work.kit.machine, work.router)
    passes = tuple(_hole(work, at, PIN_DEPTH) for tile in tiles for at in tile.pins)
    data = _text([*lines, *program.run(passes, router_bits(work).index(bit) + 1), *program.end()])
    read_back(data.decode("ascii"), work.kit.machine.dwell)
    return data


def _way(cut: Pass, work: Work) -> FloatArray:
    """The stretch of its ring a pass cuts, as points (n, 2)."""
    runs = [step.run for step in turns(cut, work.router.settings)[0]]
    return curve.to_array(np.concatenate([curve.points(run, _CHORD) for run in runs]))


def _text(lines: Iterable[str]) -> bytes:
    return ("\n".join(lines) + "\n").encode("ascii")


def _stem(work: Work, bit: Bit) -> str:
    plain = "".join(c if c.isalnum() or c in "-." else "_" for c in _plain(bit.name))
    return "router" if bit == work.kit.bit else f"router-{plain}"


def _why_not(work: Work, passes: Sequence[Pass]) -> str | None:
    failed = [f for f in work.findings if f.kind == "router" and f.severity == "stop" and not f.cleared]
    if failed:
        return work.said(failed[0]).text
    return None if passes or work.router.passes else "no bit of this job has anything to cut."


def _header(work: Work, listing: Listing) -> list[str]:
    panel, units, settings = work.pattern.panel, work.units, work.router.settings
    bits, passes, tile = listing.bits, listing.passes(work), listing.tile
    size = format_size(panel.width, panel.height, units)
    lines = [
        f"{work.title}: program for the router",
        f"Units: {'millimetres' if units == 'mm' else 'inches'}",
        f"Stock: {size}, {format_length(panel.thickness, units)} thick, {work.kit.wood.title}, show face up",
        *(_of_tile(work, tile) if tile else []),
        "Origin: X0 Y0 at the lower left corner of the panel"
        + (" as it lay for tile 1" if tile else "")
        + ", Z0 on its upper face",
        *(line for bit in bits for line in _of_bit(work, bit, [p for p in passes if p.bit == bit])),
    ]
    if passes:
        tabs = sum(len(p.tabs_here) for p in passes if p.purpose != "roughing")
        lines += [
            f"Runs: {len(passes)}, down to {format_length(-passes[0].depths[-1], units)}: on a spoil board",
            *(
                [f"Tabs that hold the parts: {tabs}; cut them with a chisel or saw at the end"]
                if tabs
                else []
            ),
            f"Travels {format_length(settings.safe_height, units)} above the panel; run "
            f"{f'router-dry-tile{tile.number}.ngc' if tile else DRY_RUN} in the air first",
        ]
    if not work.kit.machine.tool_change:
        others = [b for b in router_bits(work) if b not in bits]
        names = {one.bits: name for name, one in listings(work).items() if one.tile == tile}
        lines += [
            f"What the {other.title} cuts is in {names[(other,)]}" for other in others if (other,) in names
        ]
    return [*lines, "CAUTIONS", *_CAUTIONS]


def _of_tile(work: Work, tile: Tile) -> list[str]:
    bit = work.kit.bit
    lines = [f"Tile {tile.number} of {len(work.router.tiles)}"]
    if tile.pins:
        pins = " and ".join(f"X{x:.1f} Y{y:.1f}" for x, y in tile.pins)
        ways = zip(tile.shift, "XY", strict=True)
        moved = " and ".join(f"{format_length(v, work.units)} along {axis}" for v, axis in ways if v)
        lines += [
            f"The panel lies {moved} back from where it lay first, its holes on pins at {pins} mm",
            "X0 Y0 stay as they were set for tile 1",
        ]
    if tile.holes:
        size = format_length(bit.diameter, work.units)
        lines += [
            f"The {bit.title} first drills {count(len(tile.holes), 'hole')} of {size} for pins of later tiles"
        ]
    return lines


def _of_bit(work: Work, bit: Bit, passes: Sequence[Pass]) -> list[str]:
    lines = [f"Bit: {bit.title}, {bit.flutes} flutes, its path is the middle of the bit"]
    if passes:
        driven = work.router.feeds_for(passes[0])
        turns, deep = len(passes[0].depths), format_length(passes[0].turn, work.units)
        lines += [
            f"Speed {driven.speed:.0f} per minute, feed {_feed(driven.feed, work.units)}, straight down "
            f"{_feed(driven.plunge, work.units)}, {turns} turns of {deep}",
            f"By {driven.load.chart}"
            + ("; held to what the machine feeds" if driven.held else "")
            + ". Start slower, your machine's manual decides",
        ]
    return lines


def _feed(mm: float, units: Units) -> str:
    return f"{mm:.0f} mm/min" if units == "mm" else f"{mm / MM_PER_INCH:.0f} in/min"


def _comments(sentences: Iterable[str]) -> list[str]:
    """Comment lines that any reader takes: ASCII, no brackets inside, short."""
    return [f"({line})" for s in sentences for line in textwrap.wrap(_plain(s), _COMMENT_WIDTH) or [""]]


def _plain(text: str) -> str:
    """ASCII text without the signs that end or nest a comment."""
    text = unicodedata.normalize("NFKD", text)
    text = text.translate(_SWAPS)
    text = "".join(c if c.isprintable() else " " for c in text)
    return text.encode("ascii", "ignore").decode("ascii")


class _Program:
    """Lines of one program and where the bit stands, in the file's units and rounded as written."""

    def __init__(self, units: Units, machine: Machine, path: ToolPath, shift: complex = 0j) -> None:
        """shift: how far (mm) the panel lies back from where it lay when X0 Y0 was set."""
        self.shift = shift
        self.units = units
        self.machine = machine
        self.path = path
        self.settings = path.settings
        self.scale = 1.0 if units == "mm" else 1 / MM_PER_INCH
        self.digits = _DECIMALS[units]
        self.lines: list[str] = []
        self.at = 0j
        self.z = math.nan
        self.feed = math.nan
        self.begun = False
        self.driven = path.feeds[0] if path.feeds else None

    def run(self, passes: tuple[Pass, ...], tool: int) -> list[str]:
        """All runs of one bit, the program's first words before the first of them."""
        self.lines = [] if self.begun else self.words()
        self.begun = True
        self.driven = self.path.feeds_for(passes[0])
        if self.machine.tool_change:
            self.lines += [f"T{tool} M6", f"G43 H{tool}"]
        self.lines.append(f"S{self.driven.speed:.0f} M3")
        if self.machine.wait > 0:
            # The bit must be up to speed before it meets the wood.
            self.lines.append(f"G4 P{self._wait()}")
        self.z = math.nan
        self._rise()
        for cut in passes:
            whole = "" if cut.part is None else ", a stretch"
            what = f"Run {cut.order}, opening {cut.opening}, {cut.side}, {cut.purpose}{whole}"
            self.lines += _comments([what if cut.order else "Hole for a pin"])
            self.driven = self.path.feeds_for(cut)
            self._drill(cut) if cut.drilled else self._cut(cut)
        self.lines.append("M5")
        return self.lines

    def words(self, moves: Iterable[str] = ()) -> list[str]:
        """The words a program begins with, and moves after them."""
        return ["G17", "G21" if self.units == "mm" else "G20", "G90", "G40", "G94", *moves]

    def end(self) -> list[str]:
        """The words a program ends with."""
        return [*(["G49"] if self.machine.tool_change else []), "M30"]

    def over(self, to: complex) -> list[str]:
        """Moves at the height of travel."""
        self.lines = []
        self._rise()
        end = self._round(to)
        return [*self.lines, f"G0 X{self._text(end.real)} Y{self._text(end.imag)}"]

    def _wait(self) -> str:
        seconds = self.machine.wait
        return f"{seconds * 1000:.0f}" if self.machine.dwell == "milliseconds" else f"{seconds:g}"

    def _cut(self, cut: Pass) -> None:
        for steps in turns(cut, self.settings):
            self._go(steps[0].run.start)
            self._to_z("G0", _APPROACH)
            self._to_z("G1", steps[0].z0, self._plunge)
            for step in steps:
                self._step(step)
            self._rise()

    def _drill(self, cut: Pass) -> None:
        """A hole the size of the bit: a drilling cycle where the machine knows one, else plain moves."""
        spot = sum(s.start for s in cut.ring.segments) / len(cut.ring.segments)
        self._go(spot)
        if self.machine.drill_cycles:
            self._cycle(cut)
            return
        before = 0.0
        for depth in cut.depths:
            self._to_z("G0", before + _APPROACH)
            self._to_z("G1", depth, self._plunge)
            # Right up, so that the flutes shed their chips; no faster through the hole than it was made.
            self._to_z("G1", _APPROACH, self._feed)
            self._to_z("G1", min(depth + _APPROACH, _APPROACH), self._feed)
            before = depth
        self._rise()

    def _cycle(self, cut: Pass) -> None:
        """G81 for a single turn, G83 with its pecks for more (NISTIR 6556 3.5.16)."""
        up, deep = self._text(_APPROACH * self.scale), self._text(cut.depths[-1] * self.scale)
        peck = f" Q{self._text(cut.turn * self.scale)}" if len(cut.depths) > 1 else ""
        place = f"X{self._text(self.at.real)} Y{self._text(self.at.imag)} Z{deep} R{up}"
        self.lines += [
            f"{'G83' if peck else 'G81'} {place}{peck}{self._feed_word(self._plunge)}",
            "G80",
        ]
        self._rise()

    def _go(self, to: complex) -> None:
        self.at = self._round(to)
        self.lines.append(f"G0 X{self._text(self.at.real)} Y{self._text(self.at.imag)}")

    @property
    def _feed(self) -> float:
        assert self.driven is not None
        return self.driven.feed

    @property
    def _plunge(self) -> float:
        assert self.driven is not None
        return self.driven.plunge

    def _rise(self) -> None:
        self._to_z("G0", self.settings.safe_height)

    def _step(self, step: Step) -> None:
        if step.upright:
            self._to_z("G1", step.z1, self._plunge if step.z1 < step.z0 else self._feed)
        elif isinstance(step.run, Arc) and self.machine.arcs:
            self._arc(step.run, step.z0, step.z1)
        elif isinstance(step.run, Arc):
            for chord, z in _chords(step.run, step.z0, step.z1):
                self._move("G1", chord, z, "")
        else:
            self._move("G1", step.run.end, step.z1, "")

    def _arc(self, arc: Arc, z0: float, z1: float) -> None:
        """One arc, in halves where it turns too far or rounding would break the limit on its radii."""
        start, end = self.at, self._round(arc.end)
        offset = complex(
            *(round(v, self.digits) for v in _xy((arc.centre - self.shift) * self.scale - start))
        )
        slack = abs(abs(offset) - abs(end - start - offset))
        least = 20 * 10.0**-self.digits
        if abs(end - start) < least and abs(arc.sweep) < math.pi:
            self._move("G1", arc.end, z1, "")
        elif abs(arc.sweep) > _MOST_TURN or slack > _RADIUS_SLACK[self.units] / 2:
            if abs(arc.sweep) * arc.radius * self.scale < 2 * least:
                raise WriteError(f"an arc near {_xy(arc.end)} can't be written to {self.digits} decimals.")
            self._arc(_half(arc, 0.0, 0.5), z0, (z0 + z1) / 2)
            self._arc(_half(arc, 0.5, 1.0), (z0 + z1) / 2, z1)
        else:
            word = "G3" if arc.bulge > 0 else "G2"
            centre = f" I{self._text(offset.real)} J{self._text(offset.imag)}"
            self._move(word, arc.end, z1, centre)

    def _move(self, word: str, to: complex, z: float, centre: str) -> None:
        end, deep = self._round(to), round(z * self.scale, self.digits)
        if end == self.at and deep == self.z:
            return
        level = "" if deep == self.z else f" Z{self._text(deep)}"
        feed = self._feed_word(self._slope_feed(z, abs(end - self.at)))
        self.lines.append(f"{word} X{self._text(end.real)} Y{self._text(end.imag)}{level}{centre}{feed}")
        self.at, self.z = end, deep

    def _slope_feed(self, z: float, run: float) -> float:
        """The cutting feed; on a slope the ramp's, held back so that the bit goes down no faster than it may."""
        assert self.driven is not None
        drop = self.z - z * self.scale
        if drop <= 0 or math.isnan(drop):
            return self.driven.feed
        return min(self.driven.ramp, self.driven.plunge * math.hypot(run, drop) / drop)

    def _to_z(self, word: str, z: float, feed: float | None = None) -> None:
        deep = round(z * self.scale, self.digits)
        if deep != self.z:
            self.lines.append(f"{word} Z{self._text(deep)}" + ("" if feed is None else self._feed_word(feed)))
            self.z = deep

    def _feed_word(self, mm_per_min: float) -> str:
        value = round(mm_per_min * self.scale, 1)
        if value == self.feed:
            return ""
        self.feed = value
        return f" F{value:.1f}"

    def _round(self, z: complex) -> complex:
        return complex(*(round(v * self.scale, self.digits) for v in _xy(z - self.shift)))

    def _text(self, value: float) -> str:
        text = f"{value:.{self.digits}f}"
        return text[1:] if float(text) == 0 and text.startswith("-") else text


def _chords(arc: Arc, z0: float, z1: float) -> Iterator[tuple[complex, float]]:
    """Ends of the chords that stand for an arc, and z at each."""
    step = 2 * math.acos(max(1 - _CHORD / arc.radius, 0.0))
    count = max(1, math.ceil(abs(arc.sweep) / step))
    for n in range(1, count + 1):
        yield part(arc, 0.0, n / count).end, z0 + (z1 - z0) * n / count


def _half(arc: Arc, f0: float, f1: float) -> Arc:
    half = part(arc, f0, f1)
    assert isinstance(half, Arc)
    return half


def _xy(z: complex) -> tuple[float, float]:
    return z.real, z.imag
