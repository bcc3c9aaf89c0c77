"""A list of names as signs, and finished jobs laid out on boards."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import shapely
from shapely import MultiPolygon, Polygon

from cutout.errors import JobError, LayoutError
from cutout.folder import Outcome, made_all
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, as_multi, capital_of, from_region, polygons_of
from cutout.job.file import dump_job, relocated
from cutout.job.schema import FigurePart, Job, MendPart, NestPart, PanelPart
from cutout.job.set_up import outline_of, panel_of
from cutout.kit import paper
from cutout.nest import Board, Layout, Piece, nest
from cutout.nest.model import moved, turned
from cutout.read.names import read_names
from cutout.units import Units
from cutout.write.boards import layout_json, layout_pdf, said
from cutout.write.dxf import layout_dxf
from cutout.write.files import write_files
from cutout.write.svg import outline_svg

PLACE = "{name}"
"""Where a name goes in the words of a figure; without it, the name takes their place."""


@dataclass(frozen=True, slots=True)
class Cut:
    """What a finished job cuts: the piece that is kept, and what falls away inside its panel; mm."""

    name: str
    keep_mode: str
    piece: Polygon
    waste: MultiPolygon


def jobs_of(job: Job, folder: Path) -> dict[str, Job]:
    """One job for each name of the list, by a file name of its own. Raises CutoutError.

    With `fit` and `alike` all get the cap height that the longest name still fits with.
    """
    assert job.names is not None
    worded = [n for n, f in enumerate(job.figures) if f.text is not None]
    if len(worded) != 1:
        raise JobError(
            f"a list of names needs one figure with text, this job has {len(worded)}: give one `text` and `font`."
        )
    (number,) = worded
    made: dict[str, Job] = {}
    for name in read_names(folder / job.names):
        figure = job.figures[number]
        words = figure.text or ""
        text = words.replace(PLACE, name) if PLACE in words else name
        figures = list(job.figures)
        figures[number] = figure.model_copy(update={"text": text})
        title = f"{job.title}: {name}" if job.title else name
        one = job.model_copy(update={"names": None, "figures": tuple(figures), "title": title})
        made[_file_name(name, made)] = one
    return _alike(made, number, folder) if job.alike and job.figures[number].fit else made


def longest(job: Job, folder: Path) -> tuple[str, Job]:
    """The longest name of a job's list and its sign: the one that fits last."""
    jobs = jobs_of(job, folder)
    name = max(jobs, key=len)
    return name, jobs[name]


def _alike(jobs: dict[str, Job], number: int, folder: Path) -> dict[str, Job]:
    """The jobs with the least of the cap heights each would fit with."""
    capitals = []
    for job in jobs.values():
        one = job.model_copy(update={"figures": (job.figures[number],)})
        capital = capital_of(outline_of(one, panel_of(one), folder))
        assert capital is not None
        capitals.append(capital)
    least = min(capitals)

    def sized(job: Job) -> Job:
        figure = job.figures[number].model_copy(update={"fit": False, "cap_height": least})
        figures = (*job.figures[:number], figure, *job.figures[number + 1 :])
        return job.model_copy(update={"figures": figures})

    return {name: sized(job) for name, job in jobs.items()}


def _file_name(name: str, taken: Iterable[str]) -> str:
    """A file name of its own for a name, numbered where it comes again."""
    plain = "".join(c if c.isalnum() else "-" for c in name).strip("-") or "name"
    used = {t.lower() for t in taken}
    found, n = plain, 1
    while found.lower() in used:
        n += 1
        found = f"{plain}-{n}"
    return found


def make_names(
    job: Job, folder: Path, out: Path, each: Callable[[Outcome], None] = lambda outcome: None
) -> tuple[tuple[Outcome, ...], str]:
    """A sign for every name of the job's list, each in a folder of its own, and all of them laid out on boards.

    Returns what became of each, and a line on the boards ("" where the job names none). Raises CutoutError.
    """
    jobs = jobs_of(job, folder)
    files = {f"{name}.toml": dump_job(relocated(one, folder, out)).encode() for name, one in jobs.items()}
    write_files(out, files)
    outcomes = made_all([out / name for name in files], out, {}, each)
    if job.nest is None:
        return outcomes, ""
    results = [o.target / "result.json" for o in outcomes if o.code < 2]
    if not results:
        return outcomes, ""
    return outcomes, lay_on_boards(results, job.nest, job, folder, out)


