"""What a job asks for, as the things the stages take: kit, panel, outline, and how to mend and rout."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, TypeAlias

from shapely import Polygon, box

from cutout.amend.model import HandBridge, Mending
from cutout.errors import LayoutError
from cutout.gauge.shot import camera_note
from cutout.geom.outline import Outline
from cutout.job.schema import FigurePart, Job, RouterPart, ZonePart, filled, radians_of_grain
from cutout.job.sizing import sized
from cutout.kit import (
    Blade,
    Board,
    Kit,
    Limits,
    Measured,
    Moves,
    as_measured,
    bit,
    blade,
    board,
    drills,
    fitting,
    machine,
    measured_in,
    mine_path,
    moves_of,
    rule,
    wood,
)
from cutout.kit.bevel import bevel
from cutout.pattern import Panel, Zone
from cutout.pattern.arrange import Spacing, line_up, made_whole, pair, round_a_circle, stand, united
from cutout.pattern.faces import drawn_frame, seen_from_back
from cutout.pattern.frame import Frame, clear_area, clear_of_edges, rectangle_zone, round_zone
from cutout.pattern.hardware import hardware_area
from cutout.read import read
from cutout.read.options import ReadOptions
from cutout.route import Settings
from cutout.say import worded
from cutout.units import Units, format_length

Reader: TypeAlias = Callable[[Path, ReadOptions], Outline]
"""Reads a source file; the page passes one that remembers what it has read."""


@dataclass(frozen=True, eq=False, slots=True)
class SetUp:
    """A job set up: what the user owns, the panel with what is drawn on its faces, the outline placed on it."""

    job: Job
    kit: Kit
    panel: Panel
    outline: Outline


def set_up(job: Job, folder: Path, reader: Reader = read) -> SetUp:
    """Everything a job asks for, read and placed; paths in it are relative to `folder`. Raises CutoutError."""
    kit = kit_of(job, folder)
    _inlay_can_be_made(job, kit)
    _stack_can_be_sawn(job)
    panel = faces_on(job, panel_of(job), folder, reader)
    return SetUp(job, kit, panel, outline_of(job, panel, folder, reader))


def _inlay_can_be_made(job: Job, kit: Kit) -> None:
    """Refuses an inlay whose two parts this saw, or what is kept, can't give. Raises LayoutError, KitError."""
    part = job.inlay
    if part is None:
        return
    keep = "both" if part.sawn == "together" else "panel"
    if job.keep != keep:
        raise LayoutError(f'an inlay sawn {part.sawn} needs keep = "{keep}", this job has "{job.keep}".')
    wood(part.wood)
    if part.sawn == "together":
        if kit.blade.saw != "scroll saw":
            raise LayoutError(
                "an inlay sawn together needs a scroll saw, whose table tilts: choose its blade."
            )
        with worded(job.units or "mm"):
            bevel(kit.blade.kerf, job.panel.thickness)


def _stack_can_be_sawn(job: Job) -> None:
    """Refuses a stack where each piece needs something of its own. Raises LayoutError."""
    if job.panel.layers == 1:
        return
    if job.inlay is not None:
        raise LayoutError("an inlay can't be sawn in a stack: leave layers at 1.")
    if job.router.gcode:
        raise LayoutError(
            "a router program is for one panel, not for a stack: leave layers at 1, or gcode out."
        )


def kit_of(job: Job, folder: Path = Path()) -> Kit:
    """Blade, drills, bits, wood and limits the job names; paths in it are relative to `folder`. Raises KitError."""
    full, own = filled(job), _measured(job, folder)
    return Kit(
        blade=_blade(job, own),
        drills=drills(full.saw.drills or "", job.units),
        bit=bit(full.router.bit or "", job.units),
        wood=wood(job.panel.wood),
        limits=limits_of(job),
        units=job.units or "mm",
        rule=job.made_for,
        allowance=_said(job.saw.allowance, own.allowance if own else None),
        times=_times(job, own),
        own_feed=_said(job.times.feed, own.feed if own else None),
        small_bit=bit(job.router.small_bit, job.units) if job.router.small_bit else None,
        machine=machine(job.router.machine),
    )


def limits_of(job: Job) -> Limits:
    """The limits of the checks: those of the rule for what is made, with what the job says over them."""
    made, thickness = rule(job.made_for), job.panel.thickness
    along, across, sheet = made.widths(thickness, wood(job.panel.wood))
    usual = Limits(web_along=along, web_across=across, web_sheet=sheet, web_stop=made.stop)
    return replace(usual, **{k: v for k, v in job.limits.model_dump().items() if v is not None})


