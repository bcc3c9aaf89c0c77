"""What the schema says of the values in a job: which are lengths, which name files, what each one means.

A job's data are walked beside the types that declare them, so that the place of a value decides what it is, never
its name.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel

from cutout.job.schema import FILE, LENGTH, Job, Kind

M = TypeVar("M", bound=BaseModel)
Change = Callable[[Kind | None, Any, str], Any]
"""Called with what a value is, the value, and the name of the setting it belongs to; returns the new value."""


@dataclass(frozen=True, slots=True)
class Field:
    """One setting. path: its tables and name; entries of a list stand under the list's own path.

    kind: length, file, number, whole number, yes or no, text, choice or list. choices: what a choice may be.
    """

    path: tuple[str, ...]
    kind: str
    default: Any
    required: bool
    meaning: str
    example: str
    flag: str | None
    choices: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The setting's own name."""
        return self.path[-1]


@lru_cache(maxsize=64)
def hints(model: type[BaseModel]) -> dict[str, Any]:
    """The full types of a table's settings by name."""
    return get_type_hints(model, include_extras=True)


def model_in(annotation: Any) -> type[BaseModel] | None:
    """The table a type holds, however deep in options and lists."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := model_in(a)) is not None), None)


def kind_in(annotation: Any) -> Kind | None:
    """What a single value of a type is: the mark among its annotations, those of lists left out."""
    if get_origin(annotation) is Annotated:
        inner, *marks = get_args(annotation)
        return next((m for m in marks if isinstance(m, Kind)), None) or kind_in(inner)
    if _is_union(annotation):
        return next((k for a in get_args(annotation) if (k := kind_in(a)) is not None), None)
    return None


def words_in(annotation: Any) -> tuple[str, ...]:
    """The words a value of a type may be."""
    if get_origin(annotation) is Literal:
        return tuple(str(a) for a in get_args(annotation))
    if get_origin(annotation) is Annotated:
        return words_in(get_args(annotation)[0])
    return tuple(w for a in get_args(annotation) for w in words_in(a)) if _is_union(annotation) else ()


def type_at(path: str) -> Any:
    """The type of the setting at a path like figures.0.width; None where there is none such."""
    found: Any = Job
    for step in path.split("."):
        found = entry_of(found, step) if step.isdecimal() or step == "+" else _setting_of(found, step)
    return found


def entry_of(annotation: Any, step: str | int) -> Any:
    """The type of an entry of a list."""
    inner = _list_in(annotation)
    arguments = get_args(inner) if inner is not None else ()
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        return arguments[0]
    n = int(step) if str(step).isdecimal() else 0
    return arguments[n] if n < len(arguments) else None


def mapped(annotation: Any, value: Any, change: Change, name: str = "") -> Any:
    """A value, plain data or typed, with every single value in it changed; lists stay lists, tables tables."""
    if isinstance(value, BaseModel):
        of = hints(type(value))
        return value.model_copy(
            update={
                n: mapped(of[n], v, change, n)
                for n in type(value).model_fields
                if (v := getattr(value, n)) is not None
            }
        )
    if isinstance(value, Mapping):
        model = model_in(annotation)
        of = hints(model) if model is not None else {}
        return {k: mapped(of.get(k), v, change, str(k)) for k, v in value.items()}
    if isinstance(value, list | tuple):
        entries = (mapped(entry_of(annotation, n), v, change, name) for n, v in enumerate(value))
        return type(value)(entries)
    is_word = isinstance(value, str) and value in words_in(annotation)
    return change(None if is_word else kind_in(annotation), value, name)


def with_files(job: Job, rename: Callable[[str], str]) -> Job:
    """The job with every file it names, on whichever face, called otherwise."""
    return changed(job, lambda kind, value, _: rename(value) if kind == FILE else value)


def files_in(job: Job) -> tuple[str, ...]:
    """Names of the files the job is read from, each once, in its order."""
    found: dict[str, None] = {}
    with_files(job, lambda name: found.setdefault(name) or name)
    return tuple(found)


def changed(job: M, change: Change) -> M:
    """A table with every single value in it changed."""
    after: M = mapped(type(job), job, change)
    return after


def lengths_in(job: Job) -> Iterator[tuple[str, float]]:
    """Every length of a job with its path, like figures.0.width."""
    yield from _lengths(Job, job, "")


def _lengths(annotation: Any, value: Any, path: str) -> Iterator[tuple[str, float]]:
    if isinstance(value, BaseModel):
        of = hints(type(value))
        for name in type(value).model_fields:
            yield from _lengths(of[name], getattr(value, name), f"{path}.{name}" if path else name)
    elif isinstance(value, list | tuple):
        for n, inner in enumerate(value):
            yield from _lengths(entry_of(annotation, n), inner, f"{path}.{n}")
    elif kind_in(annotation) == LENGTH and isinstance(value, float):
        yield path, value


def fields(model: type[BaseModel] = Job, at: tuple[str, ...] = ()) -> Iterator[Field]:
    """Every setting of a table and of the tables in it, in order; a table's own line comes before its settings."""
    of = hints(model)
    for name, info in model.model_fields.items():
        inner = model_in(of[name])
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        flag = extra.get("flag")
        yield Field(
            (*at, name),
            _kind_word(of[name]),
            None if info.is_required() else info.get_default(),
            info.is_required(),
            info.description or "",
            str((info.examples or [""])[0]),
            str(flag) if flag else None,
            words_in(of[name]),
        )
        if inner is not None:
            yield from fields(inner, (*at, name))


def _kind_word(annotation: Any) -> str:
    if _list_in(annotation) is not None:
        inner = entry_of(annotation, 0)
        return "tables" if model_in(annotation) else f"list of {_kind_word(inner).removesuffix('s')}s"
    if model_in(annotation) is not None:
        return "table"
    if (kind := kind_in(annotation)) is not None:
        return kind.name
    plain = _plain_types(annotation)
    for type_, word in ((bool, "yes or no"), (int, "whole number"), (float, "number"), (str, "text")):
        if type_ in plain:
            return word
    return "choice"


def _plain_types(annotation: Any) -> set[Any]:
    if get_origin(annotation) is Annotated:
        return _plain_types(get_args(annotation)[0])
    if _is_union(annotation):
        return {t for a in get_args(annotation) for t in _plain_types(a)}
    return {annotation} if isinstance(annotation, type) else set()


def _setting_of(annotation: Any, name: str) -> Any:
    model = model_in(annotation) if annotation is not None and _list_in(annotation) is None else None
    return hints(model).get(name) if model is not None else None


def _list_in(annotation: Any) -> Any:
    if get_origin(annotation) is tuple:
        return annotation
    if get_origin(annotation) is Annotated or _is_union(annotation):
        return next((t for a in get_args(annotation) if (t := _list_in(a)) is not None), None)
    return None


def _is_union(annotation: Any) -> bool:
    return get_origin(annotation) in (Union, types.UnionType)
