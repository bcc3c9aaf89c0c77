"""The template's sheets as they lie on the panel: what is printed covers every cut, from either face and turned."""

from __future__ import annotations

import math
from typing import Any

import pytest
import shapely

from cutout.page.view import sheets_view
from cutout.write.work import Work
from tests.asking import asking
from tests.page.test_steps import points_of


@pytest.mark.parametrize("asked", [{}, {"back": True}, {"sheet_turn": math.radians(30)}])
def test_every_cut_lies_on_a_printed_sheet(work: Work, asked: dict[str, Any]) -> None:
    shown = sheets_view(asking(work, paper="120x160mm", **asked))
    assert shown is not None
    printed = shapely.union_all(
        [shapely.Polygon(points_of(sheet["path"])) for sheet in shown["sheets"] if not sheet["blank"]]
    )
    assert printed.buffer(0.1).covers(work.pattern.waste.boundary.intersection(work.pattern.figure.boundary))
    assert len(shown["sheets"]) > 1
    count = sum(not sheet["blank"] for sheet in shown["sheets"])
    assert shown["text"].startswith(f"Template: {count} sheet")
    for sheet in shown["sheets"]:
        assert shapely.Polygon(points_of(sheet["path"])).contains(shapely.Point(sheet["at"]))
