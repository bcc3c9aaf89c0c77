"""A drawing with its gradients made plain, so that highlights in them do not look like holes when rendered."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

from cutout.read.svg.document import Document
from cutout.read.svg.page import PaintedRule
from cutout.read.svg.paint import Paint, stop_colour
from cutout.read.svg.style import StyleSheet
from cutout.read.svg.walk import Drawing

GRADIENTS = ("linearGradient", "radialGradient")


def without_shading(document: Document, drawing: Drawing) -> Document:
    """The document with each gradient that runs to white in one colour, and each that fades to nothing gone.

    Masks go by how light their gradients are: a drawing that uses any is given back as it is.
    """
    if "mask" in drawing.beyond:
        return document
    sheet, rule = StyleSheet(document), PaintedRule()
    root = deepcopy(document.root)
    for own, copied in zip(document.root.iter(), root.iter(), strict=True):
        stops = [k for k, child in enumerate(own) if child.tag == "stop"]
        if own.tag not in GRADIENTS or not stops:
            continue
        paint = Paint(tuple(stop_colour(own[k], sheet.of(own, {}), sheet) for k in stops))
        alone = {rule.side(Paint((shade,))) for shade in paint.shades}
        side = rule.side(paint)
        if side is None:
            style = "stop-color:white;stop-opacity:0"
        elif side and False in alone:
            style = "stop-color:black;stop-opacity:1"
        else:
            continue
        for k in stops:
            copied[k].set("style", style)
    return replace(document, root=root)
