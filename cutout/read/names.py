"""A list of names, one sign each: a CSV file as a school or a spreadsheet writes it, or plain lines."""

from __future__ import annotations

import csv
from pathlib import Path

from cutout.errors import ReadError
from cutout.read.whole import file_bytes

HEADS = ("name", "names", "first name", "vorname", "nom", "text")
"""Words over a column that mark it as the one with the names."""
MOST = 500  # a school; more are several lists. Taste
LONGEST = 1 << 20
"""No list of so many names is longer (bytes)."""


def read_names(path: Path) -> tuple[str, ...]:
    """The names in a file, in its order: the column headed `name` (or like it), else the first one.

    Commas, semicolons and tabs part columns; empty rows are passed over. Raises ReadError.
    """
    try:
        text = file_bytes(path, LONGEST, "list", "list").decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReadError(f"{path.name}: is not text in UTF-8: save the list as CSV (UTF-8).") from error
    lines = [line for line in text.splitlines() if line.strip()]
    parts = max(";\t,", key=lambda mark: sum(mark in line for line in lines)) if lines else ","
    rows = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=parts)]
    heads = [cell.lower() for cell in rows[0]] if rows else []
    column = next((n for n, head in enumerate(heads) if head in HEADS), None)
    named = rows if column is None else rows[1:]
    names = tuple(row[column or 0] for row in named if len(row) > (column or 0) and row[column or 0])
    if not names:
        raise ReadError(f"{path.name}: there is no name in this list: write one in each line.")
    if len(names) > MOST:
        raise ReadError(f"{path.name}: holds {len(names)} names: at most {MOST} are made at once.")
    return names
