"""Cut list and shopping list: what to saw the panel from, and what to have at hand, in actual sizes."""

from __future__ import annotations

from collections import Counter
from typing import TypeAlias

import shapely

from cutout.check.boards import across_grain, boards_in, extent_across, movement
from cutout.geom.outline import polygons_of
from cutout.job.schema import BackingPart, Job
from cutout.job.set_up import board_of
from cutout.kit import Board, Kit
from cutout.kit.wood import wood
from cutout.pattern import Panel, Pattern
from cutout.pattern.frame import Frame
from cutout.pattern.hardware import backing_bounds
from cutout.route.model import ToolPath
from cutout.saw.model import Plan
from cutout.units import Units, format_length, format_size
from cutout.write.inlay import inlay_lines
from cutout.write.work import Work

LEAST_SPARE = 6.0
"""Width (mm) that trimming both sides of a glued-up panel takes: common practice, no source."""

Section: TypeAlias = tuple[str, tuple[str, ...]]


def lists(work: Work) -> tuple[Section, ...]:
    """Sections of text for the cut sheet: panel sizes, cut list, shopping list. Raises KitError."""
    job, pattern, kit, plan, path = work.job, work.pattern, work.kit, work.plan, work.router
    return (
        ("The panel", _panel_lines(job, pattern, kit)),
        *((("Backing", _backing_lines(job, pattern, kit)),) if job.backing is not None else ()),
        ("Cut list", (*_goods(job, pattern, kit), *_pieces(pattern, kit), _waste_share(pattern))),
        ("Shopping list", _shopping(job, pattern, kit, plan, path)),
        *((("Stack", _stack(work)),) if pattern.panel.layers > 1 else ()),
        *((("Inlay", inlay_lines(job, pattern, kit)),) if job.inlay is not None else ()),
    )


def backing_size(pattern: Pattern, overlap: float) -> tuple[float, float]:
    """Its width and height (mm)."""
    x0, y0, x1, y1 = backing_bounds(pattern, overlap)
    return x1 - x0, y1 - y0


def _panel_lines(job: Job, pattern: Pattern, kit: Kit) -> tuple[str, ...]:
    panel = pattern.panel

    def say(mm: float) -> str:
        return format_length(mm, kit.units)

    lines = [panel_size_line(panel, kit.units)]
    if job.panel.frame:
        part = job.panel.frame
        frame = Frame(part.opening, part.reach, part.reveal)
        x0, y0, x1, y1 = frame.visible.bounds
        lines.append(
            f"The frame's opening is {format_size(*part.opening, kit.units)}; with a reveal of {say(part.reveal)} "
            f"all round, {format_size(x1 - x0, y1 - y0, kit.units)} of the panel is seen."
        )
    lines += [f"Keep clear: {zone.name}." for zone in panel.zones]
    moved = movement(across_grain(panel), kit.wood, job.panel.moisture_change)
    if moved is None:
        lines.append(
            f"How far {kit.wood.title} moves with moisture is not in the kit: allow for it yourself."
        )
    elif moved > 0:
        reveal = job.panel.frame.reveal if job.panel.frame else kit.limits.reveal
        verdict = (
            "more than the reveal on both sides together: make the reveal larger"
            if moved > 2 * reveal
            else ("less than the reveal on both sides together")
        )
        lines.append(
            f"Across the grain it moves {say(moved)} for {job.panel.moisture_change:g} % of moisture: {verdict}."
        )
    if pattern.keep_mode == "panel":
        lines.append(_open_share(pattern))
    return tuple(lines)


def _goods(job: Job, pattern: Pattern, kit: Kit) -> list[str]:
    """Wood to buy: boards or panel, and the backing sheet."""
    panel, units = pattern.panel, kit.units
    thick = format_length(panel.thickness, units)
    board = board_of(job) if panel.grain is not None else None
    if board is not None:
        lines = _boards(job, board, panel, kit)
    else:
        lines = [
            f"{panel.layers} x panel {format_size(panel.width, panel.height, units)}, {thick} thick, {kit.wood.title}"
        ]
    if job.backing is not None:
        lines.append(f"{panel.layers} x {_backing(job.backing, pattern, units)}")
    return lines


