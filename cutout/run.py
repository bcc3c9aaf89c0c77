"""The whole job, one function calling one function per stage; reads top to bottom like the flow it is.

Both shells and the door for Python call what stands here; nothing else puts a run together.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Hashable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from cutout.amend import Mended, checked, mend
from cutout.amend.model import Trying
from cutout.amend.size import scaled, sizes, webs_hold_from, with_own
from cutout.check.boards import movement_finding
from cutout.check.glue_line import clear_seams, glue_line
from cutout.check.hint import hint
from cutout.check.source import Doubtful, OffSize
from cutout.errors import KitError, LayoutError, shown
from cutout.finding import Finding, Severity, ordered
from cutout.geom.outline import Note, capital_of
from cutout.job.schema import Job, SawPart
from cutout.job.set_up import Reader, SetUp, kit_of, mending_of, router_settings, router_wanted, set_up
from cutout.kit import Kit, Measured, blades, measured_in, paper, wood
from cutout.kit.mine import with_measured
from cutout.memory import Memory
from cutout.pattern import Pattern, cut_pattern
from cutout.pattern.placing import at_zero
from cutout.processes import beside
from cutout.read import MAX_FILE, read
from cutout.read.whole import file_bytes
from cutout.route import tool_path
from cutout.route.model import Settings as RouterSettings
from cutout.route.model import ToolPath
from cutout.saw import plan, prove
from cutout.saw.model import Plan, Proof
from cutout.saw.outlook import advice, refuse_endless
from cutout.saw.planner.by_hand import ByHand
from cutout.saw.telling import Tell, part
from cutout.say.sizes import size_lines
from cutout.units import Units
from cutout.write.files import write_file, write_files
from cutout.write.template.template import sheet_turn
from cutout.write.work import Work

if TYPE_CHECKING:  # The test card is another job: what reads it is loaded by those who photograph one.
    from cutout.gauge.compare import Compared
    from cutout.gauge.reading import Reading

Progress: TypeAlias = Callable[[str, float], None]
"""Called with the name of the stage that starts and the share of the whole job done, 0..1, and again within those
that may take long: mending, with the number of tries so far in brackets behind it, planning and the proof."""

MENDING, PLANNING, PROVING = "checking and mending", "planning the cuts", "proving the plan"
MENDED_FROM, PLANNED_FROM, PROVED_FROM = 0.25, 0.45, 0.7
"""The share of the whole job that is done where each of them begins."""


def silent(stage: str, done: float) -> None:
    """A progress callback that shows nothing."""


def within(progress: Progress, stage: str, begins: float, ends: float) -> Tell:
    """What a stage tells of itself, as the share of the whole job in which it lies."""
    return part(lambda share: progress(stage, share), begins, ends)


@dataclass(frozen=True, eq=False, slots=True)
class LaidOut:
    """A job laid out on its panel, nothing checked and nothing mended yet."""

    asked: SetUp
    pattern: Pattern

    @property
    def job(self) -> Job:
        """What was asked for."""
        return self.asked.job

    def of_the_panel(self) -> tuple[Finding, ...]:
        """What the frame makes of the panel: where wood that moves would jam in it."""
        part, kit = self.job.panel, self.asked.kit
        if part.frame is None:
            return ()
        found = movement_finding(self.asked.panel, kit.wood, part.moisture_change, part.frame.reveal)
        return () if found is None else (found,)

    @property
    def mended_from(self) -> Hashable:
        """All that `mend_laid` goes by: where it is the same, so is what that comes to.

        Not the paper, the units, the template or the router, which say nothing of what can be sawn.
        """
        kit, source = self.asked.kit.to_saw_by, (self.job.figures, self.asked.outline.notes)
        return (self.pattern, kit, mending_of(self.job), self.job.panel, self.asked.panel, *source)


def lay_out(job: Job, folder: Path, reader: Reader = read) -> LaidOut:
    """Read what the job names and lay it out on the panel. Raises CutoutError."""
    if job.keep == "both" and job.template.line_lies == "keep":
        raise LayoutError(
            "with both sides kept the blade follows the middle of the line: it can't lie in the keep."
        )
    asked = set_up(job, folder, reader)
    pattern = cut_pattern(asked.outline, asked.panel, job.keep, asked.kit.blade.kerf)
    refuse_endless(pattern, asked.kit, mended=False)
    return LaidOut(asked, pattern)


def check_laid(laid: LaidOut) -> tuple[Finding, ...]:
    """What the checks say about the pattern as laid out, nothing mended."""
    found = checked(laid.pattern, laid.asked.kit)
    return ordered((*found, *laid.of_the_panel(), *_of_the_source(laid, laid.pattern)))


def mend_laid(laid: LaidOut, progress: Progress = silent) -> Mended:
    """The pattern mended as the job allows; its findings hold those on the panel and the source too."""

    def tell(trying: Trying, tries: int, share: float) -> None:
        if tries > 1:
            what = f"{tries} tries" if trying == "patterns" else f"{tries} tries at bridges"
            within(progress, f"{MENDING} ({what})", MENDED_FROM, PLANNED_FROM)(share)

    mended = mend(laid.pattern, laid.asked.kit, mending_of(laid.job), tell)
    done = _seams_clear(mended, laid.asked.kit)
    more = (*laid.of_the_panel(), *_of_the_source(laid, done.pattern))
    return replace(done, findings=ordered((*done.findings, *more)))


def _seams_clear(done: Mended, kit: Kit) -> Mended:
    """The mended pattern with its glue lines shifted clear of narrow webs where that helps any."""
    shift = clear_seams(done.pattern, kit)
    if not shift:
        return done
    pattern = replace(done.pattern, panel=replace(done.pattern.panel, seams=shift))
    others = (f for f in done.findings if f.kind != "glue line" or f.cleared)
    return replace(done, pattern=pattern, findings=ordered((*others, *glue_line(pattern, kit))))


def make(
    job: Job,
    folder: Path,
    progress: Progress = silent,
    reader: Reader = read,
    job_file: Path | None = None,
    mending: Callable[[LaidOut, Progress], Mended] = mend_laid,
) -> Work:
    """Work out a whole job; paths in it are relative to `folder`. Raises CutoutError.

    job_file: the file the job was read from, if any; the one that is written keeps its wording. mending: `mend_laid`,
    or one that remembers what it came to for the same job.
    """
    progress("reading", 0.0)
    laid = lay_out(job, folder, reader)
    kit = laid.asked.kit
    progress(MENDING, MENDED_FROM)
    mended = mending(laid, progress)
    progress(PLANNING, PLANNED_FROM)
    refuse_endless(mended.pattern, kit, mended=True)
    by_hand = tuple((h.at, h.diameter) for h in job.holes)
    asked = (mended.pattern, replace(kit, units="mm"), router_settings(job))
    find = partial(_beside_the_plan, *asked)
    with nullcontext(find) if asked in _routed else beside(find) as others:
        sawn = _sawn_once(mended.pattern, kit.to_saw_by, by_hand, progress)
        cuts, proof = sawn.plan, sawn.proof
        progress("working out the router's path", 0.85)
        path, word = _routed.recall(asked, others)
    of_router = path.findings if router_wanted(job) else ()
    work = Work(
        job=job,
        title=job.title or _title(job),
        kit=kit,
        before=laid.pattern,
        pattern=mended.pattern,
        findings=ordered((*mended.findings, *cuts.findings, *proof.findings, *of_router)),
        bridges=mended.bridges,
        eased=mended.eased,
        plan=cuts,
        proof=proof,
        router=path,
        notes=(*laid.asked.outline.notes, *_advised(word), *_advised(sawn.other_blade)),
        folder=folder,
        job_file=job_file,
    )
    return replace(work, sheet_turn=sheet_turn(work)) if job.template.turn else work


_Routed: TypeAlias = tuple[ToolPath, str | None]
_routed: Memory[_Routed] = Memory(4)  # of the job as it is, and as it was a moment ago, of two jobs


def _beside_the_plan(pattern: Pattern, kit: Kit, settings: RouterSettings) -> _Routed:
    """What needs the mended pattern alone: the router's path, and what would strengthen it."""
    return tool_path(pattern, kit, settings), hint(pattern, kit)


