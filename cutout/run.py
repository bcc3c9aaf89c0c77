"""The whole job, one function calling one function per stage; reads top to bottom like the flow it is."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from cutout import check
from cutout.amend import mend
from cutout.amend.model import HandBridge, Mending
from cutout.amend.size import size_lines
from cutout.check.boards import movement_finding
from cutout.check.hint import hint
from cutout.errors import LayoutError
from cutout.finding import Finding, ordered
from cutout.geom.outline import Outline
from cutout.job import schema as jobs
from cutout.job.file import dump_job, relocated
from cutout.job.schema import FigurePart, Job, RouterPart, SawPart, ZonePart
from cutout.kit import Blade, Kit, Limits, bit, blade, boards, drills, paper, wood
from cutout.kit.data import choose
from cutout.pattern import Panel, Pattern, Placement, Zone, cut_pattern, place
from cutout.pattern.arrange import Spacing, line_up, pair, stand, united
from cutout.pattern.faces import drawn_frame, seen_from_back
from cutout.pattern.frame import Frame, clear_area, rectangle_zone, round_zone
from cutout.read import read
from cutout.read.letters import read_text
from cutout.read.options import ReadOptions
from cutout.route import Settings, tool_path
from cutout.saw import plan, prove
from cutout.units import Units, format_length
from cutout.write.cautions import cautions
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.cutsheet.pdf import cut_sheet_pdf
from cutout.write.dxf import router_dxf
from cutout.write.files import write_files
from cutout.write.film import film_svgs
from cutout.write.gauge import gauge_pdf
from cutout.write.gcode import router_programs
from cutout.write.lists import lists
from cutout.write.picture import preview_png
from cutout.write.result import result_json
from cutout.write.svg import pattern_svg
from cutout.write.template.template import outline_pdf, sheet_turn, template_pdf
from cutout.write.work import LineLies, Work

Reader = Callable[[Path, ReadOptions], Outline]
"""Reads a source file; the page passes one that remembers what it has read."""

Progress = Callable[[str, float], None]
"""Called with the name of the stage that starts and the share of the whole job done, 0..1."""


def silent(stage: str, done: float) -> None:
    """A progress callback that shows nothing."""


def make(job: Job, folder: Path, progress: Progress = silent, reader: Reader = read) -> Work:
    """Work out a whole job; paths in it are relative to `folder`. Raises CutoutError."""
    kit = kit_of(job)
    progress("reading", 0.0)
    panel = faces_on(job, panel_of(job), folder, reader)
    outline = outline_of(job, panel, folder, reader)
    before = cut_pattern(outline, panel, job.keep, kit.blade.kerf)
    progress("checking and mending", 0.25)
    mended = mend(before, kit, mending_of(job))
    progress("planning the cuts", 0.45)
    cuts = plan(mended.pattern, kit, tuple((h.at, h.diameter) for h in job.holes))
    progress("proving the plan", 0.7)
    proof = prove(mended.pattern, kit, cuts)
    progress("working out the router's path", 0.85)
    path = tool_path(mended.pattern, kit, router_settings(job))
    found = (
        *mended.findings,
        *cuts.findings,
        *proof.findings,
        *(path.findings if router_wanted(job) else ()),
        *_of_the_panel(job, panel, kit),
        *_of_the_source(job, outline, mended.pattern, kit),
    )
    work = Work(
        title=job.title or _title(job),
        units=kit.units,
        paper=paper(job.template.paper, job.units),
        back=job.template.back,
        kit=kit,
        before=before,
        pattern=mended.pattern,
        findings=ordered(found),
        bridges=mended.bridges,
        eased=mended.eased,
        plan=cuts,
        proof=proof,
        router=path,
        notes=_notes(outline, mended.pattern, kit),
        cautions=cautions(kit),
        extras=lists(job, mended.pattern, kit, cuts, path),
        dxf_version=job.router.dxf,
        print_scale=job.template.print_scale,
        router_wanted=router_wanted(job),
        line=job.template.line,
        line_lies=_line_lies(job),
        mat=job.template.mat,
    )
    return replace(work, sheet_turn=sheet_turn(work)) if job.template.turn else work


def findings_of(job: Job, folder: Path) -> tuple[Pattern, tuple[Finding, ...], tuple[str, ...]]:
    """The pattern as laid out, what the checks say about it, nothing mended, and notes. Raises CutoutError."""
    kit, panel = kit_of(job), faces_on(job, panel_of(job), folder)
    outline = outline_of(job, panel, folder)
    pattern = cut_pattern(outline, panel, job.keep, kit.blade.kerf)
    found = ordered((*check.run(pattern, kit), *_of_the_panel(job, panel, kit)))
    return pattern, found, _notes(outline, pattern, kit)


def write_out(
    work: Work, job: Job, folder: Path, target: Path, progress: Progress = silent
) -> tuple[str, ...]:
    """Write every file of a finished job into `target`, all or none; returns their names. Raises WriteError."""
    progress("drawing the template", 0.9)
    page = cut_sheet(work)
    files = {
        "template.pdf": template_pdf(work),
        "pattern.svg": pattern_svg(work),
        "router.dxf": router_dxf(work),
        "cutsheet.html": page,
        "cutsheet.pdf": cut_sheet_pdf(work, page),
        "preview.png": preview_png(work),
    }
    if job.router.gcode:
        files |= router_programs(work)
    if job.template.film:
        files |= film_svgs(work)
    if job.template.outline:
        files["outline.pdf"] = outline_pdf(work)
    files["job.toml"] = dump_job(relocated(job, folder, target)).encode()
    files["result.json"] = result_json(work, {name: len(content) for name, content in files.items()})
    write_files(target, files)
    return tuple(files)


def size_table(job: Job, folder: Path) -> str:
    """At what size each blade manages, and with what blade this size is managed; lines for people."""
    kit, panel = kit_of(job), panel_of(job)
    outline = outline_of(job, panel, folder)
    return size_lines(outline, panel, job.keep, kit)


def write_gauge(blade_name: str, paper_name: str, units: Units, out: Path) -> None:
    """Write the test card for one blade as a PDF. Raises KitError, WriteError."""
    kit = kit_of(Job(units=units, saw=SawPart(blade=blade_name)))
    write_files(out.parent, {out.name: gauge_pdf(kit, paper(paper_name, units), units)})


def kit_of(job: Job) -> Kit:
    """Blade, drills, bits, wood and limits the job names. Raises KitError."""
    full = jobs.filled(job)
    set_limits = {k: v for k, v in job.limits.model_dump().items() if v is not None}
    return Kit(
        blade=_blade(job),
        drills=drills(full.saw.drills or "", job.units),
        bit=bit(full.router.bit or ""),
        wood=wood(job.panel.wood),
        limits=replace(Limits(), **set_limits),
        units=job.units or "mm",
        small_bit=bit(job.router.small_bit) if job.router.small_bit else None,
    )


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
    grain = jobs.radians_of_grain(part, width, height) if wood(part.wood).has_grain else None
    zones = (*(frame.zones() if frame else ()), *(_zone(z) for z in part.zones))
    board = (
        boards()[choose("board", part.boards, boards())].width if part.boards and grain is not None else None
    )
    return Panel(width, height, part.thickness, grain, zones, board=board)


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
    placed: list[Outline] = []
    for figure in figures:
        outline = place(_read(figure, folder, reader), panel, _placement(figure), units)
        if figure.at is None:
            outline = stand(outline, area, figure.stand, figure.margin)
        for copy in (outline,) * figure.repeat:
            placed += pair(copy) if figure.pair else (copy,)
    if len(placed) > len(figures) and job.arrange is None:
        return list(line_up(placed, area, Spacing("row"), units))
    if job.arrange is None or len(placed) < 2:
        return placed
    gap = None if job.arrange.gap == "even" else job.arrange.gap
    return list(line_up(placed, area, Spacing(job.arrange.line, gap, job.arrange.align), units))


def _line_lies(job: Job) -> LineLies:
    if job.keep == "both" and job.template.line_lies == "keep":
        raise LayoutError(
            "with both sides kept the blade follows the middle of the line: it can't lie in the keep."
        )
    return job.template.line_lies


def _of_the_panel(job: Job, panel: Panel, kit: Kit) -> tuple[Finding, ...]:
    """What the frame makes of the panel: where wood that moves would jam in it."""
    if job.panel.frame is None:
        return ()
    change, reveal = job.panel.moisture_change, job.panel.frame.reveal
    found = movement_finding(panel, kit.wood, change, reveal, kit.units)
    return () if found is None else (found,)


def _of_the_source(job: Job, outline: Outline, pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """What the picture itself makes doubtful: an edge that runs off it, a size that did not come out as asked."""
    middle = (pattern.panel.width / 2, pattern.panel.height / 2)
    at_border = tuple(
        Finding(
            "source",
            "care",
            middle,
            None,
            None,
            None,
            _sentence(note.text),
            "Look at the preview before you print.",
        )
        for note in outline.notes
        if note.kind == "border"
    )
    return (*at_border, *_off_size(job, pattern, kit))


def _off_size(job: Job, pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """One finding when a single figure is no longer as wide or high as asked: mending trimmed its ends."""
    figure = job.figures[0]
    asked, side = (figure.width, 0) if figure.width is not None else (figure.height, 1)
    if asked is None or len(job.figures) > 1 or figure.repeat > 1 or figure.pair or pattern.figure.is_empty:
        return ()
    bounds = pattern.figure.bounds
    got = bounds[side + 2] - bounds[side]
    if abs(got - asked) <= max(0.5, 0.002 * asked):
        return ()
    word = ("wide", "high")[side]
    text = (
        f"You asked for {format_length(asked, kit.units)}, the figure is now {format_length(got, kit.units)} {word}: "
        "mending took thin ends off, or filled them."
    )
    remedy = "Look at the preview; turn easing or bridges off, or ask for a larger size, if the ends matter."
    at = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    return (Finding("source", "care", at, got, asked, None, text, remedy),)


def _notes(outline: Outline, pattern: Pattern, kit: Kit) -> tuple[str, ...]:
    advice = hint(pattern, kit)
    return (*(_sentence(note.text) for note in outline.notes), *((advice,) if advice else ()))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _zone(part: ZonePart) -> Zone:
    if part.size is not None:
        return rectangle_zone(part.name, part.at, part.size)
    if part.diameter is not None:
        return round_zone(part.name, part.at, part.diameter)
    raise LayoutError(f'zone "{part.name}" needs a size or a diameter.')


def router_wanted(job: Job) -> bool:
    """Whether the job says anything about a router; only then are its findings the user's business."""
    return job.router != RouterPart()


