"""How well bridged names are read: the share of first names an OCR engine still reads after bridging.

    python tests/bench/letters.py [--count 200] [--thickness 6] [--wood plywood] [--say]

Needs `tesseract` (Debian: tesseract-ocr). Every name is set in one of four faces with capitals of 40 to 80 mm, cut
out of plywood (or a wood whose grain runs along the sign) for a scroll saw, bridged, drawn at 2 px a mm in black on
white, and read as one word with a
letters-only whitelist. Beside it: the same names without bridges, and bridged like any other shape (`free`).
Names: common first names written down from memory; sizes drawn with a fixed seed. Bridging only, no easing.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import string
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import shapely
from PIL import Image, ImageDraw

from cutout.amend.bridge import bridge
from cutout.amend.model import Mending
from cutout.amend.stencil import bridged_letters
from cutout.check.loose_piece import loose_pieces
from cutout.door import kit_with
from cutout.geom.curve import Similarity
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.read.letters import Lettering, read_text

NAMES = [
    "Aaron",
    "Abigail",
    "Adam",
    "Adrian",
    "Agnes",
    "Alan",
    "Albert",
    "Alice",
    "Amanda",
    "Amelia",
    "Amy",
    "Andrea",
    "Andrew",
    "Angela",
    "Anna",
    "Anton",
    "Arnold",
    "Arthur",
    "Astrid",
    "Audrey",
    "Barbara",
    "Beatrix",
    "Benedict",
    "Benjamin",
    "Bernard",
    "Bertha",
    "Bianca",
    "Boris",
    "Brenda",
    "Brian",
    "Bridget",
    "Bruno",
    "Camilla",
    "Carla",
    "Carmen",
    "Carol",
    "Caroline",
    "Cecilia",
    "Charles",
    "Charlotte",
    "Chloe",
    "Christian",
    "Clara",
    "Claudia",
    "Conrad",
    "Cornelia",
    "Cynthia",
    "Daisy",
    "Daniel",
    "Daphne",
    "David",
    "Deborah",
    "Denise",
    "Dennis",
    "Diana",
    "Dominic",
    "Dora",
    "Doris",
    "Dorothy",
    "Douglas",
    "Edgar",
    "Edith",
    "Edmund",
    "Edward",
    "Eleanor",
    "Elena",
    "Elisabeth",
    "Elsa",
    "Emil",
    "Emily",
    "Emma",
    "Eric",
    "Erica",
    "Ernest",
    "Esther",
    "Eugene",
    "Eva",
    "Evelyn",
    "Felix",
    "Fiona",
    "Flora",
    "Florian",
    "Frances",
    "Francis",
    "Frank",
    "Frederick",
    "Frieda",
    "Gabriel",
    "Geoffrey",
    "George",
    "Gerald",
    "Gertrude",
    "Gilbert",
    "Gloria",
    "Gordon",
    "Grace",
    "Gregory",
    "Gudrun",
    "Harold",
    "Harriet",
    "Harry",
    "Hazel",
    "Heather",
    "Hector",
    "Helen",
    "Henry",
    "Herbert",
    "Hilda",
    "Holly",
    "Howard",
    "Hubert",
    "Hugo",
    "Ida",
    "Ingrid",
    "Irene",
    "Iris",
    "Isabel",
    "Jacob",
    "James",
    "Jane",
    "Janet",
    "Jasper",
    "Joan",
    "Johanna",
    "John",
    "Jonathan",
    "Joseph",
    "Judith",
    "Julia",
    "Julian",
    "Karen",
    "Katharine",
    "Keith",
    "Kenneth",
    "Laura",
    "Lawrence",
    "Leonard",
    "Leopold",
    "Lewis",
    "Linda",
    "Lisa",
    "Lorenz",
    "Louise",
    "Lucas",
    "Lucy",
    "Lydia",
    "Madeleine",
    "Magnus",
    "Marcus",
    "Margaret",
    "Maria",
    "Marion",
    "Mark",
    "Martha",
    "Martin",
    "Mary",
    "Matilda",
    "Matthew",
    "Maurice",
    "Max",
    "Melanie",
    "Michael",
    "Miriam",
    "Monica",
    "Nancy",
    "Natalie",
    "Nathan",
    "Nicholas",
    "Nina",
    "Noah",
    "Nora",
    "Norman",
    "Oliver",
    "Olivia",
    "Oscar",
    "Otto",
    "Pamela",
    "Patricia",
    "Patrick",
    "Paul",
    "Paula",
    "Pauline",
    "Peter",
    "Philip",
    "Phoebe",
    "Rachel",
    "Ralph",
    "Raymond",
    "Rebecca",
    "Reginald",
    "Richard",
    "Robert",
    "Roderick",
    "Roger",
    "Roland",
    "Rosalind",
    "Rosemary",
    "Rudolf",
    "Rupert",
    "Ruth",
    "Samuel",
    "Sandra",
    "Sarah",
    "Sebastian",
    "Sheila",
    "Simon",
    "Sophie",
    "Stella",
    "Stephen",
    "Susan",
    "Sylvia",
    "Theodore",
    "Theresa",
    "Thomas",
    "Timothy",
    "Ursula",
    "Valerie",
    "Vera",
    "Veronica",
    "Victor",
    "Victoria",
    "Vincent",
    "Viola",
    "Virginia",
    "Walter",
    "Wendy",
    "Werner",
    "Wilfred",
    "William",
    "Yvonne",
    "Zoe",
]
FACES = ("DejaVuSans-Bold.ttf", "DejaVuSerif-Bold.ttf", "LiberationSans-Bold.ttf", "DejaVuSans.ttf")
PX = 2.0
Way = Callable[[Pattern], Pattern]


@dataclass
class Row:
    """One face: names tried, how many were read by way of bridging, signs in which something is still loose."""

    tried: int = 0
    read: Counter[str] = field(default_factory=Counter)
    loose: int = 0


def ways(kit: Kit) -> dict[str, Way]:
    """No bridges; bridged like any other shape; bridged as letters, what is left like any other shape."""
    free, own = Mending(letters="free"), Mending()
    return {
        "no bridges": lambda p: p,
        "free": lambda p: bridge(p, kit, free).pattern,
        "as letters": lambda p: bridge(bridged_letters(p, kit, own).pattern, kit, own).pattern,
    }


def sign(name: str, font: Path, capital: float, thickness: float, kit: Kit) -> Pattern:
    """The name cut out of a panel with 20 mm of wood round it."""
    outline = read_text(name, font, Lettering(cap_height=capital))
    x0, y0, x1, y1 = outline.bounds
    moved = outline.transform(Similarity(b=complex(20 - x0, 20 - y0)))
    grain = 0.0 if kit.wood.has_grain else None
    return cut_pattern(moved, Panel(x1 - x0 + 40, y1 - y0 + 40, thickness, grain), "panel", kit.blade.kerf)


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
    command = [
        "tesseract",
        str(file),
        "-",
        "--psm",
        "8",
        "-c",
        f"tessedit_char_whitelist={string.ascii_letters}",
    ]
    alone = {**os.environ, "OMP_THREAD_LIMIT": "1"}
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=alone)
    return done.stdout.strip()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--thickness", type=float, default=6.0)
    parser.add_argument("--wood", default="plywood")
    parser.add_argument("--say", action="store_true", help="name what was misread")
    asked = parser.parse_args()
    if shutil.which("tesseract") is None:
        sys.exit("tesseract is not installed: apt-get install tesseract-ocr")
    kit = kit_with("scroll-medium", wood_name=asked.wood)
    rng = random.Random(7)
    fonts = [p for face in FACES if (p := next(Path("/usr/share/fonts").rglob(face), None))]
    rows = {font.name: Row() for font in fonts}
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for name in sorted(rng.sample(NAMES, asked.count)):
            font, capital = rng.choice(fonts), rng.uniform(40.0, 80.0)
            plain = sign(name, font, capital, asked.thickness, kit)
            row = rows[font.name]
            row.tried += 1
            for way, make in ways(kit).items():
                made = make(plain)
                text = read(drawn(made), Path(folder))
                row.read[way] += text == name
                row.loose += way == "as letters" and bool(loose_pieces(made))
                if asked.say and text != name:
                    print(f"  {way}: {name}, {font.name} {capital:.0f} mm, read as {text!r}", file=sys.stderr)
    heads = list(ways(kit))
    print(f"{'face':28}{'names':>6}" + "".join(f"{head:>13}" for head in heads) + f"{'still loose':>13}")
    for face, row in rows.items():
        shares = "".join(f"{row.read[head] / max(row.tried, 1):13.1%}" for head in heads)
        print(f"{face:28}{row.tried:6}{shares}{row.loose:13}")
    tried = sum(row.tried for row in rows.values())
    whole = "".join(f"{sum(row.read[head] for row in rows.values()) / tried:13.1%}" for head in heads)
    print(f"{'all':28}{tried:6}{whole}{sum(row.loose for row in rows.values()):13}")
    print(f"{asked.thickness:g} mm {asked.wood}, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
