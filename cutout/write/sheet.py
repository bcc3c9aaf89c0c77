"""The cut sheet: everything the person at the bench needs, as one self-contained page."""

from __future__ import annotations

from html import escape
from importlib import resources

from cutout.write.heat import heat_map
from cutout.write.sheet_picture import heat_figure, panel_key, panel_svg
from cutout.write.sheet_tables import (
    bridges_table,
    cautions_list,
    cuts_table,
    extras_sections,
    facts_list,
    findings_table,
    holes_table,
    left_over_table,
    narrow_table,
    notes_list,
    proof_words,
    router_list,
    section,
    sources_table,
    time_list,
)
from cutout.write.svg import printable
from cutout.write.work import Work


def cut_sheet(work: Work) -> bytes:
    """One HTML page, nothing fetched: picture, findings, holes by drill, cuts in order, widths, sources.

    Plain tables and headings, so that it reads aloud and prints on a home printer; no script.
    """
    style = resources.files("cutout.write").joinpath("sheet.css").read_text("utf-8")
    title = escape(printable(work.title))
    heat = heat_map(work.pattern, work.kit)
    parts = [
        section("cautions", "Before you start", cautions_list(work)),
        section("picture", "Picture", panel_svg(work) + panel_key(work.pattern.panel)),
        section("facts", "Panel, blade, template", facts_list(work)),
        section("findings", "What was found", findings_table(work)),
        section("holes", "Holes to drill", holes_table(work)),
        section("cuts", "Order of cuts", cuts_table(work) + proof_words(work) + time_list(work)),
        section("left-over", "Left for a file", left_over_table(work)),
        section("changes", "Bridges and easing", bridges_table(work)),
        section(
            "widths",
            "How wide the wood is",
            heat_figure(heat, work.pattern, work.units) + narrow_table(heat, work.units),
        ),
        section("router", "With a router", router_list(work)),
        *extras_sections(work),
        section("notes", "Notes on the source", notes_list(work)),
        section("sources", "Where the values come from", sources_table(work)),
    ]
    page = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}: cut sheet</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{title}: cut sheet</h1>\n{_verdict(work)}\n{''.join(parts)}</main>\n</body>\n</html>\n"
    )
    return page.encode("utf-8", "replace")


def _verdict(work: Work) -> str:
    stops = sum(f.severity == "stop" and not f.cleared for f in work.findings)
    if stops:
        things = "thing" if stops == 1 else "things"
        words = f"<strong>Not ready to cut:</strong> {stops} {things} must be settled first."
        return f'<p class="verdict stop">{words}</p>'
    if not work.proof.ok:
        return (
            '<p class="verdict stop"><strong>Not ready to cut:</strong> the plan did not pass its proof.</p>'
        )
    care = sum(f.severity == "care" and not f.cleared for f in work.findings)
    if care:
        return (
            f'<p class="verdict"><strong>Can be cut with care:</strong> read the {care} findings below.</p>'
        )
    return '<p class="verdict"><strong>Can be cut:</strong> nothing was found that stands in the way.</p>'
