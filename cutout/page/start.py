"""How a job on the page begins: with sizes that show something at once, to be changed by the user."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePath

from cutout.job.fields import files_in
from cutout.job.schema import FigurePart, Job, PanelPart, TemplatePart
from cutout.page.files import plain_name
from cutout.page.sources import renamed
from cutout.units import MM_PER_INCH, Units

_PANEL = {"mm": (500.0, 700.0), "in": (20 * MM_PER_INCH, 28 * MM_PER_INCH)}
_THICKNESS = {"mm": 18.0, "in": 0.75 * MM_PER_INCH}
_PAPER = {"mm": "a4", "in": "letter"}


def empty(units: Units) -> Job:
    """A job with a panel and no figure."""
    width, height = _PANEL[units]
    return Job(
        units=units,
        panel=_panel(width, height, _THICKNESS[units]),
        template=TemplatePart(paper=_PAPER[units]),
    )


def opened(job: Job) -> tuple[Job, Mapping[str, str]]:
    """A job from a job file, its paths replaced by names made here; and what the file called each one."""
    names = {path: f"source-{number}" for number, path in enumerate(files_in(job), 1)}
    return renamed(job, names), {name: plain_name(path) for path, name in names.items()}


def with_picture(
    job: Job, name: str, label: str, size: tuple[float | None, float | None], replaced: int | None
) -> Job:
    """The job with a source as a further figure, or in the place of figure `replaced`.

    size: width and height (mm), one of them at most. A replaced figure keeps its place, size and turn.
    """
    figures = list(job.figures)
    if replaced is not None and replaced < len(figures):
        old = figures[replaced]
        width, height = size if old.width is None and old.height is None else (old.width, old.height)
        kept = {"source": name, "width": width, "height": height}
        placed = {"at": old.at, "turn": old.turn, "mirror": old.mirror}
        figures[replaced] = FigurePart().model_copy(update={**kept, **placed})
    else:
        # Copied, not built: numbers handed to the constructor would need a unit, these are mm already.
        new = {"source": name, "width": size[0], "height": size[1]}
        figures.append(FigurePart().model_copy(update=new))
    title = job.title or PurePath(label).stem
    return job.model_copy(update={"figures": tuple(figures), "title": title})


def moved_last(job: Job, at: tuple[float, float], share: float) -> Job:
    """The job with its last figure at `at` (mm), its size multiplied by `share`."""
    last = job.figures[-1]
    sizes = {
        side: size and round(size * share, 1)
        for side, size in (("width", last.width), ("height", last.height))
    }
    moved = last.model_copy(update={"at": at, **sizes})
    return job.model_copy(update={"figures": (*job.figures[:-1], moved)})


def board_of(job: Job) -> tuple[float, float]:
    """Width and height of the panel to size a first figure by; of the frame's opening where that decides."""
    part = job.panel
    if part.frame is not None:
        return part.frame.opening
    return part.width or _PANEL["mm"][0], part.height or _PANEL["mm"][1]


def _panel(width: float, height: float, thickness: float) -> PanelPart:
    return PanelPart().model_copy(update={"width": width, "height": height, "thickness": thickness})
