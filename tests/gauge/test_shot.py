"""The camera card: what is read from an outline of it whose faults are known, and from a simulated photo."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
import resvg_py
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage.transform import ProjectiveTransform

from cutout.cli import run
from cutout.gauge.shot import HEIGHT, WIDTH, camera_note, read_shot, silhouette
from cutout.geom.curve import FloatArray
from cutout.geom.outline import Outline, Ring
from cutout.kit.paper import paper
from cutout.read import read_bytes
from cutout.read.options import ReadOptions
from cutout.read.picture.edge import coded
from cutout.say.source import sentence
from cutout.write.camera_card import camera_card_pdf

SHEET = (210.0, 297.0)


def off_by(
    outside: float = 0.0, stretch: tuple[float, float] = (0.0, 0.0), turn: float = 0.0, scale: float = 0.25
) -> Outline:
    """The card's outline in units of `scale` mm, its edges `outside` mm farther out, stretched, then turned."""
    solid = Outline(silhouette()).region(0.001).buffer(outside, join_style="mitre", quad_segs=64)
    c, s = math.cos(turn), math.sin(turn)
    rings = []
    for part in getattr(solid, "geoms", [solid]):
        for outer, ring in ((True, part.exterior), *((False, inner) for inner in part.interiors)):
            xy = shapely.get_coordinates(ring)[:-1] * (1 + np.array(stretch))
            xy = (xy @ np.array([[c, s], [-s, c]]) + (300, 200)) / scale
            made = Ring.of_points(xy)
            rings.append(made if (made.area > 0) == outer else made.reversed())
    return Outline(tuple(rings), scale)


@pytest.mark.parametrize("turn", [0.0, 0.03, math.pi / 2, math.pi - 0.02, -math.pi / 2])
def test_size_and_edges_are_told_apart(turn: float) -> None:
    shot = read_shot(off_by(0.12, (0.002, -0.003), turn))
    assert shot is not None
    assert shot.outside == pytest.approx(0.12, abs=0.005)
    assert shot.stretch == pytest.approx((0.002, -0.003), abs=5e-5)
    assert shot.left < 0.02
    assert shot.worst < 0.3


def test_what_is_right_reads_as_right() -> None:
    shot = read_shot(off_by())
    assert shot is not None
    assert max(abs(shot.outside), *map(abs, shot.stretch)) < 2e-4
    assert shot.worst < 0.01


def test_other_outlines_are_not_taken_for_the_card() -> None:
    card = off_by()
    assert camera_note(replace(card, scale=None)) is None
    assert camera_note(replace(card, scale=0.5)) is None
    assert camera_note(replace(card, rings=card.rings[:1])) is None
    box = Ring.of_points(np.array([(0, 0), (WIDTH, 0), (WIDTH, HEIGHT), (0, HEIGHT)]))
    assert camera_note(Outline((box,), 1.0)) is None


def photo(per_mm: float = 4.0, grown: float = 0.0) -> bytes:
    """A JPEG of the card, its ink `grown` mm all round, on a dark table, tilted; light mixed as by a lens."""
    size = (round(270 * per_mm), round(370 * per_mm))
    corners = np.array([(0, SHEET[1]), SHEET, (SHEET[0], 0), (0, 0)])
    w, h = size
    quad = np.array([(0.10 * w, 0.11 * h), (0.88 * w, 0.10 * h), (0.91 * w, 0.90 * h), (0.08 * w, 0.88 * h)])
    to_photo = ProjectiveTransform.from_estimate(corners, quad)
    card = Outline(silhouette()).region(0.01).buffer(grown, join_style="mitre")
    ink = shapely.transform(card, lambda xy: xy + (np.array(SHEET) - (WIDTH, HEIGHT)) / 2)

    def shown(shape: shapely.Geometry) -> FloatArray:
        rings = [r for p in shapely.get_parts(shape) for r in (p.exterior, *p.interiors)]
        d = " ".join(
            "M"
            + " L".join(
                f"{x:.3f} {y:.3f}" for x, y in to_photo(shapely.get_coordinates(shapely.segmentize(r, 2.0)))
            )
            + "Z"
            for r in rings
        )
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{2 * w}" height="{2 * h}" viewBox="0 0 {w} {h}">'
            f'<path fill-rule="evenodd" d="{d}"/></svg>'
        )
        fine = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg)))).getchannel("A")
        return np.asarray(fine, dtype=float).reshape(h, 2, w, 2).mean(axis=(1, 3)) / 255

    light = 0.08 + 0.70 * shown(shapely.box(0, 0, *SHEET)) - 0.73 * shown(ink)
    light = gaussian_filter(light, 0.9) * np.linspace(1.0, 0.8, w)[None, :]
    light = light + np.random.default_rng(2).normal(0, 0.004, light.shape)
    out = io.BytesIO()
    Image.fromarray(np.round(coded(light)).astype(np.uint8)).save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.mark.parametrize("grown", [0.0, 0.15])
def test_a_simulated_photo_reads_true(grown: float) -> None:
    """To a tenth of a pixel, which is 0.25 mm: the ink grown by 0.15 mm is found to be that much outside."""
    shot = read_shot(read_bytes(photo(grown=grown), "card.jpg", ReadOptions(sheet=SHEET)))
    assert shot is not None
    assert shot.outside == pytest.approx(grown, abs=0.025)
    assert max(map(abs, shot.stretch)) < 0.0008
    assert shot.left < 0.05
    assert shot.worst < 0.5


def test_check_says_it_in_the_reader_s_units(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "card.jpg").write_bytes(photo(3.0))
    asked = ["check", str(tmp_path / "card.jpg"), "--sheet", "a4", "--panel", "300x400mm", "--no-sizes"]
    assert run(asked) == 0
    told = capsys.readouterr().out
    assert told.startswith("note  This is the camera card: it comes out")
    assert "STOP" not in told
    assert "`cutout check --every` tells it." in told
    assert run([*asked, "--every"]) == 1
    assert "STOP" in capsys.readouterr().out
    note = camera_note(off_by(0.12, (0.002, -0.003)))
    assert note is not None
    assert "0.24 mm too large of 120 mm across" in sentence(note, "mm")
    assert "its edges lie 0.12 mm outside" in sentence(note, "mm")
    assert " mm" not in sentence(note, "in")


def test_the_card_is_printed_at_its_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["gauge", "--camera"]) == 0
    document = pdfium.PdfDocument(tmp_path / "camera.pdf")
    assert document[0].get_size() == pytest.approx([210 * 72 / 25.4, 297 * 72 / 25.4], abs=0.1)
    # Drawn at 4 dots a millimetre: as much black as the silhouette has, within its size.
    black = np.asarray(document[0].render(scale=4 * 25.4 / 72, grayscale=True).to_numpy()).squeeze() < 128
    rows, columns = np.nonzero(black)
    assert (np.ptp(columns) + 1) / 4 == pytest.approx(WIDTH, abs=0.3)
    assert (np.ptp(rows) + 1) / 4 == pytest.approx(HEIGHT, abs=0.3)
    assert black.sum() / 16 == pytest.approx(sum(r.area for r in silhouette()), rel=0.003)
    text = document[1].get_textpage().get_text_range()
    assert "cutout check photo.jpg --sheet a4 --panel 300x400mm" in " ".join(text.split())
    assert camera_card_pdf(paper("a4"), "mm") == (tmp_path / "camera.pdf").read_bytes()
    assert run(["gauge", "photo.jpg", "--camera"]) == 2
