"""The files a job is read from, wherever in it they are named."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from cutout.job.schema import FacePart, FigurePart, Job

_OPTION = re.compile(r"(?<!\S)--([a-z][a-z-]*)")
"""An option of the command line: on the page its bare name is a field."""

_OWN_NAME = re.compile(r"\bsource-[0-9]{1,6}\b")


def sources_of(job: Job) -> tuple[str, ...]:
    """Names of the files the job's figures are read from, each once."""
    named = (name for figure in _figures(job) for name in (figure.source, figure.font) if name is not None)
    return tuple(dict.fromkeys(named))


def renamed(job: Job, names: Mapping[str, str]) -> Job:
    """The job with every source called by its new name; one without a new name keeps its own."""
    faces = {side: _face(getattr(job.faces, side), names) for side in ("show", "back")}
    return job.model_copy(
        update={"figures": _all(job.figures, names), "faces": job.faces.model_copy(update=faces)}
    )


def with_labels(text: str, labels: Mapping[str, str]) -> str:
    """A sentence about our own file names, said with the names the user knows files and settings by."""
    named = _OWN_NAME.sub(lambda found: labels.get(found[0], found[0]), text)
    return _OPTION.sub(r"\1", named)


def _figures(job: Job) -> Iterator[FigurePart]:
    yield from job.figures
    for face in (job.faces.show, job.faces.back):
        yield from face.figures if face is not None else ()


def _face(face: FacePart | None, names: Mapping[str, str]) -> FacePart | None:
    return face and face.model_copy(update={"figures": _all(face.figures, names)})


def _all(figures: tuple[FigurePart, ...], names: Mapping[str, str]) -> tuple[FigurePart, ...]:
    return tuple(
        figure.model_copy(
            update={
                "source": names.get(figure.source or "", figure.source),
                "font": names.get(figure.font or "", figure.font),
            }
        )
        for figure in figures
    )
