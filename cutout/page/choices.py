"""What can be chosen on the page, in the words of the kit."""

from __future__ import annotations

from typing import Any

from cutout.kit import bits, blades, boards, drill_sets, papers, woods
from cutout.units import format_length


def choices() -> dict[str, Any]:
    """Blades, drills, bits, woods and papers by name and title."""
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
        "drills": [{"name": s.name, "title": s.title} for s in drill_sets().values()],
        "bits": [{"name": bit.name, "title": bit.title} for bit in bits().values()],
        "woods": [{"name": w.name, "title": w.title, "grain": w.has_grain} for w in woods().values()],
        "papers": [{"name": paper.name, "title": paper.title} for paper in papers().values()],
        "boards": [{"name": board.name} for board in boards().values()],
    }
