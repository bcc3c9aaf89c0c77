"""The walk in the cut sheet: the plan's steps one at a time, for a telephone beside the saw.

What it shows is data in the page; walk.js makes the rest of it. Without a script the page has everything but this.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from importlib import resources

import numpy as np
import shapely

from cutout.saw.model import Leg
from cutout.write.steps import falls
from cutout.write.work import Work

_EXACT = 0.1
"""How far the ways on the screen may be from the true ones (mm)."""


def walk_script(work: Work) -> tuple[str, str]:
    """The elements that make the walk, and the script's source as a content security policy names it; both empty
    where there are no steps."""
    if not work.plan.steps:
        return "", ""
    script = resources.files("cutout.write.cutsheet").joinpath("walk.js").read_text("utf-8")
    data = _data(work)
    key = hashlib.sha256(data.encode()).hexdigest()[:16]
    # A script element ends at the first "</", wherever it stands.
    held = data.replace("<", "\\u003c")
    return (
        f'<script type="application/json" id="walk-data" data-key="{key}">{held}</script>\n'
        f"<script>{script}</script>\n",
        source_of(script),
    )


def source_of(text: str) -> str:
    """The hash source of an inline script or style (W3C, Content Security Policy Level 3, 2.3.1)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def _data(work: Work) -> str:
    """Steps with their ways and holes as SVG has them: y down from the panel's top, a tenth of a millimetre."""
    flip = work.pattern.panel.height
    legs = {leg.order: leg for leg in work.plan.legs}
    steps = [
        {
            "letter": step.letter,
            "name": work.told(step).name,
            "say": work.told(step).text,
            "hold": falls(step),
            "way": "".join(_way(legs[order], flip) for order in step.legs if order in legs),
            "holes": list(step.holes),
        }
        for step in work.plan.steps
    ]
    holes = {
        hole.id: [round(hole.at[0], 1), round(flip - hole.at[1], 1), round(hole.diameter / 2, 2)]
        for hole in work.plan.holes
    }
    return json.dumps({"steps": steps, "holes": holes}, separators=(",", ":"), ensure_ascii=True)


def _way(leg: Leg, flip: float) -> str:
    if len(leg.path) < 2:
        return ""
    return _path(shapely.get_coordinates(shapely.LineString(leg.path).simplify(_EXACT)), flip)


def _path(points: np.ndarray, flip: float) -> str:
    placed: Sequence[Sequence[float]] = np.column_stack([points[:, 0], flip - points[:, 1]]).round(1).tolist()
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in placed)
