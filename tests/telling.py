"""Findings of a test: what they say, and some with words of their own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cutout.finding import Facts, Finding, Kind, Severity
from cutout.say import Said, Words, said, says
from cutout.units import Units


def text(finding: Finding, units: Units = "mm") -> str:
    """What a finding says is the case."""
    return said(finding, units).text


def remedy(finding: Finding, units: Units = "mm") -> str:
    """What it says to do."""
    return said(finding, units).remedy


@dataclass(frozen=True, slots=True)
class Worded(Facts):
    """Invented facts, already in words."""

    text: str
    remedy: str


@says(Worded)
def _(f: Finding, facts: Worded, words: Words) -> Said:
    return Said(facts.text, facts.remedy)


def worded(
    kind: Kind,
    severity: Severity,
    at: tuple[float, float],
    size: float | None,
    limit: float | None,
    opening: int | None,
    text: str,
    remedy: str,
    **more: Any,
) -> Finding:
    """An invented finding that says what the test wants."""
    return Finding(
        kind=kind,
        severity=severity,
        at=at,
        size=size,
        limit=limit,
        opening=opening,
        facts=Worded(text, remedy),
        **more,
    )
