"""A list of names as signs, and finished jobs on boards."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ezdxf
import pypdfium2
import pytest
import reportlab

from cutout.boards import cut_of, jobs_of, lay_on_boards, longest, results_in
from cutout.errors import JobError, ReadError
from cutout.geom.outline import capital_of
from cutout.job.file import job_from, load_job
from cutout.job.schema import Job, NestPart
from cutout.job.set_up import outline_of, panel_of
from cutout.read.names import read_names
from cutout.run import lay_out

FONT = Path(reportlab.__file__).parent / "fonts" / "VeraBd.ttf"
"""Bitstream Vera, shipped with reportlab under its own free licence."""


@pytest.mark.parametrize(
    "text",
    [
        "Ann\nBob\n",
        "name,age\nAnn,7\nBob,8\n",
        "table;name\n1;Ann\n\n2;Bob\n3;\n",
        "\ufeffName\tx\nAnn\t\nBob\t\n",
    ],
)
def test_lists_as_people_write_them(tmp_path: Path, text: str) -> None:
    (tmp_path / "list.csv").write_text(text, "utf-8")
    assert read_names(tmp_path / "list.csv") == ("Ann", "Bob")


@pytest.mark.parametrize(("content", "says"), [(b"\n \n", "no name"), (b"\xff\xfe\x00", "not text")])
def test_lists_that_are_none(tmp_path: Path, content: bytes, says: str) -> None:
    (tmp_path / "list.csv").write_bytes(content)
    with pytest.raises(ReadError, match=says):
        read_names(tmp_path / "list.csv")
    with pytest.raises(ReadError, match="no such list"):
        read_names(tmp_path / "none.csv")


def job(folder: Path, names: str, **parts: Any) -> Job:
    (folder / "list.csv").write_text(names, "utf-8")
    figure = {"text": "{name}", "font": str(FONT), "fit": True, "margin": "5mm"}
    data: dict[str, Any] = {
        "keep": "figure",
        "names": "list.csv",
        "figures": [figure],
        "panel": {"width": "200mm", "height": "80mm", "thickness": "6mm", "wood": "plywood"},
    }
    return job_from({**data, **parts})


def test_every_name_gets_the_cap_height_the_longest_fits_with(tmp_path: Path) -> None:
    jobs = jobs_of(job(tmp_path, "Al\nMaximiliana\nAl\n"), tmp_path)
    assert list(jobs) == ["Al", "Maximiliana", "Al-2"]
    capitals = {n: capital_of(outline_of(j, panel_of(j), tmp_path)) for n, j in jobs.items()}
    assert len({round(c or 0.0, 6) for c in capitals.values()}) == 1
    x0, _, x1, _ = outline_of(jobs["Maximiliana"], panel_of(jobs["Maximiliana"]), tmp_path).bounds
    assert x1 - x0 == pytest.approx(190.0, abs=0.01)
    assert longest(job(tmp_path, "Al\nMaximiliana\n"), tmp_path)[0] == "Maximiliana"


def test_each_as_large_as_fits_where_that_is_asked_for(tmp_path: Path) -> None:
    jobs = jobs_of(job(tmp_path, "Al\nMaximiliana\n", alike=False), tmp_path)
    short, long = (capital_of(outline_of(j, panel_of(j), tmp_path)) or 0.0 for j in jobs.values())
    assert short > 1.5 * long


def test_a_name_takes_the_place_of_its_mark(tmp_path: Path) -> None:
    figure = {"text": "Dr. {name}", "font": str(FONT), "cap_height": "20mm"}
    (only,) = jobs_of(job(tmp_path, "Ann\n", figures=[figure]), tmp_path).values()
    assert only.figures[0].text == "Dr. Ann" and only.names is None and only.title == "Ann"
    with pytest.raises(JobError, match="one figure with text"):
        jobs_of(job(tmp_path, "Ann\n", figures=[figure, figure]), tmp_path)


def _finished(folder: Path, name: str, w: float, h: float, mode: str = "panel") -> Path:
    """A result as `make` writes it, its parts that are read here: a panel with a window, or a kept rectangle."""
    outer = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]
    window = [[10.0, 10.0], [w - 10, 10.0], [w - 10, h - 10], [10.0, h - 10]]
    keep, waste = (
        ({"outer": outer, "inner": [window]}, {"outer": window, "inner": []})
        if mode == "panel"
        else ({"outer": window, "inner": []}, {"outer": outer, "inner": [window]})
    )
    (folder / name).mkdir()
    pattern = {"keep_mode": mode, "keep": [keep], "waste": [waste]}
    (folder / name / "result.json").write_text(json.dumps({"title": name, "pattern": pattern}))
    return folder / name / "result.json"


def test_finished_jobs_on_boards(tmp_path: Path) -> None:
    for n, size in enumerate([(200.0, 100.0), (90.0, 70.0), (90.0, 70.0)]):
        _finished(tmp_path, f"sign {n}", *size)
    assert cut_of(tmp_path / "sign 1" / "result.json").piece.area == pytest.approx(90 * 70 - 70 * 50)
    part = NestPart(length="300mm", width="120mm", tries=1)
    out = tmp_path / "out"
    said = lay_on_boards(results_in([tmp_path]), part, Job(), tmp_path, out)
    assert said.startswith("3 pieces on ")
    data = json.loads((out / "boards.json").read_text())
    assert [p["piece"] for p in data["pieces"]] == ["sign 0", "sign 1", "sign 2"]
    drawing = ezdxf.readfile(out / "boards.dxf")
    assert not drawing.audit().errors
    assert len(drawing.modelspace().query('LWPOLYLINE[layer=="cut_line"]')) == 6  # an edge and a window each
    pdf = pypdfium2.PdfDocument(out / "boards.pdf")
    text = pdf[0].get_textpage().get_text_range()
    assert len(pdf) == data["boards"] and "sign 0" in text
    whole = load_job(out / "board-1.toml")
    laid = lay_out(whole, out)
    on_first = [p for p in data["pieces"] if p["board"] == 1]
    window = sum((p["size"][0] - 20) * (p["size"][1] - 20) for p in on_first)
    assert laid.pattern.waste.area == pytest.approx(window, rel=1e-4)


def test_what_is_no_finished_job_is_said(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="no finished job"):
        results_in([tmp_path])
    (tmp_path / "result.json").write_text("{}")
    with pytest.raises(JobError, match="is no result of a finished job"):
        cut_of(tmp_path / "result.json")
