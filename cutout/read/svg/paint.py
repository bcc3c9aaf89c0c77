"""How light a paint comes out on the page: flat colours and gradients; patterns are beyond it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal
from xml.etree.ElementTree import Element

from cutout.read.svg.document import Document
from cutout.read.svg.ramp import ATTRIBUTES, Ramp, ramp_from
from cutout.read.svg.style import BLACK, Colour, Style, StyleSheet, colour, reference, share

PICTURE = "embedded picture"
"""What a picture made of pixels is called, by itself or as a pattern's only content."""

MAX_CHAIN = 32
"""Most gradients that may borrow stops one from another."""


@dataclass(frozen=True, slots=True)
class Paint:
    """Every shade a paint shows; None in place of a Paint means nothing is painted.

    shades: one for a flat colour, one per stop for a gradient. beyond: what it needs that can't be
    worked out from shades, in words. ramp: where a gradient shows them. body: it ends in edges that show, however
    it fades between them. soft: it has faded away wherever it ends, whatever its colour.
    """

    shades: tuple[Colour, ...]
    beyond: str | None = None
    ramp: Ramp | None = None
    body: bool = False
    soft: bool = False

    def faded(self, alpha: float) -> Paint:
        """The paint with a further opacity."""
        ramp = None if self.ramp is None else self.ramp.faded(alpha)
        return replace(self, shades=tuple(replace(s, alpha=s.alpha * alpha) for s in self.shades), ramp=ramp)


Tone = Literal["dark", "light", "through", "mixed"]
"""through: what lies under it stays on its side of the level; mixed: some of it falls on either side."""


def tone(paint: Paint, level: float) -> Tone:
    """On which side of the grey `level` the paint falls, over white and over black alike."""
    tones = {_tone(shade, level) for shade in paint.shades}
    return tones.pop() if len(tones) == 1 else "mixed"


def _tone(shade: Colour, level: float) -> Tone:
    if shade.alpha * shade.grey + 1 - shade.alpha < level:
        return "dark"
    return "light" if shade.alpha * shade.grey >= level else "through"


def steady(paint: Paint, grounds: Iterable[float], level: float) -> bool:
    """Whether no ground of the given greys changes sides when the paint is laid over it."""
    return all(
        (shade.alpha * shade.grey + (1 - shade.alpha) * ground < level) == (ground < level)
        for shade in paint.shades
        for ground in grounds
    )


def paint_of(
    value: str | None, default: Paint | None, style: Style, sheet: StyleSheet, document: Document
) -> Paint | None:
    """The paint a `fill` or `stroke` value names. Unreadable colours fall back to `default`."""
    if value is None:
        return default
    if link := reference(value):
        server = document.by_id.get(link[0])
        if server is not None and server.tag in ("linearGradient", "radialGradient"):
            return _gradient(server, style, sheet, document)
        if server is not None and server.tag == "pattern":
            return Paint((BLACK,), PICTURE if _is_of_pictures(server, document) else "pattern")
        return paint_of(link[1] or "none", default, style, sheet, document)
    plain = value.strip()
    if plain.lower() in ("none", "transparent"):
        return None
    if plain.lower() == "currentcolor":
        plain = style.get("color", "black")
    shade = colour(plain)
    return Paint((shade,)) if shade else default


def _is_of_pictures(pattern: Element, document: Document) -> bool:
    """Whether all a pattern draws are pictures made of pixels, as programs paste them."""
    inside = [e for e in pattern.iter() if e is not pattern]
    named = [document.by_id.get((e.get("href") or "").removeprefix("#")) for e in inside if e.tag == "use"]
    drawn = [
        e.tag for e in (*inside, *(e for e in named if e is not None)) if e.tag not in ("use", "g", "title")
    ]
    return bool(drawn) and set(drawn) == {"image"}


def _gradient(server: Element, style: Style, sheet: StyleSheet, document: Document) -> Paint | None:
    given: dict[str, str] = {"id": server.get("id", "")}
    tag = server.tag
    for _ in range(MAX_CHAIN):
        given = {name: value for name in ATTRIBUTES if (value := server.get(name)) is not None} | given
        stops = [s for s in server if s.tag == "stop"]
        if stops:
            shown = [stop_colour(s, sheet.of(server, style), sheet) for s in stops]
            offsets = [share(s.get("offset"), 0.0) for s in stops]
            ramp = ramp_from(tag, given, list(zip(offsets, shown, strict=True)))
            return Paint(tuple(dict.fromkeys(shown)), ramp=ramp)
        follow = document.by_id.get((server.get("href") or "").removeprefix("#"))
        if follow is None or follow.tag not in ("linearGradient", "radialGradient"):
            return None
        server = follow
    return None


def stop_colour(stop: Element, parent: Style, sheet: StyleSheet) -> Colour:
    """The colour of a gradient's stop."""
    style = sheet.of(stop, parent)
    value = style.get("stop-color", "black")
    found = colour(style.get("color", "black") if value.lower() == "currentcolor" else value) or BLACK
    return replace(found, alpha=found.alpha * share(style.get("stop-opacity")))
