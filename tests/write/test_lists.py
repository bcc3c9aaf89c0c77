"""Cut list and shopping list against published sizes and movement figures."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from cutout.errors import KitError, LayoutError
from cutout.geom.outline import Outline, Ring
from cutout.job.schema import BackingPart, FramePart, Job, PanelPart, StockPart
from cutout.job.set_up import panel_of
from cutout.kit import Board, Kit, board
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw.model import Hole, Plan
from cutout.write.lists import backing_size, lists
from tests.kits import kit_of

PLAN = Plan((Hole(1, (150.0, 150.0), 5.0, ("starter",), 1),), (), (), (), 0.0, 0, 0.0)
PATH = cast(Any, SimpleNamespace(passes=()))


def kit_in(material: str) -> Kit:
    return kit_of(wood_name=material)


def square_on(panel: Panel, keep: str = "panel") -> Pattern:
    ring = Ring.of_points(np.array([[100.0, 100.0], [200.0, 100.0], [200.0, 220.0], [100.0, 220.0]]))
    return cut_pattern(Outline((ring,), 1.0), panel, cast(Any, keep), 1.28)


def sections(job: Job, pattern: Pattern, material: str) -> dict[str, tuple[str, ...]]:
    work = SimpleNamespace(job=job, pattern=pattern, kit=kit_in(material), plan=PLAN, router=PATH)
    return dict(lists(cast(Any, work)))


@pytest.mark.parametrize(("name", "count"), [("1x4", 4), ("1x6", 3), ("1x8", 2), ("1x10", 2), ("1x12", 2)])
def test_boards_for_a_300_mm_panel(name: str, count: int) -> None:
    """Actual board widths of PS 20; a 300 mm panel needs 4, 3, 2, 2, 2 of them."""
    job = Job(panel=PanelPart(width="300mm", height="400mm", boards=name))
    said = sections(job, square_on(panel_of(job)), "white-pine")
    assert said["Cut list"][0].startswith(f"{count} x board {name}")


def test_boards_by_any_width_their_planing_amount_and_price() -> None:
    """300 mm from 90 mm boards: 4 of them, 10 mm longer at each end, 8 mm to plane away."""
    stock = StockPart(name="pine 90", width="90mm", thickness="20mm", length="400mm", price=5.0)
    part = PanelPart(width="300mm", height="400mm", thickness="12mm", boards="pine 90")
    job = Job(panel=part, stock=(stock,))
    said = " ".join(sections(job, square_on(panel_of(job)), "white-pine")["Cut list"])
    assert "4 x board pine 90, actual width 90 mm, 420 mm long" in said
    assert "from 20 mm to 12 mm" in said
    assert "too short for this panel" in said
    assert "0.15 square metres" in said and "8.40" in said  # 4 x 0.42 m x 5
    for boards in ("90mm", "90x20mm", "3-1/2in"):
        assert panel_of(Job(panel=part.model_copy(update={"boards": boards}))).board == pytest.approx(
            90, abs=1.2
        )


def test_board_feet() -> None:
    """A 1x6 twelve inches long holds half a board foot by its nominal size; 1 board foot is 12 x 12 x 1 in."""
    assert board("1x6").board_feet(304.8, 19.05) == pytest.approx(0.5)
    assert Board("own", 304.8, 25.4).board_feet(304.8, 25.4) == pytest.approx(1.0)


def test_a_board_too_thin_and_an_unknown_one_are_refused() -> None:
    part = PanelPart(width="300mm", height="400mm", thickness="25mm", boards="1x6")
    with pytest.raises(LayoutError, match="thicker boards"):
        panel_of(Job(panel=part))
    with pytest.raises(KitError, match="unknown board"):
        panel_of(Job(panel=part.model_copy(update={"boards": "wide ones"})))


def test_open_area_is_said() -> None:
    said = sections(Job(), square_on(Panel(300.0, 400.0, 12.0, None)), "plywood")["The panel"]
    assert said[-1] == "Open to light and air: 120 square centimetres, 10% of the panel."


def test_the_backing_covers_every_opening_and_its_overlap() -> None:
    pattern = square_on(Panel(300.0, 400.0, 12.0, None))
    assert backing_size(pattern, 15.0) == pytest.approx((130.0, 150.0))
    job = Job(backing=BackingPart(overlap="15mm"))
    assert any(
        "backing sheet 130 x 150 mm" in line for line in sections(job, pattern, "plywood")["Shopping list"]
    )


def test_saved_drop_outs_are_listed_with_keep_both() -> None:
    said = sections(Job(), square_on(Panel(300.0, 400.0, 12.0, None), "both"), "plywood")
    assert [line for line in said["Cut list"] if "saved from the cut" in line] == [
        "1 x piece 1 saved from the cut, 98.7 x 119 mm"
    ]


def test_a_reveal_too_small_for_the_wood_is_said() -> None:
    frame = FramePart(opening=("606mm", "400mm"), reveal="3mm")
    job = Job(panel=PanelPart(frame=frame, moisture_change=8.0))
    text = " ".join(sections(job, square_on(Panel(600.0, 394.0, 18.0, math.pi / 2)), "red-oak")["The panel"])
    assert "more than the reveal" in text
    assert "606 x 400 mm" in text


def test_drills_are_listed_once_each() -> None:
    assert "Drills: 5 mm" in sections(Job(), square_on(Panel(300.0, 400.0, 12.0)), "plywood")["Shopping list"]


def test_cloth_is_cut_with_its_hem() -> None:
    pattern = square_on(Panel(300.0, 400.0, 12.0, None))
    job = Job(backing=BackingPart(cloth=True, overlap="15mm", hem="20mm"))  # type: ignore[arg-type]
    said = sections(job, pattern, "plywood")
    assert any("cloth or mesh, cut 170 x 190 mm" in line for line in said["Cut list"])
    assert "covers 130 x 150 mm" in said["Backing"][0]


def test_screws_in_slots_let_solid_wood_move_over_its_sheet() -> None:
    """150 mm of red oak across the grain over the sheet; C_T .00369 a percent (Wood Handbook, table 13-5), 8 %."""
    part = BackingPart(screws="4mm", overlap="15mm")  # type: ignore[arg-type]
    job = Job(panel=PanelPart(moisture_change=8.0), backing=part)
    level = square_on(Panel(300.0, 400.0, 18.0, 0.0))
    moved = 150 * 0.00369 * 8
    said = sections(job, level, "red-oak")["Backing"]
    assert "through holes of 4 mm" in said[0]
    assert f"moves {moved:.1f} mm against the sheet" in said[1]
    assert len(sections(job, square_on(Panel(300.0, 400.0, 18.0, None)), "plywood")["Backing"]) == 1
    glued = job.model_copy(update={"backing": BackingPart()})
    assert "glue only a strip" in sections(glued, level, "red-oak")["Backing"][0]


def test_a_stack_is_cut_as_so_many_panels_and_says_where_it_is_pinned() -> None:
    pattern = square_on(Panel(300.0, 400.0, 6.0, None, layers=3))
    pinned = SimpleNamespace(
        job=Job(),
        pattern=pattern,
        kit=kit_in("plywood"),
        plan=PLAN,
        router=PATH,
        units="mm",
        pins=((110.0, 120.0),),
    )
    said = dict(lists(cast(Any, pinned)))
    assert said["The panel"][0] == "Cut 3 panels 300 x 400 mm, 6 mm thick."
    assert said["Cut list"][0].startswith("3 x panel")
    assert "18 mm for the saw" in said["Stack"][0]
    assert "110 mm, 120 mm" in said["Stack"][1]
    pinned.pins = ()
    assert "tape" in dict(lists(cast(Any, pinned)))["Stack"][1]
