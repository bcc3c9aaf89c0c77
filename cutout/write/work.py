"""Everything one run worked out: the one thing writers take."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from cutout.amend.model import Bridge, Eased
from cutout.finding import Finding
from cutout.geom.outline import Note
from cutout.job.schema import Job, TemplatePart
from cutout.job.set_up import router_wanted
from cutout.kit import Kit, Paper, paper
from cutout.pattern import Pattern
from cutout.route.model import ToolPath
from cutout.saw.model import Plan, Proof, Step
from cutout.saw.pins import pins
from cutout.say import Said, said
from cutout.say.source import sentence
from cutout.say.steps import StepSaid, step_said
from cutout.units import Units
from cutout.write.cautions import cautions

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Work:
    """The finished job, and the job it came from: a writer takes what the user asked for from there.

    before: the pattern as laid out; pattern: as mended. findings hold everything, cleared ones too, ordered.
    notes: what readers did, and advice. sheet_turn: how far the drawing lies turned on its sheets
    (radians, counter-clockwise). folder: where the paths in the job start from. sources: pictures that were given
    in memory, by the name the job has for them: they are written along, so that the job can be run again. job_file:
    the job file it was read from, whose wording and comments the one that is written keeps.
    """

    job: Job
    title: str
    kit: Kit
    before: Pattern
    pattern: Pattern
    findings: tuple[Finding, ...]
    bridges: tuple[Bridge, ...]
    eased: Eased | None
    plan: Plan
    proof: Proof
    router: ToolPath
    notes: tuple[Note, ...]
    sheet_turn: float = 0.0
    folder: Path = field(default=Path(), compare=False)
    sources: Mapping[str, bytes] = field(default_factory=dict, compare=False)
    job_file: Path | None = field(default=None, compare=False)
    _found: dict[Hashable, Any] = field(init=False, repr=False, compare=False, default_factory=dict)

    def write(self, target: str | Path) -> tuple[str, ...]:
        """Write every file the job asks for into a folder, all or none; returns their names. Raises WriteError."""
        from cutout.write.outputs import write_out

        return write_out(self, Path(target)).names

    def in_units(self, units: Units) -> Work:
        """The same work told in other units: nothing is worked out anew, and the job written along stays as it is."""
        return replace(self, kit=replace(self.kit, units=units))

    def once(self, what: Hashable, find: Callable[[], T]) -> T:
        """What `find` comes to, found once for this work: several sheets ask for the same. what: stands for it."""
        if what not in self._found:
            self._found[what] = find()
        found: T = self._found[what]
        return found

    def said(self, finding: Finding) -> Said:
        """A finding in words, in the user's units."""
        return said(finding, self.units)

    def told(self, step: Step) -> StepSaid:
        """A step of the plan in words, in the user's units."""
        return self.once(
            step, lambda: step_said(step, self.plan, self.pattern, self.units, self.kit.drills.unit)
        )

    @property
    def said_notes(self) -> tuple[str, ...]:
        """The notes, a sentence each, in the user's units."""
        return tuple(sentence(note, self.units) for note in self.notes)

    @property
    def units(self) -> Units:
        """The user's units."""
        return self.kit.units

    @property
    def template(self) -> TemplatePart:
        """How the template is printed."""
        return self.job.template

    @property
    def paper(self) -> Paper:
        """The paper it is printed on. Raises KitError for one that does not exist."""
        return paper(self.job.template.paper, self.job.units)

    @property
    def pins(self) -> tuple[tuple[float, float], ...]:
        """Where a stack is pinned, panel mm."""
        return pins(self.pattern, self.plan, self.kit.blade.kerf)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Safety lines to print."""
        return cautions(self.kit)

    @property
    def router_wanted(self) -> bool:
        """The user has a router or machine to cut it with; only then is what it would do printed."""
        return router_wanted(self.job)
