"""Writes reference/sources.md: every number of kit and limits, where it is from, what it decides."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import asdict
from itertools import pairwise
from pathlib import Path
from typing import Any

from cutout.kit import Bit, Limits, Machine
from cutout.kit.data import load

CODE = Path(__file__).parent.parent / "cutout"
PACKAGES = ("kit", "check", "measure", "amend", "saw", "route", "say")
"""Packages whose named numbers decide what is found, mended, drilled and cut."""

DECIDES: dict[str, dict[str, tuple[str, str]]] = {
    "blades": {
        "width": ("turning radius, starter hole, corners that are left", "kit/blade.py"),
        "body": ("turning radius, room to turn", "kit/blade.py"),
        "kerf": ("how far beside the line the blade runs; narrowest opening", "saw/prove.py"),
        "tpi": ("thinnest wood", "kit/blade.py"),
        "feed": ("minutes of sawing, and so which way round is taken", "kit/kit.py"),
    },
    "bits": {
        "diameter": ("tool path, inside corners, chip load", "kit/bit.py"),
        "flutes": ("feed", "kit/feeds.py"),
        "speed": ("spindle speed, feed", "kit/feeds.py"),
        "depth_per_pass": ("how many turns", "route/passes.py"),
    },
    "boards": {
        "width": ("how many boards, where glue lines lie", "kit/board.py"),
        "thickness": ("whether the panel can be had from it", "kit/board.py"),
        "nominal": ("board feet", "kit/board.py"),
    },
    "chips": {
        "rows": ("feed of a bit in a wood", "kit/feeds.py"),
        "best": ("most a chip is started with", "kit/feeds.py"),
        "most": ("nothing: told beside the best band", "kit/data/chips.toml"),
        "share": ("feed in deep turns", "kit/feeds.py"),
    },
    "drills": {"sizes": ("which hole is drilled: the next size up", "kit/drill.py")},
    "machines": {
        "bed": ("whether the panel goes on the machine", "route/findings.py"),
        "travel_z": ("whether bit and wood go under it", "route/findings.py"),
        "feed": ("fastest feed written", "kit/feeds.py"),
        "rapid": ("time of travelling", "route/passes.py"),
        "speed_least": ("spindle speed", "kit/feeds.py"),
        "speed_most": ("spindle speed", "kit/feeds.py"),
        "wait": ("pause after the spindle starts", "write/gcode.py"),
    },
    "moves": {
        "lift": ("minutes; whether to lift or to go on", "saw/planner/hand.py"),
        "drop_in": ("minutes; whether to let in or to back out", "saw/planner/hand.py"),
        "thread": ("minutes; how many holes pay", "saw/planner/hand.py"),
        "turn": ("minutes; whether to turn on the spot", "saw/planner/hand.py"),
        "hole": ("minutes; how many holes pay", "saw/planner/plan.py"),
        "change": ("minutes at the drill", "saw/planner/legs.py"),
        "back": ("minutes of backing out", "saw/planner/hand.py"),
        "allowance": ("wood left on the line for the file", "kit/kit.py"),
    },
    "papers": {
        "width": ("how many sheets", "kit/paper.py"),
        "height": ("how many sheets", "kit/paper.py"),
    },
    "rules": {
        "times": ("least width of webs", "kit/rule.py"),
        "at": ("least width of webs", "kit/rule.py"),
        "stop": ("width that always stops", "kit/rule.py"),
        "open_grain": ("least width in woods with large pores", "kit/rule.py"),
    },
    "woods": {
        "bending": ("how webs weaken off the grain", "kit/wood.py"),
        "tension_across": ("how webs weaken off the grain", "kit/wood.py"),
        "tangential": ("seasonal movement against the reveal", "check/boards.py"),
    },
}
"""Each number of a data file: what it decides, and where in the code."""

MADE = {"bits": Bit, "machines": Machine}
"""Tables whose unwritten numbers are those of the class."""

UNITS = {
    "blades": "mm; teeth an inch; feed in mm a minute",
    "bits": "mm; speed in turns a minute",
    "boards": "mm; nominal sizes in inches",
    "chips": "inches: [diameter, least, most chip]; depth in diameters: [depth, share of the chip]",
    "drills": "mm or inches, as said",
    "machines": "mm; mm a minute; turns a minute; seconds",
    "moves": "seconds; `back` as a multiple of the feed; allowance in mm",
    "papers": "mm",
    "rules": "`times` in thicknesses; `at` and `stop` in mm",
    "woods": "MPa at 12 % moisture; movement as a share for each percent of moisture",
}


def sources() -> str:
    """The whole table as Markdown."""
    lines = [
        "# Where the numbers come from",
        "",
        "Made from data and code by `python docs/sources.py`; do not edit. *Common practice, no source* means that",
        "nothing published was found: measure yours (`cutout gauge`), or set it. (m): from memory, no page read.",
        "",
    ]
    for name in DECIDES:
        lines += [*_data(name), ""]
    return "\n".join([*lines, *_limits(), "", *_named(), ""])


def numbers(name: str) -> Iterator[tuple[str, dict[str, Any], str]]:
    """Each entry of a data file: what it is called, its numbers by name, and its source."""
    for kind, held in load(name).items():
        for entry in held if isinstance(held, list) else [held]:
            whole = asdict(MADE[name](**entry)) if name in MADE else entry
            values = {key: value for key, value in whole.items() if _counts(value)}
            origin = entry.get("source") or _head(name, entry)
            yield entry.get("name") or entry.get("saw") or kind.replace("_", " "), values, origin


def _head(name: str, entry: dict[str, Any]) -> str:
    """What a file without a source for each entry says of them."""
    said = {
        "drills": "sizes as shops commonly sell them: common practice, no source",
        "chips": entry.get("title") or "charts A and B alike",
    }
    return said[name]


def _counts(value: Any) -> bool:
    """Whether a value is a number or holds some; true and false are none."""
    if isinstance(value, bool):
        return False
    if isinstance(value, dict):
        return any(_counts(v) for v in value.values())
    if isinstance(value, list | tuple):
        return any(_counts(v) or (isinstance(v, str) and v[:1].isdigit()) for v in value)
    return isinstance(value, int | float) or (isinstance(value, str) and value.endswith(" degrees"))


def _data(name: str) -> list[str]:
    lines = [f"## {name.capitalize()}", "", f"`cutout/kit/data/{name}.toml`; {UNITS[name]}.", ""]
    lines += ["| number | decides | in |", "|---|---|---|"]
    lines += [f"| {key} | {what} | `cutout/{where}` |" for key, (what, where) in DECIDES[name].items()]
    lines += ["", "| entry | values | source |", "|---|---|---|"]
    for called, values, origin in numbers(name):
        if values:
            said = "; ".join(f"{key} {_said(value)}" for key, value in values.items())
            lines.append(f"| {called} | {said} | {origin} |")
    return lines


def _said(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_said(v)}" for key, v in value.items())
    if isinstance(value, list | tuple):
        inner = any(isinstance(v, list) for v in value)
        return ", ".join(f"[{_said(v)}]" if inner else _said(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _limits() -> list[str]:
    lines = [
        "## Limits of the checks",
        "",
        "Settings under `[limits]`; what is made (`made_for`) chooses the webs'.",
        "",
    ]
    lines += ["| limit | default | unit | source |", "|---|---|---|---|"]
    for name, (unit, origin) in Limits.origins().items():
        lines.append(f"| {name} | {getattr(Limits(), name):g} | {unit} | {origin} |")
    return lines


def _named() -> list[str]:
    lines = [
        "## Numbers in the code",
        "",
        "Each with the sentence that stands beside it. One that names no source is a choice of this program, by",
        "trial on drawings; how finely it draws and searches is left out.",
        "",
        "| where | name | value | meaning |",
        "|---|---|---|---|",
    ]
    for package in PACKAGES:
        for path in sorted((CODE / package).rglob("*.py")):
            place = path.relative_to(CODE.parent).as_posix()
            lines += [f"| `{place}` | {name} | `{value}` | {doc} |" for name, value, doc in named(path)]
    return lines


def named(path: Path) -> Iterator[tuple[str, str, str]]:
    """Public constants of a module that hold a number, with value and the sentence below them."""
    body = ast.parse(path.read_text("utf-8")).body
    for node, after in pairwise(body):
        doc = ast.literal_eval(after.value) if _is_text(after) else None
        for name, value in _assigned(node):
            if doc and not name.startswith("_") and name.isupper() and _counts(value):
                yield name, _said(value), " ".join(doc.split()).replace("|", "or")


def _is_text(node: ast.stmt) -> bool:
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _assigned(node: ast.stmt) -> Iterator[tuple[str, Any]]:
    """Names and values of an assignment of plain numbers; sums, shares and inches are worked out."""
    if isinstance(node, ast.Assign):
        target, value = node.targets[0], node.value
    elif isinstance(node, ast.AnnAssign) and node.value is not None:
        target, value = node.target, node.value
    else:
        return
    pairs: list[tuple[ast.expr, ast.expr]] = [(target, value)]
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        pairs = list(zip(target.elts, value.elts, strict=True))
    for name, number in pairs:
        if isinstance(name, ast.Name):
            yield name.id, _worked_out(number)


def _worked_out(node: ast.expr) -> Any:
    """The value of an expression of numbers; text for anything else, which counts as none."""
    if isinstance(node, ast.Constant):
        return node.value
    if isinstance(node, ast.Name) and node.id == "MM_PER_INCH":
        return 25.4
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "math.radians":
        return f"{_said(_worked_out(node.args[0]))} degrees"
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_worked_out(node.operand)
    if isinstance(node, ast.BinOp):
        left, right = _worked_out(node.left), _worked_out(node.right)
        if isinstance(left, int | float) and isinstance(right, int | float):
            ways = {ast.Mult: left * right, ast.Add: left + right, ast.Sub: left - right}
            return (
                left / right if isinstance(node.op, ast.Div) else ways.get(type(node.op), ast.unparse(node))
            )
    if isinstance(node, ast.Dict):
        return {_worked_out(k): _worked_out(v) for k, v in zip(node.keys, node.values, strict=True) if k}
    if isinstance(node, ast.List | ast.Tuple):
        return [_worked_out(e) for e in node.elts]
    return ast.unparse(node)


if __name__ == "__main__":
    (Path(__file__).parent / "reference" / "sources.md").write_text(sources(), "utf-8")
