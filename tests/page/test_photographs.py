"""Simulated photographs on the page: the values come back, go into the job, and are kept for later ones."""

from __future__ import annotations

import base64
import io
import tomllib
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, Route, expect

from cutout.errors import CutoutError
from cutout.job.schema import Job, PanelPart, SawPart
from cutout.kit import Measured, mine_path
from cutout.page import photographs
from cutout.page.changes import Change, changed
from cutout.page.photographs import Watched
from cutout.write.work import Work
from tests.gauge.panel import astray, photo_of_panel, sawn_panel
from tests.gauge.photo import Card, Saw, Shot, photo_of_card
from tests.page.handle import show

KERF = 1.6
"""Kerf (mm) of the saw that is simulated."""


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("photos") / "card.jpg"
    path.write_bytes(photo_of_card(Card(1, "a4"), Saw(kerf=KERF, least=9.0), Shot(megapixels=2.0)))
    return path


def test_card_gives_rows_picture_and_a_change_of_the_job(
    photo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = Job(panel=PanelPart(wood="red-oak", thickness=12.0), saw=SawPart(blade="jigsaw"))
    answer, found = photographs.card(job, photo, Watched(10.0, 15.0, 40.0, allowance="0.6mm"))
    named = dict(answer["rows"])
    assert "sure to" in named["kerf"]
    assert "mm a minute" in named["feed"]
    assert found is not None
    assert found.kerf == pytest.approx(KERF, abs=0.1)
    assert (found.blade, found.wood, found.thickness) == ("jigsaw", "red-oak", 12.0)
    assert (found.entry, found.hole) == (15.0, 40.0)
    assert all(word in answer["keep"] for word in ("jigsaw", "oak", "12 mm"))
    assert Image.open(io.BytesIO(base64.b64decode(answer["picture"]))).format == "PNG"
    after = changed(job, [Change(**change) for change in answer["way"]["changes"]])
    assert after.saw.kerf == pytest.approx(found.kerf, abs=0.01)
    assert after.saw.turning_radius == pytest.approx(found.radius, abs=0.01)
    assert f"{found.kerf:.2f} mm" in answer["way"]["label"]

    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert photographs.keep(found, replacing=False) == {"kept": True, "before": None}
    again = Measured(blade="jigsaw", date="2026-01-02", kerf=1.9, wood="red-oak", thickness=12.0)
    assert photographs.keep(again, replacing=False) == {"kept": False, "before": found.date}
    assert photographs.keep(again, replacing=True)["kept"]
    assert [e["kerf"] for e in tomllib.loads(mine_path().read_text("utf-8"))["measured"]] == [1.9]


def test_a_check_square_that_is_no_size_is_said(photo: Path) -> None:
    with pytest.raises(CutoutError, match="check square"):
        photographs.card(Job(), photo, Watched(square="five"))
    with pytest.raises(CutoutError, match="may stray"):
        photographs.card(Job(), photo, Watched(allowance="-1mm"))


def test_lines_become_a_table() -> None:
    said = ["kerf             1.36 mm, sure", "  arc of 7 mm: not followed", "NOT READ  corner: torn"]
    assert photographs.rows(said) == [("kerf", "1.36 mm, sure"), ("", "arc of 7 mm: not followed")]


def test_panel_is_held_against_its_pattern(work: Work, tmp_path: Path) -> None:
    path = tmp_path / "panel.jpg"
    shot = Shot(megapixels=1.2, fill=0.8)
    path.write_bytes(
        photo_of_panel(sawn_panel(work.pattern.keep.geoms[0], 0.6), work.pattern.panel.thickness, shot)
    )
    answer = photographs.panel(work, [path])
    assert "could be told" in dict(answer["rows"])["outline"]
    assert answer["spots"]
    for spot in answer["spots"]:
        x, y = (np.array(v) for v in spot["at"])
        off = float(astray(x, y, 0.6))
        assert abs(off) > 0.2
        assert ("wood left" in spot["text"]) == (off > 0)


def test_card_dropped_on_its_place_is_read_and_used(page: Page, photo: Path) -> None:
    for name, text in (("minutes", "10"), ("entry", "12"), ("hole", "30"), ("allowance", "0.7mm")):
        show(page, f"#shot-{name}").fill(text)
    transfer = page.evaluate_handle(
        "(text) => { const data = new DataTransfer();"
        " const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));"
        " data.items.add(new File([bytes], 'card.jpg', { type: 'image/jpeg' })); return data; }",
        base64.b64encode(photo.read_bytes()).decode(),
    )
    page.locator("[data-shot=card]").dispatch_event("drop", {"dataTransfer": transfer})
    expect(page.locator("#shot-answer table")).to_contain_text("mm a minute")
    page.locator("#shot-answer .main").click()
    expect(page.locator("#status")).to_contain_text("Done: Use in this job")
    kerf = page.locator("[data-path='saw.kerf']")
    expect(kerf).to_have_value("1.6 mm")
    page.locator(".shot-picture").click()
    expect(page.locator("#shot-large")).to_be_visible()
    assert page.locator("#shot-image").evaluate("(image) => image.naturalWidth") > 300
    page.click("#shot-close")

    asked: list[Any] = []

    def answer(route: Route) -> None:
        asked.append(route.request.post_data_json["replacing"])
        route.fulfill(json={"kept": asked[-1], "before": None if asked[-1] else "2026-01-02"})

    page.route("**/card/keep", answer)  # not among the values of whoever runs the tests, nor of other tests
    page.get_by_role("button", name="Keep for every later job").click()
    expect(page.locator("#status")).to_contain_text("2026-01-02")
    page.get_by_role("button", name="Put the new values in their place").click()
    expect(page.locator("#shot-answer")).to_contain_text("Kept for every later job with")
    assert asked == [False, True]
    page.click("#job-menu > summary")
    page.click("#new-job")
    expect(page.locator("#shot-answer")).to_be_empty()  # it was read for the other job


def test_nothing_is_kept_before_a_card_was_read(client: httpx.Client) -> None:
    id = client.post("/api/jobs", json={}).json()["state"]["id"]
    answer = client.post(f"/api/jobs/{id}/card/keep", json={"replacing": False})
    assert answer.status_code == 422
    assert "no card" in answer.json()["error"]
    for asked, said in (("minutes", "minutes"), ("entry", "seconds"), ("hole", "seconds")):
        late = client.post(f"/api/jobs/{id}/card?{asked}=soon", content=b"x")
        assert said in late.json()["error"]
