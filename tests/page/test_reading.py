"""Reading with a memory: near enough for the eye at once, exact for everything else."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageDraw

from cutout import run
from cutout.errors import ReadError
from cutout.job.schema import FigurePart, Job, PanelPart
from cutout.page import reading, tasks
from cutout.page.reading import FILL, Reader, first_size
from cutout.page.telling import heard_by
from cutout.read import read
from cutout.read.options import ReadOptions


@pytest.fixture
def reader(tmp_path: Path) -> Reader:
    reader = Reader()
    reader.scratch = tmp_path / "scratch"
    reader.scratch.mkdir()
    return reader


@pytest.fixture
def large(tmp_path: Path) -> Path:
    """A disc of radius 240 on 600 x 600 pixels: more than a small copy has."""
    image = Image.new("RGB", (600, 600), "white")
    ImageDraw.Draw(image).ellipse((60, 60, 540, 540), fill="black")
    image.save(tmp_path / "disc.png")
    return tmp_path / "disc.png"


def test_exact_is_what_read_says(reader: Reader, large: Path) -> None:
    options = ReadOptions(width=200.0)
    assert reader(large, options) == read(large, options)


def test_read_once_even_by_another_process(
    reader: Reader, large: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = reader(large, ReadOptions(width=200.0))

    def never(path: Path, options: ReadOptions) -> None:
        raise AssertionError("read again")

    monkeypatch.setattr(reading, "read", never)
    assert reader(large, ReadOptions(width=200.0)) is first
    other = Reader()
    other.scratch = reader.scratch
    assert other(large, ReadOptions(width=200.0)) == first


def test_another_file_or_option_is_read_anew(reader: Reader, large: Path) -> None:
    disc = reader(large, ReadOptions(width=200.0))
    image = Image.new("L", (200, 200), 255)
    ImageDraw.Draw(image).rectangle((50, 50, 150, 150), fill=0)
    image.save(large)
    assert reader(large, ReadOptions(width=200.0)) != disc


def test_near_is_one_outline_for_every_size_and_has_the_same_shape(reader: Reader, large: Path) -> None:
    with reader.near():
        near = reader(large, ReadOptions(width=200.0))
        assert reader(large, ReadOptions(width=300.0)) is near
        assert reader(large, ReadOptions(width=300.0, threshold=90)) is not near
    exact = reader(large, ReadOptions(width=200.0))
    roundness = [4 * math.pi * o.region().area / o.region().length ** 2 for o in (near, exact)]
    assert roundness == pytest.approx([1, 1], abs=0.01)
    across = near.bounds[2] - near.bounds[0]
    assert across == pytest.approx(480 * math.sqrt(reading.SMALL) / 600, abs=2)


def test_what_cannot_be_read_is_said_as_read_says_it(reader: Reader, large: Path) -> None:
    shutil.copy(large, large.with_name("cut.png"))
    cut = large.with_name("cut.png")
    cut.write_bytes(large.read_bytes()[:200])
    with pytest.raises(ReadError) as exact:
        read(cut, ReadOptions())
    with reader.near(), pytest.raises(ReadError) as near:
        reader(cut, ReadOptions())
    assert str(near.value) == str(exact.value)


@pytest.mark.parametrize(("board", "by_width"), [((500.0, 700.0), True), ((900.0, 300.0), False)])
def test_a_first_figure_fills_its_share_of_the_panel(
    reader: Reader, large: Path, board: tuple[float, float], by_width: bool
) -> None:
    width, height = first_size(reader, large, board)
    wanted = (FILL * board[0], None) if by_width else (None, FILL * board[1])
    assert (width, height) == pytest.approx(wanted)


def test_a_drawing_keeps_its_true_size_where_it_fits(reader: Reader, tmp_path: Path) -> None:
    drawing = tmp_path / "a.svg"
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="200mm" viewBox="0 0 300 200">'
        '<rect x="10" y="10" width="250" height="100"/></svg>'
    )
    assert first_size(reader, drawing, (500.0, 700.0)) == (None, None)
    assert first_size(reader, drawing, (100.0, 700.0)) == (70.0, None)


def test_a_figure_unlike_its_picture_still_fits(reader: Reader, tmp_path: Path) -> None:
    """A tall stroke in a wide picture: by the picture's shape the width would rule, and the figure stick out."""
    image = Image.new("L", (800, 300), 255)
    ImageDraw.Draw(image).rectangle((390, 10, 410, 290), fill=0)
    image.save(tmp_path / "stroke.png")
    width, height = first_size(reader, tmp_path / "stroke.png", (500.0, 700.0))
    assert (width, height) == (None, pytest.approx(FILL * 700))


def test_what_was_mended_is_not_mended_again_for_the_plan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 60">'
        '<g fill="none" stroke="black" stroke-width="5"><circle cx="30" cy="30" r="27"/>'
        '<circle cx="30" cy="30" r="14"/></g></svg>'
    )
    (tmp_path / "a.svg").write_text(drawing)
    panel = PanelPart().model_copy(update={"width": 100.0, "height": 120.0})
    figure = FigurePart().model_copy(update={"source": "a.svg", "width": 60.0})
    saw = Job().saw.model_copy(update={"drills": "metric"})
    job = Job().model_copy(update={"panel": panel, "figures": (figure,), "saw": saw})
    mended, done = run.mend_laid, []

    def counting(laid: run.LaidOut, progress: run.Progress) -> Any:
        done.append(1)
        return mended(laid, progress)

    monkeypatch.setattr(run, "mend_laid", counting)
    told: list[tuple[str, float]] = []
    with heard_by(lambda stage, share: told.append((stage, share))):
        first = tasks.mended(job, tmp_path)
    assert any("tries at bridges" in stage for stage, _ in told), "a word for each while many are looked for"
    told.clear()
    with heard_by(lambda stage, share: told.append((stage, share))):
        after = tasks.planned(job, tmp_path)
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert [stage for stage, _ in told].count(run.PLANNING) > 2, "its bar moves while one opening is planned"
    assert done == [1]
    assert after["waste"] == first["waste"]
    paper = job.template.model_copy(update={"paper": "a3"})
    tasks.mended(job.model_copy(update={"template": paper, "units": "in"}), tmp_path)
    assert done == [1], "neither paper nor units change what can be sawn"
    tasks.mended(job.model_copy(update={"keep": "figure"}), tmp_path)
    assert done == [1, 1]
