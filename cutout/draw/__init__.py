"""Drawings of the panel and what is on it: shapes, lines, labels."""
