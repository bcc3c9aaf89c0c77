"""Changes the page asks for, applied to a job; and a job's lengths as the page shows them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict

from cutout.errors import JobError
from cutout.job.file import job_from
from cutout.job.schema import Job
from cutout.units import Units, format_length, parse_length

_LENGTHS = frozenset(
    {
        "at", "bridge_width", "cap_height", "diameter", "edge", "height", "kerf", "opening", "reach", "reveal",
        "sheet", "size", "speck", "thickness", "tolerance", "turning_radius", "width", "without",
    }
)  # fmt: skip
"""Fields of a job that hold lengths, or lists of them."""


class Change(BaseModel):
    """One field to set: `path` like figures.0.width; a list is extended at `+`; None unsets or removes."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    path: str
    value: Any = None


def changed(job: Job, changes: Sequence[Change]) -> Job:
    """The job after the changes, in order. Bare numbers written as text are in the job's units.

    Raises CutoutError saying which field is wrong.
    """
    data = job.model_dump(mode="json")
    for change in changes:
        _set(data, change, data.get("units") or "mm")
    return job_from(data, "the job", bare="mm")


def turned(before: Job, after: Job) -> tuple[int, ...]:
    """Numbers of the figures that were turned or mirrored and neither replaced nor given another size."""
    if len(before.figures) != len(after.figures):
        return ()
    return tuple(
        n
        for n, (old, new) in enumerate(zip(before.figures, after.figures, strict=True))
        if (old.turn, old.mirror) != (new.turn, new.mirror)
        and (old.source, old.width, old.height) == (new.source, new.width, new.height)
    )


def with_sizes(job: Job, sizes: Mapping[int, tuple[float, float]]) -> Job:
    """The job with figures, by number, given these widths and heights (mm), in the field each has set."""
    figures = list(job.figures)
    for n, (width, height) in sizes.items():
        old = figures[n]
        given = {"width": old.width and width, "height": old.height and height}
        figures[n] = old.model_copy(update=given)
    return job.model_copy(update={"figures": tuple(figures)})


def shown(job: Job) -> dict[str, str]:
    """Every length of the job as people write it, by its path."""
    units = job.units or "mm"
    return {path: format_length(value, units) for path, value in _lengths(job.model_dump(), "", False)}


def _set(data: dict[str, Any], change: Change, units: Units) -> None:
    *way, leaf = change.path.split(".")
    holder: Any = data
    for step in way:
        holder = _inside(holder, step, change.path)
    names = {step for step in (*way, leaf) if not step.isdecimal()}
    value = _in_mm(change.value, units, leaf) if names & _LENGTHS else change.value
    if isinstance(holder, list):
        _set_item(holder, leaf, value, change.path)
    elif isinstance(holder, dict):
        holder[leaf] = value
    else:
        raise JobError(f"{change.path}: there is no such field.")


def _set_item(items: list[Any], leaf: str, value: Any, path: str) -> None:
    if leaf == "+":
        items.append(value)
    elif leaf.isdecimal() and int(leaf) < len(items):
        items[int(leaf) : int(leaf) + 1] = [] if value is None else [value]
    else:
        raise JobError(f"{path}: there is no such entry.")


def _inside(holder: Any, step: str, path: str) -> Any:
    if isinstance(holder, dict) and isinstance(holder.get(step), dict | list):
        return holder[step]
    if isinstance(holder, list) and step.isdecimal() and int(step) < len(holder):
        return holder[int(step)]
    raise JobError(f"{path}: there is no such field.")


def _in_mm(value: Any, units: Units, what: str) -> Any:
    """Lengths written as text, wherever they sit in the value, as numbers of mm."""
    if isinstance(value, str):
        return parse_length(value, units, what=what.replace("_", " ")) if value != "none" else value
    if isinstance(value, list):
        return [_in_mm(item, units, what) for item in value]
    if isinstance(value, dict):
        return {key: _in_mm(v, units, key) if key in _LENGTHS else v for key, v in value.items()}
    return value


def _lengths(value: Any, path: str, is_length: bool) -> Iterator[tuple[str, float]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _lengths(inner, f"{path}.{key}" if path else key, key in _LENGTHS)
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value):
            yield from _lengths(inner, f"{path}.{number}", is_length)
    elif is_length and isinstance(value, float):
        yield path, value
