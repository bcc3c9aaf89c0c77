"""The kit as text for the terminal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from cutout.errors import shown
from cutout.kit.bit import Bit, bits
from cutout.kit.blade import Blade, blades
from cutout.kit.board import ROUGH, boards
from cutout.kit.data import load, own, own_path
from cutout.kit.drill import drill_sets
from cutout.kit.feeds import feeds
from cutout.kit.kit import Limits
from cutout.kit.machine import Machine, machine, machines
from cutout.kit.mine import measured_in, mine_path
from cutout.kit.moves import moves
from cutout.kit.paper import papers
from cutout.kit.rule import rules
from cutout.kit.wood import Wood, wood, woods
from cutout.units import Units, format_length, format_size

EXAMPLE = """\
[[bit]]
name = "my-6mm"
title = "up-cut spiral, 6 mm"
diameter = "6mm"
flutes = 2
kind = "up-cut"             # straight, up-cut or down-cut
flute_length = "22mm"       # how deep it can cut: measure it
depth_per_pass = "3mm"
# chip_load = 0.14          # mm per tooth, where its maker says one; else the charts decide

[[machine]]
name = "mine"
title = "my own machine"
bed = ["600mm", "400mm"]    # how far it travels
travel_z = "70mm"
feed = 2500                 # fastest feed, mm a minute
speed_least = 8000          # turns a minute
speed_most = 24000
wait = 5                    # seconds until the spindle is up to speed
dwell = "seconds"           # what P after G4 counts, or milliseconds
arcs = true                 # it knows G2 and G3
drill_cycles = false        # it knows G81 and G83
tool_change = false         # it knows M6
"""
"""A kit file of one's own, to start from; invented."""


def listing(units: Units = "mm") -> str:
    """Everything in the kit: names to use in options, sizes, and the source of each value."""

    def say(mm: float) -> str:
        return format_length(mm, units)

    lines = ["BLADES  (turning radius: measured, catalogue, or the formula from width and side clearance)"]
    for b in blades().values():
        lines += [
            f"  {b.name:<15} {b.title}",
            f"  {'':<15} width {say(b.width)}, body {say(b.body)}, kerf {say(b.kerf)}, {b.tpi:g} teeth per inch; "
            f"turning radius {say(b.turning_radius)} ({b.radius_from}); turns in a hole of {say(b.hole_to_turn)}; "
            f"wood at least {say(b.least_thickness)}",
            f"  {'':<15} source: {b.source}",
        ]
    lines += mine_lines(units)
    lines.append("MOVES OF A SAW  (seconds; your own go into [times] of a job file)")
    for m in moves().values():
        lines += [
            f"  {m.saw:<15} lift {m.lift:g}, drop in {m.drop_in:g}, thread {m.thread:g}, turn {m.turn:g}, "
            f"hole {m.hole:g}, another drill {m.change:g}; backs out {m.back:g} times as fast as it cuts; "
            f"{say(m.allowance)} may stay for the file",
            f"  {'':<15} source: {m.source}",
        ]
    lines.append("DRILL SETS")
    for d in drill_sets().values():
        lines.append(f"  {d.name:<15} {d.title}")
    lines.append("ROUTER BITS")
    for t in bits().values():
        lines += _bit_lines(t, say)
    lines.append("MACHINES")
    for mill in machines().values():
        lines += _machine_lines(mill, units)
    lines += _feed_lines()
    lines.append("WOODS AND SHEET GOODS")
    for w in woods().values():
        lines += [
            f"  {w.name:<15} {w.title} ({w.kind}); {_strength(w.bending, w.tension_across, w.tangential)}"
        ]
        lines += [f"  {'':<15} source: {w.source}"]
    lines.append(
        "BOARDS  (or any by width, like 90mm, or width and thickness, like 90x20mm; your own in the job file)"
    )
    for o in boards().values():
        rough = f", rough: planing takes {say(ROUGH)} off each way" if o.rough else ""
        lines.append(
            f"  {o.name:<15} {format_size(o.width, o.thickness or 0.0, units)}{rough}; source: {o.source}"
        )
    lines.append("PAPERS")
    for p in papers().values():
        size = format_size(p.width, p.height or 0.0, units)
        lines.append(f"  {p.name:<15} {p.title}, {size}; source: {p.source}")
    lines.append("RULES  (least widths of webs by what is made: --for)")
    lines += [f"  {r.name:<15} {r.title}; source: {r.source}" for r in rules().values()]
    lines.append("LIMITS  (settings; change them in the job file; those of the furniture rule)")
    defaults = Limits()
    for name, (unit, origin) in Limits.origins().items():
        lines.append(f"  {name:<15} {getattr(defaults, name):g} {unit}; source: {origin}")
    return "\n".join(lines)


