"""Readers: a file in, an Outline out."""
