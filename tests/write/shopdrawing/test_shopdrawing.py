"""The shop drawing, read back by pdfplumber and pypdfium2."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pdfplumber
import pypdfium2 as pdfium
import pytest
import shapely
from fontTools.ttLib import TTFont

from cutout.draw import fonts
from cutout.draw.scene import Run, Words
from cutout.draw.signs import lettering_width
from cutout.geom.outline import Outline, Ring
from cutout.pattern import Panel
from cutout.saw.model import Hole, Leg, Place
from cutout.write.shopdrawing.details import details_of
from cutout.write.shopdrawing.shopdrawing import A4, LETTER, shop_drawing_pdf
from cutout.write.shopdrawing.view import lay_view, view_scene
from cutout.write.work import Work
from tests.asking import asking
from tests.conftest import hand_made_steps

MM = 72 / 25.4


def words_of(pdf: bytes) -> list[str]:
    return [" ".join(page.get_textpage().get_text_range().split()) for page in pdfium.PdfDocument(pdf)]


def many_discs(make_work: Callable[..., Work], count: int) -> Work:
    """An invented sieve: so many round openings, each with its hole and one cut."""
    side = math.ceil(math.sqrt(count))
    turn = np.linspace(0, 2 * math.pi, 40, endpoint=False)
    middles = [(30.0 + 40 * (n % side), 30.0 + 40 * (n // side)) for n in range(count)]
    rings = [
        Ring.of_points(np.column_stack([x + 12 * np.cos(turn), y + 12 * np.sin(turn)])) for x, y in middles
    ]
    across = 40.0 * side + 20.0
    work = make_work(outline=Outline(tuple(rings), 1.0), panel=Panel(across, across, 18.0))
    near = {o.id: shapely.get_coordinates(o.region.centroid)[0] for o in work.pattern.openings}
    holes, legs = [], []
    for number, (opening, (x, y)) in enumerate(sorted(near.items()), start=1):
        holes.append(Hole(number, (float(x), float(y)), 6.0, ("starter",), opening))
        path = np.array([[x, y], [x + 11, y], [x, y + 11], [x - 11, y], [x, y - 11], [x + 11, y]])
        legs.append(Leg(number, opening, path, Place("hole", number), Place("leg", number)))
    steps = hand_made_steps(holes, legs)
    plan = replace(work.plan, holes=tuple(holes), legs=tuple(legs), minutes=62.0, steps=steps)
    return replace(work, plan=plan)


@pytest.mark.parametrize(("paper", "size"), [("a4", A4), ("a3", A4), ("letter", LETTER), ("legal", LETTER)])
def test_one_sheet_any_home_printer_takes(work: Work, paper: str, size: tuple[float, float]) -> None:
    document = pdfium.PdfDocument(shop_drawing_pdf(asking(work, paper=paper)))
    assert len(document) == 1
    assert document[0].get_size() == pytest.approx([v * MM for v in size], abs=0.01)


def test_it_says_what_to_do_in_lettered_steps(work: Work) -> None:
    (words,) = words_of(shop_drawing_pdf(work))
    for step in work.plan.steps[1:]:
        said = work.told(step)
        assert f"{step.letter} {said.name}. {said.text}" in words
    for wanted in (
        "First drill",
        "Then saw",
        "3 mm",
        "8 mm",
        "invented leaf",
        "1 of 1",
        "scale",
        "240 x 180 x 18",
        "hold",
        "Eyes, ears, dust mask",
        "manual comes first",
        "measured:",
        "Keep the panel",
        "white pine",
        "kerf",
    ):
        assert wanted in words, wanted


def test_the_panel_is_drawn_to_the_scale_it_names(work: Work) -> None:
    """The panel's edge, as pdfplumber reads it, is as wide and high as the scale says, to 0.05 mm."""
    said = re.search(r"scale (\d) : ([\d.]+)", words_of(shop_drawing_pdf(work))[0])
    assert said is not None
    scale = float(said[1]) / float(said[2])
    with pdfplumber.open(BytesIO(shop_drawing_pdf(work))) as pdf:
        page = pdf.pages[0]
        shapes = [(r["width"] / MM, r["height"] / MM) for r in (*page.rects, *page.curves)]
    wanted = (240 * scale, 180 * scale)
    assert any(abs(w - wanted[0]) < 0.05 and abs(h - wanted[1]) < 0.05 for w, h in shapes)


def test_sizes_add_up_along_each_edge(work: Work) -> None:
    """Places are rounded, not gaps: the links of a chain add up to the side they measure."""
    (words,) = words_of(shop_drawing_pdf(work))
    chains = re.search(r"leave (\d+(?: \d+)+)", words)
    assert chains is not None
    numbers = [int(n) for n in chains[1].split()]
    across, up = numbers[: numbers.index(240)], numbers[numbers.index(240) + 1 : -1]
    assert sum(across) == 240 and sum(up) == 180 == numbers[-1]
    assert across[0] == round(work.pattern.waste.bounds[0]) and up[0] == round(work.pattern.waste.bounds[1])


