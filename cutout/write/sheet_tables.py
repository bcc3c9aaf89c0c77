"""Tables and lists of the cut sheet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
import shapely

from cutout.amend.model import Bridge
from cutout.check.finding import Finding
from cutout.kit import Limits
from cutout.saw.model import Hole, Leg
from cutout.units import Units, format_length, format_size
from cutout.write.heat import HeatMap
from cutout.write.sheet_picture import finding_numbers
from cutout.write.svg import printable
from cutout.write.template import template_sheets
from cutout.write.work import Work

BASIS = {
    "measured": "measured on scrap",
    "catalogue": "from a catalogue, not measured on your saw",
    "formula": "worked out from the blade's width, body and kerf, not measured on your saw",
}


_SHORT_CELL = 24
_SHORT = ' class="short"'
"""Cells of a few words are kept on one line."""


def section(name: str, heading: str, body: str) -> str:
    """A section under a heading of its own."""
    return f'<section aria-labelledby="{name}"><h2 id="{name}">{escape(heading)}</h2>\n{body}</section>\n'


def count(n: int, one: str, many: str = "") -> str:
    """A number with its noun: 1 sheet, 3 sheets."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; the first cell of each row is its head. Cells are escaped; an empty one is a dash."""
    head = "".join(f'<th scope="col">{_text(h)}</th>' for h in heads)
    body = "".join(_row(*row) for row in rows)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{_text(caption)}"><table>'
        f"<caption>{_text(caption)}</caption>"
        f"<thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table></div>\n"
    )


def _row(first: str, *rest: str) -> str:
    cells = "".join(
        f"<td{_SHORT if len(cell) <= _SHORT_CELL else ''}>{_text(cell) or '-'}</td>" for cell in rest
    )
    return f'<tr><th scope="row">{_text(first)}</th>{cells}</tr>\n'


def listed(lines: Iterable[str]) -> str:
    """A list of escaped lines."""
    return f"<ul>{''.join(f'<li>{_text(line)}</li>' for line in lines)}</ul>\n"


def cautions_list(work: Work) -> str:
    """Safety first."""
    return listed(work.cautions)


def facts_list(work: Work) -> str:
    """Sizes, blade and template in a few lines."""
    panel, kit, units = work.pattern.panel, work.kit, work.units
    blade = kit.blade
    printed = count(template_sheets(work)["sheets"], "sheet")
    grain = (
        "no grain direction"
        if panel.grain is None
        else f"grain at {np.degrees(panel.grain):g} degrees from across"
    )
    keep = {
        "panel": "the panel; the figure is cut out of it",
        "figure": "the figure; the panel round it is cut away",
        "both": "panel and figure; the kerf runs along the line, half on each side",
    }[work.pattern.keep_mode]
    face = "mirrored, for the back of the panel" if work.back else "for the show face"
    facts = (
        (
            "Panel",
            f"{format_size(panel.width, panel.height, units)}, {format_length(panel.thickness, units)} thick",
        ),
        ("Wood", f"{kit.wood.title}, {grain}"),
        ("Keep", keep),
        ("Blade", f"{blade.title}; kerf {_fine(blade.kerf, units)}"),
        ("Turning radius", f"{format_length(blade.turning_radius, units)}, {BASIS[blade.radius_from]}"),
        ("Drills", f"{kit.drills.title}"),
        ("Template", f"{printed} of {work.paper.title}, {face}"),
        (
            "Places",
            "are measured from the panel's lower left corner, seen from the show face: across, then up",
        ),
    )
    return f"<dl>{''.join(f'<dt>{_text(k)}</dt><dd>{_text(v)}</dd>' for k, v in facts)}</dl>\n"


def findings_table(work: Work) -> str:
    """Findings with their numbers on the picture, a table for each kind; what was mended comes last."""
    numbered = finding_numbers(work.findings)
    groups: dict[tuple[str, str], list[tuple[int, Finding]]] = {}
    for n, finding in numbered:
        if not finding.cleared:
            serious = "Must be settled" if finding.severity == "stop" else "Care"
            groups.setdefault((serious, finding.kind), []).append((n, finding))
    parts = [
        _findings_of_kind(f"{serious}: {kind} ({len(found)})", found, work.units)
        for (serious, kind), found in groups.items()
    ]
    mended = [(str(n), f.kind, _place(f.at, work.units), f.text) for n, f in numbered if f.cleared]
    if mended:
        parts.append(table(f"Mended since ({len(mended)})", ("No.", "Kind", "Place", "What"), mended))
    return "".join(parts) or "<p>Nothing was found.</p>\n"


