"""Findings, steps and notes in words: every sort has its sentence, and units are the reader's alone."""

from __future__ import annotations

import ast
import json
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from shapely import box

import cutout
from cutout import door
from cutout.check.tight import Way
from cutout.finding import Facts, Finding
from cutout.say import SENTENCES, said
from cutout.say.words import Words, says
from cutout.write.result import result_json
from cutout.write.work import Work

SOURCE = Path(cutout.__file__).parent
FINDERS = ("check", "amend", "saw", "route", "measure", "finding.py")
"""What finds things: nothing there says a length."""


def sorts(of: type[Facts] = Facts) -> Iterator[type[Facts]]:
    for sort in of.__subclasses__():
        yield sort
        yield from sorts(sort)


def test_every_sort_of_finding_has_its_sentence() -> None:
    assert door.__name__  # Everything that finds anything is imported by then.
    # Slots make a dataclass anew: the one its module has counts.
    made = {
        getattr(sys.modules[s.__module__], s.__name__) for s in sorts() if s.__module__.startswith("cutout.")
    }
    made -= {s for s in made if issubclass(s, Way)}
    assert len(made) > 30
    assert made == {s for s in SENTENCES if s.__module__.startswith("cutout.")}


def test_a_sort_is_worded_once() -> None:
    sort = next(iter(SENTENCES))
    with pytest.raises(ValueError, match="already"):
        says(sort)(SENTENCES[sort])


def test_a_sentence_that_asks_for_a_length_not_found_is_a_fault() -> None:
    with pytest.raises(ValueError, match="does not have"):
        Words("mm").length(None)


def test_what_finds_says_no_length() -> None:
    files = [
        f for name in FINDERS for f in ([SOURCE / name] if "." in name else (SOURCE / name).rglob("*.py"))
    ]
    assert len(files) > 60
    for file in files:
        taken = {
            alias.name
            for node in ast.walk(ast.parse(file.read_text("utf-8")))
            if isinstance(node, ast.ImportFrom) and node.module == "cutout.units"
            for alias in node.names
        }
        assert not taken & {"Units", "format_length", "format_size", "format_rule"}, file


WINDOWS = shapely.union_all([box(0, 0, 28, 40), box(31, 0, 60, 40)])
"""Two panes with too thin a web between them."""

SETTINGS = {
    "panel": "100x80mm",
    "width": "60mm",
    "blade": "scroll-medium",
    "drill": "metric",
    "bit": "6mm",
    "paper": "a4",
}


@pytest.fixture(scope="module")
def work() -> Work:
    return cutout.make(WINDOWS, units="mm", **SETTINGS)


def test_the_same_work_is_told_in_both_units_and_nothing_is_worked_out_anew(
    work: Work, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told in inches it says what the job made in inches says, word for word."""
    made = cutout.make(WINDOWS, units="in", **SETTINGS)

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("worked out anew")

    for place in (
        "cutout.check.run",
        "cutout.run.plan",
        "cutout.run.prove",
        "cutout.run.mend",
        "cutout.run.tool_path",
    ):
        monkeypatch.setattr(place, refuse)
    told = {units: json.loads(result(work.in_units(units))) for units in ("mm", "in")}
    wanted = json.loads(result(made))
    for part in ("findings", "steps", "notes"):
        assert told["in"][part] == wanted[part]
        assert told["in"][part] != told["mm"][part] or part == "notes"
    numbers = ("kind", "severity", "at", "size", "limit", "opening", "cleared")
    for inch, mm in zip(told["in"]["findings"], told["mm"]["findings"], strict=True):
        assert [inch[k] for k in numbers] == [mm[k] for k in numbers]
        assert " mm" not in inch["text"] + inch["remedy"]


def result(work: Work) -> bytes:
    return result_json(work, {})


def test_a_cleared_finding_left_out_says_so(work: Work) -> None:
    finding: Finding = work.findings[0]
    assert said(replace(finding, left_out=True), "mm").remedy.startswith("It was left out")
    assert said(replace(finding, left_out=True), "mm").text == said(finding, "mm").text
