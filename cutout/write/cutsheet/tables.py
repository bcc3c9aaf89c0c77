"""Tables and lists of the cut sheet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

import numpy as np
import shapely

from cutout.amend.model import Bridge
from cutout.draw.crowd import in_a_row, numbers_in_words
from cutout.draw.heat import HeatMap
from cutout.kit import Limits
from cutout.pattern import Panel
from cutout.saw.model import CORNER, EDGE, Hole, Leg, Place, Step
from cutout.say.steps import place_name
from cutout.units import MM_PER_INCH, Units, count, format_length, format_minutes, format_rule, format_size
from cutout.write.changed import eased_places
from cutout.write.cutsheet.file_spots import depth_words, file_places
from cutout.write.cutsheet.finding_rows import Row, finding_rows
from cutout.write.cutsheet.html import beside, halves, listed, table, text
from cutout.write.cutsheet.opening import opening_svg
from cutout.write.lists import lists, panel_size_line
from cutout.write.steps import is_drilling
from cutout.write.template.template import template_sheets
from cutout.write.work import Work

BASIS = {
    "measured": "measured on scrap",
    "catalogue": "from a catalogue, not measured on your saw",
    "formula": "worked out from the blade's width, body and kerf, not measured on your saw",
}


_IN_TITLE_BLOCK = ("Panel", "Wood", "Keep", "Blade", "Places")
"""Facts that the shop drawing says, or that notes without places have no need of."""


def cautions_list(work: Work) -> str:
    """Safety first."""
    return listed(work.cautions)


def _layers(panel: Panel) -> str:
    return "" if panel.layers == 1 else f"; {panel.layers} of them sawn at once"


def steps_list(work: Work) -> str:
    """The plan's steps, lettered as on the shop drawing and the template, large enough to be read at the saw."""
    items = "".join(
        f'<li><b class="letter">{text(step.letter)}</b> <span>{_named(work, step)}</span></li>\n'
        for step in work.plan.steps
    )
    return f'<p>Read <a href="#cautions">Before you start</a> first.</p>\n<ol class="steps">{items}</ol>\n'


def _named(work: Work, step: Step) -> str:
    """A step's name and what to do; what is drilled is its own name."""
    said = work.told(step)
    return text(said.text) if is_drilling(step) else f"<b>{text(said.name)}.</b> {text(said.text)}"


def facts_list(work: Work, *, brief: bool = False) -> str:
    """Sizes, blade and template in a few lines. brief: without what the shop drawing's title block says."""
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
    face = "mirrored, for the back of the panel" if work.template.back else "for the show face"
    facts: tuple[tuple[str, str], ...] = (
        (
            "Panel",
            f"{format_size(panel.width, panel.height, units)}, {format_length(panel.thickness, units)} thick"
            f"{_layers(panel)}",
        ),
        ("Wood", f"{kit.wood.title}, {grain}"),
        ("Keep", keep),
        ("Blade", f"{blade.title}; kerf {_fine(blade.kerf, units)}"),
        ("Turning radius", f"{format_length(blade.turning_radius, units)}, {BASIS[blade.radius_from]}"),
        *((("Your saw", f"{blade.measured_note}"),) if blade.measured_note else ()),
        ("Drills", f"{kit.drills.title}"),
        ("Template", f"{printed} of {work.paper.title}, {face}"),
        (
            "Places",
            "are measured from the panel's lower left corner, seen from the show face: across, then up",
        ),
    )
    if brief:
        facts = tuple(fact for fact in facts if fact[0] not in _IN_TITLE_BLOCK)
    return f"<dl>{''.join(f'<dt>{text(k)}</dt><dd>{text(v)}</dd>' for k, v in facts)}</dl>\n"


