"""Cut list and shopping list against published sizes and movement figures."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from cutout.geom.outline import Outline, Ring
from cutout.job.schema import BackingPart, FramePart, Job, PanelPart
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw.model import Hole, Plan
from cutout.write.lists import backing_size, lists

PLAN = Plan((Hole(1, (150.0, 150.0), 5.0, ("starter",), 1),), (), (), (), 0.0, 0, 0.0)
PATH = cast(Any, SimpleNamespace(passes=()))


def kit_in(material: str) -> Kit:
    return Kit(blade("jigsaw-narrow"), drills("metric"), bit("6mm"), wood(material))


def square_on(panel: Panel, keep: str = "panel") -> Pattern:
    ring = Ring.of_points(np.array([[100.0, 100.0], [200.0, 100.0], [200.0, 220.0], [100.0, 220.0]]))
    return cut_pattern(Outline((ring,), 1.0), panel, cast(Any, keep), 1.28)


def sections(job: Job, pattern: Pattern, material: str) -> dict[str, tuple[str, ...]]:
    work = SimpleNamespace(job=job, pattern=pattern, kit=kit_in(material), plan=PLAN, router=PATH)
    return dict(lists(cast(Any, work)))


@pytest.mark.parametrize(("board", "count"), [("1x4", 4), ("1x6", 3), ("1x8", 2), ("1x10", 2), ("1x12", 2)])
def test_boards_for_a_300_mm_panel(board: str, count: int) -> None:
    """Actual board widths of PS 20; a 300 mm panel needs 4, 3, 2, 2, 2 of them."""
    job = Job(panel=PanelPart(width="300mm", height="400mm", boards=board))  # type: ignore[arg-type]
    said = sections(job, square_on(Panel(300.0, 400.0, 19.0, math.pi / 2)), "white-pine")
    assert said["Cut list"][0].startswith(f"{count} x board {board}")


def test_the_backing_covers_every_opening_and_its_overlap() -> None:
    pattern = square_on(Panel(300.0, 400.0, 12.0, None))
    assert backing_size(pattern, 15.0) == pytest.approx((130.0, 150.0))
    job = Job(backing=BackingPart(overlap="15mm"))  # type: ignore[arg-type]
    assert any(
        "backing sheet 130 x 150 mm" in line for line in sections(job, pattern, "plywood")["Shopping list"]
    )


def test_saved_drop_outs_are_listed_with_keep_both() -> None:
    said = sections(Job(), square_on(Panel(300.0, 400.0, 12.0, None), "both"), "plywood")
    assert [line for line in said["Cut list"] if "saved from the cut" in line] == [
        "1 x piece 1 saved from the cut, 98.7 x 119 mm"
    ]


def test_a_reveal_too_small_for_the_wood_is_said() -> None:
    frame = FramePart(opening=("606mm", "400mm"), reveal="3mm")  # type: ignore[arg-type]
    job = Job(panel=PanelPart(frame=frame, moisture_change=8.0))
    text = " ".join(sections(job, square_on(Panel(600.0, 394.0, 18.0, math.pi / 2)), "red-oak")["The panel"])
    assert "more than the reveal" in text
    assert "606 x 400 mm" in text


def test_drills_are_listed_once_each() -> None:
    assert "Drills: 5 mm" in sections(Job(), square_on(Panel(300.0, 400.0, 12.0)), "plywood")["Shopping list"]
