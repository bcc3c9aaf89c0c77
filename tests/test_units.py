from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import cutout
from cutout.errors import UnitError
from cutout.units import (
    Units,
    count,
    format_length,
    format_minutes,
    format_rule,
    format_size,
    parse_length,
    parse_positive,
    parse_size,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("400mm", 400.0),
        ("40cm", 400.0),
        ("40 cm", 400.0),
        ("0.4m", 400.0),
        ("40,5 cm", 405.0),
        ("18in", 457.2),
        ('14-1/2"', 368.3),
        ("14-1/2in", 368.3),
        ("14 1/2 in", 368.3),
        ("14½in", 368.3),
        ("½ inch", 12.7),
        ('1/8"', 3.175),
        ("2'6\"", 762.0),
        ("2' 6-1/2\"", 774.7),
        ("2ft 6in", 762.0),
        ("2'", 609.6),
        ("6 feet 2", 1879.6),
        (".5in", 12.7),
        ("+3mm", 3.0),
        ("-3mm", -3.0),
        ("12″", 304.8),
    ],
)
def test_lengths_as_people_write_them(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("400", "give a unit"),
        ("14-1/2", "give a unit"),
        ("ten inches", "not a length"),
        ("", "not a length"),
        ("mm", "not a length"),
        ("1/0in", "divides by zero"),
        ("3 furlongs", "unknown unit"),
        ("1e3mm", "not a length"),
        ("nan mm", "not a length"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(text: str, part: str) -> None:
    with pytest.raises(UnitError, match=part) as caught:
        parse_length(text, what="width")
    assert str(caught.value).startswith("width ")
    assert "\n" not in str(caught.value)


def test_a_bare_number_takes_the_default_unit() -> None:
    assert parse_length("18", "in") == pytest.approx(457.2)
    assert parse_length("18", "mm") == 18.0
    assert parse_length("18in", "mm") == pytest.approx(457.2)


@pytest.mark.parametrize("text", ["0mm", "-5mm", "0in"])
def test_positive_means_more_than_zero(text: str) -> None:
    with pytest.raises(UnitError, match="more than zero"):
        parse_positive(text)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("500x700mm", (500.0, 700.0)),
        ("500mm x 700", (500.0, 700.0)),
        ("20in x 30in", (508.0, 762.0)),
        ('18"x24"', (457.2, 609.6)),
        ("14-1/2x20in", (368.3, 508.0)),
        ("2'6\" × 4'", (762.0, 1219.2)),
        ("50cm x 20in", (500.0, 508.0)),
    ],
)
def test_sizes(text: str, size: tuple[float, float]) -> None:
    assert parse_size(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["500mm", "500x", "x", "500x700", "1x2x3mm", "0x5mm"])
def test_sizes_that_are_none(text: str) -> None:
    with pytest.raises(UnitError):
        parse_size(text)


@pytest.mark.parametrize(
    ("mm", "units", "text"),
    [
        (368.3, "mm", "368 mm"),
        (3.175, "mm", "3.2 mm"),
        (99.96, "mm", "100 mm"),
        (0.25, "mm", "0.25 mm"),
        (10.0, "mm", "10 mm"),
        (-0.001, "mm", "0 mm"),
        (368.3, "in", "14-1/2 in"),
        (25.4, "in", "1 in"),
        (3.175, "in", "1/8 in"),
        (0.1, "in", "0.004 in"),
        (-12.7, "in", "-1/2 in"),
        (0.0, "in", "0 in"),
    ],
)
def test_lengths_for_people(mm: float, units: Units, text: str) -> None:
    assert format_length(mm, units) == text


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (17 + 1 / 64, "17 in"),
        (203 + 19 / 64, "203 in"),
        (1 + 1 / 3, "1-11/32 in"),
        (2.5, "2-1/2 in"),
        (0.0, "0 in"),
    ],
)
def test_a_length_to_measure_has_no_sixty_fourths(inches: float, text: str) -> None:
    assert format_rule(inches * 25.4, "in") == text
    assert format_rule(inches * 25.4, "mm") == format_length(inches * 25.4, "mm")


def test_a_size_names_its_unit_once() -> None:
    assert format_size(500, 700) == "500 x 700 mm"
    assert format_size(368.3, 508.0, "in") == "14-1/2 x 20 in"


@given(st.floats(-1e5, 1e5), st.sampled_from(["mm", "in"]))
@settings(max_examples=200, deadline=None)
def test_what_is_written_reads_back_as_near_as_it_is_written(mm: float, units: Units) -> None:
    size = abs(mm)
    half_step = {
        "mm": 0.5 if size >= 99 else 0.05 if size >= 0.99 else 0.005,
        "in": 25.4 / 128,
    }[units]
    back = parse_length(format_length(mm, units))
    assert abs(back - mm) <= half_step + 1e-9
    assert back == 0 or math.copysign(1, back) == math.copysign(1, mm)


@given(st.floats(1.0, 1e4), st.floats(1.0, 1e4), st.sampled_from(["mm", "in"]))
@settings(max_examples=100, deadline=None)
def test_a_written_size_reads_back(width: float, height: float, units: Units) -> None:
    step = 0.5 if units == "mm" else 25.4 / 128
    first, second = parse_size(format_size(width, height, units))
    assert abs(first - width) <= step + 1e-9
    assert abs(second - height) <= step + 1e-9


@given(st.integers(0, 200), st.integers(0, 63))
@settings(max_examples=100, deadline=None)
def test_every_sixty_fourth_of_an_inch_is_exact(whole: int, part: int) -> None:
    mm = (whole + part / 64) * 25.4
    assert parse_length(format_length(mm, "in")) == pytest.approx(mm, abs=1e-9)


def test_count_names_one_and_many() -> None:
    assert [count(n, "hole") for n in (0, 1, 2)] == ["0 holes", "1 hole", "2 holes"]
    assert [count(n, "pass", "passes") for n in (1, 3)] == ["1 pass", "3 passes"]


def test_an_inch_is_said_once() -> None:
    """25.4 stands in units.py and nowhere else in the program."""
    source = Path(cutout.__file__).parent
    files = source.rglob("*.py")
    assert [f.name for f in files if re.search(r"\b25\.4\b", f.read_text("utf-8"))] == ["units.py"]


def test_time_as_people_say_it() -> None:
    said = {0.2: "1 min", 12.4: "12 min", 14.6: "15 min", 17.0: "15 min", 58.0: "1 h", 81.0: "1 h 20 min"}
    assert {minutes: format_minutes(minutes) for minutes in said} == said
