"""Pictures of the panel on the cut sheet: openings, holes and findings with their numbers, widths of the wood."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import chain, pairwise

import numpy as np
import shapely

from cutout.check.boards import glue_lines
from cutout.draw.heat import COLOURS, STEPS, HeatMap
from cutout.draw.labels import Label, Placed, Room
from cutout.draw.lettered import label_items, lettered
from cutout.draw.looks import AWAY, BOARD, DRAWN, EASED, FILE, FINE, SPOT, STRIP
from cutout.draw.scene import Disc, Item, Layer, Scene, Words, lines, polygon, region
from cutout.draw.signs import WORDS
from cutout.draw.svg import layers_svg, number, printable
from cutout.geom.curve import Similarity
from cutout.pattern import Pattern, Zone
from cutout.units import Units, count, format_length
from cutout.write import panel
from cutout.write.changed import eased_places
from cutout.write.cutsheet.file_spots import file_places
from cutout.write.cutsheet.finding_rows import finding_numbers
from cutout.write.drawing import Drawing, segments
from cutout.write.work import Work

PICTURE = "picture-svg"
"""The id of the picture of the panel on a page."""
LONG = 180.0
"""The panel's longer side on the picture (mm): about what a printed page is wide."""
BORDER = 4.0
"""Paper shown round it (mm)."""
MOST_MARKS = 80
"""Findings marked on the picture at most; the table has them all."""
EASED_HALF = 0.9
"""Half the height of the sign for an eased place (mm)."""
_DOT = 0.7
"""Radius of the dot at a spot for the file (mm)."""
_HEAT_SPOT = 3.0
"""Radius of the numbered spot at a narrow place (mm)."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A scene, the scale it has (paper over panel), and labels that found no room on it."""

    scene: Scene
    scale: float
    left_out: tuple[Label, ...] = ()


def reduced(work: Work, long: float) -> Drawing:
    """The panel from the show face, its longer side so long on paper (mm), its lower left at the origin."""
    scale = long / max(work.pattern.panel.width, work.pattern.panel.height)
    return Drawing(work, Similarity(complex(scale, 0.0)))


def panel_picture(work: Work) -> Picture:
    """The panel with openings, holes and findings, each with its number in the tables; on a page and in print."""
    return work.once(panel_picture, lambda: _panel_picture(work))


def _panel_picture(work: Work) -> Picture:
    drawing = reduced(work, LONG)
    eased = eased_places(work)
    placed, left = _placed(drawing, eased)
    drawn = (lines(DRAWN, drawing.geometry(shapely.boundary(zone.area))) for zone in work.pattern.panel.drawn)
    layers = (
        Layer("panel", (panel.edge(drawing, BOARD), panel.waste(drawing, AWAY))),
        Layer("on-the-panel", (*panel.seams(drawing), *panel.zones(drawing), *drawn)),
        Layer("bridges", tuple(region(STRIP, drawing.geometry(b.area)) for b in work.bridges)),
        Layer("holes", tuple(panel.holes(drawing))),
        Layer("eased-places", tuple(eased_sign(drawing.at(at)) for at in eased)),
        Layer("files", tuple(Disc(FILE, drawing.at(s.at), _DOT) for s in work.plan.left_over)),
        *_labels(placed),
    )
    x0, y0, x1, y1 = drawing.panel
    return Picture(
        Scene((x0 - BORDER, y0 - BORDER, x1 + BORDER, y1 + BORDER), layers), abs(drawing.frame.a), left
    )


def panel_svg(work: Work, picture: Picture | None = None) -> str:
    """The picture of the panel for the page, and what found no room on it; picture: if it is at hand."""
    picture = picture or panel_picture(work)
    words = (
        f"{count(len(work.pattern.openings), 'opening')} numbered in bold, {count(len(work.plan.holes), 'hole')} "
        f"numbered in plain figures, findings in octagons (must be settled) and beside triangles (care), "
        f"{count(len(eased_places(work)), 'eased place')} as small diamonds."
    )
    names = ", ".join(label.text for label in picture.left_out)
    missing = f"<p>No room on the picture for: {escape(names)}.</p>" if names else ""
    return picture_svg(picture, PICTURE.removesuffix("-svg"), "The panel from the show face", words) + missing


def picture_svg(picture: Picture, name: str, title: str, words: str = "", kind: str = "panel") -> str:
    """A picture as an element of a page, in the panel's own millimetres, its top at 0; name: of the element."""
    x0, y0, x1, y1 = picture.scene.box
    by = 1 / picture.scale
    shown = [layer for layer in picture.scene.layers if layer.items]
    view = " ".join(number(v * by) for v in (x0, y0, x1 - x0, y1 - y0))
    told = f'<desc id="{name}-words">{words}</desc>' if words else ""
    labelled = f"{name}-title {name}-words" if words else f"{name}-title"
    return (
        f'<svg class="{kind}" id="{name}-svg" role="img" aria-labelledby="{labelled}" viewBox="{view}">'
        f'<title id="{name}-title">{escape(title)}</title>{told}'
        f'<g transform="scale({number(by)})">{layers_svg(shown, y0 + y1)}</g></svg>'
    )


