"""Writes reference.md beside this file from the code: commands, options, job file, limits."""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

import click
from pydantic import BaseModel

from cutout.cli import cli
from cutout.job.schema import Job
from cutout.kit import Limits


def reference() -> str:
    """The whole reference as Markdown."""
    head = ["# Reference", "", "Made from the code by `python docs/reference.py`; do not edit.", ""]
    return "\n".join([*head, *_commands(), *_job(), *_limits(), ""])


def _commands() -> list[str]:
    lines = ["## Commands", ""]
    for name, command in sorted(cli.commands.items()):
        lines += [f"### cutout {name}", "", _words(command.help), "", "| option | meaning |", "|---|---|"]
        for option in command.params:
            if isinstance(option, click.Option):
                flags = ", ".join(f"`{o}`" for o in (*option.opts, *option.secondary_opts))
                kind = f" {option.metavar}" if option.metavar else ""
                lines.append(f"| {flags}{kind.replace('|', ' or ')} | {_words(option.help)} |")
        lines.append("")
    return lines


def _job() -> list[str]:
    lines = [
        "## Job file",
        "",
        "TOML; lengths as text with a unit, or bare numbers where `units` is set.",
        "",
    ]
    seen: list[type[BaseModel]] = [Job]
    for model in seen:
        lines += [f"### {model.__name__}", "", _words(model.__doc__), ""]
        lines += ["| setting | kind | default |", "|---|---|---|"]
        for name, field in model.model_fields.items():
            inner = _model_in(field.annotation)
            if inner is not None and inner not in seen:
                seen.append(inner)
            default = (
                "required" if field.is_required() else "see there" if inner else f"`{field.get_default()!r}`"
            )
            lines.append(f"| {name} | {_kind(model, name)} | {default} |")
        lines.append("")
    return lines


def _kind(model: type[BaseModel], name: str) -> str:
    return str(model.__annotations__[name]).replace("|", "or")


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _model_in(a)) is not None), None)


def _limits() -> list[str]:
    lines = ["## Limits", "", "| limit | default | unit | where it comes from |", "|---|---|---|---|"]
    for name, (unit, origin) in Limits.origins().items():
        lines.append(f"| {name} | {getattr(Limits(), name):g} | {unit} | {origin} |")
    return lines


def _words(text: str | None) -> str:
    return " ".join((text or "").split())


if __name__ == "__main__":
    Path(__file__).with_name("reference.md").write_text(reference(), "utf-8")
