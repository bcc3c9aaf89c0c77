"""The job: everything the command line, the page and a job file can say, typed and validated."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from cutout.errors import UnitError
from cutout.units import Units, parse_length, parse_positive


def _length(value: object, info: ValidationInfo) -> float:
    return _parsed(parse_length, value, info)


def _positive(value: object, info: ValidationInfo) -> float:
    return _parsed(parse_positive, value, info)


def _parsed(parse: Callable[..., float], value: object, info: ValidationInfo) -> float:
    try:
        return parse(_text(value), _units(info), what=info.field_name or "length")
    except UnitError as error:
        raise ValueError(str(error)) from error


def _text(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError('write a length in quotes, like "400mm"')
    return value if isinstance(value, str) else f"{value!r}"


def _units(info: ValidationInfo) -> Units | None:
    return (info.context or {}).get("units")


Length = Annotated[float, BeforeValidator(_length)]
"""A length in mm; in the file as text with a unit, or a bare number where `units` says which."""

Positive = Annotated[float, BeforeValidator(_positive)]
"""A length in mm above zero."""

PrintScale = Annotated[float, Field(ge=0.95, le=1.05)]
"""Measured size over true size; farther off than this is a printer's setting, not its wear."""

Stand = Literal[
    "centre", "left", "right", "top", "bottom", "top left", "top right", "bottom left", "bottom right"
]
"""A place on the panel by name."""

Place = tuple[Length, Length]
"""x, y in mm from the panel's lower left, seen from the show face."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class ZonePart(_Part):
    """A keep-out rectangle (`at` lower left, `size`) or circle (`at` centre, `diameter`)."""

    name: str
    at: Place
    size: tuple[Positive, Positive] | None = None
    diameter: Positive | None = None


class FramePart(_Part):
    """What people measure where the panel will hang; the panel's own size follows from it.

    opening: clear width and height of the frame. reach: how far the panel goes behind the frame's lip on
    the left, right, top and bottom (0 for a panel set into the opening). reveal: gap all round.
    """

    opening: tuple[Positive, Positive]
    reach: tuple[Length, Length, Length, Length] = (0.0, 0.0, 0.0, 0.0)
    reveal: Length = 3.0


class PanelPart(_Part):
    """The panel: its size, or the frame it must fit."""

    width: Positive | None = None
    height: Positive | None = None
    thickness: Positive = 18.0
    wood: str = "white-pine"
    grain: float | Literal["none"] | None = None
    """Direction of the grain in degrees from the x axis; none for sheet goods; unset: along the longer side."""
    frame: FramePart | None = None
    zones: tuple[ZonePart, ...] = ()
    boards: str | None = None
    """Nominal board the panel is glued up from, like "1x6"; unset: one piece or sheet."""
    moisture_change: float = 4.0
    """Seasonal change of wood moisture in percent, for the movement against the reveal."""


class FigurePart(_Part):
    """One silhouette: a file, or text in a font file; its size, place, turn (degrees) and mirror."""

    source: str | None = None
    text: str | None = None
    font: str | None = None
    cap_height: Positive | None = None
    width: Positive | None = None
    height: Positive | None = None
    at: Place | None = None
    """Where the middle of the figure's box goes; else `stand`."""
    stand: Stand = "centre"
    margin: Length = 0.0
    """Distance from the sides `stand` names."""
    turn: float = 0.0
    mirror: bool = False
    repeat: int = Field(1, ge=1, le=50)
    pair: bool = False
    """Also its mirror image, beside it."""
    threshold: Annotated[int, Field(ge=0, le=255)] | Literal["local"] | None = None
    smooth: float = Field(0.0, ge=0.0, le=1.0)
    invert: bool | None = None
    corners: tuple[tuple[float, float], ...] | None = None
    sheet: tuple[Positive, Positive] | None = None
    tolerance: Positive = 0.1


class ArrangePart(_Part):
    """Figures in a row or column instead of each in its own place.

    gap: between neighbouring outlines, or "even" for equal gaps that fill the panel. align: feet (low),
    middles or heads (high) on one line in a row; left sides, middles or right sides in a column.
    """

    line: Literal["row", "column"]
    gap: Literal["even"] | Positive = "even"
    align: Literal["low", "middle", "high"] = "middle"