def findings_table(work: Work) -> str:
    """Findings with their numbers on the picture, what repeats in one row; what was mended comes last."""
    rows = finding_rows(work)
    groups: dict[str, list[Row]] = {}
    for row in rows:
        if row.numbers:
            serious = "Must be settled" if row.findings[0].severity == "stop" else "Care"
            groups.setdefault(serious, []).append(row)
    heads = ("No.", "Kind", "Opening", "Measured", "Limit", "What, and what to do")
    parts = [
        table(
            f"{serious} ({sum(len(row.findings) for row in found)})",
            heads,
            [_finding_row(r, work.units) for r in found],
        )
        for serious, found in groups.items()
    ]
    mended = [_mended_row(row) for row in rows if not row.numbers]
    if mended:
        total = sum(len(row.findings) for row in rows if not row.numbers)
        parts.append(table(f"Mended since ({total})", ("Kind", "How many", "What"), mended))
    return "".join(parts) or "<p>Nothing was found.</p>\n"


def findings_notes(work: Work) -> str:
    """Findings for the printed notes: what, and what to do; their places are on the picture."""
    rows = [row for row in finding_rows(work) if row.numbers]
    return "".join(
        table(title, ("No.", "Kind", "What, and what to do"), [_noted(row) for row in found])
        for title, severity in (("Must be settled", "stop"), ("Care", "care"))
        if (found := [row for row in rows if row.findings[0].severity == severity])
    )


def _noted(row: Row) -> tuple[str, ...]:
    return numbers_in_words(row.numbers), row.findings[0].kind, f"{row.text} {row.remedy}"


def _finding_row(row: Row, units: Units) -> tuple[str, ...]:
    openings = sorted({f.opening for f in row.findings if f.opening is not None})
    wood = ["wood"] if any(f.opening is None for f in row.findings) else []
    return (
        numbers_in_words(row.numbers),
        row.findings[0].kind,
        ", ".join([*map(str, openings), *wood]),
        _between([f.size for f in row.findings], units),
        _between([f.limit for f in row.findings], units),
        f"{row.text} {row.remedy}\n{_places(row, units)}",
    )


def _mended_row(row: Row) -> tuple[str, ...]:
    return row.findings[0].kind, str(len(row.findings)), row.text


def _between(lengths: Iterable[float | None], units: Units) -> str:
    """Least to greatest of the lengths there are; nothing where there is none."""
    there = [length for length in lengths if length is not None]
    if not there:
        return ""
    least, most = format_length(min(there), units), format_length(max(there), units)
    return least if least == most else f"{least.rsplit(' ', 1)[0]} to {most}"


def _places(row: Row, units: Units) -> str:
    """Where each finding of a row is, and its measure where it differs from the others'."""
    if len(row.findings) == 1:
        return f"At {_place(row.findings[0].at, units)}."
    sizes = [None if f.size is None else format_length(f.size, units) for f in row.findings]
    own = len(set(sizes)) > 1
    words = [
        f"{n} at {_bare_place(f.at, units)}{f' ({size})' if own and size else ''}"
        for n, f, size in zip(row.numbers, row.findings, sizes, strict=True)
    ]
    return f"In {'inches' if units == 'in' else units}: {'; '.join(words)}."


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
        parts.append(halves(caption, ("Hole", "Opening", "Place", "What for"), rows, "number "))
    return beside(parts)


def _roles(hole: Hole) -> str:
    words = {"starter": "lets the blade in", "relief": "lets the blade turn", "clearing": "clears waste"}
    return ", ".join(words[role] for role in hole.roles)


def cuts_table(work: Work) -> str:
    """The legs in order, by opening: where each starts and ends, how long it is, what comes free. Short ones
    that clear one spot share a row."""
    if not work.plan.legs:
        return "<p>No cuts.</p>\n"
    heads = ("Leg", "From", "To", "Length", "Then")
    by_id = {opening.id: opening for opening in work.pattern.openings}
    parts = [
        (opening_svg(work, by_id[opening]) if opening in by_id else "")
        + halves(f"Opening {opening}", heads, [_cut_row(legs, work.units) for legs in rows], "legs ")
        for opening, rows in groupby(in_a_row(work.plan.legs), key=lambda legs: legs[0].opening)
    ]
    corners = any(leg.ends == CORNER for leg in work.plan.legs)
    return f"{_BACK_OUT if corners else ''}{''.join(parts)}"