def panel_size_line(panel: Panel, units: Units) -> str:
    """What to cut the wood to."""
    what = "the panel" if panel.layers == 1 else f"{panel.layers} panels"
    return (
        f"Cut {what} {format_size(panel.width, panel.height, units)}, "
        f"{format_length(panel.thickness, units)} thick."
    )


def _backing(part: BackingPart, pattern: Pattern, units: Units) -> str:
    """What lies behind the openings, and the size to cut it to."""
    width, height = backing_size(pattern, part.overlap)
    past = f"reaches {format_length(part.overlap, units)} past the openings"
    if part.cloth:
        size = format_size(width + 2 * part.hem, height + 2 * part.hem, units)
        hem = f", with {format_length(part.hem, units)} for the hem on every side" if part.hem else ""
        return f"backing cloth or mesh, cut {size}: {past}{hem}"
    thick = format_length(part.thickness, units)
    return (
        f"backing sheet {format_size(width, height, units)}, {thick} thick, {wood(part.sheet).title}: {past}"
    )


def _backing_lines(job: Job, pattern: Pattern, kit: Kit) -> tuple[str, ...]:
    """How the backing is held, with room for the panel to move."""
    part, panel = job.backing, pattern.panel
    assert part is not None

    def say(mm: float) -> str:
        return format_length(mm, kit.units)

    if part.cloth:
        turned = f"Turn {say(part.hem)} in all round; hemmed it" if part.hem else "It"
        return (
            f"{turned} covers {format_size(*backing_size(pattern, part.overlap), kit.units)}: staple or glue it down "
            "from the middles of its sides towards the corners, drawn flat and not tight.",
        )
    covered = extent_across(panel.grain, *backing_size(pattern, part.overlap))
    moved = movement(covered, kit.wood, job.panel.moisture_change)
    if part.screws is None:
        if moved is None or moved < 0.5:
            return ("Glue the sheet down all over: panel and sheet move alike.",)
        return (
            f"The panel moves {say(moved)} against the sheet across its grain: glue only a strip along the middle, "
            "along the grain, or use screws.",
        )
    lines = [
        f"Screw it on round its edge through holes of {say(part.screws)}, {say(part.screw_spacing)} apart at most; "
        "back.pdf shows each at full size."
    ]
    if moved is None:
        lines.append(
            f"How far {kit.wood.title} moves is not in the kit: slots are as long as the liveliest wood asks."
        )
    elif moved >= 0.5:
        lines.append(
            f"The panel moves {say(moved)} against the sheet across its grain: one screw holds it, "
            "the others stand in slots and are drawn up so that they slide."
        )
    return tuple(lines)


def _stack(work: Work) -> tuple[str, ...]:
    """How the layers are held, and where the pins go."""
    panel, units = work.pattern.panel, work.units

    def say(mm: float) -> str:
        return format_length(mm, units)

    first = (
        f"Lay {panel.layers} panels on each other, show faces up, their edges flush: {say(panel.sawn)} for the saw. "
        f"Webs are judged by one layer of {say(panel.thickness)}: take the stack apart with care."
    )
    square = "Set the blade square to the table: what it leans shows on the lowest layer."
    if not work.pins:
        return (
            first,
            "No waste has room for a pin clear of the saw: wind tape round the edges, and lay strips of double-sided "
            "tape between the layers.",
            square,
        )
    places = "; ".join(f"{say(x)}, {say(y)}" for x, y in work.pins)
    return (
        first,
        f"Pin through all layers at {places} (squares with a dot on the template), brads no longer than the stack is "
        "thick; wind tape round the edges: what is pinned comes free with its waste.",
        square,
    )


