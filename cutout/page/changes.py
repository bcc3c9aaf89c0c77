"""Changes the page asks for, applied to a job; and a job's lengths as the page shows them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict

from cutout.errors import JobError
from cutout.job.fields import lengths_in, mapped, model_in, type_at
from cutout.job.file import job_from
from cutout.job.schema import LENGTH, Job, Kind
from cutout.units import Units, format_length, parse_length


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
    return {path: format_length(value, units) for path, value in lengths_in(job)}


def _set(data: dict[str, Any], change: Change, units: Units) -> None:
    *way, leaf = change.path.split(".")
    holder: Any = data
    for step in way:
        holder = _inside(holder, step, change.path)
    value = _in_mm(change, units)
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
    if isinstance(holder, dict) and step not in holder and _is_table(path, step):
        # An entry that was just added says only what it was given: a table in it begins with its defaults.
        return holder.setdefault(step, {})
    if isinstance(holder, list) and step.isdecimal() and int(step) < len(holder):
        return holder[int(step)]
    raise JobError(f"{path}: there is no such field.")


def _is_table(path: str, step: str) -> bool:
    """Whether the schema has a table at this step of a path."""
    steps = path.split(".")
    at = next((n for n, name in enumerate(steps) if name == step), len(steps))
    return model_in(type_at(".".join(steps[: at + 1]))) is not None


def _in_mm(change: Change, units: Units) -> Any:
    """The value to set, its lengths, wherever the schema has them in it, as numbers of mm."""

    def parsed(kind: Kind | None, value: Any, name: str) -> Any:
        if kind != LENGTH or not isinstance(value, str):
            return value
        return parse_length(value, units, what=(name or change.path.rpartition(".")[2]).replace("_", " "))

    return mapped(type_at(change.path), change.value, parsed)
