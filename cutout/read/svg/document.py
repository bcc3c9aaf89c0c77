"""An SVG file as a plain tree: local names, nothing fetched, sizes bounded.

Files found on the web often have a wrong, missing or unbound namespace, so prefixes are resolved here
rather than by the XML parser; what belongs to no namespace or to SVG's own counts as SVG.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any
from xml.etree.ElementTree import Element
from xml.parsers import expat
from xml.sax import SAXException, SAXParseException
from xml.sax.handler import ContentHandler
from xml.sax.xmlreader import AttributesImpl, InputSource

from defusedxml import DefusedXmlException
from defusedxml.common import EntitiesForbidden
from defusedxml.expatreader import DefusedExpatParser

from cutout.errors import ReadError

MAX_BYTES = 48 * 2**20
"""Largest file, after unpacking."""
MAX_ELEMENTS = 300_000  # a bound on time, far over any drawing one would saw
MAX_DEPTH = 200  # in one another: a fifth of what Python calls deep
MAX_ENTITIES = 64  # names that a drawing program puts at its head number a dozen
MAX_ENTITY = 120
"""Longest text (characters) an entity may stand for."""

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
_OURS = ("", "svg", "xlink", "xml")
EMBEDDED = re.compile(r"data:image/(?:png|jpe?g|gif|webp)\b", re.I)
"""A picture made of pixels that is in the file itself."""

_NAMELESS = re.compile(r"data:;base64,\s*(?=(iVBORw0KGgo|/9j/|R0lGOD|UklGR))")
"""The same from programs that don't say what it is: told by how its bytes begin."""

_BEGINS = {"iVBORw0KGgo": "png", "/9j/": "jpeg", "R0lGOD": "gif", "UklGR": "webp"}
_URL = re.compile(r"url\(\s*(?P<quote>['\"]?)(?!['\"]?\s*(?:#|data:))[^)]*\)", re.I)
_IMPORT = re.compile(r"@import\b[^;]*(?:;|$)", re.I)


@dataclass(slots=True)
class Document:
    """The tree, and how many references to things outside the file were taken out of it."""

    root: Element
    by_id: dict[str, Element] = field(default_factory=dict)
    outside: int = 0


def parse_document(data: bytes, name: str) -> Document:
    """The tree of an SVG or gzipped SVG. Raises ReadError."""
    handler = _Handler(name)
    parser = _Parser()
    parser.setContentHandler(handler)
    source = InputSource()
    source.setByteStream(BytesIO(unpacked(data, name)))
    try:
        parser.parse(source)
    except SAXParseException as error:
        line, column = error.getLineNumber() or 0, error.getColumnNumber() or 0
        raise ReadError(
            f"{name}, line {line}, column {column + 1}: not well-formed XML ({error.getMessage()}): "
            "save it again from the program that drew it."
        ) from error
    except DefusedXmlException as error:
        raise ReadError(f"{name}: it defines entities that could swell or reach outside the file.") from error
    except (SAXException, ValueError, LookupError) as error:
        raise ReadError(f"{name}: can't be read as SVG ({error}).") from error
    if handler.root is None:
        raise ReadError(f"{name}: there is no svg element in it.")
    return Document(handler.root, handler.by_id, handler.outside)


def unpacked(data: bytes, name: str) -> bytes:
    """The bytes, gunzipped if they are gzipped. Raises ReadError when damaged or too large."""
    if data[:2] == b"\x1f\x8b":
        inflater = zlib.decompressobj(wbits=31)
        try:
            plain = inflater.decompress(data, MAX_BYTES + 1)
        except zlib.error as error:
            raise ReadError(f"{name}: the compressed file is damaged ({error}).") from error
        if not inflater.eof and len(plain) <= MAX_BYTES:
            raise ReadError(f"{name}: the compressed file stops short; copy or download it again.")
        data = plain
    if len(data) > MAX_BYTES:
        raise ReadError(f"{name}: larger than {MAX_BYTES >> 20} MB; too much for a silhouette.")
    return data


