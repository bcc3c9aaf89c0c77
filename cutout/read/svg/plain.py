"""A drawing with its gradients made plain, so that highlights in them do not look like holes when rendered."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from xml.etree.ElementTree import Element

from cutout.read.curves import CurveBook
from cutout.read.svg.compose import Regions, extent
from cutout.read.svg.document import Document
from cutout.read.svg.page import PaintedRule, fades
from cutout.read.svg.paint import Paint, stop_colour
from cutout.read.svg.shading import with_bodies
from cutout.read.svg.style import StyleSheet
from cutout.read.svg.walk import Drawing

GRADIENTS = ("linearGradient", "radialGradient")


def _faded(document: Document, drawing: Drawing) -> tuple[frozenset[str], frozenset[str]]:
    """Ids of the gradients that fade to nothing and paint nothing but bodies, and of those that paint nothing but
    shadows and gloss; no other gradient borrows from them."""
    x0, y0, x1, y1 = extent(drawing.marks) or (0.0, 0.0, 0.0, 0.0)
    regions = Regions(CurveBook(1e-4 * max(x1 - x0, y1 - y0, 1e-6)))
    marks = with_bodies(drawing.marks, PaintedRule(), regions)
    bodies = {m.paint.ramp.server for m in marks if m.paint.ramp and m.paint.body}
    soft = {m.paint.ramp.server for m in marks if m.paint.ramp and fades(m.paint)}
    lent = {(e.get("href") or "").removeprefix("#") for e in document.root.iter() if e.tag in GRADIENTS}
    hard = {m.paint.ramp.server for m in marks if m.paint.ramp and not fades(m.paint)}
    return frozenset(bodies - soft - lent - {""}), frozenset(soft - hard - lent - {""})


def without_shading(document: Document, drawing: Drawing) -> Document:
    """The document with each gradient that runs to white in one colour, and each that fades to nothing gone, unless
    all it paints is a body.

    Masks go by how light their gradients are: a drawing that uses any is given back as it is.
    """
    if "mask" in drawing.beyond:
        return document
    sheet, rule = StyleSheet(document), PaintedRule()
    root = deepcopy(document.root)
    bodies, shadows = _faded(document, drawing)
    for own, copied in zip(document.root.iter(), list(root.iter()), strict=True):
        if own.tag in GRADIENTS and own.get("id") in bodies | shadows:
            copied.attrib.pop("href", None)
            for child in list(copied):
                copied.remove(child)
            opacity = "1" if own.get("id") in bodies else "0"
            copied.append(Element("stop", {"stop-color": "black", "stop-opacity": opacity}))
            continue
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
