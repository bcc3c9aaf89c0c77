"""References the renderer never ends with: round in a circle, as of a clip path cut by one that is cut by it, or too
deep in one another."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import Element

import cssselect2
import tinycss2

from cutout.errors import ReadError
from cutout.read.svg.document import Document

_URL = re.compile(r"""url\(\s*["']?#([^"')]+?)["']?\s*\)""")
MOST_DEEP = 8
"""Clip paths, masks and the like in one another: each takes the renderer a picture of its own. Drawings have three.
"""
_PICTURES = ("clipPath", "mask", "pattern", "filter", "marker")
_DRAWS = ("use", "pattern", "feImage")
"""Elements that draw what their href names; those of others are links, gradients and movements."""


def refuse_circles(document: Document, name: str) -> None:
    """Raise ReadError where what an element refers to refers, sooner or later, to that element again.

    Or where it does so through more than MOST_DEEP others.
    """
    draws = _draws(document.root)
    # Depth first, without recursion: a chain of references may be as long as the file allows.
    pictures = {e.get("id") for e in document.root.iter() if e.tag in _PICTURES}
    deep: dict[str, int] = {}
    for first in draws:
        path: dict[str, Iterator[str]] = {}
        ready = [first]
        while ready:
            here = ready[-1]
            if here not in path:
                path[here] = iter(sorted(draws.get(here, ())))
            ahead = next((k for k in path[here] if k in draws and k not in deep), None)
            if ahead is None:
                deep[here] = (here in pictures) + max((deep[k] for k in draws[here] if k in deep), default=0)
                if deep[here] > MOST_DEEP:
                    raise ReadError(
                        f"{name}: clip paths, masks or patterns are in one another more than {MOST_DEEP} "
                        "deep: simplify the drawing."
                    )
                del path[ready.pop()]
            elif ahead in path:
                raise ReadError(
                    f'{name}: what draws "{ahead}" is made of "{ahead}" itself (clip paths, masks, patterns or '
                    "copies that go round in a circle): mend the file."
                )
            else:
                ready.append(ahead)


def _draws(root: Element) -> dict[str, set[str]]:
    """For each id in the tree those of what it, and all within it, refer to, to be drawn with it.

    By what is in the tree: it may be a copy, changed, of the one the document's own list is of.
    """
    by_sheet = _of_sheets(root)
    found: dict[str, set[str]] = {}

    def walk(element: Element, around: tuple[str, ...]) -> None:
        if key := element.get("id"):
            around = (*around, key)
            found.setdefault(key, set())
        for referred in _own(element) | by_sheet.get(element, set()):
            for key in around:
                found[key].add(referred)
        for child in element:
            walk(child, around)

    walk(root, ())
    return found


def _own(element: Element) -> set[str]:
    """Ids that an element's own attributes refer to."""
    found: set[str] = set()
    for key, value in element.items():
        if "url(" in value:
            found.update(_URL.findall(value))
        elif key == "href" and element.tag in _DRAWS and value.startswith("#"):
            found.add(value[1:])
    return found


def _of_sheets(root: Element) -> dict[Element, set[str]]:
    """Ids that style sheets make elements refer to, whatever the property."""
    text = "\n".join(e.text or "" for e in root.iter("style"))
    if not _URL.search(text):
        return {}
    matcher = cssselect2.Matcher()
    for selectors, ids in _rules(text):
        for selector in selectors:
            matcher.add_selector(selector, ids)
    found: dict[Element, set[str]] = {}
    for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
        for *_, ids in matcher.match(wrapper):
            found.setdefault(wrapper.etree_element, set()).update(ids)
    return found


def _rules(text: str) -> Iterator[tuple[list[Any], set[str]]]:
    cleaned = text.replace("<![CDATA[", "").replace("]]>", "")
    for rule in tinycss2.parse_stylesheet(cleaned, skip_comments=True, skip_whitespace=True):
        ids = set(_URL.findall(tinycss2.serialize(rule.content))) if rule.type == "qualified-rule" else set()
        if ids:
            try:
                yield cssselect2.compile_selector_list(rule.prelude), ids
            except cssselect2.SelectorError:
                continue
