"""The job: everything a user can say, each setting declared once.

A setting is a field with its kind (a type), what it means (one sentence), an example (as a job file has it) and,
where the command line has one, its flag. Flags, the page's fields, the reference and the job file's reader and
writer are all made from what stands here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
)

from cutout.choices import (
    Align,
    Corners,
    Direction,
    FillHow,
    Half,
    IndexIn,
    InLine,
    Join,
    Keep,
    LetterBridges,
    Made,
    Overlap,
    Stand,
    TabEnds,
    TextSide,
)
from cutout.errors import CutoutError
from cutout.kit.hardware import USUAL, Hardware
from cutout.kit.paper import paper
from cutout.units import FARTHEST, Units, format_length, parse_length, parse_positive, parse_size, spelled


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
    if isinstance(value, str):
        return float(_said(parse, value, info))
    if abs(value) > FARTHEST:
        raise ValueError("it is more than 100 m: look at its unit")
    if math.isnan(value):
        raise ValueError("it is not a number")
    if info.context is None:
        # Built in Python, not read from a file: there a number is in mm, as everywhere inside.
        return float(value)
    return float(_said(parse, spelled(value).removesuffix("mm"), info))


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
    return [spelled(side) for side in _said(parse_size, text, info)]


def _sheet(text: str, info: ValidationInfo) -> object:
    try:
        found = paper(text, (info.context or {}).get("units"))
    except CutoutError as error:
        raise ValueError(str(error)) from error
    if found.height is None:
        raise ValueError("a roll has no height: give a paper or a size like 210x297mm")
    return spelled(found.width), spelled(found.height)


def _box(text: str, info: ValidationInfo) -> object:
    parts = text.split(",")
    if len(parts) != 4:
        raise ValueError(
            f'{_name(info)} "{text}": write left, top, right and bottom in pixels, like 120,80,900,1200'
        )
    return parts


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


def _at_most(most: float, why: str) -> AfterValidator:
    def checked(value: float) -> float:
        if value > most:
            raise ValueError(f"it may be {format_length(most)} at most: {why}")
        return value

    return AfterValidator(checked)


def _at_least(least: float) -> AfterValidator:
    def checked(value: float) -> float:
        if value < least:
            raise ValueError(f"it must be {format_length(least)} at least")
        return value

    return AfterValidator(checked)


PanelSide = Annotated[
    Positive, _at_least(0.01), _at_most(10_000.0, "give a panel that fits through a door, or several jobs")
]
"""Width or height of a panel."""

Thickness = Annotated[Positive, _at_most(2_000.0, "no saw or router goes deeper")]
"""Thickness of what is cut."""

Radius = Annotated[Positive, _at_most(10_000.0, "a blade that turns no tighter cuts straight lines only")]
"""A turning radius."""

Angle = Annotated[float, Field(allow_inf_nan=False, ge=-36_000.0, le=36_000.0)]
"""Degrees; a hundred turns are enough."""

FileName = Annotated[str, FILE]
"""The name of a file, relative to the job's folder."""

Number = Annotated[float, Field(allow_inf_nan=False)]
"""A number that is one."""

PRINT_SCALE = (0.95, 1.05)
"""Measured size over true size of a print; farther off is a printer's setting, not its wear."""

PrintScale = Annotated[float, Field(ge=PRINT_SCALE[0], le=PRINT_SCALE[1])]

Place = tuple[Length, Length]
"""x, y in mm from the panel's lower left, seen from the show face."""


def _kinds(annotation: Any) -> set[Any]:
    """The plain types in a type: those of a union, a tuple, an annotated one."""
    return {annotation}.union(*map(_kinds, get_args(annotation)))