def _findings_of_kind(caption: str, found: Sequence[tuple[int, Finding]], units: Units) -> str:
    """One table; measured and limit only where the kind has numbers."""
    numbers = any(f.size is not None or f.limit is not None for _, f in found)
    rows = []
    for n, finding in found:
        opening = str(finding.opening) if finding.opening is not None else "wood"
        sizes = (_maybe(finding.size, units), _maybe(finding.limit, units)) if numbers else ()
        words = f"{finding.text} {finding.remedy}"
        rows.append((str(n), opening, _place(finding.at, units), *sizes, words))
    heads = ("Measured", "Limit") if numbers else ()
    return table(caption, ("No.", "Opening", "Place", *heads, "What, and what to do"), rows)


def _maybe(length: float | None, units: Units) -> str:
    return "" if length is None else format_length(length, units)


def holes_table(work: Work) -> str:
    """Holes grouped by drill, largest first, so that each bit is changed once."""
    holes, unit = work.plan.holes, work.kit.drills.unit
    if not holes:
        return "<p>No holes to drill.</p>\n"
    parts = []
    for diameter in sorted({h.diameter for h in holes}, reverse=True):
        same = [h for h in holes if h.diameter == diameter]
        rows = [(str(h.id), str(h.opening), _place(h.at, work.units), _roles(h)) for h in same]
        caption = f"{format_length(diameter, unit)} drill: {count(len(same), 'hole')}"
        parts.append(table(caption, ("Hole", "Opening", "Place", "What for"), rows))
    return "".join(parts)


def _roles(hole: Hole) -> str:
    words = {"starter": "lets the blade in", "relief": "lets the blade turn"}
    return ", ".join(words[role] for role in hole.roles)


def cuts_table(work: Work) -> str:
    """The legs in order: where each starts and ends, how long it is, what comes free."""
    if not work.plan.legs:
        return "<p>No cuts.</p>\n"
    rows = [_cut_row(leg, work.units) for leg in work.plan.legs]
    heads = ("Leg", "Opening", "From", "To", "Length", "Then")
    back = "" if all(leg.ends != "corner" for leg in work.plan.legs) else _BACK_OUT
    return table("Saw in this order", heads, rows) + back


_BACK_OUT = (
    "<p>Back out: let the blade stop, then draw it back through its own kerf to where the leg began.</p>\n"
)


def _cut_row(leg: Leg, units: Units) -> tuple[str, ...]:
    length = float(np.hypot(*np.diff(leg.path, axis=0).T).sum()) if len(leg.path) > 1 else 0.0
    then = []
    if leg.ends == "corner":
        then.append("back out")
    if not leg.drops.is_empty:
        pieces = int(shapely.get_num_geometries(leg.drops))
        then.append("hold the piece that drops" if pieces == 1 else f"hold the {pieces} pieces that drop")
    ends = "into the corner" if leg.ends == "corner" else _end(leg.ends)
    return (
        str(leg.order),
        str(leg.opening),
        _end(leg.starts),
        ends,
        format_length(length, units),
        "; ".join(then),
    )


def _end(words: str) -> str:
    return "the panel's edge" if words == "edge" else words


def time_list(work: Work) -> str:
    """Length of cut and time, said to be estimates."""
    plan, blade = work.plan, work.kit.blade
    entries = count(plan.entries, "entry", "entries")
    return (
        f"<p>Estimate: {format_length(plan.cut_length, work.units)} of sawing and {entries} of the blade, about "
        f"{plan.minutes:.0f} minutes at {format_length(blade.feed, work.units)} a minute. "
        "An estimate only; wood and hand decide.</p>\n"
    )


def proof_words(work: Work) -> str:
    """What moving the blade along the plan showed."""
    proof = work.proof
    if not proof.ok:
        return "<p>The plan did NOT pass its proof: see what must be settled above.</p>\n"
    if not work.plan.legs:
        return ""
    return (
        f"<p>Proved by moving the blade along every leg in {proof.steps} steps: it cuts at most "
        f"{_fine(proof.gouge, work.units)} into the wood that stays.</p>\n"
    )


def left_over_table(work: Work) -> str:
    """Slivers the blade can't reach."""
    left = work.plan.left_over
    if not left:
        return "<p>Nothing is left in the corners.</p>\n"
    rows = [
        (str(n), _place(x.at, work.units), _fine(x.depth, work.units), _area(x.area, work.units))
        for n, x in enumerate(left, start=1)
    ]
    return table("Wood left in corners, to be filed away", ("No.", "Place", "Depth", "Area"), rows)


