"""What applies to an element: style rules, style and presentation attributes, inheritance, paints."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2
import tinycss2.color4

from cutout.read.svg.document import Document
from cutout.read.svg.number import NUMBER

INHERITED = frozenset(
    {
        *(
            "clip-rule",
            "color",
            "fill",
            "fill-opacity",
            "fill-rule",
            "font-size",
            "visibility",
            "paint-order",
        ),
        *("marker-end", "marker-mid", "marker-start", "text-anchor"),
        *("stroke", "stroke-dasharray", "stroke-dashoffset", "stroke-linecap", "stroke-linejoin"),
        *("stroke-miterlimit", "stroke-opacity", "stroke-width"),
    }
)
OWN = frozenset(
    {
        *("clip-path", "display", "filter", "isolation", "mask", "mix-blend-mode", "opacity", "overflow"),
        *("stop-color", "stop-opacity", "transform", "vector-effect"),
    }
)
_KNOWN = INHERITED | OWN
_ATTRIBUTES = _KNOWN - {"transform"}
"""`transform` as an attribute has its own grammar and is read apart from the property."""

Style = Mapping[str, str]


class StyleSheet:
    """Declarations for an element from `style` elements, attributes and the parent."""

    def __init__(self, document: Document) -> None:
        self.blend_modes = False
        self._matcher: Any = None
        self._rules: dict[Element, dict[str, str]] = {}
        self._strong: dict[Element, dict[str, str]] = {}
        text = "\n".join(e.text or "" for e in document.root.iter("style") if _is_css(e))
        if text.strip():
            self._match(document.root, text)

    def of(self, element: Element, parent: Style) -> dict[str, str]:
        """Every known property of `element`; inherited ones from `parent` where it says nothing itself."""
        found = {k: v for k, v in parent.items() if k in INHERITED}
        own = {k: v for k in _ATTRIBUTES if (v := element.get(k)) is not None}
        own |= self._rules.get(element, {})
        weak, strong = declarations(element.get("style") or "")
        own |= weak | self._strong.get(element, {}) | strong
        for name, value in own.items():
            value = value.strip()
            if value == "inherit":
                if name in parent:
                    found[name] = parent[name]
                continue
            found[name] = value
        return found

    def _match(self, root: Element, text: str) -> None:
        matcher = cssselect2.Matcher()
        count = 0
        for selectors, weak, strong in _rules(text):
            for selector in selectors:
                matcher.add_selector(selector, (weak, strong))
                count += 1
        if not count:
            return
        for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
            element = wrapper.etree_element
            for *_, (weak, strong) in sorted(matcher.match(wrapper), key=lambda m: (m[0], m[1])):
                self._rules.setdefault(element, {}).update(weak)
                self._strong.setdefault(element, {}).update(strong)


def _is_css(element: Element) -> bool:
    return (element.get("type") or "text/css").strip().lower() in ("text/css", "")


def _rules(text: str) -> Iterator[tuple[list[Any], dict[str, str], dict[str, str]]]:
    cleaned = text.replace("<![CDATA[", "").replace("]]>", "")
    for rule in tinycss2.parse_stylesheet(cleaned, skip_comments=True, skip_whitespace=True):
        if rule.type != "qualified-rule":
            continue
        try:
            selectors = cssselect2.compile_selector_list(rule.prelude)
        except cssselect2.SelectorError:
            continue
        weak, strong = _declared(rule.content)
        yield [s for s in selectors if not s.pseudo_element], weak, strong


@lru_cache(maxsize=4096)
def declarations(text: str) -> tuple[dict[str, str], dict[str, str]]:
    """Known properties in a style attribute: plain ones and !important ones."""
    return _declared(text) if text.strip() else ({}, {})


def _declared(content: Any) -> tuple[dict[str, str], dict[str, str]]:
    weak: dict[str, str] = {}
    strong: dict[str, str] = {}
    for item in tinycss2.parse_declaration_list(content, skip_comments=True, skip_whitespace=True):
        if item.type != "declaration":
            continue
        value = tinycss2.serialize(item.value).strip()
        if item.lower_name == "marker":
            for where in ("marker-start", "marker-mid", "marker-end"):
                (strong if item.important else weak)[where] = value
        elif item.lower_name in _KNOWN:
            (strong if item.important else weak)[item.lower_name] = value
    return weak, strong


@dataclass(frozen=True, slots=True)
class Colour:
    """Red, green and blue, 0 (none) .. 1 (full), and opacity 0..1."""

    rgb: tuple[float, float, float]
    alpha: float = 1.0

    @property
    def grey(self) -> float:
        """Lightness 0 (black) .. 1 (white): the luma that pictures are judged by (BT.601)."""
        red, green, blue = self.rgb
        return 0.299 * red + 0.587 * green + 0.114 * blue


BLACK, WHITE = Colour((0.0, 0.0, 0.0)), Colour((1.0, 1.0, 1.0))  # red, green, blue of 1


@lru_cache(maxsize=4096)
def colour(text: str) -> Colour | None:
    """A CSS colour; None if it can't be read."""
    plain = re.sub(r"\s+(?:icc-color|device-\w+)\(.*", "", text.strip())
    found = tinycss2.color4.parse_color(plain)
    if found is None or isinstance(found, str):
        return None
    try:
        red, green, blue = (min(max(c or 0.0, 0.0), 1.0) for c in found.to("srgb").coordinates)
    except NotImplementedError:
        return None
    return Colour((red, green, blue), min(max(float(found.alpha), 0.0), 1.0))


_REFERENCE = re.compile(r"url\(\s*['\"]?#(?P<id>[^'\")]*)['\"]?\s*\)\s*(?P<rest>.*)", re.S)


def reference(text: str | None) -> tuple[str, str] | None:
    """The id in `url(#id)` and what follows it; None where there is no reference."""
    found = _REFERENCE.match(text.strip()) if text else None
    return (found["id"].strip(), found["rest"].strip()) if found else None


def share(text: str | None, default: float = 1.0) -> float:
    """An opacity or offset 0..1, written as a number or in percent."""
    found = NUMBER.match(text.strip()) if text else None
    if not found:
        return default
    value = float(found[0]) / (100 if text and text.strip().endswith("%") else 1)
    return min(max(value, 0.0), 1.0)
