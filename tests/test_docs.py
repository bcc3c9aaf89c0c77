"""Every command in the documents runs, and the reference says what the code says."""

from __future__ import annotations

import ast
import re
import shlex
import shutil
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from cutout import __version__
from cutout.cli import cli, run
from cutout.job.fields import fields
from cutout.job.schema import Job

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "docs"))

from reference import reference, tables  # noqa: E402
from sources import DECIDES, numbers, sources  # noqa: E402

FILES_NAMED = {"template.pdf", "mine.toml"}


def sections() -> dict[str, list[list[str]]]:
    """Each document's sections that have commands: the indented `cutout ...` lines in order.

    Those that start a server are left out. A section stands alone, so that its commands may run anywhere; the
    tutorial is one from its first line to its last.
    """
    found: dict[str, list[list[str]]] = {}
    for path in [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]:
        name = path.relative_to(ROOT).as_posix()
        text = path.read_text("utf-8")
        for part in [text] if "tutorial" in name else re.split(r"^## ", text, flags=re.MULTILINE):
            lines = [shlex.split(line) for line in re.findall(r"^    cutout (.+)$", part, re.MULTILINE)]
            if runnable := [words for words in lines if words[0] != "page"]:
                found[f"{name}: {part.splitlines()[0].removeprefix('# ')}"] = runnable
    return found


SECTIONS = sections()


def blocks(name: str, language: str) -> list[str]:
    """The fenced blocks of a language in a document."""
    return re.findall(
        rf"^```{language}\n(.*?)^```", (ROOT / name).read_text("utf-8"), re.MULTILINE | re.DOTALL
    )


@pytest.mark.parametrize("section", SECTIONS)
def test_every_command_in_a_document_runs(
    section: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path)
    for words in SECTIONS[section]:
        # What is made ends with a proved plan and nothing to stop for, save where mending is turned off.
        allowed = (0,) if words[0] == "make" and "--no-bridge" not in words else (0, 1)
        assert run(words) in allowed, words


JOBS = [block for path in sorted((ROOT / "docs").rglob("*.md")) for block in blocks(str(path), "toml")]


