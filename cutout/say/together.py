"""Findings of one sort told once: how many there are, and the worst of them."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable
from dataclasses import dataclass

from cutout.check.tight import NotFollowed
from cutout.check.web import NarrowWeb
from cutout.finding import Finding
from cutout.say.words import Said


@dataclass(frozen=True, slots=True)
class Together:
    """Findings told in one sentence: `worst` speaks for `count` of them."""

    worst: Finding
    words: Said
    count: int
    kinds: tuple[str, ...]
    """The kinds among them, in the order they were first met."""

    @property
    def by_measure(self) -> bool:
        """Whether `worst` was told from the others by what was measured; it is the first of them otherwise."""
        return math.isfinite(_share(self.worst))


def together(findings: Iterable[tuple[Finding, Said]]) -> list[Together]:
    """Findings with one remedy told together, in the order of the first of each.

    Of webs each remedy names a width of its own: those of one kind, held at both ends or at one, belong together.
    So do corners and curves the blade does not follow that have one way out, whatever drill each takes.
    """
    groups: dict[Hashable, list[tuple[Finding, Said]]] = {}
    for finding, words in findings:
        groups.setdefault(_sort(finding, words), []).append((finding, words))
    return [_told(group) for group in groups.values()]


def _told(group: list[tuple[Finding, Said]]) -> Together:
    worst, words = min(group, key=lambda one: _share(one[0]))
    return Together(worst, words, len(group), tuple(dict.fromkeys(finding.kind for finding, _ in group)))


def _sort(finding: Finding, words: Said) -> Hashable:
    match finding.facts:
        case NarrowWeb(held=held, across=across):
            return finding.kind, held, across
        case NotFollowed(way=way):
            return NotFollowed, type(way)
    return finding.kind, words.remedy


def _share(finding: Finding) -> float:
    """What there is of what there should be; the first of a group speaks for it where nothing is measured."""
    if finding.size is None or not finding.limit:
        return math.inf
    return finding.size / finding.limit
