"""Says which words of the documents are in no dictionary: python docs/spelling.py

British English by hunspell (Debian: hunspell, hunspell-en-gb), and the project's own words in words.txt beside this
file, one a line. Code, addresses and words with figures in them are left out. Ends with 1 where a word is in neither.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

DOCS = Path(__file__).parent
ROOT = DOCS.parent
LEFT_OUT = (
    re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL),
    re.compile(r"^    .*$", re.MULTILINE),
    re.compile(r"`[^`]*`s?"),
    re.compile(r"\]\([^)]*\)"),
    re.compile(r"\b\S+\.(?:com|gov|org|uk|net)\S*"),
    re.compile(r"\S*\d\S*"),
)
"""What of a document is not prose."""


def documents() -> list[Path]:
    """Every document for people."""
    return [*sorted(ROOT.glob("*.md")), *sorted(DOCS.rglob("*.md")), *sorted(ROOT.glob("examples/*/*.md"))]


def prose(text: str) -> str:
    """A document without code, addresses and words with figures in them."""
    for pattern in LEFT_OUT:
        text = pattern.sub(" ", text)
    return text


def unknown(text: str, own: Path) -> list[str]:
    """The words of a text that neither the dictionary nor the project's list has, each once."""
    asked = ["hunspell", "-d", "en_GB", "-p", str(own), "-l"]
    said = subprocess.run(asked, input=prose(text), capture_output=True, text=True, check=True).stdout
    return list(dict.fromkeys(said.split()))


def main() -> int:
    """Print what is unknown, and own words that no document has any more."""
    own = DOCS / "words.txt"
    bad = 0
    for path in documents():
        for word in unknown(path.read_text("utf-8"), own):
            print(f"{path.relative_to(ROOT)}: {word}")
            bad += 1
    every = " ".join(prose(path.read_text("utf-8")) for path in documents())
    for word in own.read_text("utf-8").split():
        if not re.search(rf"\b{re.escape(word)}", every):
            print(f"words.txt: {word} is in no document")
            bad += 1
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
