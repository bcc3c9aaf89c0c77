"""What a command line asks for, as a job; its flags are made from the schema, which names them."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from cutout.errors import JobError, LayoutError, shown
from cutout.units import Units, parse_size, spelled

if TYPE_CHECKING:
    from cutout.job.fields import Field
    from cutout.job.schema import Job

FIGURE = "figures"


@dataclass(frozen=True, slots=True)
class Flag:
    """One flag of the command line. name: as typed; path: the setting it sets; word: what stands for its value.

    form: text, a choice, a switch (given or not), or a pair of switches, --name and --no-name.
    """

    name: str
    path: tuple[str, ...]
    form: Literal["text", "choice", "switch", "pair"]
    word: str
    help: str
    choices: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """The name it has among the values of a command line."""
        return self.name.removeprefix("--").replace("-", "_")


PANEL = Flag("--panel", ("panel",), "text", "WxH", "Size of the panel, like 500x700mm.")
"""The one flag that stands for two settings."""

_WORDS = {
    "--grain": "DEGREES",
    "--turn": "DEGREES",
    "--print-scale": "SHORTxLONG",
    "--at": "X,Y",
    "--corners": "X,Y,...",
    "--threshold": "0..255|local",
    "--sheet": "PAPER|WxH",
    "--mat": "WxH",
    "--drill": "LIST",
    "--smooth": "0..1",
}
"""What stands for the value in the help, where its kind doesn't say it."""

_KINDS = {"length": "LENGTH", "number": "NUMBER", "whole number": "COUNT", "text": "NAME"}
_WRITES = ("gcode", "dxf", "film", "mat", "outline")
"""Settings of what is written: `make` has their flags, `check` has not."""


def flags(*, writing: bool) -> Iterator[Flag]:
    """The flags of `make` (writing) or of `check`, in the order of the schema."""
    from cutout.job.fields import fields

    seen: set[str] = set()
    for field in fields():
        if field.path == ("panel", "width"):
            yield PANEL
        if field.flag is None or field.flag in seen or (not writing and field.name in _WRITES):
            continue
        # What is painted on a face is a figure too: flags are about the first one that is cut.
        seen.add(field.flag)
        yield _flag(field)


def _flag(field: Field) -> Flag:
    assert field.flag is not None
    form: Literal["text", "choice", "switch", "pair"] = "text"
    if field.kind == "yes or no":
        form = "switch" if field.default is False else "pair"
    elif field.kind == "choice":
        form = "choice"
    word = _WORDS.get(field.flag) or _KINDS.get(field.kind, "TEXT")
    shown = form != "pair" and field.default not in (None, False) and "unset" not in field.meaning
    usual = f" [{_usual(field)}]" if shown and not isinstance(field.default, tuple) and field.default else ""
    help = f"{field.meaning.removesuffix('.')}{usual}."
    return Flag(field.flag, field.path, form, word, help, field.choices if form == "choice" else ())


def _usual(field: Field) -> str:
    if field.kind == "length":
        return f"{field.default:g}mm"
    return f"{field.default:g}" if isinstance(field.default, float) else str(field.default)


def asked_for(source: Path, options: Mapping[str, Any]) -> tuple[Job, Path]:
    """The job of a job file or of a picture with the options laid over it, and the folder its paths start from.

    options: values by `Flag.key` as typed, None where not given. Raises CutoutError.
    """
    _refuse_odd_name(source)
    job, folder = named(source)
    given = dict(options)
    if not is_job_file(source) and given.get("paper") is None:
        given["paper"] = usual_paper(given.get("units"), os.environ)
    return laid_over(job, given, source.name), folder


def named(source: Path) -> tuple[Job, Path]:
    """The job in a job file, or one of a single picture; and the folder its paths start from. Raises JobError."""
    from cutout.job.file import load_job
    from cutout.job.schema import FigurePart, Job

    if is_job_file(source):
        return load_job(source), source.parent
    return Job(figures=(FigurePart(source=str(source)),)), Path()


def is_job_file(source: Path) -> bool:
    """Whether a path names a job file."""
    return source.suffix.lower() == ".toml"


