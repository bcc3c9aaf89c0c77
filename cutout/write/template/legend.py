"""The key of a template: a sample of each line and sign, with its meaning."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeAlias

from shapely import LineString

from cutout.check.boards import glue_lines
from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.crowd import crowds
from cutout.draw.fonts import PT
from cutout.draw.looks import DRAWN, EDGE, LEG, MIDDLE, STOP, WASTE, ZONE, Look
from cutout.draw.paint import Paint
from cutout.draw.scene import Item, Words, arrow_head, rectangle, span
from cutout.draw.signs import NUMBER, disc, drill_sign, pin_sign
from cutout.units import format_length
from cutout.write.cutsheet.flow import LEADING, Flow
from cutout.write.drawing import Drawing
from cutout.write.template import lines as kinds
from cutout.write.template.annotate import Annotations
from cutout.write.work import Work

_SIGN = 19.0
"""Width kept for a sample (mm)."""
_LONG, _MIDDLE = 15.5, 7.5
"""Length of a line's sample, and where a sign stands along it (mm)."""

_Sample: TypeAlias = Callable[[float, float], Iterable[Item]]
"""A sample from x on, about the height y (mm)."""


def legend(paint: Paint, flow: Flow, drawing: Drawing, notes: Annotations, *, joined: bool) -> None:
    """A sample of each line and sign with its meaning; only those this drawing has."""
    step = paint.face.text * LEADING / PT
    for sample, words in _signs(drawing, notes, joined=joined):
        x0, _, x1, _ = flow.column
        text = fonts.wrap(words, paint.face.plain, paint.face.text, (x1 - x0 - _SIGN) * PT)
        flow.block(max(6.6, step * len(text) + 1.2), _sign_row(paint, sample, text, step))


def _sign_row(paint: Paint, sample: _Sample, text: Sequence[str], step: float) -> Callable[[Box], None]:
    def row(box: Box) -> None:
        middle = box[3] - 3.3
        with paint.part("P"):
            paint.draw(sample(box[0], middle))
            paint.fill(0)
            for n, line in enumerate(text):
                paint.text(box[0] + _SIGN, middle - 1.4 - n * step, line, paint.face.text)

    return row


def _signs(drawing: Drawing, notes: Annotations, *, joined: bool) -> Iterator[tuple[_Sample, str]]:
    work = drawing.work
    panel = work.pattern.panel
    yield _waste(work), line_words(work)
    if drawing.legs:
        yield lambda x, y: disc((x + _MIDDLE, y), "B"), "letter: a step of the shop drawing begins here"
        yield _number("B2"), "letter and number: the step's next cut"
        yield _leg, "dashed, with arrow: a cut across the waste and its direction"
    if crowds(drawing.legs):
        yield _number("B3-6"), "several: short cuts at one spot, in that order"
    if notes.stops:
        yield _stop, "short thick bar: a cut ends here, in an earlier cut"
    for diameter, kind in notes.drills.items():
        yield _hole(kind), f"hole to drill {format_length(diameter, work.kit.drills.unit)}, with its number"
    if drawing.pins:
        yield lambda x, y: pin_sign((x + _MIDDLE, y)), "pin through all layers of the stack, in waste"
    yield _line(EDGE), "heavy: edge of the panel"
    yield _line(MIDDLE), "long dash and dot: middle of the panel"
    if panel.grain is not None:
        yield lambda x, y: kinds.grain((x, y), (x + _LONG, y)), "direction of the grain"
    if panel.zones:
        yield _line(ZONE), "dots: part of the panel to keep clear of"
    if drawing.more:
        yield _line(DRAWN), "plain line, named: belongs on this face at that place"
    if drawing.centres:
        yield lambda x, y: (kinds.centre((x + _MIDDLE, y)),), "thin cross: where a drill or screw is set"
    if glue_lines(panel):
        yield (
            lambda x, y: kinds.seam(LineString([(x, y), (x + _LONG, y)])),
            "stitched: glue line between two boards",
        )
    if joined:
        yield (
            lambda x, y: kinds.cross((x + _MIDDLE, y)),
            "register cross: same letter on the sheet it joins",
        )
        yield lambda x, y: kinds.trim((x, y, x + _LONG, y)), "toothed, along a sheet's edge: trim it here"
        yield (
            lambda x, y: (kinds.twin(x, y, x + _LONG, y),),
            "two thin lines: the next sheet's edge falls between them",
        )


def line_words(work: Work) -> str:
    """Which edge of the outline is the cut, in words."""
    if work.pattern.keep_mode == "both":
        return "outline: the middle of the blade follows it; grey: what the blade takes"
    if work.template.line_lies == "keep":
        return "grey, hatched: waste; saw in the grey, leave the whole line standing: its edge is the finished edge"
    return "grey, hatched: waste; saw in the grey, beside the line: its middle is the finished edge"


def _waste(work: Work) -> _Sample:
    def sample(x: float, y: float) -> Iterable[Item]:
        width = min(work.template.line, 1.0)
        low = y - 1.6 - (width / 2 if work.template.line_lies == "keep" else 0.0)
        yield rectangle(WASTE, (x, y - 1.6, x + _LONG, y + 1.6))
        yield span(Look(name="cut", width=width), (x, low), (x + _LONG, low))

    return sample


def _line(look: Look) -> _Sample:
    return lambda x, y: (span(look, (x, y), (x + _LONG, y)),)


def _number(text: str) -> _Sample:
    return lambda x, y: (Words(text, (x + _MIDDLE, y - NUMBER / 2), NUMBER, bold=True, align="centre"),)


def _leg(x: float, y: float) -> Iterable[Item]:
    return span(LEG, (x, y), (x + 13, y)), arrow_head(x + 15, y, 0.0)


def _stop(x: float, y: float) -> Iterable[Item]:
    bar = span(STOP, (x + _MIDDLE, y - 1.6), (x + _MIDDLE, y + 1.6))
    return span(LEG, (x, y), (x + _MIDDLE, y)), bar


def _hole(kind: int) -> _Sample:
    return lambda x, y: (*drill_sign((x + 4, y), 2.0, kind), Words("3", (x + 8, y - NUMBER / 2), NUMBER))