class Part(BaseModel):
    """A table of settings."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    @field_validator("*", mode="before")
    @classmethod
    def _no_switch_for_a_number(cls, value: object, info: ValidationInfo) -> object:
        """`turn = true` is not one degree. What is read by words of its own, like a length, says so itself."""
        field = cls.model_fields[info.field_name or ""]
        kinds = _kinds(field.annotation)
        words = any(isinstance(k, BeforeValidator) for k in (*kinds, *field.metadata))
        if isinstance(value, bool) and bool not in kinds and kinds & {int, float} and not words:
            raise ValueError("write a number, not true or false")
        return value


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


class HardwarePart(Part):
    """Something fastened on the panel's back, or bored through it; no cut comes near, and back.pdf shows it."""

    what: Hardware = setting(..., "What it is.", '"turn-button"')
    at: Place = setting(
        ..., "Its centre or its screw, from the lower left seen from the show face.", '["250mm", "20mm"]'
    )
    diameter: Positive | None = setting(
        None, "Diameter, or width of a turn-button; unset: as is usual.", '"10mm"'
    )
    length: Positive | None = setting(None, "Length of a turn-button; unset: 50 mm.", '"50mm"')
    turn: Angle = setting(0.0, "Direction of a turn-button's length in degrees.", "90.0")

    @property
    def across(self) -> float:
        """Diameter, or width of a turn-button (mm)."""
        return self.diameter or USUAL[self.what]