_BACK_OUT = (
    "<p>To a corner: it ends there; let the blade stop, then back it out through its own kerf to where the leg "
    "began. Hold it: a piece comes free at the end of this leg.</p>\n"
)


def _cut_row(legs: Sequence[Leg], units: Units) -> tuple[str, ...]:
    first = legs[0]
    pieces = sum(int(shapely.get_num_geometries(leg.drops)) for leg in legs if not leg.drops.is_empty)
    then = ["hold it" if pieces == 1 else f"hold {pieces} pieces"] if pieces else []
    length = _between([leg.length for leg in legs], units)
    if len(legs) == 1:
        return str(first.order), _end(first.starts), _end(first.ends), length, "".join(then)
    starts = list(dict.fromkeys(_end(leg.starts) for leg in legs))
    return (
        numbers_in_words([leg.order for leg in legs]),
        starts[0] if len(starts) == 1 else "cuts beside it",
        "clear this tip",
        f"{length} each",
        "; ".join(["back out each time", *then]),
    )


def _end(place: Place) -> str:
    return "the panel's edge" if place == EDGE else place_name(place)


def time_list(work: Work) -> str:
    """Length of cut and time, said to be estimates."""
    plan, blade = work.plan, work.kit.blade
    entries = count(plan.entries, "entry", "entries")
    return (
        f"<p>Estimate: {format_rule(plan.cut_length, work.units)} of sawing and {entries} of the blade, about "
        f"{format_minutes(plan.minutes)} at {format_rule(blade.feed, work.units)} a minute. "
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


def left_over_words(work: Work) -> str:
    """How many spots stay for a file, and the deepest; nothing where none does."""
    left = work.plan.left_over
    if not left:
        return ""
    deepest = _fine(max(x.depth for x in left), work.units)
    if len(left) == 1:
        return f"1 spot stays for a file, {deepest} deep."
    return f"{len(left)} spots stay for a file, the deepest {deepest}."


def file_table(work: Work) -> str:
    """Slivers the blade can't reach, by place: where to go with the file."""
    places = file_places(work)
    if not places:
        return "<p>Nothing is left in the corners.</p>\n"
    rows = [(place.name, place.where, depth_words(place, work.units)) for place in places]
    return table("By place, lettered on the picture", ("Place", "Where", "What stays"), rows)


def left_over_table(work: Work) -> str:
    """Every sliver with its place, depth and area; nothing where there is none."""
    left = work.plan.left_over
    if not left:
        return ""
    rows = [
        (str(n), _place(x.at, work.units), _fine(x.depth, work.units), _area(x.area, work.units))
        for n, x in enumerate(left, start=1)
    ]
    return halves("To be filed away", ("No.", "Place", "Depth", "Area"), rows)


def bridges_table(work: Work) -> str:
    """What was changed so that it can be cut and holds."""
    parts = [f"<p>{_eased_words(work)}</p>\n"]
    if work.bridges:
        rows = [_bridge_row(b, work.units) for b in work.bridges]
        parts.append(table("Bridges left standing", ("Bridge", "From", "To", "Width", "Placed"), rows))
    else:
        parts.append("<p>No bridges.</p>\n")
    return "".join(parts)


def _eased_words(work: Work) -> str:
    if work.eased is None or not work.eased.moved:
        return "The outline was not eased."
    places = len(eased_places(work))
    if places:
        where = f"It was moved in {count(places, 'place')}, each marked with a diamond on the picture."
    else:
        where = "Nowhere far enough to be marked on the picture."
    return (
        f"The outline was eased: it moved by at most {_fine(work.eased.max_shift, work.units)}, "
        f"and {_area(work.eased.area_change, work.units)} of it changed. {where}"
    )


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
    """What a router does with the same pattern."""
    path = work.router
    if not path.passes:
        return "<p>No router passes: no bit of this job fits into an opening.</p>\n"
    lines = [
        f"{f.bit.title}, {f.speed:g} turns a minute, feed {format_length(f.feed, work.units)} a minute "
        f"({f.load.chart}); start slower"
        for f in {f.bit.name: f for f in reversed(path.feeds)}.values()
    ]
    lines.append(
        f"{count(len(path.passes), 'pass', 'passes')}, {format_length(path.cut_length, work.units)} of cutting"
    )
    lines.append(f"about {format_minutes(path.minutes)}, an estimate")
    if not path.unreached.is_empty:
        lines.append(
            f"{_area(path.unreached.area, work.units)} in corners is out of the bit's reach: file it away"
        )
    tabs = sum(len(p.tabs) for p in path.passes)
    if tabs:
        lines.append(f"{count(tabs, 'tab')} left standing to hold the waste: saw through by hand")
    return listed(lines)


def extras_lists(work: Work) -> str:
    """Cut list, shopping list and the like beside each other; what was said once is only pointed to."""
    panel, units = work.pattern.panel, work.units
    facts = panel_size_line(panel, units)
    said = {facts: ""}  # among the facts above the lists
    parts = []
    for title, lines in lists(work):
        before = dict.fromkeys(said[line] for line in lines if said.get(line))
        fresh = [line for line in lines if line not in said]
        said |= dict.fromkeys((line for line in lines if line not in said), title)
        if fresh:
            known = " and ".join(before)
            first = f"<p>{text(f'What stands under {known}, and:')}</p>\n" if known else ""
            parts.append(f"<div><h3>{text(title)}</h3>\n{first}{listed(fresh)}</div>")
    return beside(parts)


def notes_list(work: Work) -> str:
    """What the reader did to the source."""
    return listed(work.said_notes) if work.notes else "<p>Read as it is.</p>\n"


def sources_table(work: Work, *, brief: bool = False) -> str:
    """Origin of every value taken from the kit, and of every limit. brief: limits of one origin in one row."""
    kit, units = work.kit, work.units
    rows = [
        ("Blade", kit.blade.title, kit.blade.source),
        ("Wood", kit.wood.title, kit.wood.source),
        ("Router bit", kit.bit.title, kit.bit.source),
        ("Paper", work.paper.title, work.paper.source),
    ]
    by_origin: dict[str, list[tuple[str, str]]] = {}
    for name, (unit, origin) in Limits.origins().items():
        value = getattr(kit.limits, name)
        shown = format_length(value, units) if unit.startswith("mm") else f"{value:g} {unit}"
        by_origin.setdefault(origin, []).append((name.replace("_", " "), shown))
    for origin, limits in by_origin.items():
        if brief:
            rows.append(("Limits", "; ".join(f"{name} {shown}" for name, shown in limits), origin))
        else:
            rows += [(f"Limit: {name}", shown, origin) for name, shown in limits]
    return table("Values and their sources", ("What", "Value", "Source"), rows)


def _place(at: tuple[float, float], units: Units) -> str:
    return f"{format_length(at[0], units)}, {format_length(at[1], units)}"


def _bare_place(at: tuple[float, float], units: Units) -> str:
    """A place without its unit."""
    return ", ".join(format_length(v, units).rsplit(" ", 1)[0] for v in at)


def _fine(length: float, units: Units) -> str:
    """A small length: 0.01 mm or 0.001 in."""
    return f"{length / MM_PER_INCH:.3f} in" if units == "in" else f"{length:.2f} mm"


def _area(area: float, units: Units) -> str:
    if units == "in":
        return f"{area / MM_PER_INCH**2:.3f} sq in"
    return f"{area / 100:.1f} cm2" if area >= 100 else f"{area:.1f} mm2"
