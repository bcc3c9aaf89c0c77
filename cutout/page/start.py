"""How a job on the page begins: with sizes that show something at once, to be changed by the user."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePath

from cutout.job import FigurePart, Job, PanelPart, TemplatePart
from cutout.page.files import plain_name
from cutout.page.sources import renamed, sources_of
from cutout.units import MM_PER_INCH, Units

_PANEL = {"mm": (500.0, 700.0), "in": (20 * MM_PER_INCH, 28 * MM_PER_INCH)}
_THICKNESS = {"mm": 18.0, "in": 0.75 * MM_PER_INCH}
_PAPER = {"mm": "a4", "in": "letter"}
_FILL = 0.7
"""Share of the panel that a figure without a size of its own takes at first."""


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
    names = {path: f"source-{number}" for number, path in enumerate(sources_of(job), 1)}
    return renamed(job, names), {name: plain_name(path) for path, name in names.items()}


def with_picture(
    job: Job, name: str, label: str, size: tuple[float, float, bool], replaced: int | None
) -> Job:
    """The job with a source as a further figure, or in the place of figure `replaced`.

    size: width and height of the outline (mm or any other unit) and whether that is its true size, which is
    kept where it fits on the panel. A replaced figure keeps its place, size and turn.
    """
    figures = list(job.figures)
    if replaced is not None and replaced < len(figures):
        old = figures[replaced]
        new = _sized(job.panel, name, size) if old.width is None and old.height is None else old
        kept = {"source": name, "width": new.width, "height": new.height}
        placed = {"at": old.at, "turn": old.turn, "mirror": old.mirror}
        figures[replaced] = FigurePart().model_copy(update={**kept, **placed})
    else:
        figures.append(_sized(job.panel, name, size))
    title = job.title or PurePath(label).stem
    return job.model_copy(update={"figures": tuple(figures), "title": title})


def _sized(panel: PanelPart, name: str, size: tuple[float, float, bool]) -> FigurePart:
    width, height, true_size = size
    board = (panel.width or _PANEL["mm"][0], panel.height or _PANEL["mm"][1])
    if true_size and width <= board[0] and height <= board[1]:
        return FigurePart(source=name)
    share = _FILL * min(board[0] / width, board[1] / height) if width and height else 1.0
    # Copied, not built: numbers handed to the constructor would need a unit, these are mm already.
    return FigurePart(source=name).model_copy(update={"width": round(width * share, 1)})


def _panel(width: float, height: float, thickness: float) -> PanelPart:
    return PanelPart().model_copy(update={"width": width, "height": height, "thickness": thickness})
