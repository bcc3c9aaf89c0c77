"""The words that a setting may be, each list declared once: for the job that takes them and for what acts on them.

Types only; nothing is loaded for them, so that the flags of a command can be made at once.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

Keep: TypeAlias = Literal["panel", "figure", "both"]
"""What must survive."""
Made: TypeAlias = Literal["furniture", "fretwork", "sign"]
"""What is made, which decides how thick webs must be."""
Overlap: TypeAlias = Literal["merge", "refuse"]
"""What is done with figures that overlap."""
Half: TypeAlias = Literal["left", "right", "top", "bottom"]
"""Which half of a figure is drawn."""
Stand: TypeAlias = Literal[
    "centre", "left", "right", "top", "bottom", "top left", "top right", "bottom left", "bottom right"
]
"""A place on the panel by name."""
InLine: TypeAlias = Literal["row", "column"]
"""Side by side, or one above the other."""
Align: TypeAlias = Literal["low", "middle", "high"]
"""How figures in a row or column stand beside one another."""
TextSide: TypeAlias = Literal["left", "middle", "right"]
"""Which side lines of letters are flush on."""
Join: TypeAlias = Literal["none", "weld", "bar", "frame"]
"""How letters are held together."""
FillHow: TypeAlias = Literal["outline", "as drawn"]
"""Whether closed thin lines of a picture stand for what they enclose."""
Corners: TypeAlias = Literal["cheapest", "sharp", "round"]
"""Inside corners the blade can't round: sawn from both sides; rounded so that it, or a hole, goes round; or what
costs the saw least, which is round only where the blade itself takes the rounding in one sweep."""
LetterBridges: TypeAlias = Literal["upright", "level", "free"]
"""How bridges of letters run."""
IndexIn: TypeAlias = Literal["waste", "anywhere"]
"""Where holes for pins may lie."""
TabEnds: TypeAlias = Literal["upright", "sloped"]
Direction: TypeAlias = Literal["conventional", "climb"]
"""Which way round the bit goes."""
