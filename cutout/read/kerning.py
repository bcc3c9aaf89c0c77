"""Pair kerning of a font: GPOS where it has a kern feature, else the older kern table."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

Kerning = Callable[[str, str], float]
"""Font units to add to the first glyph's advance; glyph names."""

PAIRS, EXTENSION = 2, 9
"""GPOS lookup types. Source: OpenType specification, GPOS."""

_SCRIPTS = ("DFLT", "latn", "cyrl", "grek")


def kerning_of(face: Any) -> Kerning:
    """The kerning of a fontTools font; always 0 where it has none."""
    lookups = list(_kern_lookups(face))
    if lookups:
        return lambda first, second: sum(_adjusted(subtables, first, second) for subtables in lookups)
    pairs = _old_pairs(face)
    return lambda first, second: pairs.get((first, second), 0.0)


def _kern_lookups(face: Any) -> Iterator[list[Any]]:
    """Subtables of each pair lookup of the kern feature in the default language of common scripts."""
    table = face["GPOS"].table if "GPOS" in face else None
    if table is None or not table.FeatureList or not table.LookupList or not table.ScriptList:
        return
    features: set[int] = set()
    for record in table.ScriptList.ScriptRecord:
        system = record.Script.DefaultLangSys
        if record.ScriptTag in _SCRIPTS and system is not None:
            features.update(system.FeatureIndex)
    records = table.FeatureList.FeatureRecord
    wanted = [records[i].Feature for i in sorted(features) if records[i].FeatureTag == "kern"]
    for index in sorted({i for feature in wanted for i in feature.LookupListIndex}):
        subtables = [
            s.ExtSubTable if s.LookupType == EXTENSION else s for s in table.LookupList.Lookup[index].SubTable
        ]
        pairs = [s for s in subtables if s.LookupType == PAIRS]
        if pairs:
            yield pairs


def _adjusted(subtables: list[Any], first: str, second: str) -> float:
    """The first subtable that covers the pair decides."""
    for subtable in subtables:
        covered = subtable.Coverage.glyphs
        if first not in _members(subtable, covered):
            continue
        if subtable.Format == 1:
            for record in subtable.PairSet[covered.index(first)].PairValueRecord:
                if record.SecondGlyph == second:
                    return _advance(record.Value1)
            continue
        one = subtable.ClassDef1.classDefs.get(first, 0)
        two = subtable.ClassDef2.classDefs.get(second, 0)
        return _advance(subtable.Class1Record[one].Class2Record[two].Value1)
    return 0.0


def _members(subtable: Any, covered: list[str]) -> frozenset[str]:
    if not hasattr(subtable, "_cutout_members"):
        subtable._cutout_members = frozenset(covered)
    members: frozenset[str] = subtable._cutout_members
    return members


def _advance(value: Any) -> float:
    return float(getattr(value, "XAdvance", 0) or 0) if value is not None else 0.0


def _old_pairs(face: Any) -> dict[tuple[str, str], float]:
    pairs: dict[tuple[str, str], float] = {}
    for subtable in face["kern"].kernTables if "kern" in face else ():
        horizontal = getattr(subtable, "coverage", 1) & 1
        if horizontal and getattr(subtable, "kernTable", None):
            pairs.update({pair: float(value) for pair, value in subtable.kernTable.items()})
    return pairs
