"""Curves and outlines: the one geometry vocabulary every stage shares."""
