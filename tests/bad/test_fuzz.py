"""Random and damaged input: a CutoutError or a sound result, nothing else.

CUTOUT_FUZZ=N in the environment tries N times as many examples.
"""

from __future__ import annotations

import os
import string
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from cutout.errors import CutoutError, JobError, ReadError, UnitError
from cutout.geom.outline import Outline
from cutout.job.file import dump_job, parse_job
from cutout.job.schema import Job
from cutout.read import read
from cutout.read.options import ReadOptions
from cutout.trace.rings import trace
from cutout.units import parse_length, parse_size
from tests.bad.drawings import HEAD, SQUARE
from tests.bad.jobs import GOOD
from tests.bad.pictures import FORMATS, good

TIMES = int(os.environ.get("CUTOUT_FUZZ", "1"))


def tries(count: int) -> settings:
    return settings(
        max_examples=count * TIMES,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
    )


NUMBERS = st.one_of(
    st.integers(-200, 200).map(str),
    st.floats(-1e3, 1e3).map(lambda v: f"{v:.3g}"),
    st.sampled_from(["0", "-0", "1e9", "-1e300", "1e-300", "NaN", "inf", ".5.5", "1e", "+-3", "1e999", "٣"]),
)
PATHS = st.lists(
    st.tuples(st.sampled_from("MmLlHhVvCcSsQqTtAaZzXx"), st.lists(NUMBERS, max_size=8)), max_size=8
).map(lambda parts: "M10 10 " + " ".join(letter + " ".join(numbers) for letter, numbers in parts))
ATTRIBUTES = st.dictionaries(
    st.sampled_from(
        [
            "d",
            "fill",
            "stroke",
            "stroke-width",
            "transform",
            "style",
            "points",
            "x",
            "width",
            "height",
            "rx",
            "clip-path",
            "mask",
            "href",
            "opacity",
            "stroke-dasharray",
            "fill-rule",
            "viewBox",
            "class",
        ]
    ),
    st.one_of(
        PATHS,
        NUMBERS,
        st.lists(NUMBERS, max_size=6).map(" ".join),
        st.lists(NUMBERS, max_size=6).map(lambda v: f"matrix({','.join(v)})"),
        st.sampled_from(
            ["none", "#fff", "black", "url(#a)", "url(#b)", "#a", "evenodd", "fill:red;stroke:1", "50%"]
        ),
    ),
    max_size=5,
)
TAGS = st.sampled_from(
    ["path", "rect", "circle", "polygon", "g", "use", "clipPath", "symbol", "svg", "text", "a"]
)


def tag(name: str, attributes: dict[str, str], inside: str = "") -> str:
    words = "".join(f' {key}="{value}"' for key, value in attributes.items())
    return f'<{name} id="{"ab"[len(inside) % 2]}"{words}>{inside}</{name}>'


ELEMENTS = st.recursive(
    st.builds(tag, TAGS, ATTRIBUTES), lambda inner: st.builds(tag, TAGS, ATTRIBUTES, inner), max_leaves=6
)


def assert_sound(outline: Outline) -> None:
    region = outline.region()
    assert region.is_valid
    assert region.area > 0
    assert np.isfinite(shapely.get_coordinates(region)).all()


def read_or_refuse(data: bytes, folder: Path, name: str) -> None:
    """A sound outline or a ReadError of one line."""
    (folder / name).write_bytes(data)
    try:
        outline = read(folder / name, ReadOptions(width=100.0))
    except ReadError as error:
        assert "\n" not in str(error)
        assert len(str(error)) < 500
    else:
        assert_sound(outline)


@tries(60)
@given(st.lists(ELEMENTS, min_size=1, max_size=4))
def test_any_svg(tmp_path_factory: pytest.TempPathFactory, elements: list[str]) -> None:
    folder = tmp_path_factory.mktemp("svg", numbered=True)
    read_or_refuse(f"{HEAD}{''.join(elements)}</svg>".encode(), folder, "any.svg")


