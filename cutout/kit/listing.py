"""The kit as text for the terminal."""

from __future__ import annotations

from pathlib import Path

from cutout.errors import shown
from cutout.kit.bit import bits
from cutout.kit.blade import blades
from cutout.kit.drill import drill_sets
from cutout.kit.kit import Limits
from cutout.kit.mine import measured_in, mine_path
from cutout.kit.moves import moves
from cutout.kit.paper import papers
from cutout.kit.wood import woods
from cutout.units import Units, format_length, format_size


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
        lines += [
            f"  {t.name:<15} {t.title}: feed {t.feed:.0f} mm/min at {t.speed:g} rpm; start slower",
            f"  {'':<15} source: {t.source}",
        ]
    lines.append("WOODS AND SHEET GOODS")
    for w in woods().values():
        lines += [
            f"  {w.name:<15} {w.title} ({w.kind}); {_strength(w.bending, w.tension_across, w.tangential)}"
        ]
        lines += [f"  {'':<15} source: {w.source}"]
    lines.append("PAPERS")
    for p in papers().values():
        size = format_size(p.width, p.height or 0.0, units)
        lines.append(f"  {p.name:<15} {p.title}, {size}; source: {p.source}")
    lines.append("LIMITS  (settings; change them in the job file)")
    defaults = Limits()
    for name, (unit, origin) in Limits.origins().items():
        lines.append(f"  {name:<15} {getattr(defaults, name):g} {unit}; source: {origin}")
    return "\n".join(lines)


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
