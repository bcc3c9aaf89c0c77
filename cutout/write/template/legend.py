"""The key of a template: a sample of each line and sign, with its meaning."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
from shapely import LineString

from cutout.check.boards import glue_lines
from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.crowd import crowds
from cutout.draw.paint import HATCH, PT, Paint
from cutout.draw.signs import NUMBER, disc, drill_sign, pin_sign, size
from cutout.geom.outline import Ring
from cutout.units import format_length
from cutout.write.cutsheet.flow import LEADING, Flow
from cutout.write.drawing import Drawing
from cutout.write.template import lines
from cutout.write.template.annotate import Annotations
from cutout.write.work import Work

_SIGN = 19.0
"""Width kept for a sample (mm)."""

_Sample: TypeAlias = Callable[[float, float], None]
"""Draws a sample from x on, about the height y (mm)."""


def legend(paint: Paint, flow: Flow, drawing: Drawing, notes: Annotations, *, joined: bool) -> None:
    """A sample of each line and sign with its meaning; only those this drawing has."""
    step = paint.face.text * LEADING / PT
    for draw, words in _signs(paint, drawing, notes, joined=joined):
        x0, _, x1, _ = flow.column
        text = fonts.wrap(words, paint.face.plain, paint.face.text, (x1 - x0 - _SIGN) * PT)
        flow.block(max(6.6, step * len(text) + 1.2), _sign_row(paint, draw, text, step))


def _sign_row(paint: Paint, draw: _Sample, text: Sequence[str], step: float) -> Callable[[Box], None]:
    def row(box: Box) -> None:
        middle = box[3] - 3.3
        paint.fill(0)
        draw(box[0], middle)
        paint.fill(0)
        for n, line in enumerate(text):
            paint.text(box[0] + _SIGN, middle - 1.4 - n * step, line, paint.face.text)

    return row


def _signs(paint: Paint, drawing: Drawing, notes: Annotations, *, joined: bool) -> list[tuple[_Sample, str]]:
    work = drawing.work
    panel = work.pattern.panel
    unit = work.kit.drills.unit
    signs: list[tuple[_Sample, str]] = [(_tint(paint, work), line_words(work))]
    if drawing.legs:
        signs += [
            (lambda x, y: disc(paint, x + 7.5, y, "B"), "letter: a step of the shop drawing begins here"),
            (_number(paint, "B2"), "letter and number: the step's next cut"),
            (_leg(paint), "dashed, with arrow: a cut across the waste and its direction"),
        ]
    if crowds(drawing.legs):
        signs.append((_number(paint, "B3-6"), "several: short cuts at one spot, in that order"))
    if notes.stops:
        signs.append((_stop(paint), "short thick bar: a cut ends here, in an earlier cut"))
    for diameter, kind in notes.drills.items():
        signs.append((_hole(paint, kind), f"hole to drill {format_length(diameter, unit)}, with its number"))
    if drawing.pins:
        signs.append(
            (lambda x, y: pin_sign(paint, x + 7.5, y), "pin through all layers of the stack, in waste")
        )
    signs.append((_along(lambda line: lines.edge(paint, line)), "heavy: edge of the panel"))
    signs.append((_along(lambda line: lines.middle(paint, line)), "long dash and dot: middle of the panel"))
    if panel.grain is not None:
        signs.append((lambda x, y: lines.grain(paint, (x, y), (x + 15, y)), "direction of the grain"))
    if panel.zones:
        signs.append(
            (_along(lambda line: lines.zone(paint, line)), "dots: part of the panel to keep clear of")
        )
    if drawing.more:
        signs.append((_area(paint), "plain line, named: belongs on this face at that place"))
    if drawing.centres:
        signs.append(
            (lambda x, y: lines.centre(paint, x + 7.5, y), "thin cross: where a drill or screw is set")
        )
    if glue_lines(panel):
        signs.append((_along(lambda line: lines.seam(paint, line)), "stitched: glue line between two boards"))
    if joined:
        signs += [
            (
                lambda x, y: lines.cross(paint, x + 7.5, y),
                "register cross: same letter on the sheet it joins",
            ),
            (
                lambda x, y: lines.trim(paint, (x, y, x + 15, y)),
                "toothed, along a sheet's edge: trim it here",
            ),
            (
                lambda x, y: paint.twin(x, y, x + 15, y),
                "two thin lines: the next sheet's edge falls between them",
            ),
        ]
    return signs


def line_words(work: Work) -> str:
    """Which edge of the outline is the cut, in words."""
    if work.pattern.keep_mode == "both":
        return "outline: the middle of the blade follows it; grey: what the blade takes"
    if work.template.line_lies == "keep":
        return "grey, hatched: waste; saw in the grey, leave the whole line standing: its edge is the finished edge"
    return "grey, hatched: waste; saw in the grey, beside the line: its middle is the finished edge"


def _tint(paint: Paint, work: Work) -> _Sample:
    def draw(x: float, y: float) -> None:
        box = (x, y - 1.6, x + 15, y + 1.6)
        corners = np.array([[x, y - 1.6], [x + 15, y - 1.6], [x + 15, y + 1.6], [x, y + 1.6]])
        paint.hatch([Ring.of_points(corners)], box, *HATCH)
        width = min(work.template.line, 1.0)
        paint.pen(width)
        low = y - 1.6 - (width / 2 if work.template.line_lies == "keep" else 0.0)
        paint.line(x, low, x + 15, low)

    return draw


def _along(draw: Callable[[LineString], None]) -> _Sample:
    return lambda x, y: draw(LineString([(x, y), (x + 15.5, y)]))


def _area(paint: Paint) -> _Sample:
    def draw(x: float, y: float) -> None:
        paint.pen(0.35)
        paint.line(x, y, x + 15.5, y)

    return draw


def _number(paint: Paint, text: str) -> _Sample:
    return lambda x, y: paint.text(x + 7.5, y - NUMBER / 2, text, size(NUMBER), bold=True, align="centre")


def _leg(paint: Paint) -> _Sample:
    def draw(x: float, y: float) -> None:
        lines.leg(paint, [(x, y), (x + 13, y)])
        paint.arrow_head(x + 15, y, 0.0)

    return draw


def _stop(paint: Paint) -> _Sample:
    def draw(x: float, y: float) -> None:
        lines.leg(paint, [(x, y), (x + 7.5, y)])
        paint.pen(0.45)
        paint.line(x + 7.5, y - 1.6, x + 7.5, y + 1.6)

    return draw


def _hole(paint: Paint, kind: int) -> _Sample:
    def draw(x: float, y: float) -> None:
        drill_sign(paint, x + 4, y, 2.0, kind)
        paint.fill(0)
        paint.text(x + 8, y - NUMBER / 2, "3", size(NUMBER))

    return draw
