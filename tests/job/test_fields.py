"""Each setting is declared once and whole: kind, meaning, example; what is made from that agrees."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from cutout.job.fields import Field, fields, files_in, lengths_in, type_at, with_files
from cutout.job.file import dump_job, job_from, parse_job, relocated
from cutout.job.options import PANEL, flags
from cutout.job.schema import FacePart, FacesPart, FigurePart, Job, Part

EVERY = list(fields())


def named(field: Field) -> str:
    return ".".join(field.path)


def _steps(path: tuple[str, ...]) -> list[str]:
    """The steps to a place, with one for the entry of each list that is passed."""
    lists = {f.path for f in EVERY if f.kind == "tables"}
    steps: list[str] = []
    for n, step in enumerate(path, 1):
        steps += [step, "0"] if path[:n] in lists and n < len(path) else [step]
    return steps


def under(path: tuple[str, ...], value: object) -> dict[str, object]:
    """The plain data of a job that sets one field, with what the tables and lists above it need besides."""
    data: object = value
    for n in range(len(path) - 1, -1, -1):
        data = {path[n]: data}
        above = ".".join(_steps(path[:n]))
        declared = next((f for f in EVERY if f.path == path[:n]), None)
        if declared is not None:
            needed = {
                f.name: tomllib.loads(f"v = {f.example}")["v"]
                for f in EVERY
                if f.path[:-1] == path[:n] and f.required and f.name != path[n]
            }
            data = {**needed, **data}
            data = [data] if declared.kind == "tables" else data
        assert type_at(above) is not None or n == 0
    assert isinstance(data, dict)
    return data


@pytest.mark.parametrize("field", EVERY, ids=named)
def test_a_setting_has_a_meaning_in_a_sentence_and_an_example_that_is_taken(field: Field) -> None:
    assert re.fullmatch(r"[A-Za-z].{2,130}\.", field.meaning), field.meaning
    value = tomllib.loads(f"v = {field.example}")["v"]
    job = job_from(under(field.path, value))
    assert parse_job(dump_job(job)) == job


def test_flags_are_those_of_the_schema_and_each_is_one_setting() -> None:
    every = list(flags(writing=True))
    assert len({f.key for f in every}) == len(every)
    declared = {field.flag for field in EVERY if field.flag}
    assert {f.name for f in every} - {PANEL.name} == declared
    assert {f.key for f in every} - {f.key for f in flags(writing=False)} == {
        "gcode",
        "dxf_version",
        "film",
        "mat",
        "outline",
    }


def test_the_place_of_a_value_says_that_it_is_a_length_never_its_name() -> None:
    """`sheet` of a figure is a size, `sheet` of the backing a name; `tab_width` is a length like any other."""
    lengths = {named(f) for f in EVERY if f.kind == "length"}
    assert {"router.tab_width", "router.safe_height", "template.line", "saw.kerf"} <= lengths
    assert not {"backing.sheet", "panel.moisture_change", "figures.turn", "template.paper"} & lengths
    job = job_from({"router": {"tab_width": "8mm"}, "backing": {"sheet": "plywood"}})
    assert ("router.tab_width", 8.0) in list(lengths_in(job))


FACES = Job(
    figures=(FigurePart(source="a.svg"), FigurePart(text="Inn", font="b.ttf")),
    faces=FacesPart(back=FacePart(figures=(FigurePart(source="c.svg"),))),
)


def test_files_are_found_and_renamed_on_the_faces_too() -> None:
    assert files_in(FACES) == ("a.svg", "b.ttf", "c.svg")
    assert files_in(with_files(FACES, lambda name: f"new-{name}")) == ("new-a.svg", "new-b.ttf", "new-c.svg")


def test_a_job_written_elsewhere_still_finds_the_figures_of_its_faces(tmp_path: Path) -> None:
    moved = relocated(FACES, tmp_path / "here", tmp_path / "there" / "deep")
    assert files_in(moved) == ("../../here/a.svg", "../../here/b.ttf", "../../here/c.svg")


def test_every_table_is_frozen_and_refuses_what_it_does_not_know() -> None:
    for model in Part.__subclasses__():
        assert model.model_config.get("frozen")
        assert model.model_config.get("extra") == "forbid"
