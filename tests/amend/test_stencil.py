"""Bridges of letters: one manner and one width for a sign, through top and bottom of the bowls."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
import reportlab
from shapely import Point

from cutout.amend.model import Mending
from cutout.amend.stencil import bridged_letters
from cutout.check.loose_piece import loose_pieces
from cutout.door import kit_with
from cutout.geom.curve import Similarity
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.read.letters import Lettering, read_text

FONTS = Path(reportlab.__file__).parent / "fonts"
"""Bitstream Vera, shipped with reportlab under its own free licence."""
UPRIGHT, ITALIC = FONTS / "VeraBd.ttf", FONTS / "VeraBI.ttf"
KIT = kit_with("scroll-medium", wood_name="plywood")


def sign(
    text: str, font: Path = UPRIGHT, by: Similarity | None = None, join: Any = "none", keep: Any = "panel"
) -> Pattern:
    """60 mm capitals on 6 mm plywood."""
    outline = read_text(text, font, Lettering(cap_height=60.0, join=join)).transform(by or Similarity())
    x0, y0, x1, y1 = outline.bounds
    outline = outline.transform(Similarity(b=complex(20 - x0, 20 - y0)))
    return cut_pattern(outline, Panel(x1 - x0 + 40, y1 - y0 + 40, 6.0, None), keep, KIT.blade.kerf)


def directions(pattern: Pattern, mending: Mending | None = None) -> list[float]:
    made = bridged_letters(pattern, KIT, mending or Mending())
    return [
        math.degrees(math.atan2(b.end[1] - b.start[1], b.end[0] - b.start[0])) % 180 for b in made.bridges
    ]


@pytest.mark.parametrize("text", ["Doppler", "abdegopq", "ABDOPQR", "4689", "Ängö"])
def test_every_bowl_is_held_upright_and_alike(text: str) -> None:
    pattern = sign(text)
    made = bridged_letters(pattern, KIT, Mending())
    assert loose_pieces(pattern) and not loose_pieces(made.pattern)
    assert directions(pattern) == pytest.approx([90.0] * len(made.bridges))
    assert len({b.width for b in made.bridges}) == 1
    for bowl in loose_pieces(pattern):
        y0, y1 = bowl.bounds[1], bowl.bounds[3]
        third = (y1 - y0) / 3
        touching = [b for b in made.bridges if b.area.distance(bowl) < 0.2]
        assert touching
        # Common practice of stencil faces: never across the bowl at mid-height.
        assert not [b for b in touching if y0 + third < (b.start[1] + b.end[1]) / 2 < y1 - third]


def test_round_bowls_are_parted_at_both_ends_in_the_middle_and_an_a_once() -> None:
    for letter, ends in (("O", 2), ("o", 2), ("A", 1)):
        pattern = sign(letter)
        bowl = loose_pieces(pattern)[0]
        made = bridged_letters(pattern, KIT, Mending())
        assert len(made.bridges) == ends
        middle = (bowl.bounds[0] + bowl.bounds[2]) / 2
        assert [b.start[0] for b in made.bridges] == pytest.approx([middle] * ends, abs=1.0)
    assert made.bridges[0].end[1] < bowl.bounds[1]  # through the crossbar, not the peak


def test_bridges_of_slanting_letters_slant_with_them() -> None:
    pattern = sign("boq", ITALIC)
    slant = math.degrees(math.atan2(pattern.outline.letters[0].up.imag, pattern.outline.letters[0].up.real))
    assert 70 < slant < 85
    found = directions(pattern)
    assert len(found) >= 3 and found == pytest.approx([slant] * len(found))


def test_level_where_it_is_asked_for_and_none_where_letters_are_free() -> None:
    pattern = sign("OO")
    assert [min(d, 180 - d) for d in directions(pattern, Mending(letters="level"))] == pytest.approx(
        [0.0] * 4
    )
    assert not directions(pattern, Mending(letters="free"))
    assert not directions(pattern, Mending(bridge=False))


def test_the_width_asked_for_is_taken() -> None:
    made = bridged_letters(sign("Bo"), KIT, Mending(bridge_width=4.0))
    assert made.bridges and {b.width for b in made.bridges} == {4.0}
    for bridge in made.bridges:
        (x0, _), (x1, _) = bridge.start, bridge.end
        assert bridge.area.bounds[2] - bridge.area.bounds[0] == pytest.approx(4.0, abs=0.01)
        assert x0 == pytest.approx(x1)


def test_turning_and_mirroring_the_sign_turns_the_bridges() -> None:
    plain = bridged_letters(sign("Rod"), KIT, Mending())
    for by in (Similarity(a=1j), Similarity(mirror=True, a=-1 + 0j), Similarity(a=complex(0.6, 0.8))):
        other = bridged_letters(sign("Rod", by=by), KIT, Mending())
        assert len(other.bridges) == len(plain.bridges)
        assert sum(b.area.area for b in other.bridges) == pytest.approx(
            sum(b.area.area for b in plain.bridges), rel=0.02
        )


def test_a_bridge_taken_away_stays_away() -> None:
    pattern = sign("O")
    first, second = bridged_letters(pattern, KIT, Mending()).bridges
    middle = ((first.start[0] + first.end[0]) / 2, (first.start[1] + first.end[1]) / 2)
    (left,) = bridged_letters(pattern, KIT, Mending(without=(middle,))).bridges
    assert left.start == second.start
    assert not Point(middle).buffer(5).covers(Point(left.start))


def test_other_shapes_and_kept_letters_are_left_alone() -> None:
    pattern = sign("O")
    unnamed = cut_pattern(
        type(pattern.outline)(pattern.outline.rings, 1.0), pattern.panel, "panel", pattern.kerf
    )
    kept = cut_pattern(pattern.outline, pattern.panel, "figure", pattern.kerf)
    both = cut_pattern(pattern.outline, pattern.panel, "both", pattern.kerf)
    for other in (unnamed, kept, both):
        made = bridged_letters(other, KIT, Mending())
        assert made.pattern is other and not made.bridges


@pytest.mark.parametrize("font", [UPRIGHT, ITALIC])
def test_dots_and_accents_of_kept_letters_stand_on_their_stems(font: Path) -> None:
    """Each loose mark gets one strip down the stem to the letter under it, never one across to a neighbour."""
    pattern = sign("hij\u00e9", font, join="bar", keep="figure")
    marks = loose_pieces(pattern)
    made = bridged_letters(pattern, KIT, Mending())
    assert len(marks) == 3 == len(made.bridges)
    assert not loose_pieces(made.pattern)
    up = pattern.outline.letters[0].up
    for bridge in made.bridges:
        along = complex(*bridge.end) - complex(*bridge.start)
        assert (along / up).imag == pytest.approx(0.0, abs=1e-6) and (along / up).real < 0