@pytest.mark.parametrize("number", range(len(JOBS)))
def test_every_job_in_a_document_can_be_cut(number: int, tmp_path: Path) -> None:
    """Checked where the document says it lies, in the project's folder; what has no bridges yet drops out."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    job = tmp_path / "job.toml"
    job.write_text(JOBS[number], "utf-8")
    assert run(["check", str(job), "--no-sizes"]) in (0, 1)


def test_the_tutorial_makes_the_main_example() -> None:
    """The README's first command is the tutorial's, so that it runs with the others."""
    (main,) = re.findall(r"bin/cutout (make .+)$", (ROOT / "README.md").read_text("utf-8"), re.MULTILINE)
    (tutorial,) = (words for name, words in SECTIONS.items() if "tutorial" in name)
    assert [*shlex.split(main), "--out", "heron"] in tutorial
    assert len(SECTIONS) > 20


def test_the_reference_is_made_from_the_code() -> None:
    """Refresh it with `python docs/reference.py`."""
    assert (ROOT / "docs" / "reference" / "settings.md").read_text("utf-8") == reference()


def test_the_sources_are_made_from_the_data() -> None:
    """Refresh them with `python docs/sources.py`."""
    assert (ROOT / "docs" / "reference" / "sources.md").read_text("utf-8") == sources()


def test_every_number_of_the_kit_says_what_it_decides_and_where_it_is_from() -> None:
    """Each column of each data file is explained, the code named for it speaks of it, each entry has a source."""
    files = {path.stem for path in (ROOT / "cutout" / "kit" / "data").glob("*.toml")}
    assert files == set(DECIDES)
    for name, columns in DECIDES.items():
        entries = list(numbers(name))
        assert set(columns) == {key for _, values, _ in entries for key in values}
        for key, (what, where) in columns.items():
            assert what
            assert re.search(rf"\b{key}\b", (ROOT / "cutout" / where).read_text("utf-8")), (name, key)
        assert all(len(source) > 5 for _, _, source in entries), name


def test_what_the_help_by_symptom_names_is_there() -> None:
    """Every flag is one of a command, every setting in brackets or by itself one of a job file."""
    text = (ROOT / "docs" / "how-to" / "troubleshooting.md").read_text("utf-8")
    code = re.findall(r"`([^`]+)`", text)
    flags = {flag for words in code for flag in re.findall(r"(?:^| )(--[a-z-]+)", words)}
    known = {
        flag
        for command in cli.commands.values()
        for option in command.get_params(click.Context(command))
        for flag in (*option.opts, *option.secondary_opts)
    }
    declared = {
        f"{at.strip('[]')}.{field.path[0]}"
        for model, at in tables()
        if model is not Job
        for field in fields(model)
    }
    settings = {words for words in code if re.fullmatch(r"[a-z_]+\.[a-z_.]+", words)} - FILES_NAMED
    assert len(flags) > 10
    assert flags <= known, flags - known
    assert len(settings) > 20
    assert settings <= declared, settings - declared


@pytest.mark.parametrize(
    "path", sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("examples/*/*.md")])
)
def test_links_lead_somewhere(path: Path) -> None:
    text = path.read_text("utf-8")
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
        assert (path.parent / target).exists(), target


def test_every_example_is_finished() -> None:
    """A job file, a word on the scenario, and the template and preview it made."""
    for folder in (ROOT / "examples").iterdir():
        assert "invented" in (folder / "README.md").read_text("utf-8").lower()
        assert (folder / "made" / "template.pdf").read_bytes().startswith(b"%PDF")
        assert (folder / "made" / "preview.png").stat().st_size < 100_000
        assert run(["check", str(folder / "job.toml"), "--no-sizes"]) in (0, 1)


def test_the_version_is_the_same_everywhere() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["version"]
    assert version == __version__
    assert f"\nversion: {version}\n" in (ROOT / "docs" / "CITATION.cff").read_text("utf-8")
    assert f"\n## {version} (" in (ROOT / "docs" / "reference" / "changelog.md").read_text("utf-8")


def test_every_page_has_its_place_on_the_site() -> None:
    index = (ROOT / "docs" / "index.md").read_text("utf-8")
    named = set(re.findall(r"^(\w[\w-]*/[\w-]+)$", index, re.MULTILINE))
    pages = {p.relative_to(ROOT / "docs").with_suffix("").as_posix() for p in (ROOT / "docs").rglob("*.md")}
    assert named == pages - {"index"}


def test_every_library_is_in_the_table_of_dependencies_with_its_reason_and_no_other() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    text = (ROOT / "docs/reference/dependencies.md").read_text("utf-8")
    rows = [
        [cell.strip() for cell in line.split("|")[1:-1]] for line in text.splitlines() if line[:2] == "| "
    ]
    assert all(len(row) == 4 and all(row) for row in rows)
    told = {name.strip().lower() for row in rows[1:] for name in row[0].split(",")}
    assert told == {re.split(r"[<>=]", wanted)[0] for wanted in project["dependencies"]}
    others = [
        re.split(r"[<>=]", w)[0] for sort in ("test", "docs") for w in project["optional-dependencies"][sort]
    ]
    words = {"myst-parser": "myst", "axe-playwright-python": "axe"}
    stubs = {name for name in others if name.startswith("types-") or name.endswith("-stubs")}
    assert [n for n in others if n not in stubs and words.get(n, n) not in text] == []


def test_every_number_in_the_code_has_a_word_beside_it() -> None:
    """A number declared for a module says what it is and why: a sentence below it, or a comment at it."""
    assert [at for path in sorted((ROOT / "cutout").rglob("*.py")) for at in without_a_word(path)] == []


def without_a_word(path: Path) -> Iterator[str]:
    lines = path.read_text("utf-8").splitlines()
    body = ast.parse("\n".join(lines)).body
    for node, below in zip(body, [*body[1:], None], strict=True):
        if not (isinstance(node, ast.Assign | ast.AnnAssign) and node.value and of_numbers(node.value)):
            continue
        said = isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant)
        if not said and "#" not in lines[(node.end_lineno or 0) - 1] + lines[node.lineno - 2][:1]:
            yield f"{path.name}:{node.lineno}: {lines[node.lineno - 1]}"


def of_numbers(value: ast.expr) -> bool:
    match value:
        case ast.Constant(number):
            return isinstance(number, int | float) and not isinstance(number, bool)
        case ast.Tuple(elts) | ast.List(elts) | ast.Call(args=elts):
            return bool(elts) and all(map(of_numbers, elts))
        case ast.UnaryOp(operand=inner):
            return of_numbers(inner)
        case ast.BinOp(left=left, right=right):
            return of_numbers(left) and of_numbers(right)
    return False


def test_the_guard_on_numbers_sees_one(tmp_path: Path) -> None:
    (tmp_path / "some.py").write_text('A = 3.0\n"""Said (mm)."""\nB = 4\n\n\nC, D = 1, 2  # said\nE = -5.0\n')
    assert list(without_a_word(tmp_path / "some.py")) == ["some.py:3: B = 4", "some.py:7: E = -5.0"]
