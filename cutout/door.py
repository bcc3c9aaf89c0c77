"""The door for Python: the whole job in a call, or each stage by itself on plain arrays and shapely geometry.

Everything here is to be had as `cutout.NAME`. All lengths are mm unless a name or a docstring says otherwise, angles
are degrees here (radians inside), y points up, and the origin is the panel's lower left seen from the show face.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from cutout import check, run
from cutout.amend import Mended, Mending, mend
from cutout.errors import ReadError
from cutout.finding import Finding
from cutout.folder import Outcome, made_all
from cutout.geom.outline import Outline, Ring, as_multi, from_region
from cutout.job.options import is_job_file, laid_over, named
from cutout.job.schema import FigurePart, Job
from cutout.job.set_up import Reader
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Keep, Panel, Pattern, Placement, cut_pattern, place
from cutout.read import read, read_bytes
from cutout.read.options import ReadOptions
from cutout.read.picture.decode import encoded
from cutout.route import ToolPath
from cutout.route import tool_path as routed
from cutout.saw import plan as planned
from cutout.saw import prove
from cutout.saw.model import Hole, Leg, Plan, Proof
from cutout.say import Said
from cutout.say import said as in_words
from cutout.trace.rings import trace
from cutout.units import Units
from cutout.write.svg import outline_svg
from cutout.write.work import Work

__all__ = [
    "Finding",
    "Hole",
    "Job",
    "Kit",
    "Leg",
    "Mended",
    "Mending",
    "Outcome",
    "Outline",
    "Panel",
    "Pattern",
    "Picture",
    "Plan",
    "Proof",
    "Said",
    "ToolPath",
    "Work",
    "findings",
    "job_for",
    "kit_with",
    "lay_out",
    "make",
    "make_all",
    "mend",
    "outline_of",
    "plan",
    "prove",
    "rings_of",
    "said",
    "tool_path",
]

Picture: TypeAlias = Any
"""A source: a path, the bytes of a file, a PIL.Image, an array (h, w[, 1..4]) of 0..255 or 0..1, an `Outline`, or a
shapely polygon in mm."""

_IN_MEMORY = "picture"


def make(source: Picture | Job, **settings: Any) -> Work:
    """The whole job, worked out: read, laid out, checked, mended, planned, proved, routed.

    source: a picture (see `Picture`), the path of a job file, or a `Job`. settings: the flags of the command line
    by name (`cutout make --help`, dashes as underscores); lengths as numbers of mm or as text with a unit.
    Raises CutoutError: one sentence that says what, where, and what to do.

    >>> import cutout
    >>> from shapely import Point
    >>> work = cutout.make(Point(0, 0).buffer(60), width=120, panel=(300, 300), blade="scroll-medium")
    >>> len(work.pattern.openings), work.proof.ok
    (1, True)
    >>> sorted({f.severity for f in work.findings if not f.cleared} - {"care"})
    []
    """
    asked, folder, reader, sources = _asked(source, settings)
    path = Path(source) if isinstance(source, str | Path) else None
    work = run.make(
        asked, folder, reader=reader, job_file=path if path is not None and is_job_file(path) else None
    )
    return replace(work, sources=sources)


def make_all(
    sources: Sequence[str | Path],
    out: str | Path,
    executor: Executor | None = None,
    each: Callable[[Outcome], None] = lambda outcome: None,
    **settings: Any,
) -> tuple[Outcome, ...]:
    """Work out many jobs with the same settings and write each into a folder of its own in `out`.

    sources: pictures and job files. executor: any `concurrent.futures.Executor`, a process pool or one that a
    cluster engine lends (then `out` must be a folder all of them see); None: processes on every core of this
    machine, each replaced when it crashes. each: called with every outcome as it comes.
    Returns what became of each, in the order of `sources`; one that fails harms no other.

    >>> import cutout, tempfile, pathlib
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> drawing = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="3"/></svg>'
    >>> _ = (folder / "disc.svg").write_text(drawing)
    >>> [o.code for o in cutout.make_all([folder / "disc.svg"], folder, width=90, panel=(200, 200))]
    [0]
    """
    return made_all([Path(s) for s in sources], Path(out), settings, each, executor, bare="mm")


def job_for(source: str | Path | None = None, **settings: Any) -> Job:
    """A job from a job file or a picture's path, or an empty one, with settings laid over it as `make` takes them.

    >>> cutout.job_for("heron.svg", width=400, panel=(500, 700)).figures[0].width
    400.0
    """
    asked = Job() if source is None else named(Path(source))[0]
    return laid_over(asked, settings, "job" if source is None else Path(source).name, "mm")


def outline_of(source: Picture, **settings: Any) -> Outline:
    """The silhouette in a picture or drawing as closed rings of lines, arcs and cubics.

    settings: the fields of `cutout.read.options.ReadOptions` (threshold, smooth, invert, sheet, corners, ...).
    Units: mm where the source has a scale (`Outline.scale`), else pixels or drawing units; y up. Raises ReadError.

    >>> import numpy as np
    >>> y, x = np.mgrid[:200, :200]
    >>> dark_disc = np.where(np.hypot(x - 99.5, y - 99.5) < 60, 0, 255).astype(np.uint8)
    >>> round(cutout.outline_of(dark_disc, width=60).region().area ** 0.5)
    106
    """
    known = _outline(source)
    if known is not None:
        return known
    options = ReadOptions(**settings)
    if isinstance(source, str | Path):
        return read(Path(source), options)
    return read_bytes(_bytes(source), _IN_MEMORY, options)


def rings_of(field: ArrayLike, level: float = 0.5, tolerance: float = 0.25) -> tuple[Ring, ...]:
    """The tracer by itself: rings round where a field (h, w) exceeds `level`, in pixels, y up, origin lower left.

    The middle of the pixel in row r and column c lies at (c + .5, h - r - .5). tolerance: px. Outer rings run
    counter-clockwise, holes clockwise. Source of the method: iso-lines by marching squares, then least-squares fits.

    >>> import numpy as np
    >>> field = np.zeros((40, 40)); field[10:30, 5:35] = 1
    >>> [round(ring.area) for ring in cutout.rings_of(field)]
    [600]
    """
    grey: NDArray[np.float32] = np.asarray(field, dtype=np.float32)
    return trace(grey, level, tolerance)


def kit_with(
    blade_name: str = "jigsaw-narrow",
    *,
    kerf: float | None = None,
    turning_radius: float | None = None,
    drill_list: str = "metric",
    bit_name: str = "6mm",
    wood_name: str = "white-pine",
    units: Units = "mm",
) -> Kit:
    """What the user owns, by the names that `cutout kit` lists; kerf and turning radius as measured. Raises KitError.

    >>> cutout.kit_with("scroll-medium", turning_radius=0.8).blade.radius_from
    'measured'
    """
    chosen = blade(blade_name)
    chosen = chosen if kerf is None else replace(chosen, kerf=kerf)
    chosen = chosen if turning_radius is None else chosen.measured(turning_radius)
    return Kit(chosen, drills(drill_list, units), bit(bit_name), wood(wood_name), units=units)


def lay_out(
    outline: Outline | shapely.Geometry,
    panel: tuple[float, float],
    *,
    thickness: float = 18.0,
    grain: float | None = None,
    width: float | None = None,
    height: float | None = None,
    turn: float = 0.0,
    mirror: bool = False,
    at: tuple[float, float] | None = None,
    keep: Keep = "panel",
    kerf: float = 1.28,
) -> Pattern:
    """An outline or a shapely polygon on a panel: what is waste and what is keep. Raises LayoutError.

    panel: width and height. grain: degrees from the x axis, None for sheet goods. width or height: of the
    silhouette, else as it is. turn: degrees counter-clockwise. at: the middle of its box, else the panel's middle.

    >>> from shapely import box
    >>> cutout.lay_out(box(0, 0, 80, 40), (200, 100)).waste.area
    3200.0
    """
    drawn = outline if isinstance(outline, Outline) else Outline(from_region(as_multi(outline)), 1.0)
    board = Panel(*panel, thickness, None if grain is None else math.radians(grain))
    return cut_pattern(
        place(drawn, board, Placement(width, height, math.radians(turn), mirror, at)), board, keep, kerf
    )


def findings(pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """What stands in the way of sawing a pattern with a kit: stops first. Nothing is changed.

    >>> from shapely import box
    >>> narrow = cutout.lay_out(box(0, 0, 80, 2), (200, 100))
    >>> cutout.findings(narrow, cutout.kit_with("jigsaw"))[0].kind
    'narrow opening'
    """
    return check.run(pattern, kit)


def said(finding: Finding, units: Units = "mm") -> Said:
    """A finding in words, lengths in the units asked for: what is the case (`text`) and what to do (`remedy`).

    >>> from shapely import box
    >>> narrow = cutout.lay_out(box(0, 0, 80, 2), (200, 100))
    >>> print(cutout.said(cutout.findings(narrow, cutout.kit_with("jigsaw"))[0], "in").remedy)
    Make it wider, take a narrower blade, or drill it out instead of sawing it.
    """
    return in_words(finding, units)


def plan(pattern: Pattern, kit: Kit, holes: Iterable[tuple[tuple[float, float], float]] = ()) -> Plan:
    """Where to drill and in which order to saw. holes: ((x, y), diameter) of holes wanted besides.

    >>> from shapely import Point
    >>> disc, kit = cutout.lay_out(Point(0, 0).buffer(40), (200, 200)), cutout.kit_with("scroll-medium")
    >>> made = cutout.plan(disc, kit)
    >>> len(made.holes), cutout.prove(disc, kit, made).ok
    (1, True)
    """
    return planned(pattern, kit, tuple(holes))


def tool_path(pattern: Pattern, kit: Kit) -> ToolPath:
    """Where the middle of a router's bit runs, how deep and in which order.

    >>> from shapely import box
    >>> len(cutout.tool_path(cutout.lay_out(box(0, 0, 80, 40), (200, 100)), cutout.kit_with()).passes)
    1
    """
    return routed(pattern, kit)


def _asked(
    source: Picture | Job, settings: Mapping[str, Any]
) -> tuple[Job, Path, Reader, Mapping[str, bytes]]:
    """The job, the folder its paths start from, what reads its sources, and sources that are in no file yet."""
    if isinstance(source, Job):
        return laid_over(source, settings, "job", "mm"), Path(), read, {}
    if isinstance(source, str | Path):
        asked, folder = named(Path(source))
        return laid_over(asked, settings, Path(source).name, "mm"), folder, read, {}
    known = _outline(source)
    name = f"{_IN_MEMORY}.svg" if known is not None else f"{_IN_MEMORY}.png"
    content = outline_svg(known) if known is not None else _bytes(source)

    def reader(path: Path, options: ReadOptions) -> Outline:
        if path.name != name:
            return read(path, options)
        return known if known is not None else read_bytes(content, name, options)

    asked = Job(figures=(FigurePart(source=name),))
    return laid_over(asked, settings, name, "mm"), Path(), reader, {name: content}


def _outline(source: Picture) -> Outline | None:
    if isinstance(source, Outline):
        return source
    if isinstance(source, shapely.Geometry):
        return Outline(from_region(as_multi(source)), 1.0)
    return None


def _bytes(source: Picture) -> bytes:
    """A picture in memory as the bytes of a file. Raises ReadError for what is no picture."""
    if isinstance(source, bytes | bytearray | memoryview):
        return bytes(source)
    try:
        return encoded(source)
    except (TypeError, ValueError) as error:
        raise ReadError(
            f"a {type(source).__name__} is no picture: give a path, bytes, an image or an array."
        ) from error