def _times(job: Job, own: Measured | None) -> Moves | None:
    """The user's own times over the usual ones, the job's before what was measured; None where there are none."""
    usual = moves_of(blade(job.saw.blade).saw)
    entry = "thread" if usual.threads else "drop_in"
    timed = {entry: own.entry, "hole": own.hole} if own else {}
    said = {k: v for k, v in job.times.model_dump().items() if k != "feed"}
    known = {
        k: v
        for k, v in (*timed.items(), *((k, v) for k, v in said.items() if v is not None))
        if v is not None
    }
    return replace(usual, **known, source="your own times") if known else None


def panel_of(job: Job) -> Panel:
    """The panel to cut, from its size or from the frame it must fit. Raises LayoutError when neither is given."""
    part = job.panel
    frame = Frame(part.frame.opening, part.frame.reach, part.frame.reveal) if part.frame else None
    width, height = frame.size if frame else (part.width, part.height)
    if width is None or height is None:
        raise LayoutError("the panel has no size: give --panel, like 500x700mm.")
    if job.saw.kerf is not None and job.saw.kerf > min(width, height) / 4:
        kerf = format_length(job.saw.kerf, job.units or "mm")
        raise LayoutError(
            f"the kerf of {kerf} is too wide for this panel: measure the slot your blade leaves."
        )
    grain = radians_of_grain(part, width, height) if wood(part.wood).has_grain else None
    zones = (*(frame.zones() if frame else ()), *(_zone(z) for z in part.zones), *hardware_zones(job))
    sold = board_of(job) if grain is not None else None
    board_width = sold.usable if sold else None
    return Panel(width, height, part.thickness, grain, zones, board=board_width, layers=part.layers)


def board_of(job: Job) -> Board | None:
    """The board the panel is glued up from. Raises KitError for an unknown one, LayoutError for one too thin."""
    if job.panel.boards is None:
        return None
    own = [
        Board(s.name, s.width, s.thickness, "your list", s.rough, None, s.price, s.length) for s in job.stock
    ]
    found = board(job.panel.boards, job.units, own)
    if found.planed is not None and found.planed < job.panel.thickness - 0.1:
        thick, have = (format_length(t, job.units or "mm") for t in (job.panel.thickness, found.planed))
        raise LayoutError(
            f"board {found.name} gives {have} at most, the panel is to be {thick} thick: take thicker boards or make "
            "the panel thinner."
        )
    return found


def outline_of(job: Job, panel: Panel, folder: Path, reader: Reader = read) -> Outline:
    """Every figure read and placed on the panel, as one outline. Raises CutoutError."""
    if not job.figures:
        raise LayoutError("there is no figure in this job: give a picture.")
    return united(_figures_on(job.figures, job, panel, folder, reader), job.overlap)


def faces_on(job: Job, panel: Panel, folder: Path, reader: Reader = read) -> Panel:
    """The panel with what the job draws on its two faces; the back's figures mirrored into show-face coordinates."""
    drawn: list[Zone] = []
    for face, name in ((job.faces.show, "show face"), (job.faces.back, "back")):
        if face is None:
            continue
        if face.stile is not None or face.rail is not None:
            stile, rail = face.stile or face.rail or 0.0, face.rail or face.stile or 0.0
            zones = drawn_frame(panel, stile, rail, face.reveal)
            drawn += [Zone(f"{z.name} drawn on the {name}", z.area) for z in zones]
        for n, outline in enumerate(_figures_on(face.figures, job, panel, folder, reader), 1):
            area = outline.region() if name == "show face" else seen_from_back(outline.region(), panel)
            drawn.append(Zone(f"figure {n} drawn on the {name}", area))
    return replace(panel, drawn=tuple(drawn))


def _figures_on(
    figures: tuple[FigurePart, ...], job: Job, panel: Panel, folder: Path, reader: Reader
) -> list[Outline]:
    """Figures read, sized and placed, repeats and mirror images included."""
    units: Units = job.units or "mm"
    area = clear_area(panel)
    inner = clear_of_edges(area, panel, limits_of(job).edge) if job.keep == "panel" else area
    placed: list[Outline] = []
    for figure in figures:
        with worded(units):
            drawn = _read(figure, folder, reader)
        whole = made_whole(drawn, figure.half) if figure.half else drawn
        outline = sized(whole, figure, panel, inner, units)
        if figure.at is None:
            outline = stand(outline, inner if figure.fit else area, figure.stand, figure.margin)
        if figure.round is not None:
            middle = complex(*figure.at) if figure.at else complex(*area.centroid.coords[0])
            placed.append(united(round_a_circle(outline, figure.repeat, figure.round, middle), job.overlap))
            continue
        for copy in (outline,) * figure.repeat:
            placed += pair(copy) if figure.pair else (copy,)
    if len(placed) > len(figures) and job.arrange is None:
        return list(line_up(placed, _strip(area, inner, "row"), Spacing("row"), units))
    if job.arrange is None or len(placed) < 2:
        return placed
    gap = None if job.arrange.gap == "even" else job.arrange.gap
    line = job.arrange.line
    return list(line_up(placed, _strip(area, inner, line), Spacing(line, gap, job.arrange.align), units))


