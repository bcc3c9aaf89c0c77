"""What a command line asks for, as a job. Imports nothing heavy until it is called."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cutout.errors import JobError, LayoutError, shown
from cutout.units import Units, parse_length, parse_positive, parse_size

if TYPE_CHECKING:
    from cutout.job import Job


def asked_for(source: Path, options: dict[str, Any]) -> tuple[Job, Path]:
    """The job of a job file or of a picture with the options laid over it, and the folder its paths start from.

    options: values by name as typed, None where not given. Raises CutoutError.
    """
    from cutout.job import Job
    from cutout.jobfile import job_from, load_job

    given = {k: v for k, v in options.items() if v is not None}
    _refuse_odd_name(source)
    if source.suffix.lower() == ".toml":
        job = load_job(source)
        folder = source.parent
        figures = [figure.model_dump() for figure in job.figures]
    else:
        job, folder, figures = Job(), Path(), [{"source": str(source)}]
    units = given.pop("units", job.units)
    if source.suffix.lower() != ".toml":
        given.setdefault("paper", usual_paper(units, os.environ))
    data = job.model_dump(exclude_none=True)
    data["units"] = units
    data["figures"] = _figures(figures, given, units)
    _lay_over(data, given, units)
    return job_from(data, source.name, bare="mm"), folder


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


_PARTS = {
    "blade": ("saw", "blade"), "drill": ("saw", "drills"), "bit": ("router", "bit"), "gcode": ("router", "gcode"),
    "dxf_version": ("router", "dxf"), "film": ("template", "film"), "paper": ("template", "paper"),
    "back": ("template", "back"), "outline": ("template", "outline"),
    "line_lies": ("template", "line_lies"), "turn_sheets": ("template", "turn"),
    "ease": ("mend", "ease"), "bridge": ("mend", "bridge"),
    "bridge_count": ("mend", "bridge_count"), "wood": ("panel", "wood"),
}  # fmt: skip
_LENGTHS = {
    "turning_radius": ("saw", "turning_radius"), "kerf": ("saw", "kerf"), "thickness": ("panel", "thickness"),
    "bridge_width": ("mend", "bridge_width"), "line": ("template", "line"),
}  # fmt: skip


def _lay_over(data: dict[str, Any], given: dict[str, Any], units: Units | None) -> None:
    for option, (part, name) in _PARTS.items():
        if option in given:
            data[part][name] = given[option]
    for option, (part, name) in _LENGTHS.items():
        if option in given:
            data[part][name] = parse_positive(given[option], units, what=_flag(option))
    if "keep" in given:
        data["keep"] = given["keep"]
    if "mat" in given:
        data["template"]["mat"] = parse_size(given["mat"], units, what="--mat")
    if "panel" in given:
        data["panel"]["width"], data["panel"]["height"] = parse_size(given["panel"], units, what="--panel")
        data["panel"].pop("frame", None)
    if "print_scale" in given:
        data["template"]["print_scale"] = _print_scale(given["print_scale"])
    if "grain" in given:
        data["panel"]["grain"] = _grain(given["grain"])


def _figures(
    figures: list[dict[str, Any]], given: dict[str, Any], units: Units | None
) -> list[dict[str, Any]]:
    """Options about the silhouette go to the first figure; a job with several must say it in its file."""
    about = {"width", "height", "turn", "mirror", "at", "threshold", "smooth", "invert", "sheet", "corners"}
    wanted = about & set(given)
    if wanted and len(figures) != 1:
        raise LayoutError(
            f"{_flag(min(wanted))}: this job has {len(figures)} figures; set it in the job file."
        )
    if not wanted:
        return figures
    figure = {k: v for k, v in figures[0].items() if v is not None}
    if wanted & {"width", "height"}:
        figure.pop("width", None)
        figure.pop("height", None)
    for side in wanted & {"width", "height"}:
        figure[side] = parse_positive(given[side], units, what=f"--{side}")
    for name in wanted & {"turn", "mirror", "smooth", "invert"}:
        figure[name] = given[name]
    if "at" in wanted:
        figure["at"] = _pair(given["at"], units)
    if "threshold" in wanted:
        figure["threshold"] = _threshold(given["threshold"])
    if "sheet" in wanted:
        figure["sheet"] = _sheet(given["sheet"], units)
    if "corners" in wanted:
        figure["corners"] = _corners(given["corners"])
    return [figure]


def _flag(option: str) -> str:
    return "--" + option.replace("_", "-")


def _pair(text: str, units: Units | None) -> tuple[float, float]:
    parts = text.split(",")
    if len(parts) != 2:
        raise LayoutError(f'--at "{text}": write two lengths, like 250mm,300mm.')
    return parse_length(parts[0], units, what="--at"), parse_length(parts[1], units, what="--at")


def _print_scale(text: str) -> list[float]:
    """Along the sheet's short and its long side; one number stands for both."""
    try:
        numbers = [float(part) for part in text.lower().split("x")]
    except ValueError:
        numbers = []
    if len(numbers) not in (1, 2) or not all(0.95 <= number <= 1.05 for number in numbers):
        raise LayoutError(
            f'--print-scale "{text}": write what the check square measures over what it should, along the '
            "sheet's short and long side, like 0.994x0.998; farther off than 5 % is a setting of the printer."
        )
    return [numbers[0], numbers[-1]]


def _grain(text: str) -> float | str:
    if text.strip().lower() == "none":
        return "none"
    try:
        return float(text.strip().removesuffix("deg"))
    except ValueError:
        raise LayoutError(f'--grain "{text}": write degrees, like 90, or none.') from None


def _threshold(text: str) -> int | str:
    if text == "local":
        return text
    if text.isdigit() and int(text) <= 255:
        return int(text)
    raise LayoutError(f'--threshold "{text}": write a grey from 0 to 255, or local.')


def _sheet(text: str, units: Units | None) -> tuple[float, float]:
    from cutout.kit.paper import paper

    found = paper(text, units)
    if found.height is None:
        raise LayoutError("--sheet: a roll has no height: give a paper or a size like 210x297mm.")
    return found.width, found.height


def _corners(text: str) -> list[tuple[float, float]]:
    try:
        numbers = [float(part) for part in text.replace(";", ",").split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != 8:
        raise LayoutError(
            f'--corners "{text}": write four points, x,y,x,y,x,y,x,y in pixels from the top left.'
        )
    return list(zip(numbers[::2], numbers[1::2], strict=True))