@tries(40)
@given(st.data())
def test_damaged_files(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    """A good file of any kind with a few bytes changed, taken out or doubled."""
    sources = [good(form) for form in FORMATS] + [f"{HEAD}{SQUARE}</svg>".encode()]
    content = bytearray(data.draw(st.sampled_from(sources)))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        match data.draw(st.sampled_from(["change", "cut", "double"])):
            case "change":
                content[at] = data.draw(st.integers(0, 255))
            case "cut":
                del content[at : at + data.draw(st.integers(1, 40))]
            case _:
                content[at:at] = content[at : at + data.draw(st.integers(1, 40))]
        if not content:
            break
    read_or_refuse(bytes(content), tmp_path_factory.mktemp("bad", numbered=True), "file")


@tries(400)
@given(
    st.one_of(
        st.text(max_size=30),
        st.text(string.digits + " ./-'\"½″mcinft,x", max_size=20),
        st.text(string.digits, min_size=1, max_size=5000),
    )
)
def test_any_length(text: str) -> None:
    for parse in (parse_length, parse_size):
        try:
            value = parse(text, "mm")
        except UnitError as error:
            assert "\n" not in str(error).replace(text, "")
        else:
            assert np.isfinite(value).all()


KEYS = (
    "width",
    "height",
    "at",
    "keep",
    "panel",
    "figures",
    "saw",
    "blade",
    "drills",
    "kerf",
    "units",
    "turn",
    "template",
    "paper",
    "zones",
    "frame",
    "mend",
    "holes",
    "faces",
    "backing",
    "limits",
    "arrange",
    "x",
)
VALUES = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=8),
        st.sampled_from(["120mm", "-3in", "0mm", "panel", "both", "4", "a4", "nan mm"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(KEYS), inner, max_size=3)
    ),
    max_leaves=8,
)


@tries(200)
@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=5))
def test_any_job(data: dict[str, object]) -> None:
    """What is accepted can be written and reads back the same."""
    from cutout.job.file import job_from

    try:
        job = job_from(data)
    except JobError as error:
        assert str(error).startswith("job")
    else:
        assert parse_job(dump_job(job)) == job


@tries(150)
@given(st.data())
def test_damaged_job_files(data: st.DataObject) -> None:
    lines = GOOD.splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        lines[at : at + 1] = data.draw(
            st.sampled_from(
                [[], [lines[at]] * 2, [lines[at][: len(lines[at]) // 2]], [lines[at] + "]"], ["[a.b]"]]
            )
        ) or [""]
    try:
        assert isinstance(parse_job("\n".join(lines)), Job)
    except CutoutError as error:
        assert str(error).startswith("job.toml")


@tries(40)
@given(
    hnp.arrays(
        np.float32,
        hnp.array_shapes(min_dims=2, max_dims=2, min_side=2, max_side=9),
        elements=st.sampled_from([0.0, 0.25, 0.5, 0.75, 1.0]),
    ),
    st.sampled_from([0.0, 0.25, 1.0]),
)
def test_any_picture_traces_to_a_sound_outline(dots: np.ndarray, tolerance: float) -> None:
    """Where dots are clearly figure the outline covers their middle, where clearly ground it does not."""
    field = np.pad(np.kron(dots, np.ones((8, 8), dtype=np.float32)), 4)
    rings = trace(field, 0.5, max(tolerance, 0.05))
    if not rings:
        assert dots.max() <= 0.5
        return
    region = Outline(rings).region()
    assert region.is_valid
    height = field.shape[0]
    shapely.prepare(region)
    for (row, column), value in np.ndenumerate(dots):
        x, y = 4 + 8 * column + 4.0, height - (4 + 8 * row + 4.0)
        if value in (0.0, 1.0):
            assert shapely.contains_xy(region, x, y) == (value == 1.0)