class _Parser(DefusedExpatParser):
    """Allows the short, flat entities that some drawing programs use for namespace addresses, nothing else."""

    entities = 0
    _parser: Any

    def reset(self) -> None:
        """Leaves the address in a DOCTYPE alone: it is neither fetched nor an error."""
        super().reset()
        self._parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)

    def defused_entity_decl(
        self,
        name: str,
        is_parameter_entity: bool,
        value: str | None,
        base: str | None,
        sysid: str | None,
        pubid: str | None,
        notation_name: str | None,
    ) -> None:
        self.entities += 1
        plain = value is not None and len(value) <= MAX_ENTITY and not set(value) & set("&%<")
        if is_parameter_entity or sysid or not plain or self.entities > MAX_ENTITIES:
            raise EntitiesForbidden(name, value, base, sysid, pubid, notation_name)


class _Handler(ContentHandler):
    def __init__(self, name: str) -> None:
        super().__init__()
        self.name = name
        self.root: Element | None = None
        self.by_id: dict[str, Element] = {}
        self.outside = 0
        self._open: list[Element] = []
        self._skipped = 0
        self._count = 0
        self._spaces: list[dict[str, str]] = [{}]

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802
        self._count += 1
        if self._count > MAX_ELEMENTS:
            raise ReadError(f"{self.name}: more than {MAX_ELEMENTS} elements; too much for a silhouette.")
        if len(self._spaces) > MAX_DEPTH:
            raise ReadError(f"{self.name}: elements nested more than {MAX_DEPTH} deep.")
        self._spaces.append(self._spaces[-1] | _declared(attrs))
        tag = self._local(name)
        if self._skipped:
            self._skipped += 1
            return
        if tag is None or (self.root is None and tag != "svg"):
            # A foreign root may still hold a drawing; foreign elements inside a drawing are no part of it.
            self._skipped = int(self.root is not None)
            return
        element = Element(tag, self._attributes(tag, attrs))
        if self._open:
            self._open[-1].append(element)
        elif self.root is None:
            self.root = element
        else:
            self._skipped = 1
            return
        self._open.append(element)
        if identity := element.get("id"):
            self.by_id.setdefault(identity, element)

    def endElement(self, name: str) -> None:  # noqa: N802
        self._spaces.pop()
        if self._skipped:
            self._skipped -= 1
        elif self._open:
            done = self._open.pop()
            if done.tag == "style" and done.text:
                done.text = self._without_outside(_IMPORT.sub(self._count_outside, done.text))

    def characters(self, content: str) -> None:
        if not self._open or self._skipped:
            return
        parent = self._open[-1]
        if len(parent):
            parent[-1].tail = (parent[-1].tail or "") + content
        else:
            parent.text = (parent.text or "") + content

    def _local(self, name: str) -> str | None:
        prefix, _, local = name.rpartition(":")
        space = self._spaces[-1].get(prefix)
        if space is None:
            return local if prefix in _OURS else None
        if space == _SVG or not prefix:
            return local
        return local if prefix == "svg" else None

    def _attributes(self, tag: str, attrs: AttributesImpl) -> dict[str, str]:
        kept = {}
        for name in attrs.getNames():
            value = attrs.getValue(name)
            prefix, _, local = name.rpartition(":")
            local = name if prefix == "xml" else local
            if name.startswith("xmlns") or name.lower().startswith("on"):
                continue
            if prefix and prefix not in _OURS and self._spaces[-1].get(prefix) not in (_SVG, _XLINK):
                continue
            if local == "href":
                if not self._inside(tag, _named(value.strip())):
                    self.outside += 1
                    continue
                value = _named(value.strip())
            elif "url(" in value:
                value = self._without_outside(value)
            if local not in kept or not prefix:
                kept[local] = value
        return kept

    def _inside(self, tag: str, href: str) -> bool:
        return tag == "a" or not href or href.startswith("#") or bool(EMBEDDED.match(href))

    def _without_outside(self, text: str) -> str:
        return _URL.sub(self._none_outside, text)

    def _none_outside(self, found: re.Match[str]) -> str:
        self.outside += 1
        return "none"

    def _count_outside(self, found: re.Match[str]) -> str:
        self.outside += 1
        return ""


def _named(href: str) -> str:
    """An address with the kind of picture it holds written in, where a program left that out."""
    found = _NAMELESS.match(href)
    return f"data:image/{_BEGINS[found[1]]};base64,{href[found.end() :]}" if found else href


def _declared(attrs: AttributesImpl) -> dict[str, str]:
    return {
        name[6:]: attrs.getValue(name).strip()
        for name in attrs.getNames()
        if name == "xmlns" or name.startswith("xmlns:")
    }
