"""The kit most tests saw with: a narrow jigsaw blade, all metric drills, a bit of 6 mm, white pine."""

from __future__ import annotations

from cutout.kit import Kit, bit, blade, drills, wood


def kit_of(blade_name: str = "jigsaw-narrow", wood_name: str = "white-pine") -> Kit:
    """That kit with another blade or wood, by their names."""
    return Kit(blade(blade_name), drills("metric"), bit("6mm"), wood(wood_name))


KIT = kit_of()
