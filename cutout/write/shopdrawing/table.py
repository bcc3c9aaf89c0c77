"""The words of the shop drawing: steps to tick off, drills, cautions, title block."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.crowd import numbers_in_words
from cutout.draw.fonts import PT
from cutout.draw.paint import Paint
from cutout.draw.signs import NUMBER, WORDS, disc, drill_sign, hand, size
from cutout.draw.tagged import Role
from cutout.saw.model import Step
from cutout.units import count, format_length, format_minutes
from cutout.write.dated import printed_date
from cutout.write.shopdrawing.view import weak_places
from cutout.write.steps import falls, is_drilling, is_whole
from cutout.write.template.annotate import drill_kinds
from cutout.write.work import Work

LINE = 4.5
"""Distance of lines of words (mm)."""
BLOCK = 31.0
"""Height of the title block (mm)."""
_BOX, _DISC, _HAND = 8.0, 8.5, 16.0
"""Room for the tick box, for the letter, and for the hand with its word (mm)."""
_TITLE = 5.0
"""Height of the title's capitals (mm): the height of ISO 3098 over that of the numbers."""
_LEAST_ROW = 6.8
"""Height of a row (mm): the disc of a step and a little paper."""


@dataclass(frozen=True, slots=True)
class Block:
    """Something as wide as a column and so high (mm), kept whole; `draw` is given its box."""

    height: float
    draw: Callable[[Box], None]


def _read_as(paint: Paint, role: Role, draw: Callable[[Box], None]) -> Callable[[Box], None]:
    """The same, one heading or paragraph to who has it read aloud."""

    def drawn(box: Box) -> None:
        with paint.part(role):
            draw(box)

    return drawn


def blocks(paint: Paint, work: Work, steps: Sequence[Step], width: float, *, brief: bool) -> list[Block]:
    """Drills and steps for a column so wide, in reading order. brief: of each step its name and what to do alone; the
    hand says where something is to be held."""
    drilled, sawn = (
        list(_drilling(paint, work, steps, width)),
        list(_sawing(paint, work, steps, width, brief=brief)),
    )
    held = "hand: hold it, it falls" if any(map(falls, steps)) else ""
    first = _with_first(_band(paint, "First drill: sign, size, numbers of holes"), iter(drilled))
    then = _with_first(_band(paint, "Then saw", held), iter(sawn))
    return [*(first if drilled else ()), *(then if sawn else ())]


def _band(paint: Paint, title: str, more: str = "") -> Block:
    def draw(box: Box) -> None:
        paint.fill(0.82)
        paint.rect((box[0], box[1] + 0.6, box[2], box[3]), stroke=False, fill=True)
        paint.fill(0)
        paint.text(box[0] + 2.5, box[1] + 2.2, title, size(WORDS), bold=True)
        paint.text(box[2] - 2.0, box[1] + 2.2, more, size(WORDS), align="right")

    return Block(6.4, _read_as(paint, "H2", draw))


def _drilling(paint: Paint, work: Work, steps: Sequence[Step], width: float) -> Iterator[Block]:
    """The drill table: sign, size, numbers; its first row carries the letter of the step."""
    holes = work.plan.holes
    if not holes:
        return
    letter = next((s.letter for s in steps if is_drilling(s)), "")
    for diameter, kind in drill_kinds(holes).items():
        ids = sorted(h.id for h in holes if h.diameter == diameter)
        text = format_length(diameter, work.kit.drills.unit)
        room = width - _BOX - _DISC - 9.0 - 18.0 - 2.0
        words = fonts.wrap(numbers_in_words(ids), fonts.LETTERS, size(NUMBER), room * PT)
        yield Block(
            _row_height(len(words)), _read_as(paint, "P", _drill_row(paint, letter, kind, text, words))
        )
        letter = ""


def _drill_row(
    paint: Paint, letter: str, kind: int, text: str, words: Sequence[str]
) -> Callable[[Box], None]:
    def draw(box: Box) -> None:
        x = box[0]
        middle = box[3] - _LEAST_ROW / 2
        _tick(paint, x, middle)
        if letter:
            paint.draw(disc((x + _BOX + _DISC / 2 - 0.6, middle), letter))
        paint.draw(drill_sign((x + _BOX + _DISC + 3.5, middle), 2.2, kind))
        paint.fill(0)
        paint.text(x + _BOX + _DISC + 8.0, middle - NUMBER / 2, text, size(NUMBER), bold=True)
        for n, line in enumerate(words):
            paint.text(x + _BOX + _DISC + 27.0, middle - NUMBER / 2 - n * 5.0, line, size(NUMBER))
        _rule(paint, box)

    return draw