@dataclass(frozen=True, eq=False, slots=True)
class _Sawn:
    """What sawing by hand comes to: the plan, its proof, and a word where another blade would need far fewer cuts."""

    plan: Plan
    proof: Proof
    other_blade: str | None

    def moved(self, by: tuple[float, float]) -> _Sawn:
        """The same somewhere else (mm)."""
        return replace(self, plan=self.plan.moved(by), proof=self.proof.moved(by))


_EDGE = 10.0
"""A cut that does not come this near (mm) to the panel's edge knows nothing of it."""
_sawn: Memory[_Sawn] = Memory(4)  # the same


def _sawn_once(pattern: Pattern, kit: Kit, by_hand: tuple[ByHand, ...], progress: Progress) -> _Sawn:
    """The plan and its proof, known again where the pattern, what it is sawn by and the holes asked for are the same:
    paper, units, template and router change neither.

    Openings away from the panel's edge are planned and proved at zero, wherever they lie, and what that comes to is
    moved to where they do: so one that was only moved is known again too.
    """
    moves = pattern.keep_mode == "panel" and not by_hand and not any(o.at_edge for o in pattern.openings)
    there, shift = at_zero(pattern, _EDGE) if moves else (pattern, (0.0, 0.0))
    asked = (there, kit, by_hand)
    if asked in _sawn:
        progress(PROVING, PROVED_FROM)
    sawn = _sawn.recall(asked, lambda: _sawn_now(*asked, progress))
    return sawn if shift == (0.0, 0.0) else sawn.moved(shift)