class FacePart(_Part):
    """What is drawn, not cut, on one face: a frame-and-panel look, figures, or both.

    stile and rail: widths of a drawn frame. reveal: the drawn gap inside it, as a line of that width.
    figures: silhouettes painted on this face, seen from this face.
    """

    stile: Positive | None = None
    rail: Positive | None = None
    reveal: Positive = 3.0
    figures: tuple[FigurePart, ...] = ()


class FacesPart(_Part):
    """The two faces of a panel that is turned round: what is drawn on the show face and on the back."""

    show: FacePart | None = None
    back: FacePart | None = None


class BackingPart(_Part):
    """A second way to build it: the cut board lies over a backing sheet.

    overlap: how far the sheet reaches beyond the openings on every side, where it is fastened.
    """

    sheet: str = "hardboard"
    thickness: Positive = 3.0
    overlap: Positive = 15.0


class SawPart(_Part):
    """Blade and drills. turning_radius and kerf: measured on scrap with the test card."""

    blade: str = "jigsaw-narrow"
    turning_radius: Positive | None = None
    kerf: Positive | None = None
    drills: str | None = None
    """A set by name or a list; unset: the metric or the inch set, as `units` says."""


class RouterPart(_Part):
    """Router bits, the limits of the user's machine, and what to write for it.

    small_bit: a second, smaller bit for what the first leaves. feed_limit: mm/min. Tabs hold a part until the
    end: wood that stays along the path, above the underside, and the length of path one tab serves.
    """

    bit: str | None = None
    """A bit by name; unset: 6 mm or 1/4 in, as `units` says."""
    small_bit: str | None = None
    gcode: bool = False
    dxf: Literal["R2010", "R12"] = "R2010"
    feed_limit: float | None = Field(None, gt=0)
    safe_height: Positive | None = None
    breakthrough: Length | None = None
    tab_width: Positive | None = None
    tab_height: Positive | None = None
    tab_spacing: Positive | None = None


class TemplatePart(_Part):
    """How the template is printed. back: mirrored, for gluing on the back.

    print_scale: size the printer gives to what should be 1, along a sheet's short and its long side.
    """

    paper: str = "a4"
    back: bool = False
    turn: bool = False
    """The drawing may lie turned on the sheets where that takes fewer."""
    line: Annotated[Positive, Field(le=3.0)] = 0.2
    """Width of the outline on the template."""
    line_lies: Literal["middle", "keep"] = "middle"
    """middle: the middle of the line is the finished edge; keep: its edge towards the waste is, leave it standing."""
    outline: bool = False
    """Also write outline.pdf: the outline alone in a thick line, for tracing round by pencil."""
    film: bool = False
    """Also write film.svg for a knife cutter."""
    mat: tuple[Positive, Positive] | None = None
    """Size of the knife cutter's mat: the film is split into pieces that fit on it."""
    print_scale: tuple[PrintScale, PrintScale] = (1.0, 1.0)


class BridgePart(_Part):
    """A bridge placed by hand: its middle, the direction of its length in degrees, its width."""

    at: Place
    angle: float = 0.0
    width: Positive


class MendPart(_Part):
    """What may be changed to make the pattern sawable."""

    ease: bool = True
    bridge: bool = True
    bridge_width: Positive | None = None
    bridge_count: int | None = Field(None, ge=1, le=12)
    bridges: tuple[BridgePart, ...] = ()
    without: tuple[Place, ...] = ()
    """Middles of found bridges that are to be left out."""


class HolePart(_Part):
    """A hole the user wants: centre and diameter."""

    at: Place
    diameter: Positive


class LimitsPart(_Part):
    """Limits of the checks; unset ones keep their defaults (see `cutout kit`)."""

    web_along: float | None = Field(None, gt=0)
    web_across: float | None = Field(None, gt=0)
    web_sheet: float | None = Field(None, gt=0)
    edge: Length | None = None
    speck: Length | None = None


class Job(_Part):
    """One job, whole. Paths in it are relative to the job file's folder."""

    title: str | None = None
    units: Units | None = None
    keep: Literal["panel", "figure", "both"] = "panel"
    overlap: Literal["merge", "refuse"] = "merge"
    panel: PanelPart = PanelPart()
    figures: tuple[FigurePart, ...] = ()
    saw: SawPart = SawPart()
    router: RouterPart = RouterPart()
    template: TemplatePart = TemplatePart()
    mend: MendPart = MendPart()
    holes: tuple[HolePart, ...] = ()
    arrange: ArrangePart | None = None
    faces: FacesPart = FacesPart()
    backing: BackingPart | None = None
    limits: LimitsPart = LimitsPart()


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
