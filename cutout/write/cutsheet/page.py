"""The cut sheet: everything the person at the bench needs, as one self-contained page."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib import resources

from cutout.draw.heat import heat_map
from cutout.draw.svg import printable
from cutout.units import count
from cutout.write.changed import eased_places
from cutout.write.cutsheet.finding_rows import shown_findings
from cutout.write.cutsheet.html import beside, folded, section
from cutout.write.cutsheet.picture import Picture, heat_figure, panel_key, panel_svg
from cutout.write.cutsheet.tables import (
    bridges_table,
    cautions_list,
    cuts_table,
    extras_lists,
    facts_list,
    file_table,
    findings_notes,
    findings_table,
    holes_table,
    left_over_table,
    left_over_words,
    narrow_table,
    notes_list,
    proof_words,
    router_list,
    sources_table,
    steps_list,
    time_list,
)
from cutout.write.cutsheet.walk import source_of, walk_script
from cutout.write.work import Work


def cut_sheet(work: Work) -> bytes:
    """One HTML page, nothing fetched: steps, picture, findings, holes by drill, cuts in order, widths, sources.

    Plain tables and headings, so that it reads aloud, prints on a home printer and stands on a telephone. Its one
    script, which only the page's own policy lets run, adds the walk; without it nothing else is missing.
    """
    heat = heat_map(work.pattern, work.kit)
    widths = beside([heat_figure(heat, work.pattern, work.units), narrow_table(heat, work.units)])
    script, source = walk_script(work)
    parts = [
        *([section("steps", "What to do", steps_list(work))] if work.plan.steps else []),
        section("cautions", "Before you start", cautions_list(work)),
        section("picture", "Picture", panel_svg(work) + panel_key(work)),
        section("facts", "Panel, blade, template", facts_list(work)),
        section("extras", "What to have ready", extras_lists(work)),
        section("findings", "What was found", findings_table(work)),
        section("holes", "Holes to drill", holes_table(work)),
        section("cuts", "Order of cuts", _cuts(work) + proof_words(work) + time_list(work)),
        section(
            "left-over", "Left for a file", file_table(work) + _each("Every spot", left_over_table(work))
        ),
        section("changes", "Bridges and easing", bridges_table(work)),
        section("widths", "How wide the wood is", widths),
        *([section("router", "With a router", router_list(work))] if work.router_wanted else []),
        section("notes", "Notes on the source", notes_list(work)),
        section(
            "sources", "Where the values come from", folded("Every value and limit", sources_table(work))
        ),
    ]
    return _page(work, "cut sheet", verdict(work, left=True), parts, script, source)


def notes(work: Work, picture: Picture | None = None) -> bytes:
    """What the shop drawing and the template leave out, as a page to be printed: findings and spots for the file on
    one picture, what to have ready, what was changed, where the values come from.

    picture: of the panel, if it is at hand.
    """
    found = findings_notes(work)
    beside_it = (
        section("left-over", "Left for a file", file_table(work)) if work.plan.left_over else "",
        section("facts", "Blade and template", facts_list(work, brief=True)),
    )
    changed = (
        section("changes", "Bridges and easing", bridges_table(work))
        if work.bridges or eased_places(work)
        else ""
    )
    parts = [
        _WHERE,
        f'<div class="pair">{panel_svg(work, picture)}<div>{panel_key(work)}{"".join(beside_it)}</div></div>\n',
        section("findings", "What was found", found) if found else "",
        section("extras", "What to have ready", extras_lists(work)),
        changed,
        section("cuts", "Time and proof", proof_words(work) + time_list(work)),
        section("router", "With a router", router_list(work)) if work.router_wanted else "",
        section("notes", "Notes on the source", notes_list(work)) if work.notes else "",
        section("sources", "Where the values come from", sources_table(work, brief=True)),
    ]
    return _page(work, "notes", verdict(work), parts)


_WHERE = (
    "<p>What to do, step by step, is on the shop drawing; every hole, cut and spot with its measures, and how wide "
    "the wood is, in cutsheet.html. Your tool's manual, local codes and licensed practice come first.</p>\n"
)


def _cuts(work: Work) -> str:
    return _each("Every cut with its length", cuts_table(work)) if work.plan.legs else cuts_table(work)


def _each(summary: str, body: str) -> str:
    return folded(summary, body) if body else ""


def _page(
    work: Work, kind: str, first: str, parts: Sequence[str], script: str = "", source: str = ""
) -> bytes:
    """The whole document; nothing but its own style and script may run in it, and nothing may be fetched."""
    style = f"\n{sheet_style()}"
    title = escape(printable(work.title))
    policy = (
        f"default-src 'none'; style-src {source_of(style)}; img-src data:; base-uri 'none'; form-action 'none'"
        f"{f'; script-src {source}' if source else ''}"
    )
    page = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}: {kind}</title>\n<style>{style}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{title}: {kind}</h1>\n{first}\n{''.join(parts)}</main>\n{script}</body>\n</html>\n"
    )
    return page.encode("utf-8", "replace")


def sheet_style() -> str:
    """The style of the page."""
    return resources.files("cutout.write").joinpath("sheet.css").read_text("utf-8")


def verdict(work: Work, *, left: bool = False) -> str:
    """One line: whether it can be cut. left: and what is left to do by hand."""
    found = [f for f in shown_findings(work) if not f.cleared]
    stops = sum(f.severity == "stop" for f in found)
    if stops:
        words = f"<strong>Not ready to cut:</strong> {count(stops, 'thing')} must be settled first."
    elif not work.proof.ok:
        words = "<strong>Not ready to cut:</strong> the plan did not pass its proof."
    elif found:
        words = f"<strong>Can be cut with care:</strong> read the {count(len(found), 'finding')} below."
    else:
        words = "<strong>Can be cut:</strong> nothing was found that stands in the way."
    if left:
        words = f"{words} {left_over_words(work)}".strip()
    kind = "verdict stop" if stops or not work.proof.ok else "verdict"
    return f'<p class="{kind}">{words}</p>'
