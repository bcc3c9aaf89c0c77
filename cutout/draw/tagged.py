"""A canvas that says what its words and pictures are: headings, paragraphs, pictures with a description.

Marked content and a structure tree as ISO 32000-1 has them (14.6 to 14.8, from memory), so that a reader aloud goes
from heading to heading, in the order of writing. What is in no element (rules, frames, tints) is left out of reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

Role: TypeAlias = Literal["H1", "H2", "H3", "P", "Figure"]
"""Types of element, by the standard's names."""


@dataclass(slots=True)
class Element:
    """One heading, paragraph or picture. alt: what a picture shows, in words; kids: page and number on it of each of
    its stretches."""

    role: Role
    alt: str = ""
    kids: list[tuple[int, int]] = field(default_factory=list)


class TaggedCanvas(Canvas):
    """A canvas whose stretches of drawing can be put into elements; without any the file is as before."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        self._elements: list[Element] = []
        self._marked: list[list[Element]] = [[]]
        self._busy = False
        super().__init__(*arguments, **options)

    def element(self, role: Role, alt: str = "") -> Element:
        """A new element, read after all earlier ones."""
        made = Element(role, alt)
        self._elements.append(made)
        return made

    @contextmanager
    def within(self, element: Element) -> Iterator[None]:
        """What is drawn meanwhile belongs to the element; what is in another already, or in a form, stays there."""
        if self._busy:
            yield
            return
        here = self._marked[-1]
        element.kids.append((len(self._marked) - 1, len(here)))
        self._stream.append(f"/{element.role} <</MCID {len(here)}>> BDC")
        here.append(element)
        self._busy = True
        yield
        self._busy = False
        self._stream.append("EMC")

    @property
    def _stream(self) -> list[str]:
        return self._code  # type: ignore[attr-defined,no-any-return]

    def beginForm(self, *arguments: Any, **options: Any) -> None:  # noqa: N802
        """Begin a form; it is part of whatever shows it."""
        super().beginForm(*arguments, **options)
        self._busy = True

    def endForm(self, **options: Any) -> None:  # noqa: N802
        """End it."""
        super().endForm(**options)
        self._busy = False

    def showPage(self) -> None:  # noqa: N802
        """Finish the page, with the number under which its stretches are found."""
        super().showPage()
        if self._marked[-1]:
            page: Any = self._doc.Pages.pages[-1]  # type: ignore[attr-defined]
            more = {"StructParents": len(self._marked) - 1, "Tabs": pdfdoc.PDFName("S")}
            page.__Defaults__ = page.__Defaults__ | more
        self._marked.append([])

    def save(self) -> None:
        """Write the tree of elements, then the file."""
        if self._stream:
            self.showPage()
        if any(element.kids for element in self._elements):
            self._write_tree()
        super().save()

    def _write_tree(self) -> None:
        doc: Any = self._doc  # type: ignore[attr-defined]
        root, whole = pdfdoc.PDFObjectReference("StructRoot"), pdfdoc.PDFObjectReference("StructDocument")
        read = [element for element in self._elements if element.kids]
        places = {id(element): pdfdoc.PDFObjectReference(f"Struct{n}") for n, element in enumerate(read)}
        pages = [page.__InternalName__ for page in doc.Pages.pages]
        for n, element in enumerate(read):
            doc.Reference(_as_object(element, whole, pages), f"Struct{n}")
        nums: list[Any] = []
        for n, marked in enumerate(self._marked):
            if marked:
                nums += [n, pdfdoc.PDFArray([places[id(element)] for element in marked])]
        document = {
            "Type": pdfdoc.PDFName("StructElem"),
            "S": pdfdoc.PDFName("Document"),
            "P": root,
            "K": pdfdoc.PDFArray(list(places.values())),
        }
        doc.Reference(pdfdoc.PDFDictionary(document), "StructDocument")
        tree = {
            "Type": pdfdoc.PDFName("StructTreeRoot"),
            "K": whole,
            "ParentTree": pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(nums)}),
            "ParentTreeNextKey": len(self._marked),
        }
        doc.Reference(pdfdoc.PDFDictionary(tree), "StructRoot")
        self.setCatalogEntry("StructTreeRoot", root)
        self.setCatalogEntry("MarkInfo", {"Marked": "true"})


def _as_object(element: Element, parent: Any, pages: list[str]) -> pdfdoc.PDFDictionary:
    kids = [
        pdfdoc.PDFDictionary(
            {"Type": pdfdoc.PDFName("MCR"), "Pg": pdfdoc.PDFObjectReference(pages[page]), "MCID": number}
        )
        for page, number in element.kids
    ]
    entries: dict[str, Any] = {
        "Type": pdfdoc.PDFName("StructElem"),
        "S": pdfdoc.PDFName(element.role),
        "P": parent,
        "K": pdfdoc.PDFArray(kids),
    }
    if element.alt:
        entries["Alt"] = pdfdoc.PDFString(element.alt)
    return pdfdoc.PDFDictionary(entries)
