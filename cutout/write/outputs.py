"""Every file a job makes, declared once: its name, media type, purpose, when it is wanted, and what writes it."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

from cutout.errors import WriteError, shown
from cutout.job.fields import files_in, with_files
from cutout.job.file import dump_job, job_text, relocated
from cutout.job.schema import Job
from cutout.processes import beside
from cutout.regular import read_whole
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.cutsheet.pdf import cut_sheet_pdf
from cutout.write.dxf import router_dxf
from cutout.write.files import write_files
from cutout.write.film import film_svgs
from cutout.write.gcode import DRY_RUN, dry_runs, listings, router_programs
from cutout.write.inlay import plug_pdf
from cutout.write.picture import preview_png
from cutout.write.result import result_json
from cutout.write.routed import routed_png
from cutout.write.setup_sheet import router_setup
from cutout.write.shopdrawing.shopdrawing import shop_drawing_pdf
from cutout.write.svg import pattern_svg
from cutout.write.template.template import back_pdf, outline_pdf, template_pdf
from cutout.write.work import Work

Files: TypeAlias = Mapping[str, bytes]
Write: TypeAlias = Callable[[Work, Files], Files]
"""Takes the finished job and the files written so far; returns the file, or the files it is split into, by name."""


@dataclass(frozen=True, slots=True)
class Output:
    """One thing a job can make. wanted: whether a job asks for it; without that it is made on request only.

    beside: it needs no other file, and is worked out beside the others where there is a core to spare: so many that
    both have about as much to do.
    """

    name: str
    media_type: str
    purpose: str
    write: Write
    wanted: Callable[[Job], bool] = lambda job: True
    beside: bool = False


def _one(name: str, write: Callable[[Work], bytes]) -> Write:
    return lambda work, so_far: {name: write(work)}


def _routed(work: Work, so_far: Files) -> Files:
    written = all(name in so_far for name in listings(work))
    return {"routed.png": routed_png(work, so_far if written else router_programs(work))}


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
        "router.dxf", "image/vnd.dxf", "Router drawing: closed outlines in DXF", _one("router.dxf", router_dxf),
        beside=True,
    ),
    Output(
        "cutsheet.html", "text/html; charset=utf-8", "Cut sheet: everything on one page, step by step at the saw",
        _one("cutsheet.html", cut_sheet),
    ),
    Output(
        "cutsheet.pdf", "application/pdf", "Notes: findings, spots for the file, what to have ready, sources",
        _one("cutsheet.pdf", cut_sheet_pdf), beside=True,
    ),
    Output(
        "preview.png", "image/png", "Picture of the finished panel", _one("preview.png", preview_png), beside=True
    ),
    Output(
        "router.ngc", "text/plain; charset=utf-8", "Router program: G-code for the bit chosen",
        lambda work, so_far: router_programs(work), lambda job: job.router.gcode,
    ),
    Output(
        DRY_RUN, "text/plain; charset=utf-8", "Dry run for the router: round all cuts, above the wood, spindle off",
        lambda work, so_far: dry_runs(work), lambda job: job.router.gcode,
    ),
    Output(
        "router-setup.pdf", "application/pdf", "Setting up the router: zero, screws, what to do in which order",
        _one("router-setup.pdf", router_setup), lambda job: job.router.gcode,
    ),
    Output(
        "routed.png", "image/png", "Picture of the routed panel, worked out from the program's own lines",
        _routed, lambda job: job.router.gcode,
    ),
    Output(
        "film.svg", "image/svg+xml", "Film: the outline for a knife cutter",
        lambda work, so_far: film_svgs(work), lambda job: job.template.film,
    ),
    Output(
        "plug.pdf", "application/pdf", "Plug of the inlay: its outline for the other wood",
        _one("plug.pdf", plug_pdf), lambda job: job.inlay is not None,
    ),
    Output(
        "back.pdf", "application/pdf", "Back at full size: what is painted on it, hardware, backing and its screws",
        _one("back.pdf", back_pdf),
        lambda job: job.faces.back is not None or job.backing is not None or bool(job.panel.hardware),
    ),
    Output(
        "outline.pdf", "application/pdf", "Outline in a thick line, to trace round by pencil",
        _one("outline.pdf", outline_pdf), lambda job: job.template.outline,
    ),
    # A table: what a file is in one row, what writes it and when in the next.
)  # fmt: skip
"""In the order they are written and offered."""

RESULT, JOB = "result.json", "job.toml"
"""What is written beside them: everything worked out as data, and the job to run again."""


def files_of(work: Work, job_toml: bytes) -> dict[str, bytes]:
    """Every file a job asks for, by name; job_toml: its job file as it is to lie beside them. Raises WriteError."""
    wanted = [output for output in FILES if output.wanted(work.job)]
    made: dict[str, Files] = {}
    so_far: dict[str, bytes] = {}
    with beside(
        lambda: {output.name: output.write(work, {}) for output in wanted if output.beside}
    ) as others:
        for output in wanted:
            if not output.beside:
                made[output.name] = output.write(work, so_far)
                so_far |= made[output.name]
        made |= others()
    files = {name: content for output in wanted for name, content in made[output.name].items()}
    files[JOB] = job_toml
    files[RESULT] = result_json(work, {name: len(content) for name, content in files.items()})
    return files


@dataclass(frozen=True, slots=True)
class Written:
    """What a run left in a folder. names: what it wrote. removed: files of an earlier run that are none of this one.

    kept: such files that were changed by hand since: they stay, and belong to another job.
    """

    names: tuple[str, ...]
    removed: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()


def write_out(work: Work, target: Path) -> Written:
    """Write every file of a finished job into `target`, and take away those of an earlier run; all or nothing.

    Raises WriteError; among others where a file to be written is one the job is read from.
    """
    refuse_sources(work.job, work.folder, target)
    original = job_text(work.job_file) if work.job_file is not None else None
    job_toml = dump_job(_as_seen_from(work, target), original).encode()
    files = {**work.sources, **files_of(work, job_toml)}
    refuse_sources(work.job, work.folder, target, tuple(n for n in files if n not in work.sources))
    earlier: list[tuple[str, ...]] = []

    def stale() -> tuple[str, ...]:
        earlier[:] = _of_earlier(target, files)
        return earlier[0]

    write_files(target, files, stale)
    return Written(tuple(files), *earlier)


def refuse_sources(job: Job, folder: Path, target: Path, names: tuple[str, ...] = ()) -> None:
    """Refuse a folder where a file that the job is read from would be written over, by whatever link.

    names: files that will be written; by default the plain names of what the job asks for. The job file itself may
    be written over: it keeps its wording. Raises WriteError.
    """
    for name in names or tuple(o.name for o in FILES if o.wanted(job)):
        for source in files_in(job):
            if _same(folder / source, target / name):
                raise WriteError(
                    f"{shown(folder / source)}: would be written over by {name} of this job, which is made from it: "
                    "choose another folder with --out."
                )


def _same(source: Path, target: Path) -> bool:
    try:
        return source.samefile(target)
    except (OSError, ValueError):
        return False


_MOST_RESULT = 256 * 2**20
"""Bytes of an earlier result.json that are looked at."""


def _of_earlier(target: Path, files: Files) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Files that an earlier run of ours left and that this one doesn't write: those as it left them, those changed.

    Only what its result.json lists, and only names that a job can make: a folder's other files are nobody's business.
    Raises WriteError where a disk does not give that list: what it holds would stay beside the new set.
    """
    try:
        earlier = json.loads(read_whole(target / RESULT, _MOST_RESULT))
        listed = {str(f["name"]): int(f["bytes"]) for f in earlier["files"]} if _is_ours(earlier) else {}
    except (FileNotFoundError, ValueError, KeyError, TypeError, RecursionError):
        return (), ()
    except OSError as error:
        raise WriteError(
            f"{shown(target / RESULT)}: can't be read ({(error.strerror or str(error)).lower()}), and it says which "
            "files of an earlier run lie there; nothing was written: choose another folder with --out."
        ) from error
    left = {n: size for n, size in sorted(listed.items()) if n not in files and _can_be_made(n)}
    there = {n: size for n, size in left.items() if _is_file(target / n)}
    removed = tuple(n for n, size in there.items() if (target / n).stat().st_size == size)
    return removed, tuple(n for n in there if n not in removed)


def _is_ours(result: Any) -> bool:
    return isinstance(result, Mapping) and str(result.get("schema")).startswith("cutout-result/")


def _is_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _can_be_made(name: str) -> bool:
    """A name of some output, or of one of the files it is split into, like router-6mm.ngc."""
    made = Path(name)
    return made.name == name and any(
        made.suffix == Path(o.name).suffix
        and re.fullmatch(rf"{re.escape(Path(o.name).stem)}(-.+)?", made.stem)
        for o in FILES
    )


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