def panel_key(work: Work) -> str:
    """What the lines and signs on the picture mean; only those that are there."""
    panel = work.pattern.panel
    words = [
        "Grey: cut away. Bold number: opening. Plain number: hole to drill, its sign as on the template."
    ]
    found = {finding.severity for _, finding in finding_numbers(work)}
    if "stop" in found:
        words.append("Octagon: finding that must be settled.")
    if "care" in found:
        words.append("Triangle: finding that needs care.")
    eased = len(eased_places(work))
    if eased:
        words.append(f"Small diamond: the outline was eased here ({count(eased, 'place')}).")
    if work.plan.left_over:
        words.append("Dot, with a letter in a circle: left for a file.")
    if panel.zones:
        words.append(f"Dots: keep clear ({_names(panel.zones)}).")
    if panel.drawn:
        words.append(f"Plain line: drawn on a face ({_names(panel.drawn)}).")
    if glue_lines(panel):
        words.append("Stitched: glue lines between boards.")
    return f"<p>{escape(printable(' '.join(words)))}</p>"


def _names(zones: Sequence[Zone]) -> str:
    return ", ".join(dict.fromkeys(zone.name for zone in zones))


def _placed(
    drawing: Drawing, eased: tuple[tuple[float, float], ...]
) -> tuple[tuple[Placed, ...], tuple[Label, ...]]:
    work = drawing.work
    taken = [
        *(
            shapely.Point(drawing.at(h.at)).buffer(panel.hole_radius(h.diameter, drawing))
            for h in drawing.holes
        ),
        *(shapely.Point(drawing.at(at)).buffer(EASED_HALF, quad_segs=1) for at in eased),
        *(shapely.Point(drawing.at(s.at)).buffer(_DOT, quad_segs=2) for s in work.plan.left_over),
    ]
    x0, y0, x1, y1 = drawing.panel
    outline = segments([drawing.cuts, drawing.board.exterior])
    room = Room(
        np.concatenate([outline, np.array(taken, dtype=object)]),
        (x0 - BORDER, y0 - BORDER, x1 + BORDER, y1 + BORDER),
    )
    wanted = (_opening_labels(drawing), finding_labels(drawing, MOST_MARKS), _other_labels(drawing))
    return room.place(list(chain(*wanted)))


def finding_labels(drawing: Drawing, most: int) -> Iterator[Label]:
    """The numbers of findings at their places."""
    for n, finding in finding_numbers(drawing.work)[:most]:
        yield lettered(str(n), "must" if finding.severity == "stop" else "care", (drawing.at(finding.at),))


def _opening_labels(drawing: Drawing) -> Iterator[Label]:
    """Numbers of openings, in their middles."""
    for opening in drawing.work.pattern.openings:
        circle = shapely.maximum_inscribed_circle(opening.region, tolerance=1.0)
        middle = drawing.at(shapely.get_coordinates(circle)[0].tolist())
        yield lettered(str(opening.id), "bold", (middle,), centred=True)


def eased_sign(at: tuple[float, float]) -> Item:
    """A diamond where the outline was eased."""
    corners = [complex(*at) + EASED_HALF * 1j**n for n in range(4)]
    return polygon(EASED, [(z.real, z.imag) for z in corners])


def _other_labels(drawing: Drawing) -> Iterator[Label]:
    """Letters of places for the file, numbers of holes."""
    for place in file_places(drawing.work):
        yield lettered(place.name, "balloon", (drawing.at(place.at),), reach=_DOT)
    for hole in drawing.holes:
        reach = panel.hole_radius(hole.diameter, drawing)
        yield lettered(str(hole.id), "plain", (drawing.at(hole.at),), reach=reach)


def _labels(placed: Sequence[Placed]) -> Iterator[Layer]:
    """A layer for each style of label."""
    for style in dict.fromkeys(p.label.style for p in placed):
        yield Layer(
            f"names-{style}",
            tuple(item for p in placed if p.label.style == style for item in label_items(p)),
        )


def heat_figure(heat: HeatMap, pattern: Pattern, units: Units) -> str:
    """The widths of the wood as a picture with a key, and the narrowest places as a table."""
    board = pattern.panel
    scale = LONG / max(board.width, board.height)
    edges = lines(FINE, shapely.transform(shapely.boundary(pattern.keep), lambda xy: xy * scale))
    spots = tuple(
        item
        for n, place in enumerate(heat.places, start=1)
        for item in _spot(n, (place.at[0] * scale, place.at[1] * scale))
    )
    size = f'width="{number(board.width)}" height="{number(board.height)}"'
    image = base64.b64encode(heat.png).decode("ascii")
    layers = (Layer("edges", (edges,)), Layer("spots", spots))
    return (
        f'<div><svg class="panel" role="img" aria-labelledby="heat-title" '
        f'viewBox="0 0 {number(board.width)} {number(board.height)}">'
        f'<title id="heat-title">Widths of the wood that stays: the darker, the narrower</title>'
        f'<image x="0" y="0" {size} preserveAspectRatio="none" href="data:image/png;base64,{image}"/>'
        f'<g transform="scale({number(1 / scale)})">{layers_svg(layers, board.height * scale)}</g></svg>'
        f"{_key(heat, units)}</div>"
    )


def _spot(n: int, at: tuple[float, float]) -> tuple[Item, ...]:
    words = Words(str(n), (at[0], at[1] - WORDS / 2), WORDS, bold=True, align="centre")
    return Disc(SPOT, at, _HEAT_SPOT), words


def _key(heat: HeatMap, units: Units) -> str:
    bounds = [format_length(s * heat.limit, units) for s in STEPS]
    words = [f"under {bounds[0]}", *(f"{a} to {b}" for a, b in pairwise(bounds))]
    words.append(f"over {bounds[-1]}")
    items = "".join(
        f'<li><svg class="swatch" aria-hidden="true" viewBox="0 0 10 10">'
        f'<rect width="10" height="10" fill="{colour}" stroke="#000" stroke-width="0.5"/></svg> {text}</li>'
        for colour, text in zip(COLOURS, words, strict=True)
    )
    return f'<ul class="key">{items}<li>white: cut away</li></ul>'
