"""Holes, legs, and the proof that they work."""