def bridges_table(work: Work) -> str:
    """What was changed so that it can be cut and holds."""
    parts = []
    if work.eased and work.eased.max_shift >= 0.005:
        parts.append(
            f"<p>The outline was eased: it moved by at most {_fine(work.eased.max_shift, work.units)}, "
            f"and {_area(work.eased.area_change, work.units)} of it changed.</p>\n"
        )
    else:
        parts.append("<p>The outline was not eased.</p>\n")
    if work.bridges:
        rows = [_bridge_row(b, work.units) for b in work.bridges]
        parts.append(table("Bridges left standing", ("Bridge", "From", "To", "Width", "Placed"), rows))
    else:
        parts.append("<p>No bridges.</p>\n")
    return "".join(parts)


def _bridge_row(bridge: Bridge, units: Units) -> tuple[str, ...]:
    by = "by hand" if bridge.by_hand else "found"
    return (
        str(bridge.id),
        _place(bridge.start, units),
        _place(bridge.end, units),
        format_length(bridge.width, units),
        by,
    )


def narrow_table(heat: HeatMap, units: Units) -> str:
    """The narrowest places of the wood, as numbered on the picture of widths."""
    if not heat.places:
        return "<p>No narrow place in the wood.</p>\n"
    rows = [
        (str(n), _place(p.at, units), format_length(p.width, units))
        for n, p in enumerate(heat.places, start=1)
    ]
    return table("Narrowest places in the wood", ("No.", "Place", "Width"), rows)


def router_list(work: Work) -> str:
    """What a router would do with the same pattern."""
    path = work.router
    if not path.passes:
        return "<p>No router passes: no bit of this job fits into an opening.</p>\n"
    bits = {p.bit.name: p.bit for p in path.passes}
    lines = [
        f"{bit.title}, {bit.speed:g} turns a minute, feed {format_length(bit.feed, work.units)} a minute"
        for bit in bits.values()
    ]
    lines.append(
        f"{count(len(path.passes), 'pass', 'passes')}, {format_length(path.cut_length, work.units)} of cutting"
    )
    lines.append(f"about {path.minutes:.0f} minutes, an estimate")
    if not path.unreached.is_empty:
        lines.append(
            f"{_area(path.unreached.area, work.units)} in corners is out of the bit's reach: file it away"
        )
    tabs = sum(len(p.tabs) for p in path.passes)
    if tabs:
        lines.append(f"{count(tabs, 'tab')} left standing to hold the waste: saw through by hand")
    return listed(lines)


def extras_sections(work: Work) -> list[str]:
    """Cut list, shopping list and the like."""
    return [
        section(f"extra-{n}", title, listed(lines))
        for n, (title, lines) in enumerate(work.extras, start=1)
        if lines
    ]


def notes_list(work: Work) -> str:
    """What the reader did to the source."""
    return listed(work.notes) if work.notes else "<p>Read as it is.</p>\n"


def sources_table(work: Work) -> str:
    """Origin of every value taken from the kit, and of every limit."""
    kit, units = work.kit, work.units
    rows = [
        ("Blade", kit.blade.title, kit.blade.source),
        ("Wood", kit.wood.title, kit.wood.source),
        ("Router bit", kit.bit.title, kit.bit.source),
        ("Paper", work.paper.title, work.paper.source),
    ]
    for name, (unit, origin) in Limits.origins().items():
        value = getattr(kit.limits, name)
        shown = format_length(value, units) if unit.startswith("mm") else f"{value:g} {unit}"
        rows.append((f"Limit: {name.replace('_', ' ')}", shown, origin))
    return table("Values and their sources", ("What", "Value", "Source"), rows)


def _place(at: tuple[float, float], units: Units) -> str:
    return f"{format_length(at[0], units)}, {format_length(at[1], units)}"


def _fine(length: float, units: Units) -> str:
    """A small length: 0.01 mm or 0.001 in."""
    return f"{length / 25.4:.3f} in" if units == "in" else f"{length:.2f} mm"


def _area(area: float, units: Units) -> str:
    if units == "in":
        return f"{area / 25.4**2:.3f} sq in"
    return f"{area / 100:.1f} cm2" if area >= 100 else f"{area:.1f} mm2"


def _text(text: str) -> str:
    return escape(printable(text))
