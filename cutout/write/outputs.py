"""Every file a job makes, declared once: its name, media type, purpose, when it is wanted, and what writes it."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from cutout.job.fields import with_files
from cutout.job.file import dump_job, relocated
from cutout.job.schema import Job
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.cutsheet.pdf import cut_sheet_pdf
from cutout.write.dxf import router_dxf
from cutout.write.files import write_files
from cutout.write.film import film_svgs
from cutout.write.gcode import router_programs
from cutout.write.picture import preview_png
from cutout.write.result import result_json
from cutout.write.shopdrawing.shopdrawing import shop_drawing_pdf
from cutout.write.svg import pattern_svg
from cutout.write.template.template import back_pdf, outline_pdf, template_pdf
from cutout.write.work import Work

Files: TypeAlias = Mapping[str, bytes]
Write: TypeAlias = Callable[[Work, Files], Files]
"""Takes the finished job and the files written so far; returns the file, or the files it is split into, by name."""


@dataclass(frozen=True, slots=True)
class Output:
    """One thing a job can make. wanted: whether a job asks for it; without that it is made on request only."""

    name: str
    media_type: str
    purpose: str
    write: Write
    wanted: Callable[[Job], bool] = lambda job: True


def _one(name: str, write: Callable[[Work], bytes]) -> Write:
    return lambda work, so_far: {name: write(work)}


def _sheet_pdf(work: Work, so_far: Files) -> Files:
    return {"cutsheet.pdf": cut_sheet_pdf(work, so_far.get("cutsheet.html") or cut_sheet(work))}


FILES: tuple[Output, ...] = (
    Output(
        "template.pdf", "application/pdf", "Template: print at true size and glue it on",
        _one("template.pdf", template_pdf),
    ),
    Output(
        "shopdrawing.pdf", "application/pdf", "Shop drawing: one sheet to hang beside the saw",
        _one("shopdrawing.pdf", shop_drawing_pdf),
    ),
    Output(
        "pattern.svg", "image/svg+xml", "Pattern: the outline as it is cut", _one("pattern.svg", pattern_svg)
    ),
    Output(
        "router.dxf", "image/vnd.dxf", "Router drawing: closed outlines in DXF", _one("router.dxf", router_dxf)
    ),
    Output(
        "cutsheet.html", "text/html; charset=utf-8", "Cut sheet: holes, legs and cautions to take to the saw",
        _one("cutsheet.html", cut_sheet),
    ),
    Output("cutsheet.pdf", "application/pdf", "Cut sheet to print", _sheet_pdf),
    Output("preview.png", "image/png", "Picture of the finished panel", _one("preview.png", preview_png)),
    Output(
        "router.ngc", "text/plain; charset=utf-8", "Router program: G-code for the bit chosen",
        lambda work, so_far: router_programs(work), lambda job: job.router.gcode,
    ),
    Output(
        "film.svg", "image/svg+xml", "Film: the outline for a knife cutter",
        lambda work, so_far: film_svgs(work), lambda job: job.template.film,
    ),
    Output(
        "back.pdf", "application/pdf", "Back at full size: what is drawn on it, and its backing",
        _one("back.pdf", back_pdf), lambda job: job.faces.back is not None or job.backing is not None,
    ),
    Output(
        "outline.pdf", "application/pdf", "Outline in a thick line, to trace round by pencil",
        _one("outline.pdf", outline_pdf), lambda job: job.template.outline,
    ),
)  # fmt: skip
"""In the order they are written and offered."""

RESULT, JOB = "result.json", "job.toml"
"""What is written beside them: everything worked out as data, and the job to run again."""


def files_of(work: Work, job_toml: bytes) -> dict[str, bytes]:
    """Every file a job asks for, by name; job_toml: its job file as it is to lie beside them. Raises WriteError."""
    files: dict[str, bytes] = {}
    for output in FILES:
        if output.wanted(work.job):
            files |= output.write(work, files)
    files[JOB] = job_toml
    files[RESULT] = result_json(work, {name: len(content) for name, content in files.items()})
    return files


def write_out(work: Work, target: Path) -> tuple[str, ...]:
    """Write every file of a finished job into `target`, all or none; returns their names. Raises WriteError."""
    files = {**work.sources, **files_of(work, dump_job(_as_seen_from(work, target)).encode())}
    write_files(target, files)
    return tuple(files)


def _as_seen_from(work: Work, target: Path) -> Job:
    """The job with its paths made relative to the folder its files go to; sources written along lie there."""
    there = relocated(work.job, work.folder, target)
    along = {
        Path(os.path.relpath((work.folder / n).resolve(), target.resolve())).as_posix(): n
        for n in work.sources
    }
    return with_files(there, lambda name: along.get(name, name))


def output(name: str) -> Output | None:
    """The output of a name."""
    return next((o for o in FILES if o.name == name), None)
