"""cutout: turn a silhouette into a panel cutout that can really be sawn.

    import cutout
    work = cutout.make("heron.png", width=400, panel=(500, 700))
    work.write("heron-cutout")

What can be used from Python stands in `cutout.door`, each with an example; it is loaded when first asked for, so that
the command line starts at once.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.2.0"

_DOOR = tuple(
    """
    Finding Hole Job Kit Leg Mended Mending Outcome Outline Panel Pattern Picture Plan Proof Said ToolPath Work
    findings job_for kit_with lay_out make make_all mend outline_of plan prove rings_of said tool_path
    """.split()
)
"""What the door has; named here, so that asking for anything else does not load it."""

if TYPE_CHECKING:
    from cutout.door import *  # noqa: F403


def __getattr__(name: str) -> Any:
    if name in _DOOR:
        return getattr(import_module("cutout.door"), name)
    raise AttributeError(f"module 'cutout' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *_DOOR})
