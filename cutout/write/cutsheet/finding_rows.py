"""Findings as the cut sheet tells them: what is said of many places is said once, with the places."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from cutout.finding import Finding
from cutout.say import Said
from cutout.write.work import Work

# A number that measures; the number of an opening or hole is its name and stays apart.
_MEASURE = re.compile(
    r"(?<!opening )(?<!hole )(?<!leg )(?<!bridge )(?<!board )(?<![\w./-])\d+(?:-\d+/\d+|/\d+|\.\d+)?"
)


@dataclass(frozen=True, slots=True)
class Row:
    """Findings that say the same but for their measures. numbers: what each is called on the pictures, rising;
    none where they were mended since, which need no remedy either."""

    numbers: tuple[int, ...]
    findings: tuple[Finding, ...]
    text: str
    remedy: str


def shown_findings(work: Work) -> tuple[Finding, ...]:
    """What concerns this reader: the router's findings only where a router is wanted."""
    return tuple(f for f in work.findings if work.router_wanted or f.kind != "router")


def finding_rows(work: Work) -> tuple[Row, ...]:
    """Rows in the order of their first findings, those still open before those mended."""
    groups: dict[tuple[object, ...], list[tuple[Finding, Said]]] = {}
    for f in sorted(shown_findings(work), key=lambda f: f.cleared):
        words = work.said(f)
        remedy = "" if f.cleared else _MEASURE.sub("#", words.remedy)
        key = (f.cleared, f.severity, f.kind, _MEASURE.sub("#", words.text), remedy)
        groups.setdefault(key, []).append((f, words))
    rows, number = [], 1
    for (cleared, *_), told in groups.items():
        found, words_of = zip(*told, strict=True)
        numbers = () if cleared else tuple(range(number, number + len(found)))
        number += len(numbers)
        remedy = "" if cleared else merged([w.remedy for w in words_of])
        rows.append(Row(numbers, found, merged([w.text for w in words_of]), remedy))
    return tuple(rows)


def finding_numbers(work: Work) -> list[tuple[int, Finding]]:
    """Findings still open with the numbers they have in the table and on every picture."""
    return [
        pair
        for row in finding_rows(work)
        if row.numbers
        for pair in zip(row.numbers, row.findings, strict=True)
    ]


def merged(sentences: Sequence[str]) -> str:
    """Sentences alike but for their measures as one: 2 mm, 4 mm and 3 mm become 2 to 4 mm."""
    columns = iter(zip(*(_MEASURE.findall(s) for s in sentences), strict=True))
    return _MEASURE.sub(lambda _: _span(next(columns)), sentences[0])


def _span(numbers: Sequence[str]) -> str:
    least, most = min(numbers, key=_value), max(numbers, key=_value)
    return least if least == most else f"{least} to {most}"


def _value(number: str) -> Fraction:
    """Decimals, fractions and mixed numbers: 2.5, 3/8, 14-1/2."""
    return Fraction(sum(map(Fraction, number.split("-"))))