def mine(units: Units = "mm") -> str:
    """What the user's own kit file holds and where it is; an example where there is none. Raises KitError."""
    path = own_path()
    bits_, machines_ = own("bit", Bit).values(), own("machine", Machine).values()
    blades_, woods_ = own("blade", Blade).values(), own("wood", Wood).values()
    if not path.exists():
        return f"There is no kit file of your own yet. Write one like this to {path}:\n\n{EXAMPLE}"
    lines = [f"YOUR OWN KIT, {path}"]
    for t in bits_:
        lines += _bit_lines(t, lambda mm: format_length(mm, units))
    for m in machines_:
        lines += _machine_lines(m, units)
    named = [(e.name, e.title) for e in blades_] + [(e.name, e.title) for e in woods_]
    lines += [f"  {name:<15} {title}" for name, title in named]
    return "\n".join(lines if len(lines) > 1 else [*lines, "  nothing in it yet"])


def _bit_lines(t: Bit, say: Callable[[float], str]) -> list[str]:
    deep = "measure how deep it cuts" if t.flute_length is None else f"cuts {say(t.flute_length)} deep"
    load = "chip load by the charts" if t.chip_load is None else f"chip load {t.chip_load:g} mm"
    return [
        f"  {t.name:<15} {t.title}: {t.flutes} flutes, {t.kind}, {say(t.depth_per_pass)} in a turn, {deep}, {load}",
        f"  {'':<15} source: {t.source}",
    ]


def _machine_lines(m: Machine, units: Units) -> list[str]:
    bed = "bed not asked about" if m.bed is None else f"bed {format_size(*m.bed, units)}"
    knows = [
        w for w, has in (("arcs", m.arcs), ("drill cycles", m.drill_cycles), ("M6", m.tool_change)) if has
    ]
    return [
        f"  {m.name:<15} {m.title}: {bed}, feed to {m.feed:g} mm/min, {m.speed_least:g} to {m.speed_most:g} turns a "
        f"minute; waits {m.wait:g} s (G4 in {m.dwell}); knows {', '.join(knows) or 'straight moves only'}",
        f"  {'':<15} source: {m.source}",
    ]


def _feed_lines() -> list[str]:
    """Feed by wood and bit, on a machine that can feed as fast as the charts allow."""
    free = replace(machine("plain"), feed=1e6, rapid=1e6)
    rows = [("softwood", "white-pine"), ("hardwood", "red-oak"), ("plywood", "plywood"), ("MDF", "mdf")]
    lines = ["FEEDS  (mm/min by the charts, in turns no deeper than the bit is wide; start slower)"]
    for t in bits().values():
        given = [feeds(t, wood(name), free, t.depth_per_pass) for _, name in rows]
        lines.append(
            f"  {t.name:<15} "
            + ", ".join(f"{row} {f.feed:.0f}" for (row, _), f in zip(rows, given, strict=True))
            + f" at {given[0].speed:g} turns a minute"
        )
    charts = [f"{c['name']}, {c['title']}" for c in load("chips")["chart"]]
    charts.append(f"C, {load('chips')['any_bit']['title']}")
    return [*lines, f"  {'':<15} source: charts {'; '.join(charts)}; the lowest is where to start"]


def mine_lines(units: Units = "mm", path: Path | None = None) -> list[str]:
    """What the user measured, a line each; nothing where nothing was. Raises KitError."""
    where = path or mine_path()
    known = measured_in(where, must=path is not None)
    if not known:
        return []
    lines = [f"MEASURED ON YOUR SAWS  ({shown(where)}; goes before the values above)"]
    for m in known:
        parts = [
            f"kerf {m.kerf:.2f} mm" if m.kerf else "",
            f"turning radius {format_length(m.radius, units)}" if m.radius else "",
            f"saws {abs(m.bias):.1f} mm {'right' if m.bias > 0 else 'left'} of the line" if m.bias else "",
            f"wanders {m.wander:.1f} mm" if m.wander else "",
            f"{m.feed:.0f} mm a minute" if m.feed else "",
            f"{m.entry:g} s to let the blade in" if m.entry else "",
            f"{m.hole:g} s for a hole" if m.hole else "",
        ]
        lines += [f"  {m.blade:<15} {', '.join(p for p in parts if p)}", f"  {'':<15} {m.said()}"]
    return lines


def _strength(bending: float | None, across: float | None, tangential: float | None) -> str:
    parts = []
    if bending:
        parts.append(f"bending {bending:g} MPa")
    if across:
        parts.append(f"tension across the grain {across:g} MPa")
    if tangential:
        parts.append(f"moves {tangential:g} per 1 % moisture")
    return ", ".join(parts) or "no strength listed"