def _strip(area: Polygon, inner: Polygon, line: Literal["row", "column"]) -> Polygon:
    """Where a row may stand: as long as the clear area, across it clear of the panel's edges."""
    (x0, y0, x1, y1), (a0, b0, a1, b1) = area.bounds, inner.bounds
    return box(x0, b0, x1, b1) if line == "row" else box(a0, y0, a1, y1)


def hardware_zones(job: Job) -> tuple[Zone, ...]:
    """What the hardware takes of the panel, in the order of the job."""
    return tuple(
        Zone(
            piece.what,
            hardware_area(piece.what, piece.at, piece.diameter, piece.length, math.radians(piece.turn)),
        )
        for piece in job.panel.hardware
    )


def _zone(part: ZonePart) -> Zone:
    if part.size is not None:
        return rectangle_zone(part.name, part.at, part.size)
    if part.diameter is not None:
        return round_zone(part.name, part.at, part.diameter)
    raise LayoutError(f'zone "{part.name}" needs a size or a diameter.')


def _read(figure: FigurePart, folder: Path, reader: Reader) -> Outline:
    if figure.text is not None:
        if figure.font is None:
            raise LayoutError(f'the text "{figure.text}" needs a font: name a TTF or OTF file.')
        part = figure.letters
        if part.arc is not None and figure.cap_height is None:
            raise LayoutError(
                f'"{figure.text}" along an arc needs a cap_height: the radius alone gives no size.'
            )
        from cutout.read.letters import Lettering, read_text  # What shapes text loads where there is any.

        asked = Lettering(
            cap_height=figure.cap_height,
            spacing=part.spacing,
            pitch=part.pitch,
            side=part.side,
            arc=part.arc,
            join=part.join,
            joint=part.joint,
        )
        return read_text(figure.text, folder / figure.font, asked)
    if figure.source is None:
        raise LayoutError("a figure needs a source file or a text.")
    outline = reader(folder / figure.source, read_options(figure))
    told = camera_note(outline) if figure.sheet is not None else None
    return outline if told is None else replace(outline, notes=(*outline.notes, told))


def read_options(figure: FigurePart) -> ReadOptions:
    """How the picture of a figure is to be read."""
    return ReadOptions(
        width=figure.width,
        height=figure.height,
        tolerance=figure.tolerance,
        threshold=figure.threshold,
        smooth=figure.smooth,
        invert=figure.invert,
        fill=figure.fill,
        corners=figure.corners,
        sheet=figure.sheet,
        touched=figure.touched,
        crop=figure.crop,
        marked=figure.marked,
        within=figure.within,
    )


def _measured(job: Job, folder: Path) -> Measured | None:
    """What the user measured of the job's blade, in the wood and thickness nearest to the job's. Raises KitError."""
    named = job.saw.measured
    known = measured_in(mine_path()) if named is None else measured_in(folder / named, must=True)
    return fitting(known, blade(job.saw.blade).name, job.panel.wood, job.panel.thickness * job.panel.layers)


def _said(asked: float | None, measured: float | None) -> float | None:
    """What the job says, else what was measured."""
    return measured if asked is None else asked


def _blade(job: Job, own: Measured | None) -> Blade:
    """The blade as the job says, else as the user measured it, else as the kit lists it."""
    chosen = blade(job.saw.blade)
    if own is not None:
        chosen = as_measured(chosen, own)
    if job.saw.kerf is not None:
        chosen = replace(chosen, kerf=job.saw.kerf)
    if job.saw.turning_radius is not None:
        chosen = chosen.measured(job.saw.turning_radius)
    return chosen


def router_wanted(job: Job) -> bool:
    """Whether the job says anything about a router; only then are its findings the user's business."""
    return job.router != RouterPart()


def router_settings(job: Job) -> Settings:
    """How deep, how held and how fast the router works: the defaults, with what the job says over them."""
    names = (
        "feed_limit",
        "safe_height",
        "breakthrough",
        "tab_width",
        "tab_height",
        "tab_spacing",
        "tab_ends",
        "direction",
        "finish",
        "tiles",
        "index_in",
    )
    return replace(Settings(), **{n: v for n in names if (v := getattr(job.router, n)) is not None})


def mending_of(job: Job) -> Mending:
    """What the job allows to be changed."""
    part = job.mend
    by_hand = tuple(HandBridge(b.at, math.radians(b.angle), b.width) for b in part.bridges)
    return Mending(
        part.ease,
        part.bridge,
        part.bridge_width,
        part.bridge_count,
        by_hand,
        part.without,
        part.corners,
        part.letters,
    )
