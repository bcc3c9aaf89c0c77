"""Fields that something else decides: shown closed, with the reason."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.errors import CutoutError
from cutout.job.schema import FigurePart, Job
from cutout.kit import wood
from cutout.pattern.frame import Frame
from cutout.units import format_length


def closed(job: Job) -> dict[str, str]:
    """The reason for each field, by path, that would be written to the job and change nothing."""
    found = dict(_of_the_panel(job))
    for n, figure in enumerate(job.figures):
        found |= {f"figures.{n}.{name}": why for name, why in _of_a_figure(figure, job)}
    if not job.template.film:
        found["template.mat"] = "Only for adhesive film, which is not asked for."
    if not job.mend.bridge:
        for name in ("bridge_width", "bridge_count"):
            found[f"mend.{name}"] = "No bridges are made: they are switched off."
    return found


def decided(job: Job) -> dict[str, str]:
    """What the frame makes of the panel's size, as people write it, by path."""
    part = job.panel.frame
    if part is None:
        return {}
    try:
        size = Frame(part.opening, part.reach, part.reveal).size
    except CutoutError:
        return {}
    units = job.units or "mm"
    return {
        f"panel.{side}": format_length(mm, units) for side, mm in zip(("width", "height"), size, strict=True)
    }


def _of_the_panel(job: Job) -> Iterator[tuple[str, str]]:
    if job.panel.frame is not None:
        for name in ("width", "height"):
            yield f"panel.{name}", "The frame decides: opening and reach less the reveal."
    else:
        yield "panel.moisture_change", "Only in a frame, where the panel may jam."
    try:
        good = wood(job.panel.wood)
    except CutoutError:
        return
    if good.has_grain:
        yield "limits.web_sheet", "Only for sheet goods; this wood has a grain."
        return
    why = f"{good.title} has no grain that matters."
    yield "panel.grain", why
    yield "limits.web_along", why
    yield "limits.web_across", why
    yield "panel.boards", "Sheet goods are not glued up from boards."


def _of_a_figure(figure: FigurePart, job: Job) -> Iterator[tuple[str, str]]:
    if job.arrange is not None and len(job.figures) > 1:
        for name in ("at", "stand", "margin"):
            yield name, f"The {job.arrange.line} decides where the figures stand."
    elif figure.at is not None:
        for name in ("stand", "margin"):
            yield name, "The place of its middle is given."
    if figure.fit:
        for name in ("width", "height", "cap_height"):
            yield name, "It is as large as the panel takes it."
    if figure.text is not None:
        of_pictures = (
            "source",
            "threshold",
            "smooth",
            "invert",
            "fill",
            "corners",
            "sheet",
            "touched",
            "crop",
            "marked",
            "within",
        )
        for name in of_pictures:
            yield name, "Letters come from a font, not from a picture."
    else:
        for name in ("font", "cap_height"):
            yield name, "Only for letters."
        yield "text", "This figure is a picture. Letters are added as a figure of their own."
    if figure.sheet is None:
        yield "corners", "Say first what sheet lies in the photo."