def _sawing(paint: Paint, work: Work, steps: Sequence[Step], width: float, *, brief: bool) -> Iterator[Block]:
    sawn = [step for step in steps if not is_drilling(step)]
    if not sawn:
        return
    room = width - _BOX - _DISC - 2.0
    for step in sawn:
        side = _HAND if falls(step) else 0.0
        said = work.told(step)
        # Of an opening sawn in one step what to do says the name, too.
        named = "" if brief and is_whole(step, work.plan) else f"{said.name}. "
        text = said.action if brief else said.text
        words = fonts.wrap(named + text, fonts.LETTERS, size(WORDS), (room - side) * PT)
        lines = _bold_first(words, len(named.split()))
        yield Block(_row_height(len(words)), _read_as(paint, "P", _step_row(paint, step, lines)))


def _bold_first(lines: Sequence[str], count: int) -> list[tuple[str, str]]:
    """Each line as what is bold, the first so many words of all, and what is not."""
    parted = []
    for line in lines:
        words = line.split()
        parted.append((" ".join(words[:count]), " ".join(words[count:])))
        count = max(count - len(words), 0)
    return parted


def _row_height(rows: int) -> float:
    return max(_LEAST_ROW, rows * LINE + 2.4)


def _step_row(paint: Paint, step: Step, lines: Sequence[tuple[str, str]]) -> Callable[[Box], None]:
    def draw(box: Box) -> None:
        x = box[0]
        middle = box[3] - _LEAST_ROW / 2
        _tick(paint, x, middle)
        paint.draw(disc((x + _BOX + _DISC / 2 - 0.6, middle), step.letter))
        paint.fill(0)
        for n, (name, text) in enumerate(lines):
            at, y = x + _BOX + _DISC, middle - WORDS / 2 - n * LINE
            if name:
                paint.text(at, y, name, size(WORDS), bold=True)
                # Bold letters of this face are as wide as plain ones.
                at += fonts.text_width(f"{name} ", fonts.LETTERS, size(WORDS)) / PT
            if text:
                paint.text(at, y, text, size(WORDS))
        if falls(step):
            paint.draw(hand(box[2] - 14.0, middle - 2.4))
            paint.text(box[2] - 1.5, middle - WORDS / 2, "hold", size(WORDS), bold=True, align="right")
        _rule(paint, box)

    return draw


def _tick(paint: Paint, x: float, middle: float) -> None:
    paint.pen(0.35)
    paint.rect((x + 2.0, middle - 2.3, x + 6.6, middle + 2.3))


def _rule(paint: Paint, box: Box) -> None:
    paint.pen(0.13, 0.4)
    paint.line(box[0] + 2.0, box[1], box[2], box[1])


def remarks(paint: Paint, work: Work, width: float) -> Block:
    """Time, what W means, the usual cautions in three lines, room for the measured check square."""
    stops = sum(f.severity == "stop" and not f.cleared for f in work.findings)
    layers = work.pattern.panel.layers
    thick = format_length(work.pattern.panel.sawn, work.units)
    said: list[tuple[str, bool]] = []
    if stops:
        said.append((f"NOT READY TO CUT: settle {count(stops, 'thing')} in the notes first.", True))
    if work.plan.legs:
        said.append((f"About {format_minutes(work.plan.minutes)} in {thick} {work.kit.wood.title}.", True))
    if layers > 1:
        pinned = "pinned where squares with a dot are" if work.pins else "taped"
        said.append((f"{layers} panels sawn at once, {pinned}.", True))
    if weak_places(work):
        said.append(("W, hatched: weak; saw last, well supported.", False))
    if work.bridges:
        said.append(('Bars, "leave": a bridge; don\'t saw across.', False))
    said += [
        ("Eyes, ears, dust mask. Clamp it; look underneath first.", False),
        ("Let the blade stop before you lift it; unplug to change it.", False),
        ("Your tool's manual comes first.", False),
    ]
    made = []
    for text, bold in said:
        words = fonts.wrap(text, fonts.LETTERS, size(WORDS), (width - 4.0) * PT)
        made.append(Block(len(words) * LINE + 0.4, _read_as(paint, "P", _words(paint, words, bold=bold))))
    made.append(Block(LINE + 2.4, _read_as(paint, "P", _check(paint, work))))
    return stacked([Block(2.5, lambda box: None), *made])


def stacked(parts: Sequence[Block]) -> Block:
    """Blocks one under the other as one, not to be parted."""

    def draw(box: Box) -> None:
        y = box[3]
        for part in parts:
            part.draw((box[0], y - part.height, box[2], y))
            y -= part.height

    return Block(sum(part.height for part in parts), draw)


def _with_first(band: Block, rows: Iterator[Block]) -> Iterator[Block]:
    """A band kept together with the row under it, then the other rows."""
    yield stacked([band, next(rows)])
    yield from rows


