"""result.json against its schema, judged by a validator that is not ours, and against shapely's own reading."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import shapely
from shapely import MultiPolygon, Polygon

from cutout.finding import Kind
from cutout.geom.outline import Outline
from cutout.route.model import Tile
from cutout.write.result import result_json
from cutout.write.work import Work

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "docs" / "reference" / "result.schema.json").read_text("utf-8")
)
CHECK = jsonschema.Draft202012Validator(SCHEMA)


def data_of(work: Work) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(result_json(work, {"template.pdf": 12345, "pattern.svg": 678}))
    return found


def test_the_schema_itself_is_sound() -> None:
    """JSON Schema draft 2020-12, checked by its own published meta-schema (jsonschema package)."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_a_full_result_follows_the_schema(work: Work) -> None:
    CHECK.validate(data_of(work))


def test_a_result_with_tiles_follows_it_too(work: Work) -> None:
    passes = work.router.passes
    tiles = (
        Tile(1, (0.0, 0.0), (0.0, 0.0, 300.0, 200.0), (replace(passes[0], part=(0.0, 12.5)),), ((8.0, 9.0),)),
        Tile(2, (250.0, 0.0), (250.0, 0.0, 550.0, 200.0), passes, (), ((-242.0, 9.0),)),
    )
    CHECK.validate(data_of(replace(work, router=replace(work.router, tiles=tiles))))


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_bare_results_follow_it_too(make_work: Callable[..., Work], star_outline: Outline, keep: str) -> None:
    CHECK.validate(data_of(make_work(outline=star_outline, keep=keep)))


def test_kinds_of_finding_are_the_programs_own() -> None:
    kinds = SCHEMA["properties"]["findings"]["items"]["properties"]["kind"]["enum"]
    assert set(kinds) == set(Kind.__args__)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("panel", "width"), -1),
        (("blade", "turning_radius_from"), "guessed"),
        (("holes", 0, "roles"), []),
        (("legs", 0, "starts"), "somewhere"),
        (("findings", 0, "severity"), "fatal"),
        (("template", "sheets"), 0),
        (("surplus",), 1),
    ],
)
def test_a_broken_result_is_caught(work: Work, path: tuple[str | int, ...], value: object) -> None:
    """The schema is not a rubber stamp."""
    data: Any = data_of(work)
    inner = data
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    assert not CHECK.is_valid(data)


def test_polygons_read_back_are_the_pattern(work: Work) -> None:
    data = data_of(work)
    for name, region in (("keep", work.pattern.keep), ("waste", work.pattern.waste)):
        read = MultiPolygon([Polygon(p["outer"], p["inner"]) for p in data["pattern"][name]])
        assert read.is_valid
        assert shapely.symmetric_difference(read, region).area < 1e-3 * region.length
        assert all(Polygon(p["outer"]).exterior.is_ccw for p in data["pattern"][name])


def test_leg_ends_name_holes_and_legs_that_exist(work: Work) -> None:
    data = data_of(work)
    holes, legs = {h["id"] for h in data["holes"]}, {leg["order"] for leg in data["legs"]}
    for leg in data["legs"]:
        for end in (leg["starts"], leg["ends"]):
            kind, _, number = end.partition(" ")
            assert kind in ("corner", "edge") or int(number) in (holes if kind == "hole" else legs)


def test_equal_work_gives_equal_bytes_and_no_negative_zero(work: Work) -> None:
    first = result_json(work, {"b": 1, "a": 2})
    assert first == result_json(replace(work), {"a": 2, "b": 1})
    assert b"-0.0," not in first
    assert b"-0.0]" not in first
    assert first.endswith(b"}\n")