def _boards(job: Job, board: Board, panel: Panel, kit: Kit) -> list[str]:
    """The boards of a glued-up panel: how many, how long, what planing takes, how much wood, what it costs."""
    units, thickness = kit.units, panel.thickness
    across = across_grain(panel)
    length = panel.width + panel.height - across + 2 * job.panel.trim
    each = boards_in(panel)
    count = each * panel.layers
    lines = [
        f"{count} x board {board.name}, actual width {format_length(board.width, units)}, "
        f"{format_length(length, units)} long ({format_length(job.panel.trim, units)} more at each end), "
        f"{format_length(thickness, units)} thick, {kit.wood.title}: glue up, then trim to size"
    ]
    if board.rough:
        lines.append(
            f"Plane the edges of each board straight and square: {format_length(board.usable, units)} wide then."
        )
    if board.thickness is not None and board.thickness > thickness + 0.05:
        lines.append(
            f"Plane the glued-up panel from {format_length(board.thickness, units)} to "
            f"{format_length(thickness, units)}, alike from both faces."
        )
    spare = each * board.usable - across
    if spare < LEAST_SPARE:
        lines.append(
            f"Only {format_length(spare, units)} of width to spare: the boards' edges must be straight before gluing."
        )
    if board.length is not None and board.length < length:
        lines.append(
            f"Your board is only {format_length(board.length, units)} long: too short for this panel."
        )
    if panel.seams:
        side = format_length(abs(panel.seams), units)
        lines.append(
            f"Glue lines lie {side} off the middle, so that they miss narrow webs: trim the two sides unlike."
        )
    return [*lines, _amount(board, count, length, thickness)]


def _amount(board: Board, count: int, length: float, thickness: float) -> str:
    """Area, board feet and cost of what is bought."""
    area = count * board.width * length / 1e6
    feet = count * board.board_feet(length, thickness)
    said = f"That is {area:.2f} square metres of board, {feet:.1f} board feet"
    if board.price is None:
        return f"{said}."
    return f"{said}; at your price of {board.price:g} a metre {board.price * count * length / 1000:.2f}."


def _open_share(pattern: Pattern) -> str:
    """Light and air: how much is open, of the panel and in area."""
    share = pattern.waste.area / pattern.panel.polygon.area
    return (
        f"Open to light and air: {pattern.waste.area / 100:.0f} square centimetres, {share:.0%} of the panel."
    )


def _waste_share(pattern: Pattern) -> str:
    return f"{pattern.waste.area / pattern.panel.polygon.area:.0%} of the panel is cut away as waste."


def _pieces(pattern: Pattern, kit: Kit) -> list[str]:
    """With keep `both`, the drop-outs are pieces to be saved: largest first."""
    if pattern.keep_mode != "both":
        return []
    edge = pattern.panel.polygon.exterior
    pieces = [p for p in polygons_of(pattern.keep) if shapely.distance(p, edge) > 1e-6]
    lines = []
    for n, piece in enumerate(sorted(pieces, key=lambda p: -p.area), 1):
        x0, y0, x1, y1 = piece.bounds
        lines.append(f"1 x piece {n} saved from the cut, {format_size(x1 - x0, y1 - y0, kit.units)}")
    return lines


def _shopping(job: Job, pattern: Pattern, kit: Kit, plan: Plan, path: ToolPath) -> tuple[str, ...]:
    drills = sorted({hole.diameter for hole in plan.holes})
    lines = [*_goods(job, pattern, kit), f"Blade: {kit.blade.title}, and a spare"]
    if drills:
        lines.append("Drills: " + ", ".join(format_length(d, kit.drills.unit) for d in drills))
    if job.router.gcode:
        used = sorted({(run.bit.diameter, run.bit.title) for run in path.passes})
        lines += [f"Router bit: {title}" for _, title in used]
    lines += [
        f"{n} x {what} {format_length(size, kit.units)}"
        for (what, size), n in sorted(Counter((p.what, p.across) for p in job.panel.hardware).items())
        if what != "finger hole"
    ]
    if job.backing is not None and job.backing.screws is not None:
        lines.append(
            f"Screws for the backing, to go through holes of {format_length(job.backing.screws, kit.units)}, with "
            "washers: tight enough to hold, loose enough to slide in the slots"
        )
    lines += [
        "Paper for the template, glue stick or removable spray adhesive, clear tape",
        "Eye and ear protection, dust mask, clamps, a scrap board to lie underneath",
    ]
    return tuple(lines)
