"""Make the pictures of the documents and the finished examples with the tool itself: python docs/pictures.py

Writes docs/pictures/*.png and examples/*/made/ (the template and a small preview of each).
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import pypdfium2 as pdfium
from PIL import Image

from cutout.cli import run

ROOT = Path(__file__).parent.parent
PICTURES = ROOT / "docs" / "pictures"
EXAMPLES = ("heron-shutter", "screen-leaf", "key-rack")
COLOURS = 64


def small(picture: Image.Image, width: int) -> Image.Image:
    """The picture scaled to a width and reduced to a few colours."""
    height = round(picture.height * width / picture.width)
    return picture.convert("RGB").resize((width, height), Image.Resampling.LANCZOS).quantize(COLOURS)


def sheet(pdf: Path, number: int, width: int) -> Image.Image:
    """One page of a PDF; -1 is the last."""
    document = pdfium.PdfDocument(pdf)
    page = document[number % len(document)]
    return small(page.render(scale=2.0).to_pil(), width)


def beside(pictures: list[Image.Image], height: int, gap: int = 12, colours: int = COLOURS) -> Image.Image:
    """Pictures in a row, equally high."""
    scaled = [p.convert("RGB").resize((round(p.width * height / p.height), height)) for p in pictures]
    row = Image.new("RGB", (sum(p.width for p in scaled) + gap * (len(scaled) - 1), height), "white")
    at = 0
    for picture in scaled:
        row.paste(picture, (at, 0))
        at += picture.width + gap
    return row.quantize(colours)


def main() -> None:
    """Make them all."""
    PICTURES.mkdir(exist_ok=True)
    previews = []
    with tempfile.TemporaryDirectory() as name:
        for example in EXAMPLES:
            job, out = ROOT / "examples" / example / "job.toml", Path(name) / example
            if run(["make", str(job), "--out", str(out)]) != 0:
                sys.exit(f"{job}: not clean")
            made = job.parent / "made"
            made.mkdir(exist_ok=True)
            preview = Image.open(out / "preview.png")
            previews.append(preview)
            small(preview, 600).save(made / "preview.png", optimize=True)
            shutil.copyfile(out / "template.pdf", made / "template.pdf")
        beside(previews, 320).save(PICTURES / "gallery.png", optimize=True)
        heron = Path(name) / "heron-shutter"
        small(Image.open(ROOT / "examples" / "heron-shutter" / "heron-photo.png"), 360).save(
            PICTURES / "photo.png", optimize=True
        )
        small(Image.open(heron / "preview.png"), 420).save(PICTURES / "preview.png", optimize=True)
        pages = [sheet(heron / "template.pdf", n, 420) for n in (0, 1, 2)]
        beside([p.convert("RGB") for p in pages], 560).save(PICTURES / "template.png", optimize=True)
        run(["gauge", "--out", str(Path(name) / "card.pdf")])
        sheet(Path(name) / "card.pdf", 1, 420).save(PICTURES / "card.png", optimize=True)
        gauge_picture(Path(name))


def gauge_picture(folder: Path) -> None:
    """A simulated photograph of a sawn card beside what was read from it."""
    sys.path.insert(0, str(ROOT / "tests" / "gauge"))
    from photo import Card, Saw, Shot, photo_of_card

    saw = Saw(kerf=1.3, bias=0.15, wander=0.04, torn=0.05, least=9.0)
    shot = Shot(tilt=16, axis=60, turn=4, k1=0.015, paper="ivory", wood="oak")
    photo, read = folder / "photo.jpg", folder / "read.png"
    photo.write_bytes(photo_of_card(Card(1, "a4"), saw, shot))
    run(["gauge", str(photo), "--minutes", "12", "--out", str(read)])
    pair = [Image.open(photo).convert("RGB"), Image.open(read)]
    beside(pair, 760, colours=200).save(PICTURES / "gauge.png", optimize=True)


if __name__ == "__main__":
    main()
