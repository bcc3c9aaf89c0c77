"""What the page's own files say of each other, read as text: no browser is needed for that."""

from __future__ import annotations

import re
from pathlib import Path

from cutout.units import MM_PER_INCH
from cutout.write.outputs import FILES, JOB

STATIC = Path(__file__).parents[2] / "cutout" / "page" / "static"
MODULES = {path.name: path.read_text("utf-8") for path in sorted(STATIC.glob("*.js"))}
PAGE = (STATIC / "index.html").read_text("utf-8")
IDS = set(re.findall(r'\bid="([\w-]+)"', PAGE))


def test_every_element_a_script_asks_for_by_name_is_on_the_page() -> None:
    asked = {(name, id) for name, text in MODULES.items() for id in re.findall(r'byId\("([\w-]+)"\)', text)}
    assert len(asked) > 50
    assert sorted((name, id) for name, id in asked if id not in IDS) == []


def test_names_on_the_page_are_given_once() -> None:
    given = re.findall(r'\bid="([\w-]+)"', PAGE)
    assert sorted(given) == sorted(IDS)


def test_every_module_is_used_and_every_import_is_there() -> None:
    imported = {"main.js"}
    for name, text in MODULES.items():
        for names, module in re.findall(r'import \{([^}]*)\} from "\./([\w-]+\.js)"', text):
            imported.add(module)
            for wanted in (part.split(" as ")[0].strip() for part in names.split(",")):
                made = re.search(rf"export (async )?(const|class|function) {wanted}\b", MODULES[module])
                assert made, f"{name} wants {wanted} of {module}"
    assert imported == set(MODULES)


def test_an_inch_is_the_same_here_and_stands_once() -> None:
    (stated,) = re.findall(r"INCH = ([\d.]+);", MODULES["units.js"])
    assert float(stated) == MM_PER_INCH
    assert [name for name, text in MODULES.items() if str(MM_PER_INCH) in text] == ["units.js"]


def test_every_file_a_job_makes_has_a_drawing_to_know_it_by() -> None:
    names = [output.name for output in FILES]
    wanted = {f"f-{name.replace('.', '-')}" for name in (*names, JOB)}
    assert sorted(wanted - IDS) == []
    drawn = re.findall(r'<symbol id="f-[\w-]+"[^>]*>(.*?)</symbol>', PAGE)
    assert len(set(drawn)) == len(drawn) > len(names)  # no two look alike


def test_no_html_is_ever_built_from_text() -> None:
    for name, text in MODULES.items():
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(", text), name
