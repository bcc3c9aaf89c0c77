"""The form: every setting of a job file as a field of the page, made from the schema.

A setting added to the schema appears by itself, with its meaning; what stands here only says where it is shown,
in which words, and which names of the kit it may take.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from cutout.job.fields import Field, entry_of, fields, type_at
from cutout.page.choices import MORE_THAN_NAMES, NAMES

MOST_IN_A_ROW = 4
"""Most values of one setting that get a field each, side by side; more are written as one text."""

_TABLES = {
    "picture": "title keep figures overlap arrange",
    "panel": "units panel faces backing",
    "saw": "saw times router",
    "findings": "mend limits",
    "plan": "holes",
    "print": "template",
}
DRAWERS = {table: drawer for drawer, tables in _TABLES.items() for table in tables.split()}
"""Which drawer shows a table of the job; a table that is not named here is shown with the panel."""

CLEANING = frozenset(
    f"figures.*.{name}"
    for name in "threshold smooth invert fill corners sheet crop touched marked within tolerance".split()
)
"""Settings of a figure that tell how its picture is read."""

FIRST = frozenset(
    """
    keep figures.*.width figures.*.height figures.*.at figures.*.turn figures.*.mirror
    units panel.width panel.height panel.thickness panel.wood panel.grain panel.zones panel.hardware
    panel.frame panel.frame.opening panel.frame.reach panel.frame.reveal faces.show faces.back
    saw.blade saw.turning_radius saw.kerf saw.drills mend.ease mend.bridge template.paper template.back
    """.split()
)
"""Settings that nearly every job needs: shown at once, the others under "More"."""

WORDS = {
    "title": "Name of the job", "keep": "What you keep", "overlap": "Figures that overlap", "units": "Units",
    "figures.*.cap_height": "Height of capitals", "figures.*.at": "Middle", "figures.*.turn": "Turned, degrees",
    "figures.*.mirror": "Mirrored", "figures.*.stand": "Stands at", "figures.*.pair": "And its mirror image",
    "figures.*.repeat": "How many", "figures.*.threshold": "Where dark begins", "figures.*.smooth": "Smoothing",
    "figures.*.invert": "Light on dark", "figures.*.fill": "Closed thin lines",
    "figures.*.corners": "Corners of the sheet in the photo",
    "figures.*.sheet": "Sheet in the photo", "figures.*.crop": "Part that counts, pixels",
    "figures.*.marked": "Spots marked as figure or ground", "figures.*.within": "Box round the figure, pixels",
    "figures.*.touched": "Spots touched by hand", "figures.*.source": "Picture",
    "panel.grain": "Grain runs, degrees", "panel.frame": "Hangs in a frame",
    "panel.frame.opening": "Opening of the frame",
    "panel.frame.reach": "Reach behind the lip", "panel.zones": "Places to keep clear",
    "panel.hardware": "Hardware on the back",
    "panel.boards": "Glued up from", "panel.moisture_change": "Change of moisture, percent",
    "faces.show": "Painted show face", "faces.back": "Painted back", "backing": "Backing sheet",
    "arrange": "In a row or column", "saw.drills": "Drills", "saw.turning_radius": "Turning radius you measured",
    "saw.kerf": "Kerf you measured", "router.small_bit": "Smaller bit for corners", "router.gcode": "Also G-code",
    "router.dxf": "DXF release", "router.feed_limit": "Fastest feed, mm a minute",
    "template.back": "Mirrored, for gluing on the back", "template.turn": "Drawing may lie turned",
    "template.line": "Width of the line", "template.line_lies": "Finished edge lies",
    "template.outline": "Also an outline to trace", "template.film": "Also adhesive film",
    "template.mat": "Mat of the knife cutter", "template.print_scale": "Measured over true",
    "mend.ease": "Ease corners for the blade", "mend.bridge": "Tie loose pieces with bridges",
    "mend.bridge_count": "Bridges for each loose piece", "mend.bridges": "Bridges of your own",
    "mend.without": "Found bridges left out", "holes": "Holes of your own",
    "limits.web_along": "Narrowest wood along the grain, thicknesses",
    "limits.web_across": "Narrowest wood across the grain, thicknesses",
    "limits.web_sheet": "Narrowest wood in sheet goods, thicknesses", "limits.edge": "Keep clear of the edge by",
    "limits.speck": "Largest speck", "limits.sawing": "Most sawing, times the outline",
    "limits.file_spots": "Most spots for the file, an opening", "limits.hours": "Most hours at the saw",
    # Short pairs, several a line: one each would fill two screens.
}  # fmt: skip
"""What a setting is called on the page, where its own name is not the plainest word."""

PARTS = {
    "at": ("from the left", "from the bottom"),
    "opening": ("wide", "high"),
    "size": ("wide", "high"),
    "reach": ("left", "right", "top", "bottom"),
    "sheet": ("wide", "high"),
    "mat": ("wide", "high"),
    "print_scale": ("short side", "long side"),
    "crop": ("left", "top", "right", "bottom"),
    "within": ("left", "top", "right", "bottom"),
}

OPTIONS = {
    "keep": {
        "panel": "the panel: the figure is cut out of it",
        "figure": "the figure: the wood around it goes",
        "both": "both: one cut along the line",
    },
    "overlap": {"merge": "are joined into one", "refuse": "are refused"},
    "units": {"": "mm (usual)", "mm": "mm", "in": "inches"},
    "template.line_lies": {"middle": "in the middle of the line", "keep": "at its edge, the line stays"},
}
"""What the words of a choice mean."""


def form() -> list[dict[str, Any]]:
    """Every setting in the order of the schema; a table comes before what is in it.

    path: like figures.*.width, the star for an entry of a list. parts: a label for each value where one setting
    holds several. start: what a new entry or a table switched on begins with. switched: a table that is there only
    where it is wanted.
    """
    lists: set[tuple[str, ...]] = set()
    shown = []
    for field in fields():
        if field.kind == "tables":
            lists.add(field.path)
        shown.append(_entry(field, _starred(field.path, lists)))
    return shown


def _starred(path: tuple[str, ...], lists: set[tuple[str, ...]]) -> str:
    """The path with a star wherever an entry of a list of tables stands."""
    steps = []
    for n, step in enumerate(path, 1):
        steps.append(step)
        if path[:n] in lists and n < len(path):
            steps.append("*")
    return ".".join(steps)


def _entry(field: Field, path: str) -> dict[str, Any]:
    # What is painted on a face is a figure like one that is cut, and is called the same.
    plain = path.replace("faces.show.figures", "figures").replace("faces.back.figures", "figures")
    parts = _parts(field, path)
    return {
        "path": path,
        "name": field.name,
        "kind": _kind(field, parts),
        "label": WORDS.get(plain) or WORDS.get(path) or _plain(field.name),
        "meaning": field.meaning,
        "required": field.required,
        "switched": field.kind == "table" and field.default is None and not field.required,
        "default": _data(field.default),
        "example": field.example,
        "start": tomllib.loads(f"start = {field.example}")["start"] if field.example else None,
        "parts": parts,
        "choices": [{"name": c, "title": OPTIONS.get(path, {}).get(c, c)} for c in field.choices],
        "unset": OPTIONS.get(path, {}).get("") or _unset(field),
        "names": list(NAMES[plain]()) if plain in NAMES else [],
        "more_than_names": plain in MORE_THAN_NAMES,
        "drawer": DRAWERS.get(field.path[0], "panel"),
        "group": "first" if plain in FIRST else "clean" if plain in CLEANING else "more",
    }


def _kind(field: Field, parts: Sequence[str]) -> str:
    if field.kind == "list of list of lengths":
        return "places"
    if field.name in ("touched", "marked"):
        return "spots"
    if field.kind.startswith("list") and not parts:
        return "text"
    return field.kind.removeprefix("list of ").removesuffix("s") if parts else field.kind


def _parts(field: Field, path: str) -> list[str]:
    """A label for each value of a setting that holds a fixed, small number of them."""
    if not field.kind.startswith("list of ") or field.kind.startswith("list of list"):
        return []
    annotation = type_at(path.replace("*", "0"))
    count = next((n for n in range(MOST_IN_A_ROW + 1) if entry_of(annotation, n) is None), 0)
    known = PARTS.get(field.name, ())
    return [known[n] if n < len(known) else str(n + 1) for n in range(count)]


def _unset(field: Field) -> str:
    """What counts while a setting is not given, in the words of its own meaning."""
    found = re.search(r"unset: ([^;.]+)", field.meaning)
    return found[1] if found else "not set"


def _plain(name: str) -> str:
    text = name.replace("_", " ")
    return text[0].upper() + text[1:]


def _data(value: Any) -> Any:
    """A default as plain data; tables and lists of tables are spelled out by their own fields."""
    if isinstance(value, str | int | float | bool) or value is None:
        return value
    if isinstance(value, Mapping) or hasattr(value, "model_dump"):
        return None
    return [_data(v) for v in value]
