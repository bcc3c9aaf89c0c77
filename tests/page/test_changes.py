"""Changes the page asks for, and lengths as it shows them."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.errors import CutoutError
from cutout.job.fields import files_in
from cutout.job.schema import FigurePart, Job
from cutout.page.changes import Change, changed, shown, turned, with_sizes
from cutout.page.files import distinct, plain_name
from cutout.page.sources import renamed, with_labels
from cutout.page.start import empty, opened, with_picture


def set_one(job: Job, path: str, value: object) -> Job:
    return changed(job, [Change(path=path, value=value)])


@pytest.mark.parametrize(
    ("units", "text", "mm"),
    [
        ("mm", "400", 400.0),
        ("mm", "40cm", 400.0),
        ("in", "14-1/2", 368.3),
        ("in", "400mm", 400.0),
        ("in", "2'6\"", 762.0),
        ("mm", "14-1/2in", 368.3),
    ],
)
def test_bare_numbers_are_in_the_jobs_units(units: str, text: str, mm: float) -> None:
    job = set_one(empty(units), "panel.width", text)  # type: ignore[arg-type]
    assert job.panel.width == pytest.approx(mm)
    assert job.units == units


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("panel.width", "wide", "not a length"),
        ("panel.width", "-3", "more than zero"),
        ("panel.thickness", None, "thickness"),
        ("panel.nothing", 1, "no such"),
        ("figures.0.width", "3", "no such"),
        ("holes.0", None, "no such"),
        ("units", "ell", "units"),
        ("__class__.x", 1, "no such"),
        ("mend.bridge_count", 99, "12"),
        ("", 1, "no such"),
    ],
)
def test_what_makes_no_sense_is_said(path: str, value: object, message: str) -> None:
    with pytest.raises(CutoutError, match=message):
        set_one(empty("mm"), path, value)


def test_lists_grow_change_and_shrink() -> None:
    job = set_one(empty("mm"), "holes.+", {"at": [10, 20], "diameter": "6mm"})
    job = set_one(job, "holes.+", {"at": ["1in", "2in"], "diameter": 3.0})
    assert [(h.at, h.diameter) for h in job.holes] == [((10.0, 20.0), 6.0), ((25.4, 50.8), 3.0)]
    job = set_one(job, "holes.0.at", [11.5, 12])
    assert job.holes[0].at == (11.5, 12.0)
    assert len(set_one(job, "holes.0", None).holes) == 1


@given(st.floats(0.01, 5000), st.sampled_from(["mm", "in"]))
@settings(max_examples=60, deadline=None)
def test_numbers_of_mm_stay_what_they_are(mm: float, units: str) -> None:
    job = set_one(empty(units), "panel.width", mm)  # type: ignore[arg-type]
    assert set_one(job, "panel.height", 1.0).panel.width == mm


def test_lengths_are_shown_in_the_jobs_units() -> None:
    job = set_one(empty("in"), "holes.+", {"at": [25.4, 50.8], "diameter": "1/4in"})
    texts = shown(job)
    assert texts["holes.0.at.0"] == "1 in"
    assert texts["holes.0.diameter"] == "1/4 in"
    assert texts["panel.thickness"] == "3/4 in"
    assert "saw.turning_radius" not in texts


def figure(**given: object) -> Job:
    part = FigurePart().model_copy(update={"source": "source-1", **given})
    return empty("mm").model_copy(update={"figures": (part,)})


def test_only_turning_or_mirroring_counts_as_turned() -> None:
    job = figure(width=100.0)
    assert turned(job, set_one(job, "figures.0.turn", 30)) == (0,)
    assert turned(job, set_one(job, "figures.0.mirror", True)) == (0,)
    assert turned(job, set_one(job, "figures.0.width", 50)) == ()
    assert (
        turned(
            job,
            changed(job, [Change(path="figures.0.turn", value=9), Change(path="figures.0.width", value=9)]),
        )
        == ()
    )


def test_a_turned_figure_keeps_the_field_that_sizes_it() -> None:
    sizes = {0: (80.0, 60.0)}
    assert with_sizes(figure(width=100.0), sizes).figures[0].width == 80.0
    tall = with_sizes(figure(height=100.0), sizes).figures[0]
    assert (tall.width, tall.height) == (None, 60.0)
    assert with_sizes(figure(), sizes).figures[0].width is None


def test_a_new_figure_has_the_size_given_or_its_own() -> None:
    job = empty("mm")
    wide = with_picture(job, "source-1", "a.png", (350.0, None), None).figures[0]
    assert (wide.source, wide.width, wide.height) == ("source-1", 350.0, None)
    drawn = with_picture(job, "source-1", "a.svg", (None, None), None).figures[0]
    assert (drawn.width, drawn.height) == (None, None)


def test_a_replaced_picture_keeps_size_and_place() -> None:
    job = figure(width=123.0, at=(10.0, 20.0), turn=30.0, mirror=True, threshold=90)
    after = with_picture(job, "source-2", "b.png", (10.0, None), 0).figures[0]
    assert (after.source, after.width, after.at, after.turn, after.mirror) == (
        "source-2",
        123.0,
        (10.0, 20.0),
        30.0,
        True,
    )
    assert after.threshold is None


def test_paths_in_a_job_file_become_names_of_ours() -> None:
    job = figure(source="/etc/passwd")
    after, labels = opened(job)
    assert files_in(after) == ("source-1",)
    assert labels == {"source-1": "passwd"}
    assert files_in(renamed(after, {"source-1": "back.png"})) == ("back.png",)
    assert (
        with_labels("source-1: no silhouette in source-12.", labels) == "passwd: no silhouette in source-12."
    )


@given(st.lists(st.text(max_size=30), max_size=6))
@settings(max_examples=80, deadline=None)
def test_names_for_a_download_are_plain_and_distinct(labels: list[str]) -> None:
    names = distinct({f"source-{n}": label for n, label in enumerate(labels)}, ["job.toml", "template.pdf"])
    assert len({name.lower() for name in names.values()}) == len(labels)
    for name in names.values():
        assert name
        assert "/" not in name
        assert "\\" not in name
        assert name not in (".", "..", "job.toml", "template.pdf")
        assert name == plain_name(name)


def test_lengths_are_told_by_their_place_in_the_schema() -> None:
    """A bare number in an inch job is inches wherever the schema has a length, and a name stays a name."""
    job = changed(Job(units="in"), [Change(path="backing", value={"overlap": "1/2"})])
    wanted = {"router.tab_width": "0.1", "template.line": "1/64", "router.safe_height": "1/4"}
    for path, text in wanted.items():
        job = changed(job, [Change(path=path, value=text)])
    assert job.router.tab_width == pytest.approx(2.54)
    assert job.template.line == pytest.approx(25.4 / 64)
    assert job.router.safe_height == pytest.approx(6.35)
    assert job.backing is not None
    assert job.backing.overlap == pytest.approx(12.7)
    job = changed(job, [Change(path="backing.sheet", value="plywood")])
    assert job.backing is not None
    assert job.backing.sheet == "plywood"
    row = changed(job, [Change(path="arrange", value={"line": "row", "gap": "even"})])
    assert changed(row, [Change(path="arrange.gap", value="1")]).arrange.gap == pytest.approx(25.4)  # type: ignore[union-attr]
