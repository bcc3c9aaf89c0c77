from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from io import BytesIO
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image
from shapely import MultiPolygon, box

from cutout.draw.heat import COLOURS, heat_map
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, Ring
from cutout.pattern import Panel, Zone
from cutout.saw.model import Proof
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.cutsheet.picture import LONG
from cutout.write.work import Work
from tests.asking import asking
from tests.telling import text

VOID = {"meta", "rect", "circle", "path", "image", "polygon", "br"}


class Page(HTMLParser):
    """Collects tags and text, and fails on tags that do not close in order."""

    def __init__(self, html: bytes) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(html.decode("utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "script"):
            self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


def test_every_tag_closes_and_nothing_is_fetched(work: Work) -> None:
    page = Page(cut_sheet(work))
    assert page.open == []
    for tag, attrs in page.tags:
        assert tag not in ("link", "iframe")
        for key in ("src", "href"):
            assert (attrs.get(key) or "data:").startswith(("data:", "#"))
        assert "style" not in attrs and not any(name.startswith("on") for name in attrs), (
            "its policy forbids it"
        )
    assert b"url(" not in cut_sheet(work)
    policy = next(a["content"] for t, a in page.tags if t == "meta" and "http-equiv" in a) or ""
    assert policy.startswith("default-src 'none'")


def test_only_its_own_style_and_script_may_run(work: Work) -> None:
    """Content Security Policy Level 3, 2.3.1: the base64 of the SHA-256 of what stands between the tags."""
    html = cut_sheet(work).decode()
    (policy,) = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', html)
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    for tag in ("style", "script"):
        (text,) = re.findall(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[f"{tag}-src"] == f"'sha256-{digest}'"
    none = cut_sheet(replace(work, plan=replace(work.plan, steps=()))).decode()
    assert "script" not in none, "no steps, no walk"


def test_the_walk_is_told_every_step_and_way(work: Work) -> None:
    html = cut_sheet(work).decode()
    (held,) = re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', html, re.DOTALL)
    data = json.loads(held)
    assert [s["letter"] for s in data["steps"]] == [s.letter for s in work.plan.steps]
    assert {int(n) for n in data["holes"]} == {h.id for h in work.plan.holes}
    legs = {leg.order: leg for leg in work.plan.legs}
    for shown, step in zip(data["steps"], work.plan.steps, strict=True):
        assert shown["holes"] == list(step.holes)
        ways = shown["way"].split("M")[1:]
        assert len(ways) == len(step.legs)
        for way, order in zip(ways, step.legs, strict=True):
            xy = np.array([point.split() for point in way.split("L")], dtype=float)
            true = legs[order].path
            height = work.pattern.panel.height
            assert (
                np.abs(np.column_stack([xy[:, 0], height - xy[:, 1]])[[0, -1]] - true[[0, -1]]).max() <= 0.051
            )


def test_what_a_reader_aloud_needs(work: Work) -> None:
    page = Page(cut_sheet(work))
    tags = [tag for tag, _ in page.tags]
    assert dict(page.tags)["html"] == {"lang": "en"}
    assert tags.count("h1") == 1
    assert tags.count("caption") == tags.count("table")
    assert all(attrs.get("scope") in ("row", "col") for tag, attrs in page.tags if tag == "th")
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.tags:
        for name in (attrs.get("aria-labelledby") or "").split():
            assert name in ids


def test_it_says_what_the_job_says(work: Work) -> None:
    words = Page(cut_sheet(work)).words
    for finding in work.findings:
        assert text(finding) in words
    for caution in work.cautions:
        assert caution in words
    for wanted in (
        "Not ready to cut: 1 thing must be settled first",
        "8 mm drill: 3 holes",
        "3 mm drill: 1 hole",
        "An estimate only",
        "worked out from the blade's width",
        "Bridges left standing",
        "0.80 mm",
        "4.2 mm 9 mm",
        "in 1200 steps: it cuts at most 0.02 mm into the wood",
        "1 speck under 2 mm was dropped.",
    ):
        assert wanted in words


def test_text_is_escaped(work: Work) -> None:
    odd = tuple(replace(step, letter="</script><script>alert(1)</script>") for step in work.plan.steps)
    plan = replace(work.plan, steps=odd)
    html = cut_sheet(replace(work, title="<script>alert('&')</script>", plan=plan)).decode()
    assert "<script>alert" not in html
    assert html.count("<script") == html.count("</script>") == 2
    assert "&lt;script&gt;" in html
    assert "The leaf&#x27;s tip &lt;is&gt; sharper" in html


def test_the_verdict(work: Work) -> None:
    def verdict(**changes: object) -> str:
        return Page(cut_sheet(replace(work, **changes))).words  # type: ignore[arg-type]

    care = tuple(f for f in work.findings if f.severity == "care")
    assert "Can be cut with care" in verdict(findings=care)
    assert "Can be cut:" in verdict(findings=())
    assert "did not pass its proof" in verdict(findings=(), proof=Proof(False, (), 1.0, (), 10))


def test_a_bare_job_has_a_sheet_too(make_work: Callable[..., Work], star_outline: Outline) -> None:
    words = Page(cut_sheet(make_work(outline=star_outline, panel=Panel(240.0, 240.0, 12.0, None)))).words
    assert "No holes to drill." in words
    assert "Nothing was found." in words


def test_inches(work: Work) -> None:
    words = Page(cut_sheet(asking(work, units="in"))).words
    assert "9-29/64 x 7-3/32 in" in words


def test_what_to_have_ready_is_said(work: Work) -> None:
    page = Page(cut_sheet(work))
    assert "Cut list 1 x panel 240 x 180 mm, 18 mm thick" in page.words


def test_a_line_said_in_one_list_is_pointed_to_in_the_next(work: Work) -> None:
    words = Page(cut_sheet(work)).words
    for line in ("1 x panel 240 x 180 mm", "and a spare"):
        assert words.count(line) == 1
    assert "Cut the panel" not in words, "the facts above say it"
    assert "Shopping list What stands under Cut list, and: Blade" in words


def test_what_stays_for_a_file_is_summed_up(work: Work) -> None:
    one = work.plan.left_over[0]
    two = (one, replace(one, depth=1.25))
    said = [
        Page(cut_sheet(replace(work, plan=replace(work.plan, left_over=left)))).words
        for left in ((), (one,), two)
    ]
    assert "for a file, " not in said[0] and "Nothing is left in the corners." in said[0]
    for words, wanted in zip(
        said[1:],
        ("1 spot stays for a file, 0.80 mm deep.", "2 spots stay for a file, the deepest 1.25 mm."),
        strict=True,
    ):
        assert words.index(wanted) < words.index("Before you start"), "in the line at the top"


def test_one_of_a_thing_is_singular(make_work: Callable[..., Work], star_outline: Outline) -> None:
    words = Page(cut_sheet(make_work(outline=star_outline, panel=Panel(240.0, 240.0, 12.0, None)))).words
    assert "1 opening numbered" in words
    assert not re.search(r"\b1 (openings|holes|bridges|findings|places|spots|sheets)\b", words)


def test_long_tables_stand_in_twos_that_fit_a_page(work: Work) -> None:
    legs = tuple(replace(work.plan.legs[0], order=n) for n in range(1, 91))
    page = Page(cut_sheet(replace(work, plan=replace(work.plan, legs=legs))))
    spans = [(int(a), int(b)) for a, b in re.findall(r"legs (\d+) to (\d+)", page.words)]
    assert [n for a, b in spans for n in range(a, b + 1)] == list(range(1, 91)), "all, in order"
    assert len(spans) % 2 == 0 and max(b - a for a, b in spans) < 20


def pixels(work: Work) -> tuple[np.ndarray, float, float]:
    heat = heat_map(work.pattern, work.kit)
    picture = Image.open(BytesIO(heat.png))
    return np.asarray(picture), heat.scale, heat.limit


def _bars(make_work: Callable[..., Work], gap: float) -> Work:
    """Two square openings with a straight bar of wood `gap` mm wide between them."""

    def square(x: float) -> Ring:
        return Ring.of_points(np.array([[x, 60], [x + 60, 60], [x + 60, 160], [x, 160]], dtype=float))

    outline = Outline((square(80 - gap / 2), square(140 + gap / 2)), 1.0)
    return make_work(outline=outline, panel=Panel(280.0, 220.0, 18.0))


@pytest.mark.parametrize(("gap", "step"), [(10.0, 1), (22.0, 2), (31.0, 3), (60.0, 4)])
def test_a_bar_has_the_colour_of_its_width(make_work: Callable[..., Work], gap: float, step: int) -> None:
    """Limit 18 mm: steps at 18, 27, 36 and 72 mm."""
    work = _bars(make_work, gap)
    picture, scale, limit = pixels(work)
    assert limit == pytest.approx(18.0)
    middle = picture[round(110 * scale), round(140 * scale)]
    assert middle == step
    assert picture[round(110 * scale), round((105 - gap / 2) * scale)] == 0, "waste is white"


def test_the_corner_of_the_panel_is_no_weak_place(make_work: Callable[..., Work]) -> None:
    picture, _, _ = pixels(_bars(make_work, 60.0))
    assert picture[5, 5] == picture[40, 40]


def test_the_narrowest_place_is_listed(make_work: Callable[..., Work]) -> None:
    heat = heat_map(_bars(make_work, 10.0).pattern, make_work().kit)
    assert heat.places[0].width == pytest.approx(10.0, abs=0.05)
    assert heat.places[0].at[0] == pytest.approx(140.0, abs=1.0)


def test_colours_read_in_grey() -> None:
    """Lightness rises by a clear step each time (relative luminance, WCAG 2)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    steps = [luminance(c) for c in COLOURS]
    assert all((b + 0.05) / (a + 0.05) > 1.3 for a, b in pairwise(steps))


def test_moving_the_pattern_moves_the_marks(make_work: Callable[..., Work], star_outline: Outline) -> None:
    panel = Panel(400.0, 300.0, 18.0)
    moved = replace(star_outline.transform(Similarity(1 + 0j, 50 + 20j)), scale=1.0)
    here, there = (cut_sheet(make_work(outline=o, panel=panel)).decode() for o in (star_outline, moved))
    place = r'class="names-bold">.*?<text x="([\d.]+)" y="([\d.]+)"'
    a, b = (tuple(map(float, re.search(place, html).groups())) for html in (here, there))  # type: ignore[union-attr]
    scale = LONG / panel.width
    assert (b[0] - a[0], b[1] - a[1]) == pytest.approx((50.0 * scale, -20.0 * scale), abs=1.0)


def test_same_bytes_again(work: Work) -> None:
    assert cut_sheet(work) == cut_sheet(work)


def test_zones_seams_and_drawn_lines_are_shown_and_explained(make_work: Callable[..., Work]) -> None:
    area = MultiPolygon([box(0, 0, 20, 30)])
    zones, drawn = (Zone("hinge", area),), (Zone("stile", area),)
    panel = Panel(240.0, 180.0, 18.0, np.pi / 2, zones=zones, drawn=drawn, board=80.0)
    html = cut_sheet(make_work(panel=panel)).decode()
    words = Page(html.encode()).words
    assert "keep clear (hinge)" in words
    assert "drawn on a face (stile)" in words
    assert "glue lines between boards" in words
    assert html.count('class="seam"') == 2, "three boards of 80 mm in 240 mm"
    assert html.count('class="zone"') == html.count('class="drawn"') == 1
    assert "keep clear" not in Page(cut_sheet(make_work())).words


def test_steps_come_before_the_picture(work: Work) -> None:
    html = cut_sheet(work).decode()
    assert html.index('id="steps"') < html.index('id="picture"')
    words = Page(cut_sheet(work)).words
    for step in work.plan.steps:
        said = work.told(step)
        called = f"{said.name}. " if step.legs else ""
        assert f"{step.letter} {called}{said.text}" in words
