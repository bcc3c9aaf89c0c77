"""Pieces of a page that reads aloud and prints: sections, tables, lists."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from cutout.draw.svg import printable

_SHORT_CELL = 24  # characters; about what a column is wide
_SHORT = ' class="short"'
"""Cells of a few words are kept on one line."""

_LONG = 8
"""Rows from which a table is divided in two."""

_BLOCK = 20
"""Most rows of each part of a divided table."""


def section(name: str, heading: str, body: str) -> str:
    """A section under a heading of its own."""
    head = f'<h2 id="{name}">{escape(heading)}</h2>'
    return f'<section class="{name}" aria-labelledby="{name}">{head}\n{body}</section>\n'


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; the first cell of each row is its head. Cells are escaped, their lines kept; an empty one is a dash.

    Each cell carries the head of its column, for narrow screens where rows are stacked."""
    head = "".join(f'<th scope="col">{text(h)}</th>' for h in heads)
    body = "".join(_row(heads, *row) for row in rows)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{text(caption)}"><table>'
        f"<caption>{text(caption)}</caption>"
        f"<thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table></div>\n"
    )


def folded(summary: str, body: str) -> str:
    """What is looked up rather than read: opened by its summary."""
    return f"<details><summary>{text(summary)}</summary>\n{body}</details>\n"


def _row(heads: Sequence[str], first: str, *rest: str) -> str:
    cells = "".join(
        f'<td{_SHORT if len(cell) <= _SHORT_CELL else ""} data-head="{text(head)}">{_lines(cell) or "-"}</td>'
        for head, cell in zip(heads[1:], rest, strict=True)
    )
    return f'<tr><th scope="row" data-head="{text(heads[0])}">{text(first)}</th>{cells}</tr>\n'


def _lines(cell: str) -> str:
    return "<br>".join(text(line) for line in cell.split("\n"))


def beside(parts: Sequence[str]) -> str:
    """Tables side by side where the page is wide enough."""
    return f'<div class="beside">{"".join(parts)}</div>\n' if len(parts) > 1 else "".join(parts)


def halves(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]], what: str = "") -> str:
    """A long table of short rows in twos beside each other, short enough to stay on one printed page, the first cells
    in their captions."""
    if len(rows) < _LONG:
        return table(caption, heads, rows)
    blocks = -(-len(rows) // (2 * _BLOCK))
    step = -(-len(rows) // (2 * blocks))
    parts = [rows[n : n + step] for n in range(0, len(rows), step)]
    tables = [table(f"{caption}: {what}{p[0][0]} to {p[-1][0]}", heads, p) for p in parts]
    return "".join(beside(tables[n : n + 2]) for n in range(0, len(tables), 2))


def listed(lines: Iterable[str]) -> str:
    """A list of escaped lines."""
    return f"<ul>{''.join(f'<li>{text(line)}</li>' for line in lines)}</ul>\n"


def text(words: str) -> str:
    """Words as they stand in a page: escaped, without what a page can't hold."""
    return escape(printable(words))
