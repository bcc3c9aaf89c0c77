"""The usual cautions, printed wherever the plan tells someone to drill or saw."""

from __future__ import annotations

from cutout.kit import Kit


def cautions(kit: Kit) -> tuple[str, ...]:
    """One sentence per caution, for the saw and wood of this kit."""
    lines = [
        "Wear eye and ear protection, and a dust mask; collect the dust where it is made.",
        f"Wood dust harms the lungs: {_dust(kit)}",
        "Clamp the panel so that it can't move, and look at what is under it before every hole and cut.",
        "Unplug the tool, or take its battery out, before changing a blade or bit.",
        "Let the blade stop before you lift it out; back out of a corner with the saw off or running freely.",
        "Support a piece that is about to drop, and keep hands clear of the line and of the underside.",
        "Print the check square and measure it before anything is glued down.",
        "This plan is a help, not an instruction: your tool's manual, local codes and licensed practice come first.",
    ]
    return tuple(lines)


def _dust(kit: Kit) -> str:
    limit = "5 mg/m3 for softwood and 3 mg/m3 for hardwood or a mixture (GB), 2 mg/m3 for hardwood (EU)"
    kind = (
        "sheet goods also carry glue"
        if kit.wood.kind == "sheet"
        else f"{kit.wood.title} is a {kit.wood.kind}"
    )
    return f"workplace limits are {limit}; {kind}."
