"""Scenes as SVG, and what SVG files are put together from."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape
from itertools import groupby
from zlib import crc32

import numpy as np

from cutout.draw import fonts
from cutout.draw.looks import Ink, Look, rgb
from cutout.draw.scene import Area, Disc, Item, Layer, Run, Words, hatching
from cutout.geom.curve import Arc, Cubic, FloatArray, Line, Segment
from cutout.geom.outline import Ring

_ANCHOR = {"left": "start", "centre": "middle", "right": "end"}


def layers_svg(layers: Iterable[Layer], flip: float, key: str = "class") -> str:
    """Each layer a group with its name as its class (or its id); y up becomes y down as `flip` - y."""
    return "\n".join(f'<g {key}="{layer.name}">{items_svg(layer.items, flip)}</g>' for layer in layers)


def items_svg(items: Iterable[Item], flip: float) -> str:
    """Items in order, neighbours that look alike in one group that says how; y up becomes y down as `flip` - y."""
    return "".join(
        f"<g {_attributes(look, words=words)}>{''.join(_element(item, flip) for item in alike)}</g>"
        for (look, words), alike in groupby(items, key=lambda item: (item.look, isinstance(item, Words)))
    )


def _element(item: Item, flip: float) -> str:
    match item:
        case Area(look, rings, id):
            data = ring_path(rings, flip)
            path = f'<path{_id(id)} fill-rule="evenodd" d="{data}"/>'
            return path if look.hatch is None else f"{path}{_hatched(item, data, flip)}"
        case Run(_, paths, id):
            data = "".join(polyline_path(path, flip) for path in paths)
            return f'<path{_id(id)} d="{data}"/>' if data else ""
        case Disc(_, (x, y), radius):
            return f'<circle cx="{number(x)}" cy="{number(flip - y)}" r="{number(radius)}"/>'
        case Words():
            return _words(item, flip)


def _words(words: Words, flip: float) -> str:
    x, y = number(words.at[0]), number(flip - words.at[1])
    # Letters as fonts have them: capitals are so much of the size of type.
    size = number(words.tall / fonts.CAPITALS)
    weight = ' font-weight="700"' if words.bold else ""
    turn = f' transform="rotate(-90 {x} {y})"' if words.upright else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{size}" text-anchor="{_ANCHOR[words.align]}"{weight}{turn}>'
        f"{escape(printable(words.text), quote=False)}</text>"
    )


def _hatched(area: Area, data: str, flip: float) -> str:
    """The lines over an area, clipped by it."""
    assert area.look.hatch is not None
    name = f"within-{crc32(data.encode()):08x}"
    lines = items_svg([hatching(area.look, area.look.hatch, area.rings)], flip)
    return (
        f'<clipPath id="{name}"><path clip-rule="evenodd" d="{data}"/></clipPath>'
        f'<g clip-path="url(#{name})">{lines}</g>'
    )


def _attributes(look: Look, *, words: bool) -> str:
    """How a look is said in SVG; its name as a class, for whoever looks for it."""
    fill = "none" if look.fill is None else colour(look.fill)
    said = [f'class="{look.name}" fill="{fill}"']
    if look.width and not words:
        said.append(
            f'stroke="{colour(look.ink)}" stroke-width="{number(look.width)}" stroke-linejoin="round"'
        )
        if look.dash:
            said.append(f'stroke-dasharray="{" ".join(map(number, look.dash))}"')
        if look.round_ends:
            said.append('stroke-linecap="round"')
    return " ".join(said)


def colour(ink: Ink) -> str:
    """An ink as SVG and CSS write it."""
    return "#" + "".join(f"{part:02x}" for part in rgb(ink))


def _id(name: str) -> str:
    return f' id="{escape(name)}"' if name else ""


def ring_path(rings: Iterable[Ring], flip: float) -> str:
    """SVG path data of closed rings; y up becomes y down as `flip` - y. Arcs and cubics stay curves."""
    return _shortest(
        "".join(
            f"M{_point(ring.segments[0].start, flip)}{''.join([_run(s, flip) for s in ring.segments])}Z"
            for ring in rings
            if ring.segments
        )
    )


def polyline_path(path: FloatArray, flip: float) -> str:
    """SVG path data of an open polyline (n, 2)."""
    if len(path) == 0:
        return ""
    xy = np.column_stack([path[:, 0], flip - path[:, 1]]).tolist()
    return _shortest("M" + "L".join([f"{x:.4f} {y:.4f}" for x, y in xy]))


def number(value: float) -> str:
    """A coordinate in mm to 0.0001, shortest form."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def head(title: str, x: float, y: float, width: float, height: float) -> str:
    """The start of a document whose numbers are millimetres."""
    size = f'width="{number(width)}mm" height="{number(height)}mm"'
    view = " ".join(number(v) for v in (x, y, width, height))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="{view}">\n'
        f"<title>{escape(printable(title), quote=False)}</title>"
    )


def printable(text: str) -> str:
    """The text without characters XML forbids."""
    return "".join(c for c in text if c >= " " and not 0xD800 <= ord(c) <= 0xDFFF and c not in "\ufffe\uffff")


def _point(z: complex, flip: float) -> str:
    return f"{z.real:.4f} {flip - z.imag:.4f}"


def _shortest(data: str) -> str:
    """Path data whose coordinates have four places, each as `number` writes it."""
    return _NOTHING.sub("0", _ENDS.sub(r"\1", _WHOLE.sub("", data)))


_WHOLE, _ENDS = re.compile(r"\.0000"), re.compile(r"(\.\d*[1-9])0+(?!\d)")
_NOTHING = re.compile(r"-0(?![\d.])")


def _run(segment: Segment, flip: float) -> str:
    match segment:
        case Line(_, end):
            return f"L{_point(end, flip)}"
        case Arc(_, end, bulge):
            radius, large = f"{segment.radius:.4f}", int(abs(bulge) > 1)
            return f"A{radius} {radius} 0 {large} {int(bulge < 0)} {_point(end, flip)}"
        case Cubic(_, c1, c2, end):
            return f"C{_point(c1, flip)} {_point(c2, flip)} {_point(end, flip)}"
