"""The door for Python: its examples run, every kind of picture goes in, a batch runs on any executor."""

from __future__ import annotations

import doctest
import io
import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from PIL import Image

import cutout
from cutout import door
from cutout.errors import CutoutError
from cutout.run import make as run_again
from tests.test_docs import blocks

SIZES: dict[str, Any] = {"width": 90, "panel": (200, 160)}


def disc() -> np.ndarray:
    y, x = np.mgrid[:120, :160]
    return np.where(np.hypot(x - 79.5, y - 59.5) < 40, 0, 255).astype(np.uint8)


def png(array: np.ndarray) -> bytes:
    out = io.BytesIO()
    Image.fromarray(array).save(out, "PNG")
    return out.getvalue()


def test_every_name_is_there_and_named_in_both_places() -> None:
    assert list(cutout._DOOR) == door.__all__
    for name in door.__all__:
        assert getattr(cutout, name) is getattr(door, name)
    with pytest.raises(AttributeError):
        _ = cutout.no_such_name


def test_every_example_runs_and_every_function_has_one() -> None:
    found = doctest.DocTestFinder().find(door, globs={"cutout": cutout})
    runner = doctest.DocTestRunner()
    for test in found:
        runner.run(test)
    assert runner.summarize(verbose=False).failed == 0
    shown = {test.name.rpartition(".")[2] for test in found if test.examples}
    functions = {n for n in door.__all__ if n[0].islower()} - {"mend", "prove"}
    assert functions <= shown


def test_every_kind_of_picture_gives_the_same_opening(tmp_path: Path) -> None:
    """As a path, bytes, an image and an array of bytes or shares the same pixels are the same picture."""
    path = tmp_path / "disc.png"
    path.write_bytes(png(disc()))
    sources = [path, str(path), path.read_bytes(), Image.open(path), disc(), disc() / 255.0]
    areas = {round(cutout.make(s, **SIZES).pattern.waste.area, 6) for s in sources}
    assert len(areas) == 1
    assert next(iter(areas)) == pytest.approx(np.pi * 45**2, rel=0.002)


def test_an_outline_and_a_polygon_go_in_as_they_are() -> None:
    square = shapely.box(10, 20, 70, 60)
    for source in (square, cutout.outline_of(square)):
        work = cutout.make(source, panel=(200, 160))
        assert work.before.waste.area == pytest.approx(2400.0)
    with pytest.raises(CutoutError, match="no picture"):
        cutout.make(object(), **SIZES)


@pytest.mark.parametrize("source", [disc(), shapely.box(0, 0, 60, 40)], ids=["pixels", "polygon"])
def test_what_came_from_memory_can_be_run_again_from_its_job_file(source: object, tmp_path: Path) -> None:
    work = cutout.make(source, **SIZES)
    names = work.write(tmp_path / "out")
    again = cutout.make(tmp_path / "out" / "job.toml")
    assert again.pattern.waste.area == pytest.approx(work.pattern.waste.area, rel=1e-5)
    assert {"job.toml", "result.json", "template.pdf"} <= set(names)


def test_numbers_are_mm_whatever_the_units() -> None:
    work = cutout.make(disc(), width=90, panel=(200, 160), units="in", thickness="3/4in")
    assert work.pattern.panel.width == 200
    assert work.pattern.panel.thickness == pytest.approx(19.05)
    with pytest.raises(CutoutError, match="no such setting"):
        cutout.make(disc(), **SIZES, colour="red")


def test_parts_are_built_from_numbers_of_mm() -> None:
    """A part built in Python takes bare numbers: there is no file whose unit could be meant."""
    from cutout.job.schema import PanelPart

    assert PanelPart(width=500.0, height=700).height == 700.0
    with pytest.raises(ValueError, match="not a number"):
        PanelPart(width=float("nan"))
    with pytest.raises(ValueError, match="more than zero"):
        PanelPart(width=0.0)


def test_a_job_is_the_same_from_its_file_and_built_here(tmp_path: Path) -> None:
    path = tmp_path / "disc.png"
    path.write_bytes(png(disc()))
    built = cutout.make(cutout.job_for(path, **SIZES))
    assert built.pattern.waste.equals(run_again(built.job, Path()).pattern.waste)


def batch(folder: Path) -> list[Path]:
    paths = [folder / f"{n}.png" for n in range(3)]
    for n, path in enumerate(paths):
        path.write_bytes(png(disc()) if n else b"broken")
    return paths


def codes_and_results(out: Path, outcomes: tuple[cutout.Outcome, ...]) -> tuple[list[int], list[str]]:
    results = [(o.target / "result.json").read_text() for o in outcomes if o.code == 0]
    assert all(o.target.parent == out for o in outcomes)
    return [o.code for o in outcomes], [json.loads(r)["schema"] for r in results]


def test_a_batch_on_processes_of_our_own_and_on_a_lent_executor(tmp_path: Path) -> None:
    paths = batch(tmp_path)
    told: list[cutout.Outcome] = []
    own = cutout.make_all(paths, tmp_path / "own", each=told.append, **SIZES)
    with ThreadPoolExecutor(1) as threads:
        lent = cutout.make_all(paths, tmp_path / "lent", threads, **SIZES)
    assert codes_and_results(tmp_path / "own", own) == codes_and_results(tmp_path / "lent", lent)
    assert [o.code for o in own] == [2, 0, 0]
    assert sorted(o.source for o in told) == paths


def test_a_batch_on_a_cluster_engine(tmp_path: Path) -> None:
    """dask.distributed's local cluster lends an executor of the standard library's form."""
    distributed = pytest.importorskip("distributed")
    paths = batch(tmp_path)
    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        outcomes = cutout.make_all(paths, tmp_path / "out", client.get_executor(), **SIZES)
    assert [o.code for o in outcomes] == [2, 0, 0]


@pytest.mark.parametrize("block", blocks("docs/reference/python.md", "python"))
def test_every_block_of_the_page_on_python_runs(
    block: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = Path(__file__).parent.parent
    (tmp_path / "heron.svg").write_bytes((root / "examples/heron-shutter/heron.svg").read_bytes())
    monkeypatch.chdir(tmp_path)
    exec(compile(block, "docs/reference/python.md", "exec"), {"__name__": "__page__"})
