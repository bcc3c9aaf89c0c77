"""Writes reference/settings.md from the code: commands, options, every setting of a job file, limits."""

from __future__ import annotations

from pathlib import Path

import click
from pydantic import BaseModel

from cutout.cli import cli
from cutout.job.fields import Field, fields, hints, model_in
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
        for option in command.get_params(click.Context(command)):
            if isinstance(option, click.Option) and option.name != "help":
                flags = ", ".join(f"`{o}`" for o in (*option.opts, *option.secondary_opts))
                kind = f" {option.metavar}" if option.metavar else ""
                lines.append(f"| {flags}{kind.replace('|', ' or ')} | {_words(option.help)} |")
        lines.append("")
    return lines


def _job() -> list[str]:
    lines = [
        "## Job file",
        "",
        "TOML; lengths as text with a unit, or bare numbers where `units` is set. Unset settings keep their default.",
        "",
    ]
    for model, at in tables():
        lines += [f"### {at}", "", _words(model.__doc__), ""]
        lines += ["| setting | meaning | kind | default | example |", "|---|---|---|---|---|"]
        lines += [_row(field) for field in fields(model) if len(field.path) == 1]
        lines.append("")
    return lines


def tables() -> list[tuple[type[BaseModel], str]]:
    """Each table once, with its name in a job file."""
    found: dict[type[BaseModel], str] = {Job: "the job itself"}
    waiting: list[tuple[type[BaseModel], str]] = [(Job, "")]
    while waiting:
        model, at = waiting.pop(0)
        for name, annotation in hints(model).items():
            inner = model_in(annotation)
            if inner is not None and inner not in found:
                path = f"{at}.{name}" if at else name
                found[inner] = f"[{path}]"
                waiting.append((inner, path))
    return list(found.items())


def _row(field: Field) -> str:
    cells = (
        f"`{field.name}`",
        field.meaning,
        _kind(field),
        _default(field),
        f"`{field.name} = {field.example}`",
    )
    return "| " + " | ".join(cell.replace("|", "or") for cell in cells) + " |"


def _kind(field: Field) -> str:
    words = [w for w in field.choices if w]
    if field.kind == "choice":
        return " or ".join(f'"{w}"' for w in words)
    return f"{field.kind} or " + " or ".join(f'"{w}"' for w in words) if words else field.kind


def _default(field: Field) -> str:
    if field.required:
        return "required"
    if field.kind in ("table", "tables"):
        return "none" if field.default in (None, ()) else "see there"
    if field.default is None:
        return "unset"
    if field.kind == "length" and isinstance(field.default, float):
        return f"{field.default:g} mm"
    return f"`{str(field.default).lower() if isinstance(field.default, bool) else field.default}`"


def _limits() -> list[str]:
    lines = ["## Limits", "", "| limit | default | unit | where it comes from |", "|---|---|---|---|"]
    for name, (unit, origin) in Limits.origins().items():
        lines.append(f"| {name} | {getattr(Limits(), name):g} | {unit} | {origin} |")
    return lines


def _words(text: str | None) -> str:
    return " ".join((text or "").split())


if __name__ == "__main__":
    (Path(__file__).parent / "reference" / "settings.md").write_text(reference(), "utf-8")
