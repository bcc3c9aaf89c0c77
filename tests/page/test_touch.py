"""Cleaning up a photo on the photo itself, and what the outline over it is worth."""

from __future__ import annotations

import re
from pathlib import Path

import httpx
import numpy as np
import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Page, expect

from cutout.job.schema import FigurePart, Job
from cutout.page import tasks
from tests.page.handle import drag, put, show, until
from tests.page.test_steps import points_of


@pytest.mark.parametrize(("size", "turned"), [((200, 100), False), ((900, 450), False), ((900, 450), True)])
def test_the_outline_lies_over_the_photo_it_was_read_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int], turned: bool
) -> None:
    """Also where it was read from a small copy, and where the camera was held on its side."""
    image = Image.new("L", size, 255)
    a, b = size
    ImageDraw.Draw(image).rectangle((a // 10, b // 5, a // 2, b // 2), fill=0)
    exif = Image.Exif()
    exif[0x0112] = 6 if turned else 1  # stored on its side: to be turned right by 90 degrees
    image.save(tmp_path / "photo.png", exif=exif)
    monkeypatch.setattr(tasks.READER, "scratch", tmp_path)
    figure = FigurePart().model_copy(update={"source": "photo.png", "width": 100.0})
    job = Job().model_copy(update={"figures": (figure,)})
    found = tasks.traced(job, tmp_path, 0)
    xs, ys = zip(*points_of(found["path"]), strict=True)
    box = (min(xs), min(ys), max(xs), max(ys))
    wanted = (a // 10, b // 5, a // 2 + 1, b // 2 + 1)
    if turned:
        assert tuple(found["size"]) == (b, a)
        # What was (x, y) lies at (height - y, x).
        wanted = (b - wanted[3], wanted[0], b - wanted[1], wanted[2])
    assert box == pytest.approx(wanted, abs=2.5)
    # Touched in the photo's own pixels, whatever it was read from.
    middle = ((wanted[0] + wanted[2]) / 2, (wanted[1] + wanted[3]) / 2)
    hole = figure.model_copy(update={"touched": ((*middle, -b / 5),)})
    after = tasks.traced(job.model_copy(update={"figures": (hole,)}), tmp_path, 0)["path"]
    assert after.count("M") == found["path"].count("M") + 1


def test_a_straightened_photo_has_no_outline_over_it(tmp_path: Path) -> None:
    Image.new("L", (60, 60), 255).save(tmp_path / "p.png")
    figure = FigurePart().model_copy(update={"source": "p.png", "sheet": (210.0, 297.0)})
    found = tasks.traced(Job().model_copy(update={"figures": (figure,)}), tmp_path, 0)
    assert found == {"path": None, "size": (60, 60)}


def test_a_photo_is_cleaned_up_by_hand(page: Page, eye: Path, client: httpx.Client) -> None:
    put(page, eye)
    show(page, "#touch-open").click()
    edge = page.locator("#touch-over .edge")
    expect(edge).to_have_attribute("d", re.compile("^M"))
    before = edge.get_attribute("d") or ""
    photo = page.locator("#touch-photo").bounding_box()
    assert photo is not None
    by = photo["width"] / 300  # the picture is 300 pixels wide
    at = lambda x, y: (photo["x"] + x * by, photo["y"] + y * by)  # noqa: E731
    # The disc in the middle of the ring, from 80 to 220: filled in to its right edge, and a notch rubbed out.
    page.click("[data-touch=fill]")
    drag(page, at(150, 150), at(225, 150))
    now = until(page, client, lambda job: job["figures"][0]["touched"] != [])
    spots = now["figures"][0]["touched"]
    assert all(across > 0 for *_, across in spots)
    assert spots[0][:2] == pytest.approx([150, 150], abs=1.5)
    assert spots[-1][:2] == pytest.approx([225, 150], abs=5)
    expect(edge).not_to_have_attribute("d", before)
    page.click("[data-touch=rub]")
    drag(page, at(20, 150), at(60, 150))
    now = until(page, client, lambda job: len(job["figures"][0]["touched"]) > len(spots))
    assert now["figures"][0]["touched"][-1][2] < 0
    page.click("[data-touch=crop]")
    drag(page, at(0, 0), at(299, 200))
    now = until(page, client, lambda job: job["figures"][0]["crop"] is not None)
    assert now["figures"][0]["crop"] == pytest.approx([0, 0, 299, 200], abs=2)
    page.click("#touch-undo")
    until(page, client, lambda job: job["figures"][0]["crop"] is None)
    page.click("[data-touch=figure]")
    drag(page, at(60, 150), at(80, 150))
    until(page, client, lambda job: any(across > 0 for *_, across in job["figures"][0]["marked"]))
    page.click("[data-touch=ground]")
    drag(page, at(5, 5), at(5, 40))
    until(page, client, lambda job: any(across < 0 for *_, across in job["figures"][0]["marked"]))
    page.click("[data-touch=within]")
    drag(page, at(20, 20), at(280, 280))
    now = until(page, client, lambda job: job["figures"][0]["within"] is not None)
    assert now["figures"][0]["within"] == pytest.approx([20, 20, 280, 280], abs=2)
    page.click("#touch-clear")
    until(page, client, lambda job: job["figures"][0]["touched"] == [])
    assert until(page, client, lambda job: job["figures"][0]["marked"] == [])["figures"][0]["within"] is None
    expect(page.locator("#touch-said")).to_have_text("Everything taken back.")
    page.click("#touch-close")
    expect(page.locator("#touch")).to_be_hidden()
    found = page.evaluate(
        """async () => { const { dabs, cropOf } = await import("/dabs.js");
          const line = dabs([[0, 0], [10, 0]], 8);
          return { line, dot: dabs([[3, 4], [3, 4]], 8), crop: cropOf([5, 9], [1, 2]) }; }"""
    )
    assert found["line"] == [[x, 0, 8] for x in (0, 2, 4, 6, 8, 10)]
    assert found["dot"] == [[3, 4, 8]]
    assert found["crop"] == [1, 2, 5, 9]


def test_a_figure_on_a_busy_ground_is_added_and_marked(
    page: Page, tmp_path: Path, client: httpx.Client
) -> None:
    """A red disc on a ground of all greys: nothing to be told apart until it is marked."""
    greys = np.random.default_rng(3).integers(0, 255, (300, 300), dtype=np.uint8)
    image = Image.fromarray(greys).convert("RGB")
    ImageDraw.Draw(image).ellipse((90, 90, 210, 210), fill=(190, 60, 50))
    image.save(tmp_path / "busy.png")
    # It is not put: there is no outline to be seen on the panel yet.
    page.set_input_files("#picture-file", tmp_path / "busy.png")
    until(page, client, lambda job: len(job["figures"]) == 1)
    show(page, "#touch-open").click()
    expect(page.locator("#touch-said")).to_contain_text(re.compile("[Mm]ark (the figure|it) by a box"))
    page.click("[data-touch=within]")
    photo = page.locator("#touch-photo").bounding_box()
    assert photo is not None
    by = photo["width"] / 300
    drag(page, (photo["x"] + 75 * by, photo["y"] + 75 * by), (photo["x"] + 225 * by, photo["y"] + 225 * by))
    until(page, client, lambda job: job["figures"][0]["within"] is not None)
    expect(page.locator("#touch-over .edge")).to_have_attribute("d", re.compile("^M"))
    xs, ys = zip(*points_of(page.locator("#touch-over .edge").get_attribute("d") or ""), strict=True)
    assert (min(xs), min(ys), max(xs), max(ys)) == pytest.approx((90, 90, 211, 211), abs=2)
