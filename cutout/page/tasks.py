"""What the worker processes do: a job and its folder in, plain data or bytes out. Raise CutoutError."""

from __future__ import annotations

import cmath
import io
import math
import tempfile
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path, PurePath
from typing import Any

from cutout import run
from cutout.amend.model import Bridge, Mended
from cutout.amend.size import scaled, sizes
from cutout.errors import NoFigureError
from cutout.finding import Finding
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline
from cutout.job.schema import Job
from cutout.job.set_up import kit_of, outline_of, panel_of, read_options
from cutout.kit import Kit, Measured, blade, measured_in, mine_path, paper
from cutout.memory import Memory
from cutout.page import photographs, view
from cutout.page.examples import example
from cutout.page.reading import Reader, first_size, is_picture, pixels_of, upright_shape
from cutout.page.remedies import Case, lead, remedies, smooth_first, take_blade, take_width
from cutout.page.room import free_room, overlaps
from cutout.page.start import empty
from cutout.page.telling import tell
from cutout.pattern import Panel, Pattern
from cutout.pattern.frame import clear_area
from cutout.say.source import sentence
from cutout.write.gauge import gauge_pdf
from cutout.write.outputs import FILES, JOB, RESULT, files_of, output
from cutout.write.work import Work

_OLDEST = (1980, 1, 1, 0, 0, 0)
"""The date in a zip, always the same, so that the same work gives the same bytes."""

_MENDED_FROM, _MENDED_TO = 0.05, 0.9
"""The share of the task that mends which is done where mending itself begins and ends."""

READER = Reader()
_works: Memory[Work] = Memory(2)  # the job as it is, and as it was a moment ago, for undo
_mended: Memory[Mended] = Memory(2)  # the same


def prepare(scratch: Path) -> None:
    """Called once in every process: where they share what they have read."""
    READER.scratch = scratch
    # Whatever else is laid down for a moment goes with the folder, however this process ends.
    tempfile.tempdir = str(scratch)


def begin(path: Path, board: tuple[float, float]) -> tuple[float | None, float | None]:
    """Width or height (mm) for a new figure on a board of this size; see `first_size`."""
    with READER.near():
        return first_size(READER, path, board)


def turned_sizes(
    before: Job, after: Job, figures: Sequence[int], folder: Path
) -> dict[int, tuple[float, float]]:
    """Width and height (mm) that figures have after turning or mirroring them at the same scale."""
    panel = panel_of(before)
    with READER.near():
        return {n: _turned_size(_outline(before, n, panel, folder), before, after, n) for n in figures}


def free_room_of(job: Job, folder: Path) -> tuple[tuple[float, float], float] | None:
    """Where the last figure goes beside the others, and the share of its size that fits there; None: nowhere."""
    panel = panel_of(job)
    try:
        with READER.near():
            *others, new = (_outline(job, n, panel, folder).bounds for n in range(len(job.figures)))
    except NoFigureError:
        return None
    return free_room((new[2] - new[0], new[3] - new[1]), others, clear_area(panel).bounds)


def example_view(name: str) -> dict[str, Any]:
    """One of the examples as it would be cut, unmended, and what it is called."""
    job, files = example(name)
    with tempfile.TemporaryDirectory() as folder:
        for file, content in files.items():
            (Path(folder) / file).write_bytes(content)
        return {"title": job.title, **_sketch(run.lay_out(job, Path(folder)))}


def traced(job: Job, folder: Path, n: int) -> dict[str, Any]:
    """The outline of a figure's photo in the photo's own pixels, y down: what its cleaning up comes to.

    path: None where there is no photo, or where it is straightened, and the outline with it; empty where no figure
    can be told apart yet, and `problem` says why.
    """
    figure = job.figures[n]
    path = folder / figure.source if figure.source else None
    shape = upright_shape(path) if path is not None else None
    if path is None or shape is None or figure.corners or figure.sheet:
        return {"path": None, "size": shape}
    with READER.near():
        options = replace(read_options(figure), width=None, height=None)
        try:
            outline = READER(path, options)
        except NoFigureError as error:
            return {"path": "", "size": shape, "problem": str(error).partition(": ")[2]}
    by = pixels_of(path, READER.scratch)
    if outline.bounds[2] * by > 1.05 * shape[0]:
        by = 1.0  # the small copy was no help, and the outline is the file's own
    down = outline.transform(Similarity(complex(by, 0), complex(0, shape[1]), mirror=True))
    return {"path": view.path_data(down.region(0.5), view.MOST_POINTS), "size": shape}


def sketch(job: Job, folder: Path) -> dict[str, Any]:
    """A job as a small picture, to know it by among others."""
    with READER.near():
        return _sketch(_laid_out(job, folder))