def usual_folder(source: Path) -> Path:
    """Where the files of a source go if nothing else is said."""
    stem = source.stem
    while len(f"{stem}-cutout".encode("utf-8", "surrogateescape")) > _LONGEST_NAME:
        stem = stem[:-1]
    return Path(f"{stem}-cutout")


_LONGEST_NAME = 255
"""Bytes of a file name that all common disks take."""


def laid_over(job: Job, options: Mapping[str, Any], name: str, bare: Units | None = None) -> Job:
    """A job with options laid over it, by `Flag.key`; None where not given. `name` is used in messages.

    bare: the unit of bare numbers, by default the job's or the one given. Raises CutoutError.
    """
    from cutout.job.file import job_from

    given = {k: v for k, v in options.items() if v is not None}
    if not given:
        return job
    units = given.get("units", job.units)
    data = _in_mm(job)
    called = _lay_over(data, given, bare or units)
    return job_from(data, name, bare=bare or units, called=called)


def _in_mm(job: Job) -> dict[str, Any]:
    """The job as plain data whose lengths carry their unit."""
    from cutout.job.fields import mapped
    from cutout.job.schema import LENGTH, Job

    plain: dict[str, Any] = mapped(
        Job,
        job.model_dump(exclude_none=True),
        lambda kind, value, _: spelled(value) if kind == LENGTH and isinstance(value, float) else value,
    )
    return plain


_LETTER = frozenset(["US", "CA", "MX", "PH", "CL", "CO", "VE", "CR", "GT", "PA", "SV", "NI", "DO", "PR"])
"""Countries where printers hold Letter: those that CLDR's supplemental data lists under paper size US-Letter."""


def usual_paper(units: Units | None, environment: Mapping[str, str]) -> str:
    """Letter where inches are asked for or the locale's country prints on it, else A4.

    The country is that of LC_PAPER, LC_ALL or LANG, as POSIX names locales: language_COUNTRY.encoding.
    """
    if units is not None:
        return "letter" if units == "in" else "a4"
    locale = next((v for k in ("LC_ALL", "LC_PAPER", "LANG") if (v := environment.get(k))), "")
    country = locale.partition(".")[0].partition("@")[0].partition("_")[2]
    return "letter" if country.upper() in _LETTER else "a4"


def _refuse_odd_name(source: Path) -> None:
    """The name goes into files that hold text: what is no text can't. Raises JobError."""
    try:
        str(source).encode()
    except UnicodeEncodeError as error:
        raise JobError(f"{shown(source)}: its name is not text in UTF-8: rename it.") from error


def _lay_over(data: dict[str, Any], given: Mapping[str, Any], units: Units | None) -> dict[str, str]:
    """Put what flags say into a job's plain data; returns what to call the settings that came from one."""
    called: dict[str, str] = {}
    known = {flag.key: flag for flag in flags(writing=True)}
    if unknown := sorted(set(given) - set(known)):
        raise JobError(f"{unknown[0]}: there is no such setting; the flags of `cutout make --help` are.")
    if "panel" in given:
        asked = given["panel"]
        width, height = parse_size(asked, units, what=PANEL.name) if isinstance(asked, str) else asked
        data["panel"] |= {"width": spelled(width), "height": spelled(height)}
        data["panel"].pop("frame", None)
    for flag in (known[key] for key in given if known[key] is not PANEL):
        *tables, name = flag.path
        table = data
        for step in tables:
            table = _figure(data, flag) if step == FIGURE else table[step]
        if name in ("width", "height") and tables == [FIGURE]:
            table.pop("height" if name == "width" and "height" not in given else "", None)
            table.pop("width" if name == "height" and "width" not in given else "", None)
        table[name] = given[flag.key]
        called[".".join(("figures.0" if s == FIGURE else s) for s in flag.path)] = flag.name
    return called


def _figure(data: dict[str, Any], flag: Flag) -> dict[str, Any]:
    """Flags about the silhouette go to the first figure; a job with several must say it in its file."""
    if len(data[FIGURE]) != 1:
        raise LayoutError(f"{flag.name}: this job has {len(data[FIGURE])} figures; set it in the job file.")
    data[FIGURE] = list(data[FIGURE])
    figure: dict[str, Any] = data[FIGURE][0]
    return figure