def router_settings(job: Job) -> Settings:
    """How deep, how held and how fast the router works: the defaults, with what the job says over them."""
    names = ("feed_limit", "safe_height", "breakthrough", "tab_width", "tab_height", "tab_spacing")
    return replace(Settings(), **{n: v for n in names if (v := getattr(job.router, n)) is not None})


def mending_of(job: Job) -> Mending:
    """What the job allows to be changed."""
    part = job.mend
    by_hand = tuple(HandBridge(b.at, math.radians(b.angle), b.width) for b in part.bridges)
    return Mending(part.ease, part.bridge, part.bridge_width, part.bridge_count, by_hand, part.without)


def _read(figure: FigurePart, folder: Path, reader: Reader) -> Outline:
    if figure.text is not None:
        if figure.font is None:
            raise LayoutError(f'the text "{figure.text}" needs a font: name a TTF or OTF file.')
        return read_text(figure.text, folder / figure.font, figure.cap_height)
    if figure.source is None:
        raise LayoutError("a figure needs a source file or a text.")
    options = ReadOptions(
        width=figure.width,
        height=figure.height,
        tolerance=figure.tolerance,
        threshold=figure.threshold,
        smooth=figure.smooth,
        invert=figure.invert,
        corners=figure.corners,
        sheet=figure.sheet,
    )
    return reader(folder / figure.source, options)


def _placement(figure: FigurePart) -> Placement:
    return Placement(figure.width, figure.height, math.radians(figure.turn), figure.mirror, figure.at)


def _blade(job: Job) -> Blade:
    chosen = blade(job.saw.blade)
    if job.saw.kerf is not None:
        chosen = replace(chosen, kerf=job.saw.kerf)
    if job.saw.turning_radius is not None:
        chosen = chosen.measured(job.saw.turning_radius)
    return chosen


def _title(job: Job) -> str:
    first = job.figures[0]
    return Path(first.source).stem if first.source else (first.text or "cutout")
