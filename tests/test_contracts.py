"""The contracts between modules hold, and each breaks when it is broken: a guard that can't fail guards nothing."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import grimp
import pytest
from importlinter.configuration import configure
from importlinter.contracts.forbidden import ForbiddenContract
from importlinter.contracts.layers import LayersContract
from importlinter.contracts.protected import ProtectedContract

configure()

ROOT = Path(__file__).parents[1]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]
SORTS: dict[str, Any] = {
    "layers": LayersContract,
    "forbidden": ForbiddenContract,
    "protected": ProtectedContract,
}
HOMELESS = "cutout.measure.webs"
"""A module that is the home of no library."""


@pytest.fixture(scope="module")
def graph() -> grimp.ImportGraph:
    return grimp.build_graph("cutout", include_external_packages=True)


def kept(contract: dict[str, Any], graph: grimp.ImportGraph) -> bool:
    options = {
        k: str(v) if isinstance(v, bool) else v for k, v in contract.items() if k not in ("name", "type")
    }
    session = {"root_packages": [SETTINGS["root_package"]], "include_external_packages": True}
    made = SORTS[contract["type"]](contract["name"], session, options)
    return bool(made.check(graph=copy.deepcopy(graph), verbose=False).kept)


def broken_by(contract: dict[str, Any]) -> tuple[str, str]:
    """(who imports, what) of one import that breaks a contract."""
    if contract["type"] == "protected":
        return HOMELESS, contract["protected_modules"][0]
    if contract["type"] == "forbidden":
        return contract["source_modules"][0], f"{contract['forbidden_modules'][0]}"
    return "cutout.geom.curve", "cutout.page.app"


@pytest.mark.parametrize("contract", SETTINGS["contracts"], ids=lambda c: c["name"])
def test_a_contract_holds_and_breaks_when_broken(contract: dict[str, Any], graph: grimp.ImportGraph) -> None:
    assert kept(contract, graph)
    worse = copy.deepcopy(graph)
    who, what = broken_by(contract)
    worse.add_import(importer=who, imported=what, line_number=1, line_contents=f"import {what}")
    assert not kept(contract, worse)


def test_a_package_without_a_layer_breaks_the_layers(graph: grimp.ImportGraph) -> None:
    (layers,) = [c for c in SETTINGS["contracts"] if c["type"] == "layers"]
    more = copy.deepcopy(graph)
    more.add_module("cutout.elsewhere")
    assert not kept(layers, more)


def test_every_library_with_a_home_has_its_contract() -> None:
    """The list of the documents; a library more is a contract more."""
    homes = {c["protected_modules"][0] for c in SETTINGS["contracts"] if c["type"] == "protected"}
    said = (
        (ROOT / "DEVELOPERS.md").read_text("utf-8").split("each library that has a home (")[1].split(")")[0]
    )
    named = {"Pillow": "PIL"}
    assert homes == {named.get(name, name) for name in " ".join(said.split()).split(", ")}
