"""What photographs say on the page: of the test card once sawn, and of the finished panel beside its pattern."""

from __future__ import annotations

import base64
import re
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from cutout import run
from cutout.errors import KitError
from cutout.gauge.reading import Reading
from cutout.job.schema import Job
from cutout.kit import Measured, blade, measured_in, mine_path, wood
from cutout.page.remedies import Remedy
from cutout.units import MM_PER_INCH, Units, format_length, parse_positive, parse_size
from cutout.write.outputs import RESULT
from cutout.write.result import result_json
from cutout.write.work import Work

_NAMED = re.compile(r"(\S.{0,15}?) {2,}(\S.*)")
"""A line that names a value, then says it."""
_SPOT = re.compile(r" +\d+\. ")
_UNREAD = "NOT READ"


@dataclass(frozen=True, slots=True)
class Watched:
    """What was noted at the saw. minutes: all of the card took; entry, hole: seconds to let the blade in, to drill.

    square: the check square as measured on the print; allowance: how far an arc's slot may stray; both as typed,
    empty where they were not.
    """

    minutes: float | None = None
    entry: float | None = None
    hole: float | None = None
    square: str = ""
    allowance: str = ""


_UNWATCHED = Watched()


def card(job: Job, photo: Path, watched: Watched = _UNWATCHED) -> tuple[dict[str, Any], Measured | None]:
    """What a photograph of the sawn card says, for the page; and what of it is worth keeping, if anything.

    Raises ReadError and UnitError.
    """
    units = job.units or "mm"
    size = parse_size(watched.square, units, what="The check square") if watched.square else None
    stray = watched.allowance and parse_positive(watched.allowance, units, what="How far a slot may stray")
    gauged = run.read_gauge(photo, units, watched.minutes, size, stray or None)
    found = _worth_keeping(gauged.reading, job, photo.name, watched)
    way = _into_job(gauged.reading, units)
    return {
        "rows": rows(gauged.said),
        "unread": [text.removeprefix(_UNREAD).strip() for text in gauged.said if text.startswith(_UNREAD)],
        "picture": _pixels(gauged.picture),
        "way": None if way is None else asdict(way),
        "keep": None if found is None else _kept_for(found, units),
    }, found


def keep(found: Measured, replacing: bool) -> dict[str, Any]:
    """Put what was read of a card among the user's own values; where there are some already, only if `replacing`.

    before: the day those that stand in the way were measured.
    """
    same = [m for m in measured_in(mine_path()) if m.key == found.key]
    if same and not replacing:
        return {"kept": False, "before": same[0].date}
    run.keep_measured(found, mine_path(), replacing=replacing)
    return {"kept": True, "before": None}


def panel(work: Work, photos: Sequence[Path]) -> dict[str, Any]:
    """How the sawn panel lies beside its pattern, from photographs of it. Raises ReadError."""
    with tempfile.TemporaryDirectory() as folder:
        result = Path(folder) / RESULT
        result.write_bytes(result_json(work, {}))
        held = run.compare_photos(result, tuple(photos), work.units)
    spots = zip(held.found.spots, (line for line in held.said if _SPOT.match(line)), strict=False)
    return {
        "rows": rows(line for line in held.said if not _SPOT.match(line)),
        "spots": [{"at": list(spot.at), "text": line.strip()} for spot, line in spots],
        "picture": _pixels(held.picture),
    }


def rows(said: Iterable[str]) -> list[tuple[str, str]]:
    """Lines for people as a table: what a value is called, "" where it is none, and what is said of it."""
    listed: list[tuple[str, str]] = []
    for line in said:
        if line.startswith(_UNREAD):
            continue
        named = _NAMED.fullmatch(line)
        listed.append((named[1], named[2]) if named else ("", line.strip()))
    return listed


def _worth_keeping(reading: Reading, job: Job, photo: str, watched: Watched) -> Measured | None:
    name, panel = blade(job.saw.blade).name, job.panel
    try:
        return run.measured_from(
            reading, name, None, panel.wood, panel.thickness, photo, watched.entry, watched.hole
        )
    except KitError:
        return None  # nothing was read: what could not be read says why


def _into_job(reading: Reading, units: Units) -> Remedy | None:
    """The values read, as settings of the job; None where there are none."""
    found = {
        "kerf": reading.kerf and reading.kerf.value,
        "turning_radius": reading.radius and reading.radius.value,
        "allowance": reading.advised,
    }
    known = {name: round(value, 2) for name, value in found.items() if value}
    if not known:
        return None
    said = ", ".join(f"{name.replace('_', ' ')} {_fine(value, units)}" for name, value in known.items())
    changes = tuple({"path": f"saw.{name}", "value": value} for name, value in known.items())
    return Remedy(f"Use in this job: {said}", changes)


def _fine(mm: float, units: Units) -> str:
    """As fine as a photograph tells it, which is finer than wood is measured."""
    return f"{mm / MM_PER_INCH:.3f} in" if units == "in" else f"{mm:.2f} mm"


def _kept_for(found: Measured, units: Units) -> str:
    of = [blade(found.blade).title, wood(found.wood).title if found.wood else ""]
    thick = format_length(found.thickness, units) if found.thickness else ""
    return ", ".join(part for part in (*of, thick) if part)


def _pixels(png: bytes) -> str:
    return base64.b64encode(png).decode("ascii")
