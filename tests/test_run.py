"""The whole job through `make`: frames, letters, faces, boards, holes by hand, what is said about size and router."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import reportlab
from PIL import Image, ImageDraw

from cutout import cli
from cutout import run as making
from cutout.job.file import job_from
from cutout.page import tasks
from cutout.run import check_laid, lay_out, make, mend_laid
from cutout.write.lists import lists
from tests.telling import text

FONT = Path(reportlab.__file__).parent / "fonts" / "VeraBd.ttf"
"""Bitstream Vera, shipped with reportlab under its own free licence."""


@pytest.fixture
def disc(tmp_path: Path) -> Path:
    picture = Image.new("L", (300, 300), 255)
    ImageDraw.Draw(picture).ellipse((50, 50, 250, 250), fill=0)
    picture.save(tmp_path / "disc.png")
    return tmp_path


def work_of(folder: Path, **parts: Any) -> Any:
    data: dict[str, Any] = {
        "panel": {"width": "300mm", "height": "300mm", "thickness": "12mm", "wood": "plywood"},
        "figures": [{"source": "disc.png", "width": "150mm"}],
    }
    return make(job_from({**data, **parts}), folder)


def test_a_panel_is_made_to_its_frame_and_figures_stand_in_what_is_seen(disc: Path) -> None:
    frame = {"opening": ["280mm", "300mm"], "reach": ["12mm", "12mm", "12mm", "8mm"], "reveal": "2mm"}
    work = work_of(disc, panel={"frame": frame, "thickness": "12mm", "wood": "plywood"})
    panel = work.pattern.panel
    assert (panel.width, panel.height) == (300.0, 316.0)
    x0, y0, x1, y1 = work.pattern.figure.bounds
    assert (x0 + x1) / 2 == pytest.approx(150.0, abs=0.05)
    assert (y0 + y1) / 2 == pytest.approx(6.0 + 150.0, abs=0.05)
    text = " ".join(line for _, lines in lists(work) for line in lines)
    assert "Cut the panel 300 x 316 mm" in text
    assert "280 x 300 mm of the panel is seen" in text


def test_a_cut_into_the_lip_is_found(disc: Path) -> None:
    frame = {"opening": ["140mm", "300mm"], "reach": ["40mm", "40mm", "0mm", "0mm"], "reveal": "2mm"}
    figure = {"source": "disc.png", "width": "150mm", "at": ["108mm", "150mm"]}
    data = {"panel": {"frame": frame, "thickness": "12mm", "wood": "plywood"}, "figures": [figure]}
    found = check_laid(lay_out(job_from(data), disc))
    assert any(f.kind == "too near the edge" and "lip" in text(f) for f in found)


def test_letters_are_cut_and_their_counters_bridged(tmp_path: Path) -> None:
    letters = {"text": "OX", "font": str(FONT), "cap_height": "90mm"}
    work = work_of(tmp_path, figures=[letters])
    # the O's counter would drop out; the X has none
    assert len(work.pattern.openings) >= 2
    assert work.bridges
    assert not [f for f in work.findings if f.kind == "loose piece" and not f.cleared]
    x0, y0, x1, y1 = work.before.figure.bounds
    assert y1 - y0 == pytest.approx(90.0, rel=0.06)
    assert x1 - x0 > 120


def test_a_pair_in_a_row_has_equal_gaps(disc: Path) -> None:
    figure = {"source": "disc.png", "width": "80mm", "pair": True}
    work = work_of(disc, figures=[figure], arrange={"line": "row"})
    boxes = sorted(o.region.bounds for o in work.pattern.openings)
    gap = (300 - 2 * 80) / 3
    assert [b[0] for b in boxes] == pytest.approx([gap, 2 * gap + 80], abs=0.1)


def test_the_back_face_is_checked_against_the_cuts(disc: Path) -> None:
    work = work_of(disc, faces={"back": {"stile": "100mm", "rail": "30mm"}})
    assert any(f.kind == "drawn line" and "drawn on the back" in text(f) for f in work.findings)


def test_glue_lines_come_from_the_boards(disc: Path) -> None:
    boards = {"width": "300mm", "height": "300mm", "thickness": "19mm", "wood": "red-oak", "boards": "1x6"}
    work = work_of(disc, panel=boards)
    assert work.pattern.panel.board == pytest.approx(139.7)
    assert any("3 x board 1x6" in line for _, lines in lists(work) for line in lines)


def test_a_hole_by_hand_is_in_the_plan(disc: Path) -> None:
    work = work_of(disc, holes=[{"at": ["150mm", "150mm"], "diameter": "8mm"}])
    assert any(h.at == pytest.approx((150.0, 150.0)) and h.diameter == 8.0 for h in work.plan.holes)
    assert work.proof.ok


def test_the_whole_job_tells_how_far_it_has_come(disc: Path) -> None:
    told: list[tuple[str, float]] = []
    panel = {"width": "300mm", "height": "300mm", "thickness": "12mm"}
    job = job_from({"figures": [{"source": "disc.png", "width": "150mm"}], "panel": panel})
    make(job, disc, lambda stage, share: told.append((stage, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    for stage, begins, ends in (
        (making.PLANNING, making.PLANNED_FROM, making.PROVED_FROM),
        (making.PROVING, making.PROVED_FROM, 0.85),
    ):
        mine = [share for name, share in told if name == stage]
        assert mine[0] == begins
        assert mine[-1] == pytest.approx(ends)
        assert len(mine) > 2


def test_router_findings_are_for_those_who_ask(disc: Path) -> None:
    plain = work_of(disc)
    asked = work_of(disc, router={"gcode": True, "bit": "8mm", "tab_width": "9mm"})
    assert not any(f.kind == "router" for f in plain.findings)
    assert (plain.router_wanted, asked.router_wanted) == (False, True)
    assert asked.router.settings.tab_width == 9.0


def test_drills_and_bit_follow_the_units(disc: Path) -> None:
    inch = work_of(disc, units="in")
    assert inch.kit.drills.name == "inch"
    assert inch.kit.bit.name == "1/4in"
    assert all(
        h.diameter == pytest.approx(round(h.diameter / 25.4 * 32) / 32 * 25.4) for h in inch.plan.holes
    )


def test_a_size_that_did_not_come_out_as_asked_is_said(disc: Path) -> None:
    before = work_of(disc)
    job = job_from({"figures": [{"source": "disc.png", "width": "160mm"}]})
    (found,) = making._off_size(job, before.pattern)
    assert found.size == pytest.approx(150.0, abs=0.1)
    assert "160 mm" in text(found)
    same = job_from({"figures": [{"source": "disc.png", "width": "150mm"}]})
    assert making._off_size(same, before.pattern) == ()


def test_moving_the_figure_moves_the_plan(disc: Path) -> None:
    one = work_of(disc, figures=[{"source": "disc.png", "width": "150mm", "at": ["140mm", "150mm"]}])
    two = work_of(disc, figures=[{"source": "disc.png", "width": "150mm", "at": ["152.5mm", "143mm"]}])
    shift = np.array([12.5, -7.0])
    for a, b in zip(one.plan.holes, two.plan.holes, strict=True):
        assert np.array(b.at) - np.array(a.at) == pytest.approx(shift, abs=0.01)
    assert len(one.plan.legs) == len(two.plan.legs)


def test_a_mistake_of_ours_is_one_line_too(
    disc: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("made to fail\nsecond line")

    monkeypatch.setattr(making, "mend", broken)
    arguments = [
        "make",
        str(disc / "disc.png"),
        "--width",
        "100mm",
        "--panel",
        "200x200mm",
        "--out",
        str(disc / "o"),
    ]
    assert cli.run(arguments) == 2
    message = capsys.readouterr().err.strip()
    assert "\n" not in message
    assert "made to fail" in message
    assert not (disc / "o").exists()
    monkeypatch.setenv("CUTOUT_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        cli.run(arguments)


def test_every_stage_tells_of_a_panel_that_would_jam(disc: Path) -> None:
    """Red oak 1 m wide moves far more than a reveal of 1 mm: said when checked, mended and planned."""
    frame = {"opening": ["1000mm", "300mm"], "reveal": "1mm"}
    panel = {"frame": frame, "thickness": "18mm", "wood": "red-oak", "grain": 90.0}
    job = job_from({"panel": panel, "figures": [{"source": "disc.png", "width": "150mm"}]})
    stages = [
        check_laid(lay_out(job, disc)),
        mend_laid(lay_out(job, disc)).findings,
        make(job, disc).findings,
    ]
    for found in stages:
        assert [f for f in found if "moves" in text(f) and "reveal" in text(f)]
    shown = [tasks.checked(job, disc), tasks.mended(job, disc)]
    assert all(any("moves" in f["text"] for f in view["findings"]) for view in shown)


def test_a_job_loads_no_library_it_does_not_use() -> None:
    """DXF, the solver and the reading of test cards take a quarter of the time that loading takes."""
    unused = {"ezdxf", "scipy.optimize", "scipy.cluster", "cutout.gauge.reading", "cutout.nest"}
    code = (
        "import sys, cutout.run, cutout.write.outputs\n"
        f"found = {unused!r} & set(sys.modules)\nsys.exit(str(sorted(found)) if found else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
