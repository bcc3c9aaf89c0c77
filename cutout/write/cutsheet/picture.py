"""Pictures on the cut sheet: the panel with its numbers, and the widths of the wood."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from html import escape
from itertools import pairwise

import numpy as np
import shapely

from cutout.check.boards import glue_lines
from cutout.draw.heat import COLOURS, STEPS, HeatMap
from cutout.draw.labels import Label, Placed, Room
from cutout.draw.shapes import cut_lines, waste_rings
from cutout.draw.svg import number, polygon_path, polyline_path, printable, ring_path
from cutout.geom.outline import polygons_of
from cutout.pattern import Panel, Pattern, Zone
from cutout.units import Units, count, format_length
from cutout.write.changed import eased_places
from cutout.write.cutsheet.file_spots import file_places
from cutout.write.cutsheet.finding_rows import finding_numbers
from cutout.write.drawing import segments
from cutout.write.work import Work

MOST_MARKS = 80
"""Findings marked on the picture at most; the table has them all."""

_DIAMOND = 0.3
"""Half the height of the sign for an eased place, in heights of text."""
_DOT = 0.22
"""Radius of the dot at a spot for the file, in heights of text."""


def panel_svg(work: Work) -> str:
    """The panel with openings, holes and findings, each with its number in the tables."""
    panel = work.pattern.panel
    text = max(panel.width, panel.height) / 55
    eased = eased_places(work)
    flip = panel.height
    placed, left = _labels(work, text, eased)
    labels = "".join(label_svg(p, flip) for p in placed)
    shapes = "".join(
        f'<circle class="hole" cx="{number(h.at[0])}" cy="{number(flip - h.at[1])}" r="{number(h.diameter / 2)}"/>'
        for h in work.plan.holes
    )
    bridges = "".join(f'<path class="bridge" d="{polygon_path(b.area, flip)}"/>' for b in work.bridges)
    eased_signs = "".join(_diamond(x, flip - y, text * _DIAMOND) for x, y in eased)
    view = " ".join(number(v) for v in (-text, -text, panel.width + 2 * text, panel.height + 2 * text))
    words = (
        f"{count(len(work.pattern.openings), 'opening')} numbered in bold, {count(len(work.plan.holes), 'hole')} "
        f"numbered in plain figures, findings as triangles (must be settled) and squares (care), "
        f"{count(len(eased), 'eased place')} as small diamonds."
    )
    missing = (
        f"<p>No room on the picture for: {escape(', '.join(label.text.lstrip('!?') for label in left))}.</p>"
        if left
        else ""
    )
    return (
        f'<svg class="panel" role="img" aria-labelledby="picture-title picture-words" '
        f'viewBox="{view}">'
        f'<title id="picture-title">The panel from the show face</title><desc id="picture-words">{words}</desc>'
        f'<rect class="board" x="0" y="0" width="{number(panel.width)}" height="{number(panel.height)}"/>'
        f'<path class="waste" fill-rule="evenodd" d="{ring_path(waste_rings(work.pattern), flip)}"/>'
        f"{_on_the_panel(panel)}{bridges}{shapes}{eased_signs}{_file_dots(work, text)}"
        f'<g font-size="{number(text)}">{labels}</g></svg>{missing}'
    )


def _on_the_panel(panel: Panel) -> str:
    """Seams between boards, zones to keep clear of and what is drawn on a face, as lines."""
    flip = panel.height
    seams = (polyline_path(shapely.get_coordinates(line), flip) for line in glue_lines(panel))
    parts = (
        *(("seam", path) for path in seams),
        *(("zone", polygon_path(zone.area, flip)) for zone in panel.zones),
        *(("drawn", polygon_path(zone.area, flip)) for zone in panel.drawn),
    )
    return "".join(f'<path class="{kind}" d="{path}"/>' for kind, path in parts)


def _file_dots(work: Work, text: float) -> str:
    flip = work.pattern.panel.height
    return "".join(
        f'<circle class="file" cx="{number(s.at[0])}" cy="{number(flip - s.at[1])}" r="{number(_DOT * text)}"/>'
        for s in work.plan.left_over
    )


def _diamond(cx: float, cy: float, half: float) -> str:
    corners = ((cx, cy - half), (cx + half, cy), (cx, cy + half), (cx - half, cy))
    return f'<polygon class="eased" points="{" ".join(f"{number(x)},{number(y)}" for x, y in corners)}"/>'


def panel_key(work: Work) -> str:
    """What the lines and signs on the picture mean; only those that are there."""
    panel = work.pattern.panel
    words = ["Grey: cut away. Bold number: opening. Plain number: hole to drill."]
    found = {finding.severity for _, finding in finding_numbers(work)}
    if "stop" in found:
        words.append("Triangle: finding that must be settled.")
    if "care" in found:
        words.append("Square: finding that needs care.")
    eased = len(eased_places(work))
    if eased:
        words.append(f"Small diamond: the outline was eased here ({count(eased, 'place')}).")
    if work.plan.left_over:
        words.append("Dot, with a letter in a circle: left for a file.")
    if panel.zones:
        words.append(f"Dashed: keep clear ({_names(panel.zones)}).")
    if panel.drawn:
        words.append(f"Dotted: drawn on a face ({_names(panel.drawn)}).")
    if glue_lines(panel):
        words.append("Long and short dashes: glue lines between boards.")
    return f"<p>{escape(printable(' '.join(words)))}</p>"


def _names(zones: Sequence[Zone]) -> str:
    return ", ".join(dict.fromkeys(zone.name for zone in zones))


def _labels(
    work: Work, text: float, eased: tuple[tuple[float, float], ...]
) -> tuple[tuple[Placed, ...], tuple[Label, ...]]:
    panel = work.pattern.panel
    lines = segments([cut_lines(work.pattern), panel.polygon.exterior])
    discs = np.array([shapely.Point(h.at).buffer(h.diameter / 2) for h in work.plan.holes], dtype=object)
    signs = [shapely.Point(at).buffer(text * _DIAMOND, quad_segs=1) for at in eased]
    signs += [shapely.Point(s.at).buffer(text * _DOT, quad_segs=2) for s in work.plan.left_over]
    border = text
    room = Room(
        np.concatenate([lines, discs, np.array(signs, dtype=object)]),
        (-border, -border, panel.width + border, panel.height + border),
    )
    return room.place(
        [
            *_finding_labels(work, text),
            *_file_labels(work, text),
            *_hole_labels(work, text),
            *_opening_labels(work, text),
        ]
    )


def _finding_labels(work: Work, text: float) -> Iterator[Label]:
    shown = finding_numbers(work)[:MOST_MARKS]
    for n, finding in shown:
        words = f"{'!' if finding.severity == 'stop' else '?'}{n}"
        side = text * (1.1 + 0.45 * len(str(n)))
        yield Label(words, "ringed", (side, side), (finding.at,), reach=0.0, farthest=60.0)


def _file_labels(work: Work, text: float) -> Iterator[Label]:
    for place in file_places(work):
        side = text * (1.1 + 0.3 * len(place.name))
        yield Label(place.name, "balloon", (side, side), (place.at,), reach=_DOT * text, farthest=60.0)


def _hole_labels(work: Work, text: float) -> Iterator[Label]:
    for hole in work.plan.holes:
        size = (0.62 * text * 0.85 * len(str(hole.id)), text * 0.7)
        yield Label(str(hole.id), "plain", size, (hole.at,), reach=hole.diameter / 2)


def _opening_labels(work: Work, text: float) -> Iterator[Label]:
    for opening in work.pattern.openings:
        middle = shapely.get_coordinates(shapely.maximum_inscribed_circle(opening.region, tolerance=1.0))[0]
        size = (0.75 * text * 1.2 * len(str(opening.id)), text)
        yield Label(str(opening.id), "bold", size, (tuple(middle.tolist()),), centred=True)


def label_svg(placed: Placed, flip: float) -> str:
    """A label where it was placed, with its leader and sign; y up becomes y down as `flip` - y."""
    x0, y0, x1, y1 = placed.box
    cx, cy = (x0 + x1) / 2, flip - (y0 + y1) / 2
    leader = ""
    if placed.leader:
        (ax, ay), (bx, by) = placed.leader
        leader = (
            f'<path class="leader" d="M{number(ax)} {number(flip - ay)}L{number(bx)} {number(flip - by)}"/>'
        )
    words = placed.label.text
    if placed.label.style == "ringed":
        half = (x1 - x0) / 2
        shape = _sign(cx, cy, half, stop=words[0] == "!")
        return f'{leader}{shape}<text class="sign" x="{number(cx)}" y="{number(cy + 0.3 * half)}">{words[1:]}</text>'
    if placed.label.style == "balloon":
        half = (x1 - x0) / 2
        ring = f'<circle class="file-ring" cx="{number(cx)}" cy="{number(cy)}" r="{number(half)}"/>'
        return (
            f'{leader}{ring}<text class="sign" x="{number(cx)}" y="{number(cy + 0.4 * half)}">{words}</text>'
        )
    kind = "number" if placed.label.style == "plain" else "opening"
    return f'{leader}<text class="{kind}" x="{number(cx)}" y="{number(flip - y0)}">{words}</text>'


def _sign(cx: float, cy: float, half: float, *, stop: bool) -> str:
    """A triangle for what must be settled, a square for what needs care."""
    if stop:
        points = f"{number(cx)},{number(cy - half)} {number(cx + half)},{number(cy + half * 0.75)} "
        return f'<polygon class="stop" points="{points}{number(cx - half)},{number(cy + half * 0.75)}"/>'
    side = half * 1.5
    return (
        f'<rect class="care" x="{number(cx - side / 2)}" y="{number(cy - side / 2)}" '
        f'width="{number(side)}" height="{number(side)}"/>'
    )


def heat_figure(heat: HeatMap, pattern: Pattern, units: Units) -> str:
    """The widths of the wood as a picture with a key, and the narrowest places as a table."""
    panel = pattern.panel
    image = base64.b64encode(heat.png).decode("ascii")
    marks = "".join(
        f'<circle class="spot" cx="{number(p.at[0])}" cy="{number(panel.height - p.at[1])}" r="{number(r)}"/>'
        f'<text class="spot-number" x="{number(p.at[0])}" y="{number(panel.height - p.at[1] + 0.36 * r * 1.3)}" '
        f'font-size="{number(1.3 * r)}">{n}</text>'
        for r in [max(panel.width, panel.height) / 70]
        for n, p in enumerate(heat.places, start=1)
    )
    edges = "".join(polygon_path(p, panel.height) for p in polygons_of(pattern.keep))
    return (
        f'<div><svg class="panel" role="img" aria-labelledby="heat-title" '
        f'viewBox="0 0 {number(panel.width)} {number(panel.height)}">'
        f'<title id="heat-title">Widths of the wood that stays: the darker, the narrower</title>'
        f'<image x="0" y="0" width="{number(panel.width)}" height="{number(panel.height)}" '
        f'preserveAspectRatio="none" href="data:image/png;base64,{image}"/>'
        f'<path class="edge" d="{edges}"/>{marks}</svg>{_key(heat, units)}</div>'
    )


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
