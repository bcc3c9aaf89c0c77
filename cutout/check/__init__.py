"""Checks: one module per kind of finding; they measure, never mend."""