def lay_on_boards(results: Sequence[Path], part: NestPart, like: Job, folder: Path, out: Path) -> str:
    """Lay finished jobs out on boards and write the layout into `out`; returns a line for people.

    Written: boards.pdf (sheet to print), boards.dxf, boards.json, and for each board a job file with its drawing,
    which `cutout make` turns into a template and a plan for the whole board. like: the job whose kit they take.
    """
    cuts = [cut_of(path) for path in results]
    layout = nest([Piece(c.name, c.piece) for c in cuts], board_of(part), part.tries)
    units: Units = like.units or "mm"
    title = like.title or "boards"
    files = {
        "boards.pdf": layout_pdf(layout, title, paper(like.template.paper, units), units),
        "boards.dxf": layout_dxf(layout),
        "boards.json": layout_json(layout),
    }
    for number in range(layout.boards):
        files |= _whole_board(layout, cuts, number, relocated(like, folder, out))
    write_files(out, files)
    return said(layout, units)


def board_of(part: NestPart) -> Board:
    """The board a job asks for."""
    return Board(
        length=part.length,
        width=part.width,
        gap=part.gap,
        margin=part.margin,
        turns=(0, 180) if part.grain else (0, 90, 180, 270),
        holes=part.holes,
    )


def cut_of(path: Path) -> Cut:
    """The piece a finished job cuts, from its result.json. Raises JobError."""
    try:
        data = json.loads(path.read_text("utf-8"))
        pattern = data["pattern"]
        keep, waste = (_region(pattern[k]) for k in ("keep", "waste"))
        title, mode = str(data["title"]), str(pattern["keep_mode"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise JobError(
            f"{path}: is no result of a finished job: give the folder that `cutout make` wrote."
        ) from error
    pieces = sorted(polygons_of(keep), key=lambda p: -p.area)
    if not pieces:
        raise LayoutError(f"{path}: nothing of this panel is kept: there is no piece to lay out.")
    return Cut(title, mode, pieces[0], waste)


def _region(polygons: Sequence[dict[str, list[list[float]]]]) -> MultiPolygon:
    made = (Polygon(p["outer"], p["inner"]) for p in polygons)
    return as_multi(shapely.union_all([p if p.is_valid else shapely.make_valid(p) for p in made]))


def _whole_board(layout: Layout, cuts: Sequence[Cut], number: int, like: Job) -> dict[str, bytes]:
    """A board's drawing and job: with kept figures their outlines, with kept panels what is cut out of them."""
    keep = "figure" if all(c.keep_mode == "figure" for c in cuts) else "panel"
    shapes: list[shapely.Geometry] = []
    for spot in layout.spots:
        if spot.board != number:
            continue
        cut = cuts[spot.piece]
        parts = [cut.piece] if keep == "figure" else list(polygons_of(cut.waste))
        shapes += [moved(turned(p, spot.turn), spot.x, spot.y) for p in parts]
    region = as_multi(shapely.union_all(shapes))
    x0, y0, x1, y1 = region.bounds
    name = f"board-{number + 1}"
    outline = Outline(from_region(region), 1.0).transform(Similarity(b=-complex(x0, y0)))
    figure = FigurePart(source=f"{name}.svg", at=((x0 + x1) / 2, (y0 + y1) / 2))
    panel = like.panel.model_copy(
        update={
            "width": layout.board.length,
            "height": layout.board.width,
            "frame": None,
            "zones": (),
            "boards": None,
        }
    )
    job = like.model_copy(
        update={
            "names": None,
            "nest": None,
            "title": f"{like.title or 'Signs'}, board {number + 1}",
            "keep": keep,
            "panel": _along(panel),
            "figures": (figure,),
            "mend": MendPart(ease=False, bridge=False),
            "arrange": None,
        }
    )
    return {f"{name}.svg": outline_svg(outline), f"{name}.toml": dump_job(job).encode()}


def _along(panel: PanelPart) -> PanelPart:
    """The grain runs along a board, whatever it did on the panels."""
    return panel.model_copy(update={"grain": panel.grain if panel.grain == "none" else 0.0})


def results_in(folders: Sequence[Path]) -> list[Path]:
    """The results of finished jobs: those of folders that are one, and of those that hold some. Raises JobError."""
    found: list[Path] = []
    for folder in folders:
        here = folder / "result.json"
        found += [here] if here.is_file() else sorted(folder.glob("*/result.json"))
    if not found:
        raise JobError(f"{folders[0]}: holds no finished job: give folders that `cutout make` wrote.")
    return found
