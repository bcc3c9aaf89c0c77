"""How well bridged names are read: the share of first names an OCR engine still reads after bridging.

    python tests/bench/letters.py [--count 200] [--fonts 3] [--picture FOLDER]

Needs `tesseract` (Debian: tesseract-ocr). Every name is set in a bold or plain face with capitals of 40 to 80 mm, cut
out of 6 mm plywood for a scroll saw, bridged, drawn at 2 px a mm in black on white, and read as one word with a
letters-only whitelist. Beside it: the same names without bridges, and bridged like any other shape (`free`).
Names: common first names written down from memory; sizes drawn with a fixed seed. Bridging only, no easing.
"""

from __future__ import annotations

import argparse
import random
import shutil
import string
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageDraw

from cutout.amend.bridge import bridge
from cutout.amend.model import Mending
from cutout.amend.stencil import bridged_letters
from cutout.check.loose_piece import loose_pieces
from cutout.door import kit_with
from cutout.geom.curve import Similarity
from cutout.geom.outline import polygons_of
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.read.letters import Lettering, read_text

NAMES = """
Aaron Abigail Adam Adrian Agnes Alan Albert Alice Amanda Amelia Amy Andrea Andrew Angela Anna Anton Arnold Arthur
Astrid Audrey Barbara Beatrix Benedict Benjamin Bernard Bertha Bianca Boris Brenda Brian Bridget Bruno Camilla Carla
Carmen Carol Caroline Cecilia Charles Charlotte Chloe Christian Clara Claudia Conrad Cornelia Cynthia Daisy Daniel
Daphne David Deborah Denise Dennis Diana Dominic Dora Doris Dorothy Douglas Edgar Edith Edmund Edward Eleanor Elena
Elisabeth Elsa Emil Emily Emma Eric Erica Ernest Esther Eugene Eva Evelyn Felix Fiona Flora Florian Frances Francis
Frank Frederick Frieda Gabriel Geoffrey George Gerald Gertrude Gilbert Gloria Gordon Grace Gregory Gudrun Harold Harriet
Harry Hazel Heather Hector Helen Henry Herbert Hilda Holly Howard Hubert Hugo Ida Ingrid Irene Iris Isabel Jacob
James Jane Janet Jasper Joan Johanna John Jonathan Joseph Judith Julia Julian Karen Katharine Keith Kenneth Laura
Lawrence Leonard Leopold Lewis Linda Lisa Lorenz Louise Lucas Lucy Lydia Madeleine Magnus Marcus Margaret Maria Marion
Mark Martha Martin Mary Matilda Matthew Maurice Max Melanie Michael Miriam Monica Nancy Natalie Nathan Nicholas Nina
Noah Nora Norman Oliver Olivia Oscar Otto Pamela Patricia Patrick Paul Paula Pauline Peter Philip Phoebe Rachel Ralph
Raymond Rebecca Reginald Richard Robert Roderick Roger Roland Rosalind Rosemary Rudolf Rupert Ruth Samuel Sandra Sarah
Sebastian Sheila Simon Sophie Stella Stephen Susan Sylvia Theodore Theresa Thomas Timothy Ursula Valerie Vera Veronica
Victor Victoria Vincent Viola Virginia Walter Wendy Werner Wilfred William Yvonne Zoe
""".split()
FACES = ("DejaVuSans-Bold.ttf", "DejaVuSerif-Bold.ttf", "LiberationSans-Bold.ttf", "DejaVuSans.ttf")
PX = 2.0
Way = Callable[[Pattern], Pattern]
KIT = kit_with("scroll-medium", wood_name="plywood")


@dataclass(frozen=True)
class Row:
    """What became of one face: names read of those tried, by way of bridging."""

    face: str
    tried: int
    read: dict[str, int]
    loose: dict[str, int]


def free(pattern: Pattern) -> Pattern:
    """Bridged like any other shape."""
    return bridge(pattern, KIT, Mending(letters="free")).pattern


def stencil(pattern: Pattern) -> Pattern:
    """Bridged as letters, what is left as any other shape."""
    return bridge(bridged_letters(pattern, KIT, Mending()).pattern, KIT, Mending()).pattern


WAYS: dict[str, Way] = {"no bridges": lambda p: p, "free": free, "as letters": stencil}


def sign(name: str, font: Path, capital: float) -> Pattern:
    """The name cut out of a panel with 20 mm of wood round it."""
    outline = read_text(name, font, Lettering(cap_height=capital))
    x0, y0, x1, y1 = outline.bounds
    moved = outline.transform(Similarity(b=complex(20 - x0, 20 - y0)))
    return cut_pattern(moved, Panel(x1 - x0 + 40, y1 - y0 + 40, 6.0, None), "panel", KIT.blade.kerf)


def drawn(pattern: Pattern) -> Image.Image:
    """What is cut away, black on white."""
    height = round(pattern.panel.height * PX)
    picture = Image.new("L", (round(pattern.panel.width * PX), height), 255)
    draw = ImageDraw.Draw(picture)
    for polygon in polygons_of(pattern.waste):
        for ring, ink in ((polygon.exterior, 0), *((r, 255) for r in polygon.interiors)):
            xy = shapely.get_coordinates(ring) * PX
            draw.polygon([(x, height - y) for x, y in xy.tolist()], fill=ink)
    return picture


def read(picture: Image.Image, folder: Path) -> str:
    """What the engine reads."""
    file = folder / "word.png"
    picture.save(file)
    command = ["tesseract", str(file), "-", "--psm", "8", "-c", f"tessedit_char_whitelist={string.ascii_letters}"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env={"OMP_THREAD_LIMIT": "1", "PATH": "/usr/bin:/bin"})
    return done.stdout.strip()


def measured(font: Path, names: list[str], folder: Path, say: bool) -> Row:
    """One face: every name read in every way."""
    rng = random.Random(font.name)
    found, loose = dict.fromkeys(WAYS, 0), dict.fromkeys(WAYS, 0)
    for name in names:
        plain = sign(name, font, rng.uniform(40.0, 80.0))
        for way, make in WAYS.items():
            made = make(plain)
            text = read(drawn(made), folder)
            found[way] += text == name
            loose[way] += bool(loose_pieces(made))
            if say and way == "as letters" and text != name:
                print(f"  {font.name}: {name} read as {text!r}", file=sys.stderr)
    return Row(font.name, len(names), found, loose)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--fonts", type=int, default=3)
    parser.add_argument("--say", action="store_true", help="name what was misread")
    parser.add_argument("--folder", type=Path, default=Path("/tmp/letters-bench"))
    asked = parser.parse_args()
    if shutil.which("tesseract") is None:
        sys.exit("tesseract is not installed: apt-get install tesseract-ocr")
    asked.folder.mkdir(parents=True, exist_ok=True)
    names = sorted(random.Random(7).sample(NAMES, asked.count))
    begun = time.monotonic()
    fonts = [p for face in FACES[: asked.fonts] if (p := next(Path("/usr/share/fonts").rglob(face), None))]
    rows = [measured(font, names, asked.folder, asked.say) for font in fonts]
    print(f"{'face':28}" + "".join(f"{way:>14}" for way in WAYS) + f"{'still loose':>14}")
    for row in rows:
        shares = "".join(f"{row.read[way] / row.tried:14.1%}" for way in WAYS)
        print(f"{row.face:28}{shares}{row.loose['as letters']:14}")
    whole = {way: float(np.mean([row.read[way] / row.tried for row in rows])) for way in WAYS}
    print(f"{'all':28}" + "".join(f"{whole[way]:14.1%}" for way in WAYS))
    print(f"{len(names)} names a face, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
