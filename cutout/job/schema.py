"""The job: everything a user can say, each setting declared once.

A setting is a field with its kind (a type), what it means (one sentence), an example (as a job file has it) and,
where the command line has one, its flag. Flags, the page's fields, the reference and the job file's reader and
writer are all made from what stands here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from cutout.errors import CutoutError
from cutout.kit.paper import paper
from cutout.units import Units, parse_length, parse_positive, parse_size


@dataclass(frozen=True, slots=True)
class Kind:
    """What a value is, beyond its type: a length in mm, or the name of a file relative to the job's folder."""

    name: Literal["length", "file"]


LENGTH, FILE = Kind("length"), Kind("file")


def setting(default: Any, means: str, like: str, flag: str | None = None, **bounds: Any) -> Any:
    """A setting: its default, its meaning in a sentence, an example in TOML, the command line's flag for it.

    bounds: as pydantic's Field takes them.
    """
    return Field(
        default,
        description=means,
        examples=[like],
        json_schema_extra={"flag": flag} if flag else None,
        **bounds,
    )


def _length(value: object, info: ValidationInfo) -> float:
    return _parsed(parse_length, value, info)


def _positive(value: object, info: ValidationInfo) -> float:
    number = _parsed(parse_positive, value, info)
    if number <= 0:
        raise ValueError("it must be more than zero")
    return number


def _parsed(parse: Callable[..., float], value: object, info: ValidationInfo) -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('write a length in quotes, like "400mm"')
    if info.context is None and not isinstance(value, str):
        # Built in Python, not read from a file: there a number is in mm, as everywhere inside.
        if not math.isfinite(value):
            raise ValueError("it is not a number")
        return float(value)
    return float(_said(parse, value if isinstance(value, str) else f"{value!r}", info))


def _said(parse: Callable[..., Any], text: str, info: ValidationInfo) -> Any:
    """What `parse` makes of a text in the units of the context; its error as one of the validator's."""
    try:
        return parse(text, (info.context or {}).get("units"), what=_name(info))
    except CutoutError as error:
        raise ValueError(str(error)) from error


def _name(info: ValidationInfo) -> str:
    called: str = (info.context or {}).get("called", {}).get(info.field_name, info.field_name or "length")
    return called


def _from_text(read: Callable[[str, ValidationInfo], object]) -> BeforeValidator:
    """A validator that takes one text for the whole of a value, as a command line gives it."""

    def taken(value: object, info: ValidationInfo) -> object:
        return read(value, info) if isinstance(value, str) else value

    return BeforeValidator(taken)


def _pair(text: str, info: ValidationInfo) -> object:
    parts = text.split(",")
    if len(parts) != 2:
        raise ValueError(f'{_name(info)} "{text}": write two lengths, like 250mm,300mm')
    return parts


def _size(text: str, info: ValidationInfo) -> object:
    return [f"{side!r}mm" for side in _said(parse_size, text, info)]


def _sheet(text: str, info: ValidationInfo) -> object:
    try:
        found = paper(text, (info.context or {}).get("units"))
    except CutoutError as error:
        raise ValueError(str(error)) from error
    if found.height is None:
        raise ValueError("a roll has no height: give a paper or a size like 210x297mm")
    return f"{found.width!r}mm", f"{found.height!r}mm"


def _print_scale(text: str, info: ValidationInfo) -> object:
    """Along the sheet's short and its long side; one number stands for both."""
    try:
        numbers = [float(part) for part in text.lower().split("x")]
    except ValueError:
        numbers = []
    low, high = PRINT_SCALE
    if len(numbers) not in (1, 2) or not all(low <= number <= high for number in numbers):
        raise ValueError(
            f'{_name(info)} "{text}": write what the check square measures over what it should, along the '
            "sheet's short and long side, like 0.994x0.998; farther off than 5 % is a setting of the printer"
        )
    return numbers[0], numbers[-1]


def _grain(text: str, info: ValidationInfo) -> object:
    if text.strip().lower() == "none":
        return "none"
    try:
        return float(text.strip().removesuffix("deg"))
    except ValueError:
        raise ValueError(f'{_name(info)} "{text}": write degrees, like 90, or none') from None


def _threshold(text: str, info: ValidationInfo) -> object:
    if text == "local":
        return text
    if text.isdecimal() and len(text) < 4 and int(text) <= 255:
        return int(text)
    raise ValueError(f'{_name(info)} "{text}": write a grey from 0 to 255, or local')