def _sketch(laid: run.LaidOut) -> dict[str, Any]:
    job, pattern = laid.job, laid.pattern
    return {
        "panel": {**view.panel_view(pattern.panel, job.units or "mm"), "wood": job.panel.wood},
        "figure": view.path_data(pattern.figure, view.MOST_POINTS // 4),
        "cut_out": job.keep == "panel",
    }


def look(job: Job, folder: Path) -> dict[str, Any]:
    """The quick view: the pattern as laid out, near enough for the eye, nothing checked."""
    with READER.near():
        return _look(_laid_out(job, folder), folder)


def checked(job: Job, folder: Path) -> dict[str, Any]:
    """The exact view, and what the checks say about the pattern as laid out."""
    tell("reading the picture", 0.0)
    laid = _laid_out(job, folder)
    tell("checking against blade and wood", 0.5)
    found = run.check_laid(laid)
    tell("drawing what was found", 0.9)
    pictures = [
        n for n, figure in enumerate(job.figures) if figure.source and is_picture(folder / figure.source)
    ]
    ask = smooth_first(job, len(found), pictures)
    return {
        "look": _look(laid, folder),
        "findings": view.findings_view(found, laid.asked.kit.units),
        "ask": None if ask is None else {"text": ask[0], "way": asdict(ask[1])},
        "notes": [sentence(note, laid.asked.kit.units) for note in run.notes_on(laid, laid.pattern)],
        "stage": "checked",
    }


def mended(job: Job, folder: Path) -> dict[str, Any]:
    """The pattern as it would be cut, and as it was laid out."""
    tell("reading the picture", 0.0)
    laid = _laid_out(job, folder)
    tell("bridges and easing", _MENDED_FROM)
    after = _mend(laid, _tell_of_mending)
    tell("looking for remedies", _MENDED_TO)
    case = _case(job, laid.asked.kit, after.pattern, after.bridges, folder)
    return {
        **view.pattern_view(after.pattern),
        **view.mend_view(after.bridges, after.eased, laid.asked.kit.units),
        **_found(after.findings, case),
        "stage": "mended",
    }


def planned(job: Job, folder: Path) -> dict[str, Any]:
    """The whole job as the page shows it."""
    work = _work(job, folder)
    return {
        **view.pattern_view(work.pattern),
        **view.mend_view(work.bridges, work.eased, work.units),
        **view.plan_view(work),
        **_found(work.findings, _case(job, work.kit, work.pattern, work.bridges, folder)),
        "template": view.sheets_view(work),
        "notes": list(work.said_notes),
        "cautions": list(work.cautions),
        "wanted": [o.name for o in FILES if o.wanted(job)],
        "stage": "planned",
    }


def outputs() -> dict[str, Any]:
    """What can be downloaded, with its purpose and whether any job asks for it; and every name of ours."""
    plain = empty("mm")
    offered = [{"name": o.name, "purpose": o.purpose, "usual": o.wanted(plain)} for o in FILES]
    return {"files": offered, "taken": [JOB, RESULT, *(o.name for o in FILES)]}


def file_of(job: Job, folder: Path, name: str) -> tuple[str, str, bytes]:
    """One of the outputs by name, whether the job asks for it or not: the file's own name, media type and bytes.

    One that is split into several files comes as a zip of them.
    """
    wanted = output(name)
    assert wanted is not None, name
    made = wanted.write(_work(job, folder), {})
    if list(made) == [name]:
        return name, wanted.media_type, made[name]
    return f"{PurePath(name).stem}.zip", "application/zip", _zipped(made)


def test_card(job: Job) -> bytes:
    """The card to print and saw, for the blade chosen, as PDF."""
    kit = kit_of(job)
    return gauge_pdf(kit, paper(job.template.paper, job.units), kit.units)


def card(job: Job, photo: Path, watched: Mapping[str, Any]) -> tuple[dict[str, Any], Measured | None]:
    """What a photograph of the sawn test card says; see `photographs.card`."""
    return photographs.card(job, photo, photographs.Watched(**watched))


def keep_card(found: Measured, replacing: bool) -> dict[str, Any]:
    """Keep what was read of a card for later jobs; see `photographs.keep`."""
    return photographs.keep(found, replacing)


def panel_held(job: Job, folder: Path, photos: Sequence[Path]) -> dict[str, Any]:
    """Photographs of the sawn panel beside its pattern; see `photographs.panel`."""
    return photographs.panel(_work(job, folder), photos)


def everything(job: Job, folder: Path, job_toml: bytes, sources: Mapping[str, str]) -> bytes:
    """A zip of every file the job asks for, its job file, and the pictures it names; same work, same bytes.

    sources: the name in the zip for each source in `folder`.
    """
    files = files_of(_work(job, folder), job_toml)
    return _zipped(files | {name: (folder / source).read_bytes() for source, name in sources.items()})


def _zipped(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name, content in files.items():
            packed.writestr(zipfile.ZipInfo(name, _OLDEST), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def smallest(job: Job, folder: Path, name: str) -> dict[str, Any]:
    """The smallest size of the figures that one blade manages, for its row in the table of blades."""
    laid = _laid_out(job, folder)
    kit, before = laid.asked.kit, laid.pattern
    one = kit.blade if name == kit.blade.name else blade(name)
    x0, _, x1, _ = before.outline.bounds
    found = sizes(scaled(before.outline, before.panel, job.keep), x1 - x0, kit, [one])
    row = found.rows[0]
    # Where blade or size is the job's own already, or the search ended at its end, there is nothing to take.
    ways = [] if name == kit.blade.name else [take_blade(one)]
    if row.smallest is not None and not row.below and not row.manages and len(job.figures) == 1:
        ways.append(take_width(job, before.outline.bounds, row.smallest))
    return {**view.size_view(row, found.most, kit.units), "ways": [asdict(way) for way in ways]}


def _case(job: Job, kit: Kit, pattern: Pattern, bridges: tuple[Bridge, ...], folder: Path) -> Case:
    """What remedies are worked out from; figures that stand by a rule have no place or size of their own."""
    own = _in_place(job)
    boxes = [_outline(job, n, pattern.panel, folder).bounds for n in range(len(job.figures))] if own else []
    return Case(job, kit, pattern, bridges, tuple(boxes))


def _found(findings: Sequence[Finding], case: Case) -> dict[str, Any]:
    """The findings, each with what can be done about it, and what would help the whole pattern most."""
    first = lead(case)
    return {
        "findings": view.findings_view(findings, case.kit.units, lambda found: remedies(found, case)),
        "lead": None if first is None else {"text": first[0], "way": first[1] and asdict(first[1])},
    }


def _in_place(job: Job) -> bool:
    """Every figure stands once, at a place of its own."""
    return job.arrange is None and all(f.repeat == 1 and not f.pair for f in job.figures)


def _work(job: Job, folder: Path) -> Work:
    return _works.recall(
        (folder, job.model_dump_json(), measured_in(mine_path())),
        lambda: run.make(
            job,
            folder,
            progress=_tell_of_make,
            reader=READER,
            mending=_mend,
        ),
    )


def _tell_of_make(stage: str, done: float) -> None:
    """Mending is remembered from the stage before: the share is that of the rest."""
    tell(stage, max(0.0, _through(done, run.PLANNED_FROM, 1.0)))


def _tell_of_mending(stage: str, done: float) -> None:
    """Of the whole job only mending is done here."""
    share = _through(done, run.MENDED_FROM, run.PLANNED_FROM)
    tell(stage, _MENDED_FROM + (_MENDED_TO - _MENDED_FROM) * share)


def _through(done: float, begins: float, ends: float) -> float:
    """The share of a part of the job that is done, from that of the whole."""
    return (done - begins) / (ends - begins)


def _mend(laid: run.LaidOut, progress: run.Progress) -> Mended:
    """As `run.mend_laid`, once: the plan goes on from what the page was shown before, whatever the paper."""
    return _mended.recall(laid.mended_from, lambda: run.mend_laid(laid, progress))


def _laid_out(job: Job, folder: Path) -> run.LaidOut:
    return run.lay_out(job, folder, READER)


def _outline(job: Job, n: int, panel: Panel, folder: Path) -> Outline:
    """One figure of the job by itself, once."""
    alone = job.figures[n].model_copy(update={"repeat": 1, "pair": False})
    return outline_of(job.model_copy(update={"figures": (alone,)}), panel, folder, READER)


def _turned_size(outline: Outline, before: Job, after: Job, n: int) -> tuple[float, float]:
    old, new = before.figures[n], after.figures[n]
    back = Similarity(cmath.exp(-1j * math.radians(old.turn)))
    flip = Similarity(mirror=old.mirror != new.mirror)
    on = Similarity(cmath.exp(1j * math.radians(new.turn)))
    x0, y0, x1, y1 = outline.transform(back.then(flip).then(on)).bounds
    return x1 - x0, y1 - y0


def _look(laid: run.LaidOut, folder: Path) -> dict[str, Any]:
    return {**_board(laid.job, laid.pattern.panel, folder), **view.pattern_view(laid.pattern)}


def _board(job: Job, panel: Panel, folder: Path) -> dict[str, Any]:
    units = job.units or "mm"
    each = view.MOST_POINTS // max(1, len(job.figures))
    outlines = [_outline(job, n, panel, folder) for n in range(len(job.figures))]
    in_place = _in_place(job)
    return {
        "panel": {
            **view.panel_view(panel, units),
            "frame": view.frame_view(job.panel.frame),
            "wood": job.panel.wood,
        },
        "overlaps": overlaps([o.region(0.5) for o in outlines]) if in_place else [],
        "figures": [view.figure_view(outline, units, each) for outline in outlines] if in_place else [],
        "arranged": not in_place,
        "blade": view.blade_view(kit_of(job, folder).blade),
    }