def _sawn_now(pattern: Pattern, kit: Kit, by_hand: tuple[ByHand, ...], progress: Progress) -> _Sawn:
    cuts = plan(pattern, kit, by_hand, within(progress, PLANNING, PLANNED_FROM, PROVED_FROM))
    progress(PROVING, PROVED_FROM)
    with beside(partial(_other_blade, pattern, kit, cuts)) as word:
        proof = prove(pattern, kit, cuts, within(progress, PROVING, PROVED_FROM, 0.85))
        return _Sawn(cuts, proof, word())


def _other_blade(pattern: Pattern, kit: Kit, cuts: Plan) -> str | None:
    """A word where another blade of the kit would need far fewer cuts."""
    if pattern.keep_mode == "both":
        return None
    others = (replace(kit, blade=b, allowance=None) for b in blades().values() if b.name != kit.blade.name)
    return advice(pattern, kit, others, cuts)


def _advised(word: str | None) -> tuple[Note, ...]:
    return () if word is None else (Note("advice", word),)


def size_table(laid: LaidOut) -> str:
    """At what size each blade manages, and with what blade this size is managed; lines for people.

    At other widths the panel is taken to grow or shrink with the silhouette.
    """
    asked = laid.asked
    x0, _, x1, _ = asked.outline.bounds
    build = scaled(asked.outline, asked.panel, asked.job.keep)
    found = sizes(build, x1 - x0, asked.kit, with_own(asked.kit.blade))
    capital = (capital_of(asked.outline) or 0.0) / (x1 - x0)
    return size_lines(found, webs_hold_from(build, x1 - x0, asked.kit), asked.kit.units, capital)


def write_gauge(blade_name: str, paper_name: str, units: Units, out: Path) -> None:
    """Write the test card for one blade as a PDF. Raises KitError, WriteError."""
    from cutout.write.gauge import gauge_pdf

    kit = kit_of(Job(units=units, saw=SawPart(blade=blade_name)))
    write_file(out, gauge_pdf(kit, paper(paper_name, units), units))


def write_camera_card(paper_name: str, units: Units, out: Path) -> None:
    """Write the camera card, a silhouette of known size to photograph, as a PDF. Raises KitError, WriteError."""
    from cutout.write.camera_card import camera_card_pdf

    write_file(out, camera_card_pdf(paper(paper_name, units), units))


@dataclass(frozen=True, slots=True)
class Gauged:
    """A photograph of the test card, read: the values, the same in sentences, and the picture that shows them."""

    reading: Reading
    said: tuple[str, ...]
    picture: bytes


def read_gauge(
    photo: Path,
    units: Units = "mm",
    minutes: float | None = None,
    square: tuple[float, float] | None = None,
    allowance: float | None = None,
) -> Gauged:
    """Read the test card in a photograph; lengths in mm. Raises ReadError."""
    from cutout.gauge.light import linear_light
    from cutout.gauge.reading import read_card
    from cutout.gauge.rung import ALLOWANCE
    from cutout.say.gauging import lines
    from cutout.write.gauge_picture import gauge_png

    light = linear_light(file_bytes(photo, MAX_FILE, "file", "photograph"), photo.name)
    reading = read_card(light, photo.name, minutes, square, ALLOWANCE if allowance is None else allowance)
    said = tuple(lines(reading, units))
    return Gauged(reading, said, gauge_png(light, reading, list(said)))


@dataclass(frozen=True, slots=True)
class Held:
    """Photographs of a panel held against its pattern: the figures, the same in sentences, the picture."""

    found: Compared
    said: tuple[str, ...]
    picture: bytes


