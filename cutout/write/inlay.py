"""Inlay of two woods: what to set, and the sheet of the plug."""

from __future__ import annotations

import math
from dataclasses import replace

import shapely

from cutout.geom.outline import as_multi, polygons_of
from cutout.job.schema import Job
from cutout.kit import Kit, wood
from cutout.kit.bevel import bevel
from cutout.pattern import Pattern, with_figure
from cutout.saw.model import Plan
from cutout.units import count, format_length
from cutout.write.template.template import template_pdf
from cutout.write.work import Work


def plug_pdf(work: Work) -> bytes:
    """The plug's outline at true size, as many sheets as it takes. Raises WriteError."""
    nothing = Plan((), (), (), (), 0.0, 0, 0.0)
    pattern = plug_of(work.pattern, work.job)
    title = f"{work.title}: plug"
    return template_pdf(replace(work, title=title, pattern=pattern, plan=nothing), title)


def plug_of(pattern: Pattern, job: Job) -> Pattern:
    """The pattern of the plug: the figure, less the play all round where it is sawn by itself."""
    part = job.inlay
    assert part is not None
    if part.sawn == "together" or part.play == 0:
        return pattern
    smaller = shapely.buffer(pattern.figure, -part.play, join_style="mitre")
    return with_figure(pattern, as_multi(smaller))


def inlay_lines(job: Job, pattern: Pattern, kit: Kit) -> tuple[str, ...]:
    """How the two parts are sawn so that they fit, in sentences."""
    part = job.inlay
    assert part is not None

    def say(mm: float) -> str:
        return format_length(mm, kit.units)

    plugs = len(polygons_of(plug_of(pattern, job).figure))
    first = f"{count(plugs, 'plug')} of {wood(part.wood).title}, {say(part.thickness)} thick: see plug.pdf."
    if part.sawn == "apart":
        return (
            first,
            "Saw the hole with the blade inside its line, the plug with the blade outside its line, table level.",
            f"The plug's line lies {say(part.play)} inside the hole's: that is the play all round; 0 is a tight fit.",
        )
    tilt = math.degrees(bevel(kit.blade.kerf, pattern.panel.thickness))
    return (
        first,
        "Fasten the plug's wood under the panel and saw both in one pass, the middle of the blade on the line.",
        f"Tilt the table by {tilt:.1f} degrees: the sine of the tilt is the kerf of {say(kit.blade.kerf)} over the "
        f"panel's thickness of {say(pattern.panel.thickness)}.",
        "With the right side of the table down saw counter-clockwise, with the left side down clockwise: the plug "
        "then comes up from below and closes the saw cut.",
        "Drill the starter hole with the same tilt, no larger than the blade needs: it shows.",
        "Try it on scrap of the same two woods first: if the plug stops short, tilt less; if it drops through, more.",
    )
