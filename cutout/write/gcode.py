"""G-code for a machine: plain RS274/NGC words, lines and arcs.

Source of the words and limits: NISTIR 6556, The NIST RS274/NGC Interpreter.
"""

from __future__ import annotations

import math
import textwrap
import unicodedata
from collections.abc import Iterable

from cutout.errors import WriteError
from cutout.geom.curve import Arc
from cutout.kit import Bit
from cutout.route.model import Pass, Settings
from cutout.route.track import part
from cutout.route.walk import Step, walk
from cutout.units import MM_PER_INCH, Units, format_length, format_size
from cutout.write.work import Work

_DECIMALS: dict[Units, int] = {"mm": 4, "in": 5}
_RADIUS_SLACK: dict[Units, float] = {"mm": 0.002, "in": 0.0002}
"""How far start and end radius of an arc may differ, in the file's units (NISTIR 6556, 3.5.3.2)."""
_MOST_TURN = math.radians(270)
"""Arcs that turn further are written in two, so that none comes near a full circle."""
_COMMENT_WIDTH = 76
_SWAPS = str.maketrans("()—–×;", "[]--x,")
_APPROACH = 1.0
"""Height above the panel (mm) down to which the bit drops at travel speed."""


def router_bits(work: Work) -> tuple[Bit, ...]:
    """The bits the path uses, in the order they cut: one program each."""
    return tuple(dict.fromkeys(p.bit for p in work.router.passes))


def router_programs(work: Work) -> dict[str, bytes]:
    """File names and programs, one for each bit: router.ngc for the job's bit, router-NAME.ngc for others."""
    return {_file(work, b): router_ngc(work, b) for b in dict.fromkeys((work.kit.bit, *router_bits(work)))}


def _file(work: Work, bit: Bit) -> str:
    return "router.ngc" if bit == work.kit.bit else f"router-{bit.name.replace('/', '_')}.ngc"


def router_ngc(work: Work, bit: Bit | None = None) -> bytes:
    """The program that cuts with `bit` (the job's own bit when None); ASCII, one word group a line.

    A bit with nothing to cut, or a path whose proof failed, gives a program without a move that says why.
    Raises WriteError when an arc can't be written within the standard's limit.
    """
    bit = bit or work.kit.bit
    passes = tuple(p for p in work.router.passes if p.bit == bit)
    lines = _comments(_header(work, bit, passes))
    why_not = _why_not(work, bit, passes)
    if why_not:
        lines += [*_comments([f"NO MOVES IN THIS PROGRAM: {why_not}"]), "M30"]
    else:
        lines += _Program(work.units, bit, work.router.settings).run(passes)
    return ("\n".join(lines) + "\n").encode("ascii")


def _why_not(work: Work, bit: Bit, passes: tuple[Pass, ...]) -> str | None:
    failed = [f.text for f in work.findings if f.kind == "router" and f.severity == "stop" and not f.cleared]
    if failed:
        return failed[0]
    return None if passes else f"the {bit.title} has nothing to cut."


def _header(work: Work, bit: Bit, passes: tuple[Pass, ...]) -> list[str]:
    panel, units, settings = work.pattern.panel, work.units, work.router.settings
    others = [b for b in router_bits(work) if b != bit]
    size = format_size(panel.width, panel.height, units)
    lines = [
        f"{work.title}: program for the router",
        f"Units: {'millimetres' if units == 'mm' else 'inches'}",
        f"Stock: {size}, {format_length(panel.thickness, units)} thick, {work.kit.wood.title}, show face up",
        "Origin: X0 Y0 at the lower left corner of the panel, Z0 on its upper face",
        f"Bit: {bit.title}, {bit.flutes} flutes, its path is the middle of the bit",
        f"Speed {bit.speed:.0f} per minute, feed {_feed(settings.feed(bit), units)}, "
        f"straight down {_feed(bit.plunge, units)}",
        f"By the chip load this bit could be fed at {_feed(bit.feed, units)}. "
        "Start slower; your machine's manual decides",
    ]
    if passes:
        depths = passes[0].depths
        lines += [
            f"Runs: {len(passes)}, each in {len(depths)} turns of {format_length(-depths[0], units)}, the last one "
            f"{format_length(settings.breakthrough, units)} below the underside: put a spoil board under the panel",
            f"The bit must cut or clear over {format_length(-depths[-1], units)} of its length",
            f"Tabs that hold the parts: {sum(len(p.tabs) for p in passes)}; cut them with a chisel or saw at the end",
        ]
    lines += [f"What the {other.title} cuts is in {_file(work, other)}" for other in others]
    height = format_length(settings.safe_height, units)
    lines += [
        "CAUTIONS",
        f"Run it in the air first. The bit travels {height} above the panel: clamps and screws must lie lower",
        "Stay at the machine while it runs, with its stop within reach",
        *work.cautions,
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

    def __init__(self, units: Units, bit: Bit, settings: Settings) -> None:
        self.units = units
        self.bit = bit
        self.settings = settings
        self.scale = 1.0 if units == "mm" else 1 / MM_PER_INCH
        self.digits = _DECIMALS[units]
        self.lines: list[str] = []
        self.at = 0j
        self.z = math.nan
        self.feed = math.nan

    def run(self, passes: tuple[Pass, ...]) -> list[str]:
        """The whole program, comments of its header left out."""
        unit = "G21" if self.units == "mm" else "G20"
        self.lines += ["G17", unit, "G90", "G40", "G94", f"S{self.bit.speed:.0f} M3"]
        self._rise()
        for cut in passes:
            self.lines += _comments([f"Run {cut.order}, opening {cut.opening}, {cut.side}, {cut.purpose}"])
            self._cut(cut)
        self.lines += ["M5", "M30"]
        return self.lines

    def _cut(self, cut: Pass) -> None:
        steps = walk(cut, self.settings.ramp)
        self.at = self._round(steps[0].run.start)
        self.lines.append(f"G0 X{self._text(self.at.real)} Y{self._text(self.at.imag)}")
        self._to_z("G0", _APPROACH)
        self._to_z("G1", 0.0, self.bit.plunge)
        for step in steps:
            self._step(step)
        self._rise()

    def _rise(self) -> None:
        self._to_z("G0", self.settings.safe_height)

    def _step(self, step: Step) -> None:
        if step.upright:
            self._to_z("G1", step.z1, self.bit.plunge)
        elif isinstance(step.run, Arc):
            self._arc(step.run, step.z0, step.z1)
        else:
            self._move("G1", step.run.end, step.z1, "")

    def _arc(self, arc: Arc, z0: float, z1: float) -> None:
        """One arc, in halves where it turns too far or rounding would break the limit on its radii."""
        start, end = self.at, self._round(arc.end)
        offset = complex(*(round(v, self.digits) for v in _xy(arc.centre * self.scale - start)))
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
        """The cutting feed, held back on a ramp so that the bit goes down no faster than it may plunge."""
        feed = self.settings.feed(self.bit)
        drop = self.z - z * self.scale
        if drop <= 0 or math.isnan(drop):
            return feed
        return min(feed, self.bit.plunge * math.hypot(run, drop) / drop)

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
        return complex(*(round(v * self.scale, self.digits) for v in _xy(z)))

    def _text(self, value: float) -> str:
        text = f"{value:.{self.digits}f}"
        return text[1:] if float(text) == 0 and text.startswith("-") else text


def _half(arc: Arc, f0: float, f1: float) -> Arc:
    half = part(arc, f0, f1)
    assert isinstance(half, Arc)
    return half


def _xy(z: complex) -> tuple[float, float]:
    return z.real, z.imag