def _words(paint: Paint, words: Sequence[str], *, bold: bool) -> Callable[[Box], None]:
    def draw(box: Box) -> None:
        paint.fill(0)
        for n, line in enumerate(words):
            paint.text(box[0] + 2.0, box[3] - 3.4 - n * LINE, line, size(WORDS), bold=bold)

    return draw


def _check(paint: Paint, work: Work) -> Callable[[Box], None]:
    def draw(box: Box) -> None:
        paint.fill(0)
        sides = "100 mm" if work.units == "mm" else "4 in"
        text = f"Check square {sides}, measured:"
        y = box[1] + 1.6
        paint.text(box[0] + 2.0, y, text, size(WORDS))
        x = box[0] + 4.0 + paint.width(text, size(WORDS))
        paint.pen(0.18)
        paint.line(x, y - 0.4, x + 14, y - 0.4)
        paint.text(x + 16.2, y, "x", size(WORDS), align="centre")
        paint.line(x + 18.5, y - 0.4, x + 32.5, y - 0.4)

    return draw


def scale_words(scale: float) -> str:
    """1 : 4, 2 : 1."""
    return f"1 : {1 / scale:g}" if scale <= 1 else f"{scale:g} : 1"


def title_block(paint: Paint, work: Work, box: Box, scale: float, sheet: tuple[int, int]) -> None:
    """Fields of ISO 7200 (title, kind of document, date of issue, sheet), and what the saw is set up with."""
    x0, _, x1, y1 = box
    panel, units = work.pattern.panel, work.units
    paint.pen(0.7)
    paint.line(x0, y1, x1, y1)
    paint.line(x0, box[1], x0, y1)
    paint.fill(0)
    room = x1 - x0 - 6.0 - paint.width("shop drawing", size(WORDS))
    tall = min(
        _TITLE, max(NUMBER, _TITLE * room / max(paint.width(work.title, size(_TITLE), bold=True), 1e-9))
    )
    title = fonts.wrap(work.title, fonts.LETTERS, size(tall), (room - 4.0) * PT)[:1]
    with paint.part("H1"):
        paint.text(x0 + 2.5, y1 - 7.4, "".join(title), size(tall), bold=True)
        paint.text(x1 - 2.5, y1 - 7.4, "shop drawing", size(WORDS), align="right")
    middle, low = y1 - 9.6, y1 - 20.0
    paint.pen(0.25)
    paint.line(x0, middle, x1, middle)
    paint.line(x0, low, x1, low)
    sides = [format_length(v, units).rsplit(" ", 1)[0] for v in (panel.width, panel.height, panel.thickness)]
    fields = (
        (f"panel, {units}", " x ".join(sides), 0.42),
        ("scale", scale_words(scale), 0.17),
        ("sheet", f"{sheet[0]} of {sheet[1]}", 0.17),
        ("date", printed_date(work.job), 0.24),
    )
    x = x0
    for n, (name, value, share) in enumerate(fields):
        if n:
            paint.line(x, low, x, middle)
        paint.fill(0)
        wide = max(paint.width(value, size(NUMBER), bold=True), 1e-9)
        tall = max(WORDS, min(NUMBER, NUMBER * (share * (x1 - x0) - 3.0) / wide))
        with paint.part("P"):
            paint.text(x + 2.0, middle - 4.0, name, size(WORDS))
            paint.text(x + 2.0, low + 1.7, value, size(tall), bold=True)
        x += share * (x1 - x0)
    for n, line in enumerate(_set_up(work, x1 - x0 - 4.0)):
        paint.text(x0 + 2.0, low - 4.0 - n * LINE, line, size(WORDS))


def _set_up(work: Work, width: float) -> list[str]:
    """Keep, wood, grain, blade and kerf, in two lines at most; which face is seen."""
    kept = {"panel": "the panel", "figure": "the figure", "both": "both"}[work.pattern.keep_mode]
    grain = work.pattern.panel.grain
    lies = "" if grain is None else f", grain {_grain(math.degrees(grain) % 180)}"
    face = "back" if work.template.back else "show face"
    blade = work.kit.blade
    kerf = format_length(blade.kerf, work.units)
    kept_on = f"Keep {kept}; {face} seen; {work.kit.wood.title}{lies}"
    # A long name of a blade loses its sizes before anything is cut off: the kerf says what they matter for.
    named = (blade.title, blade.title.split(",")[0])
    ways = [
        fonts.wrap(f"{kept_on}; {name}; kerf {kerf}", fonts.LETTERS, size(WORDS), width * PT)
        for name in named
    ]
    return next((lines for lines in ways if len(lines) <= 2), ways[-1])[:2]


def _grain(degrees: float) -> str:
    if min(degrees, 180 - degrees) < 1:
        return "across"
    return "upright" if abs(degrees - 90) < 1 else f"at {degrees:.0f} degrees"
