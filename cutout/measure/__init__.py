"""Instruments that checks, mending and drawings share: medial axis, widths, bends, room."""
