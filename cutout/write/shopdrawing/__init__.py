"""The shop drawing: one sheet to hang beside the saw."""
