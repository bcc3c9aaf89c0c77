"""The cut sheet: everything the person at the bench needs, as one self-contained page."""

from __future__ import annotations

from html import escape
from importlib import resources

from cutout.draw.heat import heat_map
from cutout.units import count
from cutout.write.cutsheet.finding_rows import shown_findings
from cutout.write.cutsheet.html import beside, folded, section
from cutout.write.cutsheet.picture import heat_figure, panel_key, panel_svg
from cutout.write.cutsheet.tables import (
    bridges_table,
    cautions_list,
    cuts_table,
    extras_lists,
    facts_list,
    findings_table,
    holes_table,
    left_over_table,
    left_over_words,
    narrow_table,
    notes_list,
    proof_words,
    router_list,
    sources_table,
    steps_table,
    time_list,
)
from cutout.write.svg import printable
from cutout.write.work import Work

POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:"
"""What a browser may load for the sheet: nothing but what is in it, whatever a title or a name holds."""


def cut_sheet(work: Work) -> bytes:
    """One HTML page, nothing fetched: picture, findings, holes by drill, cuts in order, widths, sources.

    Plain tables and headings, so that it reads aloud and prints on a home printer; no script.
    """
    style = sheet_style()
    title = escape(printable(work.title))
    heat = heat_map(work.pattern, work.kit)
    parts = [
        section("cautions", "Before you start", cautions_list(work)),
        *([section("steps", "What to do", steps_table(work))] if work.plan.steps else []),
        section("picture", "Picture", panel_svg(work) + panel_key(work)),
        section("facts", "Panel, blade, template", facts_list(work)),
        section("extras", "What to have ready", extras_lists(work)),
        section("findings", "What was found", findings_table(work)),
        section("holes", "Holes to drill", holes_table(work)),
        section("cuts", "Order of cuts", cuts_table(work) + proof_words(work) + time_list(work)),
        section("left-over", "Left for a file", left_over_table(work)),
        section("changes", "Bridges and easing", bridges_table(work)),
        section(
            "widths",
            "How wide the wood is",
            beside([heat_figure(heat, work.pattern, work.units), narrow_table(heat, work.units)]),
        ),
        *([section("router", "With a router", router_list(work))] if work.router_wanted else []),
        section("notes", "Notes on the source", notes_list(work)),
        section(
            "sources", "Where the values come from", folded("Every value and limit", sources_table(work))
        ),
    ]
    page = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        f"<title>{title}: cut sheet</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{title}: cut sheet</h1>\n{_verdict(work)}\n{''.join(parts)}</main>\n</body>\n</html>\n"
    )
    return page.encode("utf-8", "replace")


def sheet_style() -> str:
    """The style of the page."""
    return resources.files("cutout.write").joinpath("sheet.css").read_text("utf-8")


def _verdict(work: Work) -> str:
    """One line: whether it can be cut, and what is left to do by hand."""
    left = [f for f in shown_findings(work) if not f.cleared]
    stops = sum(f.severity == "stop" for f in left)
    if stops:
        words = f"<strong>Not ready to cut:</strong> {count(stops, 'thing')} must be settled first."
    elif not work.proof.ok:
        words = "<strong>Not ready to cut:</strong> the plan did not pass its proof."
    elif left:
        words = f"<strong>Can be cut with care:</strong> read the {count(len(left), 'finding')} below."
    else:
        words = "<strong>Can be cut:</strong> nothing was found that stands in the way."
    kind = "verdict stop" if stops or not work.proof.ok else "verdict"
    return f'<p class="{kind}">{f"{words} {left_over_words(work)}".strip()}</p>'
