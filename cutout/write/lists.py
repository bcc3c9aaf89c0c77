"""Cut list and shopping list: what to saw the panel from, and what to have at hand, in actual sizes."""

from __future__ import annotations

from collections import Counter
from typing import TypeAlias

import shapely

from cutout.check.boards import across_grain, boards_in, movement
from cutout.geom.outline import polygons_of
from cutout.job.schema import Job
from cutout.job.set_up import board_of
from cutout.kit import Board, Kit
from cutout.kit.wood import wood
from cutout.pattern import Panel, Pattern
from cutout.pattern.frame import Frame
from cutout.route.model import ToolPath
from cutout.saw.model import Plan
from cutout.units import format_length, format_size
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
        ("Cut list", (*_goods(job, pattern, kit), *_pieces(pattern, kit), _waste_share(pattern))),
        ("Shopping list", _shopping(job, pattern, kit, plan, path)),
        *((("Inlay", inlay_lines(job, pattern, kit)),) if job.inlay is not None else ()),
    )


def backing_size(pattern: Pattern, overlap: float) -> tuple[float, float]:
    """Width and height (mm) of a backing sheet that covers every opening and `overlap` more, within the panel."""
    x0, y0, x1, y1 = pattern.waste.bounds
    panel = pattern.panel
    return min(x1 + overlap, panel.width) - max(x0 - overlap, 0.0), min(y1 + overlap, panel.height) - max(
        y0 - overlap, 0.0
    )


def _panel_lines(job: Job, pattern: Pattern, kit: Kit) -> tuple[str, ...]:
    panel = pattern.panel

    def say(mm: float) -> str:
        return format_length(mm, kit.units)

    lines = [
        f"Cut the panel {format_size(panel.width, panel.height, kit.units)}, {say(panel.thickness)} thick."
    ]
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
            f"1 x panel {format_size(panel.width, panel.height, units)}, {thick} thick, {kit.wood.title}"
        ]
    if job.backing is not None:
        size = backing_size(pattern, job.backing.overlap)
        lines.append(
            f"1 x backing sheet {format_size(*size, units)}, {format_length(job.backing.thickness, units)} thick, "
            f"{wood(job.backing.sheet).title}: reaches {format_length(job.backing.overlap, units)} past the openings"
        )
    return lines


def _boards(job: Job, board: Board, panel: Panel, kit: Kit) -> list[str]:
    """The boards of a glued-up panel: how many, how long, what planing takes, how much wood, what it costs."""
    units, thickness = kit.units, panel.thickness
    across = across_grain(panel)
    length = panel.width + panel.height - across + 2 * job.panel.trim
    count = boards_in(panel)
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
    spare = count * board.usable - across
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
