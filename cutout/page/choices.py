"""What can be chosen on the page, in the words of the kit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from cutout.kit import bits, blades, boards, drill_sets, papers, woods
from cutout.units import format_length


def _titled(things: Iterable[Any]) -> list[dict[str, str]]:
    return [{"name": thing.name, "title": getattr(thing, "title", thing.name)} for thing in things]


NAMES: dict[str, Callable[[], list[dict[str, str]]]] = {
    "panel.wood": lambda: _titled(woods().values()),
    "panel.boards": lambda: _titled(boards().values()),
    "backing.sheet": lambda: _titled(w for w in woods().values() if not w.has_grain),
    "saw.blade": lambda: _titled(blades().values()),
    "saw.drills": lambda: _titled(drill_sets().values()),
    "router.bit": lambda: _titled(bits().values()),
    "router.small_bit": lambda: _titled(bits().values()),
    "template.paper": lambda: _titled(papers().values()),
}
"""Settings that take a name of the kit: what the kit has."""

MORE_THAN_NAMES = frozenset({"saw.drills", "template.paper"})
"""Of these, those that take something else too: a list of drills, a size."""


def choices() -> dict[str, Any]:
    """Blades with what is known of each, and which woods have a grain."""
    return {
        "blades": [
            {
                "name": blade.name,
                "title": blade.title,
                "saw": blade.saw,
                "radius": {u: format_length(blade.turning_radius, u) for u in ("mm", "in")},
                "kerf": {u: format_length(blade.kerf, u) for u in ("mm", "in")},
                "radius_from": blade.radius_from,
                "source": blade.source,
            }
            for blade in blades().values()
        ],
        "woods": [{"name": w.name, "title": w.title, "grain": w.has_grain} for w in woods().values()],
    }
