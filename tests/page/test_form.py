"""The form made from the schema: every setting of a job file has a field, and closed ones say why."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from cutout.job.fields import fields, files_in
from cutout.job.file import load_job
from cutout.job.schema import FigurePart, Job
from cutout.page.changes import Change, changed
from cutout.page.closed import closed, decided
from cutout.page.examples import EXAMPLES, example
from cutout.page.form import DRAWERS, FIRST, WORDS, form
from cutout.page.room import GAP, free_room, overlaps
from cutout.page.start import empty

ROOT = Path(__file__).parents[2]


def entries() -> dict[str, dict[str, Any]]:
    return {entry["path"]: entry for entry in form()}


def test_every_setting_of_the_schema_has_a_field() -> None:
    plain = [entry["path"].replace(".*", "") for entry in form()]
    assert plain == [".".join(field.path) for field in fields()]


def test_what_the_form_says_of_settings_is_about_settings_there_are() -> None:
    paths = set(entries())
    assert set(WORDS) <= paths
    assert paths >= FIRST
    assert set(DRAWERS) <= set(Job.model_fields)


def test_a_setting_of_several_values_has_a_label_for_each() -> None:
    found = entries()
    assert found["panel.frame.reach"]["parts"] == ["left", "right", "top", "bottom"]
    assert found["figures.*.at"]["parts"] == ["from the left", "from the bottom"]
    assert found["template.print_scale"]["kind"] == "number"
    assert found["figures.*.corners"]["parts"] == []
    assert found["mend.without"]["kind"] == "places"
    assert found["mend.corners"]["group"] == "more"
    assert found["figures.*.corners"]["group"] == "clean"


def held(job: Job, path: str) -> Any:
    """What plain data of a job hold at a path; None where there is nothing."""
    found: Any = job.model_dump(mode="json")
    for step in path.split("."):
        if isinstance(found, list):
            found = found[int(step)] if int(step) < len(found) else None
        else:
            found = (found or {}).get(step)
    return found


def example_of(entry: dict[str, Any]) -> Any:
    return tomllib.loads(f"x = {entry['example']}")["x"]


@pytest.mark.parametrize("entry", form(), ids=lambda entry: entry["path"])
def test_the_example_of_each_setting_can_be_set(entry: dict[str, Any]) -> None:
    """Whatever a field begins with or suggests is taken by the job, at the place the field stands for."""
    job = empty("mm")
    if entry["kind"] == "table" and not entry["switched"]:
        return
    figure = FigurePart().model_copy(update={"source": "a.png", "width": 100.0})
    start = job.model_copy(update={"figures": (figure,)})
    # Every table around it that is there only where it is wanted is switched on first, every list gets an entry.
    steps = []
    for other in form():
        if not entry["path"].startswith(f"{other['path']}.") or other["path"] == "figures":
            continue
        if other["kind"] == "tables" or other["switched"]:
            steps.append(Change(path=other["path"].replace("*", "0"), value=example_of(other)))
    value = example_of(entry)
    path = entry["path"].replace("*", "0")
    before = changed(start, steps)
    after = changed(before, [Change(path=path, value=value)])
    # What a setting begins with may be its example: then taking it changes nothing.
    same = after.model_dump(mode="json") == before.model_dump(mode="json")
    assert not same or held(after, path) is not None


def test_a_frame_closes_the_size_and_says_what_it_comes_to() -> None:
    job = empty("mm")
    assert "panel.width" not in closed(job)
    framed = changed(
        job, [Change(path="panel.frame", value={"opening": ["560mm", "416mm"], "reveal": "3mm"})]
    )
    assert "frame" in closed(framed)["panel.height"]
    # By hand: the opening less a reveal of 3 mm on either side.
    assert decided(framed) == {"panel.width": "554 mm", "panel.height": "410 mm"}


def test_sheet_goods_have_no_grain_field_and_wood_no_limit_of_sheets() -> None:
    job = empty("mm")
    assert "panel.grain" not in closed(job)
    assert "limits.web_sheet" in closed(job)
    ply = changed(job, [Change(path="panel.wood", value="plywood")])
    assert {"panel.grain", "panel.boards", "limits.web_along", "limits.web_across"} <= set(closed(ply))
    assert "limits.web_sheet" not in closed(ply)


def test_letters_close_what_belongs_to_pictures_and_the_other_way_round() -> None:
    job = empty("mm")
    both = [{"text": "Inn", "font": "a.ttf"}, {"source": "b.png", "width": "90mm"}]
    found = closed(changed(job, [Change(path="figures", value=both)]))
    assert {"figures.0.threshold", "figures.0.source", "figures.1.font", "figures.1.text"} <= set(found)
    assert "figures.1.threshold" not in found


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_examples_are_the_ones_in_the_folder_of_examples(name: str) -> None:
    job, files = example(name)
    folder = ROOT / "examples" / name
    assert job == load_job(folder / "job.toml")
    assert files == {file: (folder / file).read_bytes() for file in files_in(job)}


def test_an_example_not_offered_is_not_there() -> None:
    with pytest.raises(KeyError):
        example("../heron-shutter")


@given(
    st.floats(20, 300),
    st.floats(20, 300),
    st.lists(
        st.tuples(st.floats(0, 400), st.floats(0, 600), st.floats(10, 90), st.floats(10, 90)), max_size=5
    ),
)
@settings(max_examples=60, deadline=None)
def test_free_room_is_free_and_on_the_panel(
    wide: float, tall: float, taken: list[tuple[float, float, float, float]]
) -> None:
    boxes = [(x, y, x + w, y + h) for x, y, w, h in taken]
    found = free_room((wide, tall), boxes, (0, 0, 500, 700))
    if found is None:
        return
    (x, y), share = found
    half = (wide * share / 2 + GAP - 0.1, tall * share / 2 + GAP - 0.1)
    place = box(x - half[0], y - half[1], x + half[0], y + half[1])
    assert box(0, 0, 500, 700).buffer(0.1).contains(place)
    assert not any(place.buffer(-0.1).intersects(box(*other)) for other in boxes)


def test_where_there_is_no_room_that_is_said() -> None:
    assert free_room((100, 100), [(0, 0, 500, 700)], (0, 0, 500, 700)) is None
    found = free_room((100, 100), [], (0, 0, 500, 700))
    assert found is not None
    assert found[1] == 1.0


def test_figures_in_touch_do_not_overlap() -> None:
    assert overlaps([box(0, 0, 1, 1), box(1, 0, 2, 1), box(0.5, 0.5, 3, 3)]) == [(0, 2), (1, 2)]