def compare_photos(result: Path, photos: tuple[Path, ...], units: Units = "mm", least: float = 0.3) -> Held:
    """Hold photographs of a sawn panel against its result.json; from `least` mm on a spot is worth a file.

    Raises ReadError.
    """
    from cutout.gauge.compare import compare, drawn_in
    from cutout.gauge.light import linear_colour
    from cutout.say.gauging import compared_lines
    from cutout.write.compare_picture import compare_png

    drawn = drawn_in(
        file_bytes(result, MAX_FILE, "file", "result.json").decode("utf-8", "replace"), shown(result)
    )
    colours = {
        shown(photo): linear_colour(file_bytes(photo, MAX_FILE, "file", "photograph"), photo.name)
        for photo in photos
    }
    found = compare(drawn, colours, least)
    said = tuple(compared_lines(found, units))
    return Held(found, said, compare_png(next(iter(colours.values())), found, list(said), units))


def measured_from(
    reading: Reading,
    blade_name: str,
    date: str | None,
    wood_name: str,
    thickness: float | None,
    photo: str,
    entry: float | None = None,
    hole: float | None = None,
) -> Measured:
    """What is worth keeping of a reading; `date` None is today. entry, hole: seconds by the watch.

    Raises KitError where nothing was read.
    """
    if reading.kerf is None and reading.radius is None:
        raise KitError(
            "nothing was read that could be kept: see what could not be read, and photograph the card anew."
        )
    kerf, bias = reading.kerf, reading.bias
    return Measured(
        blade=blade_name,
        date=date or datetime.date.today().isoformat(),
        kerf=kerf.value if kerf else None,
        kerf_sure=kerf.sure if kerf else None,
        radius=reading.radius.value if reading.radius else None,
        bias=bias.value if bias else None,
        wander=reading.wander,
        feed=reading.feed,
        entry=entry,
        hole=hole,
        wood=wood(wood_name).name if wood_name else "",
        thickness=thickness,
        photo=photo,
    )


def keep_measured(found: Measured, into: Path, *, replacing: bool) -> None:
    """Put one measurement into the user's file, which is made where missing. Raises KitError, WriteError."""
    measured_in(into)  # A file that can't be read is not written over.
    text = into.read_text("utf-8") if into.exists() else ""
    write_files(into.parent, {into.name: with_measured(text, found, replacing=replacing).encode()})


def notes_on(laid: LaidOut, pattern: Pattern) -> tuple[Note, ...]:
    """What the readers did, and advice on a pattern, laid out or mended."""
    return (*laid.asked.outline.notes, *_advised(hint(pattern, laid.asked.kit)))


_DOUBTFUL: Mapping[str, Severity] = {"border": "care", "guess": "care", "lost": "stop"}
"""Kinds of readers' notes that make the whole picture doubtful."""

_OFF_SIZE = (0.5, 0.002)
"""A size is as asked for to within so many mm, or this share of itself."""


def _of_the_source(laid: LaidOut, pattern: Pattern) -> tuple[Finding, ...]:
    """What the picture itself makes doubtful: an edge that runs off it, a size that did not come out as asked."""
    middle = pattern.panel.middle
    doubtful = tuple(
        Finding(kind="source", severity=_DOUBTFUL[note.kind], at=middle, facts=Doubtful(note))
        for note in laid.asked.outline.notes
        if note.kind in _DOUBTFUL
    )
    return (*doubtful, *_off_size(laid.job, pattern))


def _off_size(job: Job, pattern: Pattern) -> tuple[Finding, ...]:
    """One finding when a single figure is no longer as wide or high as asked: mending trimmed its ends."""
    figure = job.figures[0]
    asked, side = (figure.width, 0) if figure.width is not None else (figure.height, 1)
    if asked is None or len(job.figures) > 1 or figure.repeat > 1 or figure.pair or pattern.figure.is_empty:
        return ()
    bounds = pattern.figure.bounds
    got = bounds[side + 2] - bounds[side]
    if abs(got - asked) <= max(_OFF_SIZE[0], _OFF_SIZE[1] * asked):
        return ()
    at = ((bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2)
    facts = OffSize("high" if side else "wide")
    return (Finding(kind="source", severity="care", at=at, size=got, limit=asked, facts=facts),)


def _title(job: Job) -> str:
    first = job.figures[0]
    return Path(first.source).stem if first.source else (first.text or "cutout")