def _corners(text: str, info: ValidationInfo) -> object:
    try:
        numbers = [float(part) for part in text.replace(";", ",").split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != 8:
        raise ValueError(
            f'{_name(info)} "{text}": write four points, x,y,x,y,x,y,x,y in pixels from the top left'
        )
    return list(zip(numbers[::2], numbers[1::2], strict=True))


Length = Annotated[float, BeforeValidator(_length), LENGTH]
"""A length in mm; in the file as text with a unit, or a bare number where `units` says which."""

Positive = Annotated[float, BeforeValidator(_positive), LENGTH]
"""A length in mm above zero."""

FileName = Annotated[str, FILE]
"""The name of a file, relative to the job's folder."""

Number = Annotated[float, Field(allow_inf_nan=False)]
"""A number that is one."""

PRINT_SCALE = (0.95, 1.05)
"""Measured size over true size of a print; farther off is a printer's setting, not its wear."""

PrintScale = Annotated[float, Field(ge=PRINT_SCALE[0], le=PRINT_SCALE[1])]

Stand = Literal[
    "centre", "left", "right", "top", "bottom", "top left", "top right", "bottom left", "bottom right"
]
"""A place on the panel by name."""

Place = tuple[Length, Length]
"""x, y in mm from the panel's lower left, seen from the show face."""


class Part(BaseModel):
    """A table of settings."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class ZonePart(Part):
    """A keep-out rectangle (`at` lower left, `size`) or circle (`at` centre, `diameter`)."""

    name: str = setting(..., "What is there, as it is to be called.", '"lock"')
    at: Place = setting(
        ..., "Lower left corner of the rectangle, or centre of the circle.", '["20mm", "30mm"]'
    )
    size: tuple[Positive, Positive] | None = setting(
        None, "Width and height of the rectangle.", '["60mm", "40mm"]'
    )
    diameter: Positive | None = setting(None, "Diameter of the circle.", '"35mm"')


class FramePart(Part):
    """What people measure where the panel will hang; the panel's own size follows from it."""

    opening: tuple[Positive, Positive] = setting(
        ..., "Clear width and height of the frame's opening.", '["560mm", "416mm"]'
    )
    reach: tuple[Length, Length, Length, Length] = setting(
        (0.0, 0.0, 0.0, 0.0),
        "How far the panel goes behind the frame's lip on the left, right, top and bottom; 0: set into it.",
        '["8mm", "8mm", "8mm", "8mm"]',
    )
    reveal: Length = setting(3.0, "Gap left all round, so that the panel comes out and goes in.", '"3mm"')


class PanelPart(Part):
    """The panel: its size, or the frame it must fit."""

    width: Positive | None = setting(None, "Width of the panel.", '"500mm"')
    height: Positive | None = setting(None, "Height of the panel.", '"700mm"')
    thickness: Positive = setting(18.0, "Thickness of the panel.", '"18mm"', "--thickness")
    wood: str = setting(
        "white-pine", "Wood or sheet good by name; `cutout kit` lists them.", '"red-oak"', "--wood"
    )
    grain: Annotated[Number | Literal["none"] | None, _from_text(_grain)] = setting(
        None,
        "Direction of the grain in degrees, 0 across, 90 up, or none; unset: along the longer side.",
        "90",
        "--grain",
    )
    frame: FramePart | None = setting(
        None, "The frame the panel must fit; it then decides the size.", '{ opening = ["560mm", "416mm"] }'
    )
    zones: tuple[ZonePart, ...] = setting(
        (), "Places to keep clear.", '[{ name = "lock", at = ["20mm", "30mm"], size = ["60mm", "40mm"] }]'
    )
    boards: str | None = setting(
        None, "Nominal board the panel is glued up from; unset: one piece or sheet.", '"1x6"'
    )
    moisture_change: Number = setting(
        4.0, "Seasonal change of wood moisture in percent, for the movement against the reveal.", "4.0"
    )


class FigurePart(Part):
    """One silhouette: a file, or text in a font file; its size, place, turn and mirror."""

    source: FileName | None = setting(None, "The picture or drawing.", '"heron.svg"')
    text: str | None = setting(None, "Words to cut instead of a picture.", '"Inn"')
    font: FileName | None = setting(None, "The font file (TTF or OTF) of the words.", '"sign.ttf"')
    cap_height: Positive | None = setting(None, "Height of the words' capitals.", '"60mm"')
    width: Positive | None = setting(None, "Width of the silhouette.", '"400mm"', "--width")
    height: Positive | None = setting(
        None, "Height of the silhouette (give one of the two).", '"300mm"', "--height"
    )
    at: Annotated[Place | None, _from_text(_pair)] = setting(
        None,
        "Centre of the silhouette from the panel's lower left; unset: where `stand` says.",
        '["250mm", "300mm"]',
        "--at",
    )
    stand: Stand = setting("centre", "Where it stands on the panel, by name.", '"bottom left"')
    margin: Length = setting(0.0, "Distance from the sides `stand` names.", '"20mm"')
    turn: Number = setting(0.0, "Turn the silhouette counter-clockwise, in degrees.", "15.0", "--turn")
    mirror: bool = setting(False, "Mirror the silhouette left to right.", "true", "--mirror")
    repeat: int = setting(1, "How many of it, side by side.", "3", ge=1, le=50)
    pair: bool = setting(False, "Also its mirror image, beside it.", "true")
    threshold: Annotated[
        Annotated[int, Field(ge=0, le=255)] | Literal["local"] | None, _from_text(_threshold)
    ] = setting(None, "Grey (0 to 255) that parts dark from light, or local.", "128", "--threshold")
    smooth: float = setting(0.0, "Smooth the outline, 0 (as is) to 1.", "0.3", "--smooth", ge=0.0, le=1.0)
    invert: bool | None = setting(
        None, "The silhouette is light on dark (or is not); unset: found out.", "true", "--invert"
    )
    corners: Annotated[tuple[tuple[Number, Number], ...] | None, _from_text(_corners)] = setting(
        None,
        "Four corners of `sheet` in the photo, in pixels from the top left.",
        "[[10, 12], [990, 8], [1004, 1410], [4, 1402]]",
        "--corners",
    )
    sheet: Annotated[tuple[Positive, Positive] | None, _from_text(_sheet)] = setting(
        None,
        "A sheet of this paper or size lies in the photo: it is straightened by it.",
        '["210mm", "297mm"]',
        "--sheet",
    )
    tolerance: Positive = setting(0.1, "How far curves may be from what the picture shows.", '"0.1mm"')


class ArrangePart(Part):
    """Figures in a row or column instead of each in its own place."""

    line: Literal["row", "column"] = setting(..., "Side by side, or one above the other.", '"row"')
    gap: Literal["even"] | Positive = setting(
        "even", "Between neighbouring outlines; even: equal gaps that fill the panel.", '"40mm"'
    )
    align: Literal["low", "middle", "high"] = setting(
        "middle",
        "Feet, middles or heads on one line in a row; left sides, middles or right sides in a column.",
        '"low"',
    )


class FacePart(Part):
    """What is drawn, not cut, on one face: a frame-and-panel look, figures, or both."""

    stile: Positive | None = setting(None, "Width of the drawn frame's upright pieces.", '"60mm"')
    rail: Positive | None = setting(None, "Width of the drawn frame's level pieces.", '"60mm"')
    reveal: Positive = setting(3.0, "The drawn gap inside that frame, as a line of this width.", '"3mm"')
    figures: tuple[FigurePart, ...] = setting(
        (),
        "Silhouettes painted on this face, seen from this face.",
        '[{ source = "leaf.svg", width = "90mm" }]',
    )


class FacesPart(Part):
    """The two faces of a panel that is turned round."""

    show: FacePart | None = setting(None, "What is drawn on the show face.", '{ stile = "60mm" }')
    back: FacePart | None = setting(None, "What is drawn on the back.", '{ stile = "60mm" }')


class BackingPart(Part):
    """A second way to build it: the cut board lies over a backing sheet."""

    sheet: str = setting("hardboard", "What the backing is, a wood or sheet good by name.", '"plywood"')
    thickness: Positive = setting(3.0, "Thickness of the backing.", '"3mm"')
    overlap: Positive = setting(
        15.0, "How far it reaches beyond the openings on every side, where it is fastened.", '"15mm"'
    )


class SawPart(Part):
    """Blade and drills."""

    blade: str = setting(
        "jigsaw-narrow", "Blade by name; `cutout kit` lists them.", '"scroll-medium"', "--blade"
    )
    turning_radius: Positive | None = setting(
        None, "Least radius your blade follows, measured on scrap.", '"8mm"', "--turning-radius"
    )
    kerf: Positive | None = setting(
        None, "Width of the slot your blade leaves, measured on scrap.", '"1.4mm"', "--kerf"
    )
    allowance: Annotated[Length, Field(ge=0.0, le=2.0)] | None = setting(
        None,
        "Wood that may stay on the waste side of the line for the file; unset: as is usual for the saw.",
        '"0.3mm"',
        "--allowance",
    )
    drills: str | None = setting(
        None,
        "Drill set by name, or your own list; unset: the metric or the inch set, as `units` says.",
        '"3mm,6mm,10mm"',
        "--drill",
    )
    measured: FileName | None = setting(
        None,
        "File of what you measured on your own saws; unset: mine.toml among your settings.",
        '"mine.toml"',
        "--kit",
    )


class TimesPart(Part):
    """What the moves of your saw take, for the plan and its minutes; unset ones as is usual (see `cutout kit`)."""

    feed: Number | None = setting(
        None, "Millimetres sawn in a minute, in this wood at this thickness.", "350", gt=0
    )
    lift: Number | None = setting(
        None, "Seconds to lift the saw out and put it into a kerf again.", "45", ge=0
    )
    drop_in: Number | None = setting(
        None, "Seconds to let the blade into a hole or where waste has fallen.", "20", ge=0
    )
    thread: Number | None = setting(
        None, "Seconds to unclamp a blade and pass it through a hole.", "120", ge=0
    )
    turn: Number | None = setting(None, "Seconds to turn the blade on the spot.", "5", ge=0)
    hole: Number | None = setting(None, "Seconds to mark and drill a hole.", "45", ge=0)
    change: Number | None = setting(None, "Seconds to change the drill.", "30", ge=0)


class RouterPart(Part):
    """Router bits, the limits of the user's machine, and what to write for it."""

    bit: str | None = setting(
        None, "Router bit by name; unset: 6 mm or 1/4 in, as `units` says.", '"6mm"', "--bit"
    )
    small_bit: str | None = setting(None, "A second, smaller bit for what the first leaves.", '"3mm"')
    gcode: bool = setting(False, "Also write router.ngc.", "true", "--gcode")
    dxf: Literal["R2010", "R12"] = setting("R2010", "Version of the DXF.", '"R12"', "--dxf-version")
    feed_limit: Number | None = setting(None, "Fastest feed of your machine, in mm a minute.", "2000", gt=0)
    safe_height: Positive | None = setting(None, "Height above the wood at which the bit travels.", '"5mm"')
    breakthrough: Length | None = setting(None, "How far the bit goes below the underside.", '"0.4mm"')
    tab_width: Positive | None = setting(
        None, "Length along the path of a tab, the wood that holds a part until the end.", '"8mm"'
    )
    tab_height: Positive | None = setting(None, "Height of a tab above the underside.", '"3mm"')
    tab_spacing: Positive | None = setting(None, "Length of path that one tab serves.", '"150mm"')


class TemplatePart(Part):
    """How the template is printed, and what else is drawn."""

    paper: str = setting(
        "a4", "a4, a3, letter, legal, tabloid, WxH, or 'roll WIDTH'; unset: by locale.", '"letter"', "--paper"
    )
    back: bool = setting(False, "Mirror the template, for gluing on the back.", "true", "--back")
    turn: bool = setting(
        False, "The drawing may lie turned on the sheets where that takes fewer.", "true", "--turn-sheets"
    )
    line: Annotated[Positive, Field(le=3.0)] = setting(
        0.2, "Width of the outline on the template.", '"0.3mm"', "--line"
    )
    line_lies: Literal["middle", "keep"] = setting(
        "middle",
        "The finished edge is the middle of that line, or its edge where it lies wholly in the keep.",
        '"keep"',
        "--line-lies",
    )
    outline: bool = setting(
        False,
        "Also write outline.pdf, the outline alone in a thick line, to trace round by pencil.",
        "true",
        "--outline",
    )
    film: bool = setting(False, "Also write film.svg for adhesive film.", "true", "--film")
    mat: Annotated[tuple[Positive, Positive] | None, _from_text(_size)] = setting(
        None, "Size of the knife cutter's mat; the film is split to fit it.", '["300mm", "300mm"]', "--mat"
    )
    print_scale: Annotated[tuple[PrintScale, PrintScale], _from_text(_print_scale)] = setting(
        (1.0, 1.0),
        "Check square measured over true, along the sheet's short and long side.",
        "[0.994, 0.998]",
        "--print-scale",
    )


class BridgePart(Part):
    """A bridge placed by hand."""

    at: Place = setting(..., "Its middle.", '["120mm", "200mm"]')
    angle: Number = setting(0.0, "Direction of its length in degrees.", "90.0")
    width: Positive = setting(..., "Its width.", '"12mm"')


class MendPart(Part):
    """What may be changed to make the pattern sawable."""

    ease: bool = setting(True, "Round and open up what the blade can't follow.", "false", "--ease")
    corners: Literal["cheapest", "sharp", "round"] = setting(
        "cheapest",
        "Inside corners the blade can't round: sawn sharp from both sides, rounded, or what costs least at the saw.",
        '"sharp"',
        "--inside-corners",
    )
    bridge: bool = setting(True, "Hold loose pieces with bridges of wood.", "false", "--bridge")
    bridge_width: Positive | None = setting(
        None, "Width of every bridge; unset: from the wood.", '"12mm"', "--bridge-width"
    )
    bridge_count: int | None = setting(None, "Bridges per loose piece.", "3", "--bridge-count", ge=1, le=12)
    bridges: tuple[BridgePart, ...] = setting(
        (), "Bridges placed by hand.", '[{ at = ["120mm", "200mm"], angle = 90.0, width = "12mm" }]'
    )
    without: tuple[Place, ...] = setting(
        (), "Middles of found bridges that are to be left out.", '[["120mm", "200mm"]]'
    )


class HolePart(Part):
    """A hole the user wants."""

    at: Place = setting(..., "Its centre.", '["120mm", "200mm"]')
    diameter: Positive = setting(..., "Its diameter.", '"8mm"')


class LimitsPart(Part):
    """Limits of the checks; unset ones keep their defaults (see `cutout kit`)."""

    web_along: Number | None = setting(
        None, "Least width of a web along the grain, in thicknesses of the panel.", "1.0", gt=0
    )
    web_across: Number | None = setting(
        None, "Least width of a web across the grain, in thicknesses of the panel.", "2.0", gt=0
    )
    web_sheet: Number | None = setting(
        None, "Least width of a web in sheet goods, in thicknesses of the panel.", "1.0", gt=0
    )
    edge: Length | None = setting(None, "Least distance from an opening to the panel's edge.", '"25mm"')
    speck: Length | None = setting(None, "What is smaller than this across is a speck.", '"2mm"')


class Job(Part):
    """One job, whole. Paths in it are relative to the job file's folder."""

    title: str | None = setting(None, "What the job is called.", '"Heron shutter"')
    units: Units | None = setting(None, "Units for bare numbers and for sentences.", '"mm"', "--units")
    keep: Literal["panel", "figure", "both"] = setting(
        "panel",
        "What must survive: the panel (figure cut out of it), the figure, or both.",
        '"figure"',
        "--keep",
    )
    overlap: Literal["merge", "refuse"] = setting(
        "merge", "Figures that overlap are joined into one, or refused.", '"refuse"'
    )
    panel: PanelPart = setting(PanelPart(), "The board.", '{ width = "500mm", height = "700mm" }')
    figures: tuple[FigurePart, ...] = setting(
        (), "The silhouettes.", '[{ source = "heron.svg", width = "400mm" }]'
    )
    saw: SawPart = setting(SawPart(), "Blade and drills.", '{ blade = "scroll-medium" }')
    times: TimesPart = setting(TimesPart(), "What the moves of the saw take.", "{ lift = 60 }")
    router: RouterPart = setting(RouterPart(), "Router bits and machine.", "{ gcode = true }")
    template: TemplatePart = setting(TemplatePart(), "What is printed and drawn.", '{ paper = "a3" }')
    mend: MendPart = setting(MendPart(), "What may be changed.", "{ bridge_count = 3 }")
    holes: tuple[HolePart, ...] = setting(
        (), "Holes wanted besides those that are planned.", '[{ at = ["120mm", "200mm"], diameter = "8mm" }]'
    )
    arrange: ArrangePart | None = setting(None, "Figures in a row or column.", '{ line = "row" }')
    faces: FacesPart = setting(
        FacesPart(), "What is drawn on the two faces.", '{ back = { stile = "60mm" } }'
    )
    backing: BackingPart | None = setting(
        None, "A backing sheet behind the cut board.", '{ overlap = "15mm" }'
    )
    limits: LimitsPart = setting(LimitsPart(), "Limits of the checks.", "{ web_along = 1.2 }")


def filled(job: Job) -> Job:
    """The job with what follows from its units spelled out: drills and router bit."""
    inch = job.units == "in"
    saw = job.saw.model_copy(update={"drills": _given(job.saw.drills, "inch" if inch else "metric")})
    router = job.router.model_copy(update={"bit": _given(job.router.bit, "1/4in" if inch else "6mm")})
    return job.model_copy(update={"saw": saw, "router": router})


def _given(value: str | None, usual: str) -> str:
    return usual if value is None else value


def radians_of_grain(part: PanelPart, width: float, height: float) -> float | None:
    """Grain direction in radians: as given, along the longer side when unset, None for "none"."""
    if part.grain == "none":
        return None
    if part.grain is None:
        return math.pi / 2 if height >= width else 0.0
    return math.radians(part.grain)