class FramePart(Part):
    """What people measure where the panel will hang; the panel's own size follows from it."""

    opening: tuple[PanelSide, PanelSide] = setting(
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

    width: PanelSide | None = setting(None, "Width of the panel.", '"500mm"')
    height: PanelSide | None = setting(None, "Height of the panel.", '"700mm"')
    thickness: Thickness = setting(18.0, "Thickness of the panel.", '"18mm"', "--thickness")
    layers: int = setting(
        1,
        "How many such panels lie one on the other and are sawn at once.",
        "3",
        "--layers",
        ge=1,
        le=20,
    )
    wood: str = setting(
        "white-pine", "Wood or sheet good by name; `cutout kit` lists them.", '"red-oak"', "--wood"
    )
    grain: Annotated[Angle | Literal["none"] | None, _from_text(_grain)] = setting(
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
    hardware: tuple[HardwarePart, ...] = setting(
        (),
        "What is fastened on its back or bored through it: turn-buttons, pivots, finger holes, magnets.",
        '[{ what = "turn-button", at = ["250mm", "20mm"] }]',
    )
    boards: str | None = setting(
        None,
        "Board it is glued up from: a name (see `cutout kit`), width, or width and thickness; unset: one piece.",
        '"90x20mm"',
        "--boards",
    )
    trim: Length = setting(
        10.0, "What each board is cut longer at both ends, to be trimmed after gluing up.", '"10mm"'
    )
    moisture_change: Number = setting(
        4.0, "Seasonal change of wood moisture in percent, for the movement against the reveal.", "4.0"
    )


class LettersPart(Part):
    """How the words of a figure are set, and what holds their letters together."""

    spacing: Number = setting(
        0.0, "Room added between letters, in cap heights; below 0 closes them up.", "0.08", ge=-0.5, le=3.0
    )
    pitch: Number = setting(
        1.0, "From line to line, as a share of what the font asks for.", "0.9", gt=0.2, le=5.0
    )
    side: TextSide = setting("middle", "Which ends of several lines stand above each other.", '"left"')
    arc: Length | None = setting(
        None,
        "Radius of a circle the last line of letters runs along, over its top; with a minus, along its bottom.",
        '"150mm"',
    )
    join: Join = setting(
        "none",
        "What holds letters together that are kept: nothing, neighbours that overlap, a bar under each line, or "
        "bars in a frame.",
        '"bar"',
    )
    joint: Number = setting(
        0.14,
        "Height of the bar, or of what overlapping letters share, in cap heights.",
        "0.2",
        gt=0.0,
        le=1.0,
    )


class FigurePart(Part):
    """One silhouette: a file, or text in a font file; its size, place, turn and mirror."""

    source: FileName | None = setting(None, "The picture or drawing.", '"heron.svg"')
    text: str | None = setting(None, "Words to cut instead of a picture.", '"Inn"')
    font: FileName | None = setting(None, "The font file (TTF or OTF) of the words.", '"sign.ttf"')
    cap_height: Positive | None = setting(None, "Height of the words' capitals.", '"60mm"')
    letters: LettersPart = setting(
        LettersPart(), "How the words are set and joined.", '{ spacing = 0.05, join = "bar" }'
    )
    fit: bool = setting(False, "As large as the panel's clear area takes it, less `margin`.", "true", "--fit")
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
    turn: Angle = setting(0.0, "Turn the silhouette counter-clockwise, in degrees.", "15.0", "--turn")
    mirror: bool = setting(False, "Mirror the silhouette left to right.", "true", "--mirror")
    half: Half | None = setting(
        None, "The drawing is this half of the figure: its mirror image is joined to it.", '"left"'
    )
    repeat: int = setting(1, "How many of it, side by side or round a circle.", "3", ge=1, le=50)
    round: Positive | None = setting(
        None, "Repeats stand round a circle of this radius, each turned on with it.", '"80mm"'
    )
    pair: bool = setting(False, "Also its mirror image, beside it.", "true")
    threshold: Annotated[
        Annotated[int, Field(ge=0, le=255)] | Literal["local"] | None, _from_text(_threshold)
    ] = setting(None, "Grey (0 to 255) that parts dark from light, or local.", "128", "--threshold")
    smooth: float = setting(0.0, "Smooth the outline, 0 (as is) to 1.", "0.3", "--smooth", ge=0.0, le=1.0)
    invert: bool | None = setting(
        None, "The silhouette is light on dark (or is not); unset: found out.", "true", "--invert"
    )
    fill: FillHow | None = setting(
        None,
        "A closed thin line is filled (outline) or cut as a line; unset: filled where nothing else can be meant.",
        '"outline"',
        "--fill",
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
    touched: tuple[tuple[Number, Number, Number], ...] = setting(
        (),
        "Spots of the photo filled in by hand: x, y and width in pixels from the top left; rubbed out where the "
        "width is below 0.",
        "[[120, 80, 14], [300, 210, -25]]",
        max_length=20_000,
    )
    crop: tuple[Number, Number, Number, Number] | None = setting(
        None,
        "Part of the photo that counts, as left, top, right and bottom in pixels; all beyond it is background.",
        "[40, 40, 900, 1200]",
    )
    marked: tuple[tuple[Number, Number, Number], ...] = setting(
        (),
        "Spots on the figure: x, y and width in pixels from the top left; on a busy ground where width is below 0.",
        "[[400, 300, 60], [60, 80, -60]]",
        max_length=20_000,
    )
    within: Annotated[tuple[Number, Number, Number, Number] | None, _from_text(_box)] = setting(
        None,
        "A box round a figure on a busy ground, as left, top, right and bottom in pixels.",
        "[120, 80, 900, 1200]",
        "--within",
    )
    tolerance: Positive = setting(0.1, "How far curves may be from what the picture shows.", '"0.1mm"')


class ArrangePart(Part):
    """Figures in a row or column instead of each in its own place."""

    line: InLine = setting(..., "Side by side, or one above the other.", '"row"')
    gap: Literal["even"] | Positive = setting(
        "even", "Between neighbouring outlines; even: equal gaps that fill the panel.", '"40mm"'
    )
    align: Align = setting(
        "middle",
        "Feet, middles or heads on one line in a row; left sides, middles or right sides in a column.",
        '"low"',
    )


class StockPart(Part):
    """A board you have or can buy."""

    name: str = setting(..., "What you call it.", '"pine 90"')
    width: Positive = setting(..., "Its actual width.", '"90mm"')
    thickness: Positive | None = setting(None, "Its actual thickness.", '"20mm"')
    length: Positive | None = setting(None, "How long it is at most.", '"2400mm"')
    rough: bool = setting(False, "As sawn: planing takes 5 mm off width and thickness.", "true")
    price: Number | None = setting(None, "What a metre of it costs, in your money.", "4.2", ge=0)


class NestPart(Part):
    """Boards or sheets that finished pieces are laid out on."""

    length: Positive = setting(1200.0, "Length of a board, along its grain.", '"1200mm"')
    width: Positive = setting(300.0, "Width of a board.", '"200mm"')
    gap: Length = setting(6.0, "Least distance between pieces, for saw and clamps.", '"6mm"', ge=0.0)
    margin: Length = setting(5.0, "Wood left at the board's edges.", '"5mm"', ge=0.0)
    grain: bool = setting(True, "Pieces keep their direction to the grain: only half turns.", "false")
    holes: bool = setting(True, "Small pieces may lie in openings of large ones.", "false")
    tries: int = setting(40, "Orders of the pieces that are tried.", "200", ge=0, le=5000)


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


class InlayPart(Part):
    """The figure let into the panel out of another wood."""

    wood: str = setting("walnut", "Wood of the plug by name.", '"walnut"')
    thickness: Positive = setting(6.0, "Thickness of the plug's wood.", '"6mm"')
    sawn: Literal["together", "apart"] = setting(
        "together",
        "Both woods in one pass with the table tilted (keep = both), or each by itself, upright (keep = panel).",
        '"apart"',
    )
    play: Length = setting(
        0.1, "Sawn apart, the plug is smaller than its hole by this all round.", '"0.1mm"', ge=0.0
    )


class BackingPart(Part):
    """A second way to build it: the cut board lies over a backing sheet."""

    sheet: str = setting("hardboard", "What the backing is, a wood or sheet good by name.", '"plywood"')
    cloth: bool = setting(False, "It is cloth or mesh instead, turned in along its edges.", "true")
    hem: Length = setting(20.0, "Cloth turned in on every side.", '"20mm"', ge=0.0)
    thickness: Positive = setting(3.0, "Thickness of the backing.", '"3mm"')
    overlap: Positive = setting(
        15.0, "How far it reaches beyond the openings on every side, where it is fastened.", '"15mm"'
    )
    screws: Positive | None = setting(
        None,
        "Hole in it for a screw; it is then screwed on with room to move; unset: glued or nailed.",
        '"4mm"',
    )
    screw_spacing: Positive = setting(150.0, "From screw to screw at most.", '"120mm"')


class SawPart(Part):
    """Blade and drills."""

    blade: str = setting(
        "jigsaw-narrow", "Blade by name; `cutout kit` lists them.", '"scroll-medium"', "--blade"
    )
    turning_radius: Radius | None = setting(
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
        None, "Router bit by name or diameter; unset: 6 mm or 1/4 in, as `units` says.", '"6mm"', "--bit"
    )
    small_bit: str | None = setting(
        None, "A second, smaller bit for what the first leaves, by name or diameter.", '"3mm"', "--small-bit"
    )
    machine: str = setting(
        "plain",
        "Machine by name; `cutout kit` lists them, your own kit file adds yours.",
        '"bench"',
        "--machine",
    )
    tiles: bool = setting(
        False,
        "A panel larger than the machine's bed is cut in tiles, laid on pins in the spoil board for each.",
        "true",
        "--tiles",
    )
    index_in: IndexIn = setting(
        "waste",
        "Where the holes for those pins may go: in wood that falls away only, or anywhere clear of the cuts.",
        '"anywhere"',
    )
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
    tab_ends: TabEnds | None = setting(
        None, "Ends of the tabs: upright, or sloped, which is quicker and leaves more to cut off.", '"sloped"'
    )
    direction: Direction | None = setting(
        None, "Which way round the bit runs; unset: conventional, which does not pull it along.", '"climb"'
    )
    finish: Length | None = setting(
        None, "Wood left for one last turn at full depth along the outline; unset: none.", '"0.3mm"', ge=0
    )


class TemplatePart(Part):
    """How the template is printed, and what else is drawn."""

    paper: str = setting(
        "a4", "a4, a3, letter, legal, tabloid, WxH, or 'roll WIDTH'; unset: by locale.", '"letter"', "--paper"
    )
    back: bool = setting(False, "Mirror the template, for gluing on the back.", "true", "--back")
    turn: bool = setting(
        True, "The drawing may lie turned on the sheets where that takes fewer.", "false", "--turn-sheets"
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
    weight: Annotated[float, Field(ge=0.5, le=3.0)] = setting(
        1.0,
        "Width of all other lines on the template over the usual one; more than 1 for a printer that prints weakly.",
        "1.5",
        "--line-weight",
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
    angle: Angle = setting(0.0, "Direction of its length in degrees.", "90.0")
    width: Positive = setting(..., "Its width.", '"12mm"')


class MendPart(Part):
    """What may be changed to make the pattern sawable."""

    ease: bool = setting(True, "Round and open up what the blade can't follow.", "false", "--ease")
    corners: Corners = setting(
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
    letters: LetterBridges | None = setting(
        None,
        "Bridges of letters: all upright, all level, or free like other shapes; unset: upright where that serves.",
        '"upright"',
    )
    without: tuple[Place, ...] = setting(
        (), "Middles of found bridges that are to be left out.", '[["120mm", "200mm"]]'
    )


class HolePart(Part):
    """A hole the user wants."""

    at: Place = setting(..., "Its centre.", '["120mm", "200mm"]')
    diameter: Positive = setting(..., "Its diameter.", '"8mm"')


class LimitsPart(Part):
    """Limits of the checks and the plan; unset ones keep their defaults (see `cutout kit`)."""

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
    sawing: Number | None = setting(
        None, "A plan with more sawing than so many times the outline is stopped.", "4.0", ge=1
    )
    file_spots: Annotated[int, Field(ge=0)] | None = setting(
        None, "A plan that leaves more spots for the file in an opening than this is stopped.", "30"
    )
    hours: Number | None = setting(
        None, "A plan that takes more hours at the saw than this is stopped.", "3.0", gt=0
    )


class Job(Part):
    """One job, whole. Paths in it are relative to the job file's folder."""

    title: str | None = setting(None, "What the job is called.", '"Heron shutter"')
    date: str | None = setting(
        None, "Date to print on the paper, as it is to stand there.", '"2026-11-27"', "--date"
    )
    units: Units | None = setting(None, "Units for bare numbers and for sentences.", '"mm"', "--units")
    keep: Keep = setting(
        "panel",
        "What must survive: the panel (figure cut out of it), the figure, or both.",
        '"figure"',
        "--keep",
    )
    made_for: Made = setting(
        "furniture",
        "What is made, which decides how wide webs must be; `cutout kit` lists the rules with their sources.",
        '"fretwork"',
        "--for",
    )
    overlap: Overlap = setting("merge", "Figures that overlap are joined into one, or refused.", '"refuse"')
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
    names: FileName | None = setting(
        None,
        "A list (CSV or plain lines): a sign for each name, which takes the place of {name} in the text, or of all.",
        '"class.csv"',
        "--names",
    )
    alike: bool = setting(
        True, "Names that are to fit all get the cap height that the longest one fits with.", "false"
    )
    nest: NestPart | None = setting(
        None, "Boards the signs of a list are laid out on.", '{ length = "1200mm", width = "300mm" }'
    )
    stock: tuple[StockPart, ...] = setting(
        (), "Boards you have or can buy, for `panel.boards`.", '[{ name = "pine 90", width = "90mm" }]'
    )
    faces: FacesPart = setting(
        FacesPart(), "What is drawn on the two faces.", '{ back = { stile = "60mm" } }'
    )
    inlay: InlayPart | None = setting(
        None, "Let the figure in out of another wood; also writes plug.pdf.", '{ wood = "walnut" }'
    )
    backing: BackingPart | None = setting(
        None, "A backing sheet behind the cut board.", '{ overlap = "15mm" }'
    )
    limits: LimitsPart = setting(LimitsPart(), "Limits of the checks and the plan.", "{ web_along = 1.2 }")


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