def test_every_step_has_one_start_arrow_and_its_letter_beside_it(work: Work) -> None:
    steps = work.plan.steps
    view, _ = lay_view(work, steps, 0.5, (20.0, 20.0), (10.0, 10.0, 160.0, 130.0), 20.0)
    sawn = [step.letter for step in steps if step.legs]
    assert [start.step.letter for start in view.starts] == sawn
    assert [p.label.text for p in view.placed if p.label.style == "disc"] == sawn
    assert not view.missing
    legs = {leg.order: leg for leg in work.plan.legs}
    for start in view.starts:
        first = view.drawing.path(legs[start.step.legs[0]].path)
        assert np.allclose(start.path[0], first[0])
        assert shapely.LineString(first).buffer(1e-6).covers(shapely.LineString(start.path))


def test_names_lie_on_no_line_and_on_no_other(make_work: Callable[..., Work], work: Work) -> None:
    for job in (work, many_discs(make_work, 25)):
        steps = job.plan.steps
        panel = job.pattern.panel
        scale = 130 / panel.height
        limits = (10.0, 10.0, 40 + panel.width * scale, 160.0)
        view, _ = lay_view(job, steps, scale, (20.0, 20.0), limits, 20.0)
        boxes = shapely.box(*np.array([p.box for p in view.placed]).T)
        assert not shapely.intersects(boxes, view.drawing.cuts).any()
        assert not shapely.intersects(boxes, view.drawing.board.exterior).any()
        first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        assert (first == second).all()


def test_holes_whose_signs_touch_are_the_first_shown_in_a_ring(work: Work) -> None:
    *others, last = work.plan.holes
    x, y = others[2].at
    holes = (*others, replace(last, at=(x + 5.0, y)))
    job = replace(work, plan=replace(work.plan, holes=holes))
    view, _ = lay_view(job, job.plan.steps, 0.5, (20.0, 20.0), (10.0, 10.0, 170.0, 120.0), 20.0)
    first = details_of(job, view, 42.0)[0]
    assert math.dist(first.at, (x + 2.5, y)) < 5.0


def test_no_middle_line_runs_into_a_size(work: Work) -> None:
    view, _ = lay_view(work, work.plan.steps, 0.5, (20.0, 20.0), (10.0, 10.0, 170.0, 120.0), 20.0)
    layers = {layer.name: layer.items for layer in view_scene(view).layers}
    runs = [shapely.LineString(p) for item in layers["middles"] if isinstance(item, Run) for p in item.paths]
    sizes = [item for item in layers["sizes"] if isinstance(item, Words) and not item.upright]
    assert len(runs) == 2 and len(sizes) > 2
    for size in sizes:
        half = lettering_width(size.text, size.tall) / 2
        (x, low) = size.at
        assert not shapely.intersects(runs, shapely.box(x - half, low, x + half, low + size.tall)).any()


def test_words_and_numbers_read_at_arm_s_length(make_work: Callable[..., Work], work: Work) -> None:
    """No capital under 2.8 mm; ISO 9241-3 as quoted online: 16 minutes of arc, here at 600 mm."""
    face = TTFont(Path(fonts.__file__).parent / "lettering" / "routed-gothic-narrow.ttf")
    capital = face["OS/2"].sCapHeight / face["head"].unitsPerEm
    for job in (work, many_discs(make_work, 30)):
        with pdfplumber.open(BytesIO(shop_drawing_pdf(job))) as pdf:
            sizes = [c["height"] if c["upright"] else c["width"] for page in pdf.pages for c in page.chars]
        assert min(sizes) * capital / MM > 2.79


def test_more_steps_than_one_side_holds_go_on_overleaf(make_work: Callable[..., Work]) -> None:
    """Sixty openings: no letter is lost, two sides and no more."""
    work = many_discs(make_work, 60)
    steps = work.plan.steps
    assert len(steps) == 61
    sides = words_of(shop_drawing_pdf(work))
    assert len(sides) == 2 and "1 of 2" in sides[0] and "2 of 2" in sides[1]
    both = " ".join(sides)
    assert all(f"{step.letter} {work.told(step).action}" in both for step in steps[1:]), "said in brief"
    assert "rest is in the cut sheet" not in both


def test_a_date_is_the_job_s_or_the_environment_s(work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    """SOURCE_DATE_EPOCH as reproducible-builds.org specifies it: 86400 is the second day of 1970."""
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    assert "1970" not in words_of(shop_drawing_pdf(work))[0]
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert "1970-01-02" in words_of(shop_drawing_pdf(work))[0]
    dated = replace(work, job=work.job.model_copy(update={"date": "May 1999"}))
    assert "May 1999" in words_of(shop_drawing_pdf(dated))[0]


def test_the_same_job_gives_the_same_bytes(work: Work) -> None:
    assert shop_drawing_pdf(work) == shop_drawing_pdf(work)


def test_every_font_is_embedded(work: Work) -> None:
    pdf = shop_drawing_pdf(work)
    document = pdfium.PdfDocument(pdf)
    assert document.get_metadata_value("Title") == "invented leaf: shop drawing"
    assert pdf.count(b"/FontFile2") == 1 and b"Helvetica" not in pdf
