"""What a change of a job costs where it was worked out before: CPU time of the page's steps and the stages in them.

    python tests/bench/moved.py [EXAMPLE]

The example (the heron unless told otherwise) is opened, then changed as a user would: its first figure moved, moved
near an edge, mirrored, turned about; its paper, units and router's bit changed. Everything runs in this one process,
one after the other. Ratios are those to the first time, in the same run.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ["CUTOUT_ONE_PROCESS"] = "1"

from cutout import run
from cutout.job.options import named
from cutout.job.schema import Job
from cutout.page import tasks

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
STEPS = ("look", "checked", "mended", "planned")
STAGES = ("lay_out", "mend", "hint", "plan", "prove", "tool_path", "_other_blade", "sheet_turn")
TOLD = 0.01
"""A stage that took less (s) is not told."""


def clocked(name: str, spent: dict[str, float]) -> None:
    """Let a stage of `run` add up what it takes."""
    work: Callable[..., Any] = getattr(run, name)

    def timed(*asked: Any, **more: Any) -> Any:
        begun = time.process_time()
        try:
            return work(*asked, **more)
        finally:
            spent[name] = spent.get(name, 0.0) + time.process_time() - begun

    setattr(run, name, timed)


def changed(job: Job) -> dict[str, Job]:
    """The job as it is, and with one thing changed at a time."""
    figure, panel = job.figures[0], job.panel
    x, y = figure.at or (panel.width / 2, panel.height / 2)

    def first(**more: Any) -> Job:
        return job.model_copy(update={"figures": (figure.model_copy(update=more), *job.figures[1:])})

    return {
        "first": job,
        "moved": first(at=(x + 2.5, y + 3)),
        "near an edge": first(at=(x + 30, y)),
        "mirrored": first(mirror=not figure.mirror),
        "turned about": first(turn=figure.turn + 180),
        "other paper": job.model_copy(update={"template": job.template.model_copy(update={"paper": "a3"})}),
        "other units": job.model_copy(update={"units": "in"}),
        "other bit": job.model_copy(update={"router": job.router.model_copy(update={"bit": "3mm"})}),
    }


def main() -> None:
    """Print the table."""
    spent: dict[str, float] = {}
    for stage in STAGES:
        clocked(stage, spent)
    example = sys.argv[1] if len(sys.argv) > 1 else "heron-shutter"
    job, folder = named(EXAMPLES / example / "job.toml")
    whole = 0.0
    for name, one in changed(job).items():
        spent.clear()
        taken = []
        for step in STEPS:
            begun = time.process_time()
            getattr(tasks, step)(one, folder)
            taken.append(time.process_time() - begun)
        whole = whole or sum(taken)
        steps = ", ".join(f"{step} {1000 * s:.0f}" for step, s in zip(STEPS, taken, strict=True))
        stages = ", ".join(f"{stage.strip('_')} {1000 * s:.0f}" for stage, s in spent.items() if s > TOLD)
        print(
            f"{name:>13}: {1000 * sum(taken):5.0f} ms, {sum(taken) / whole:.2f} of the first ({steps}; {stages})"
        )


if __name__ == "__main__":
    main()
