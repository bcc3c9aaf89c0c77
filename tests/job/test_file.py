"""Job files: what is written reads back the same, comments stay, errors name line and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.errors import JobError
from cutout.job.file import dump_job, load_job, parse_job, relocated
from cutout.job.schema import (
    ArrangePart,
    BridgePart,
    FigurePart,
    FramePart,
    HolePart,
    Job,
    LimitsPart,
    MendPart,
    PanelPart,
    RouterPart,
    SawPart,
    TemplatePart,
    ZonePart,
)

TEXT = """\
# a shutter, invented
units = "in"
keep = "panel"   # cut out
[panel]
width = "20in"
height = 30      # bare number, in the units above
thickness = "3/4in"
[[figures]]
source = "heron.svg"   # drawn by hand
width = "14-1/2in"
at = ["10in", "15in"]
turn = 0.0
[saw]
blade = "jigsaw"
"""

lengths = st.floats(0.5, 2000.0).map(lambda x: round(x, 4))
places = st.tuples(lengths, lengths)
names = st.sampled_from(["a.svg", "dir/b.png", 'odd "name".svg', "ünï.dxf"])
figures = st.builds(
    FigurePart.model_construct,
    source=names,
    width=lengths | st.none(),
    at=places | st.none(),
    turn=st.floats(-180, 180),
    mirror=st.booleans(),
    stand=st.sampled_from(["centre", "top left"]),
    threshold=st.none() | st.integers(0, 255) | st.just("local"),
    repeat=st.integers(1, 5),
)
jobs = st.builds(
    Job.model_construct,
    title=st.none() | st.text(st.characters(exclude_categories=["C"]), max_size=20),
    units=st.sampled_from([None, "mm", "in"]),
    keep=st.sampled_from(["panel", "figure", "both"]),
    panel=st.builds(
        PanelPart.model_construct,
        width=lengths,
        height=lengths,
        thickness=lengths,
        grain=st.none() | st.just("none") | st.floats(0, 180),
        frame=st.none() | st.builds(FramePart.model_construct, opening=places, reveal=lengths),
        zones=st.lists(
            st.builds(ZonePart.model_construct, name=st.just("hinge"), at=places, size=places), max_size=2
        ).map(tuple),
    ),
    figures=st.lists(figures, max_size=3).map(tuple),
    saw=st.builds(SawPart.model_construct, turning_radius=lengths | st.none(), kerf=lengths | st.none()),
    router=st.builds(RouterPart.model_construct, gcode=st.booleans()),
    template=st.builds(
        TemplatePart.model_construct, paper=st.sampled_from(["a4", "letter"]), back=st.booleans()
    ),
    mend=st.builds(
        MendPart.model_construct,
        ease=st.booleans(),
        bridges=st.lists(
            st.builds(BridgePart.model_construct, at=places, angle=st.floats(0, 180), width=lengths),
            max_size=2,
        ).map(tuple),
        without=st.lists(places, max_size=2).map(tuple),
    ),
    holes=st.lists(st.builds(HolePart.model_construct, at=places, diameter=lengths), max_size=2).map(tuple),
    arrange=st.none()
    | st.builds(ArrangePart.model_construct, line=st.just("row"), gap=st.just("even") | lengths),
    limits=st.builds(
        LimitsPart.model_construct, web_along=st.none() | st.floats(0.1, 4), edge=st.none() | lengths
    ),
)


@settings(deadline=None, max_examples=60)
@given(jobs)
def test_what_is_written_reads_back_the_same(job: Job) -> None:
    again = parse_job(dump_job(job))
    assert_close(again.model_dump(), job.model_dump())


def assert_close(a: object, b: object) -> None:
    """Equal, numbers to a millionth: lengths are written with nine decimals."""
    if isinstance(a, dict) and isinstance(b, dict):
        assert a.keys() == b.keys()
        for key in a:
            assert_close(a[key], b[key])
    elif isinstance(a, list | tuple) and isinstance(b, list | tuple):
        assert len(a) == len(b)
        for x, y in zip(a, b, strict=True):
            assert_close(x, y)
    elif isinstance(a, float) and isinstance(b, float | int):
        assert a == pytest.approx(b, abs=1e-6)
    else:
        assert a == b


def test_an_unchanged_job_keeps_its_text_to_the_letter() -> None:
    assert dump_job(parse_job(TEXT), TEXT) == TEXT


def test_a_change_touches_only_its_own_line() -> None:
    job = parse_job(TEXT)
    changed = job.model_copy(update={"saw": job.saw.model_copy(update={"blade": "coping"})})
    before, after = TEXT.splitlines(), dump_job(changed, TEXT).splitlines()
    assert [a for a, b in zip(before, after, strict=True) if a != b] == ['blade = "jigsaw"']


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "thickness",
            "thicknes",
            'line 7: panel.thicknes: there is no such setting; did you mean "thickness"?',
        ),
        ('"3/4in"', '"18parsec"', "line 7: panel.thickness"),
        ("source", "sauce", 'line 9: figures.1.sauce: there is no such setting; did you mean "source"?'),
        ('keep = "panel"', 'keep = "fish"', "line 3: keep"),
        ('width = "14-1/2in"', 'width = "-3in"', "line 10: figures.1.width"),
        ('units = "in"', "", "line 6: panel.height"),
        ("[saw]", "[saw", "not valid TOML"),
    ],
)
def test_errors_name_the_line_and_what_to_do(old: str, new: str, message: str) -> None:
    with pytest.raises(JobError) as error:
        parse_job(TEXT.replace(old, new, 1), "shutter.toml")
    assert "shutter.toml" in str(error.value)
    assert message in str(error.value)
    assert "\n" not in str(error.value)


def test_a_missing_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"can't be read"):
        load_job(tmp_path / "none.toml")


def test_paths_follow_the_file(tmp_path: Path) -> None:
    job = parse_job(TEXT)
    moved = relocated(job, tmp_path / "a", tmp_path / "a" / "out")
    assert moved.figures[0].source == "../heron.svg"


def test_print_scale_is_bounded_and_kept() -> None:
    job = parse_job("[template]\nprint_scale = [0.994, 0.998]\n")
    assert job.template.print_scale == (0.994, 0.998)
    assert parse_job(dump_job(job)).template.print_scale == (0.994, 0.998)
    with pytest.raises(JobError, match="print_scale"):
        parse_job("[template]\nprint_scale = [0.5, 1.0]\n")
