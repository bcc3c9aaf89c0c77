"""Real silhouettes traced, with the outline drawn over them to be looked at.

    python tests/bench/overlay.py FOLDER [PICTURE...]

Without pictures: skimage's horse and clip art of the Debian package openclipart-svg rendered by resvg, some
of it made worse (grain, uneven light, JPEG, black and white). Lines red, arcs green, cubics blue, joints
as dots. FOLDER gets one PNG each and is made if need be.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import resvg_py
from PIL import Image, ImageDraw, ImageFilter

from cutout.errors import CutoutError
from cutout.geom.curve import Arc, Cubic, Line, points
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

CLIP_ART = Path("/usr/share/openclipart/svg")
CHOSEN = {
    "animals/birds/contour_bat.svg": "clean",
    "animals/mammals/deer_matt_todd_01.svg": "black and white",
    "animals/mammals/contour_camel.svg": "photo",
    "animals/mammals/contour_giraffe.svg": "JPEG",
    "animals/mammals/contour_orangutan.svg": "grain",
    "animals/mammals/contour_fox.svg": "clean",
    "animals/birds/seagull_contour_nicu_buc_01.svg": "clean",
    "animals/lucertola_arrotolata_arc_01.svg": "photo",
    "animals/mammals/dall_sheep_ram_ganson.svg": "clean",
    "plants/fall_coloured_leaf_geral_01.svg": "clean",
    "animals/rana01_architetto_france_01.svg": "clean",
    "animals/seal_sek_.svg": "JPEG",
}
COLOURS = {Line: (230, 0, 0), Arc: (0, 150, 0), Cubic: (0, 60, 255)}
WIDE = 600


def sources() -> Iterator[tuple[str, bytes]]:
    from skimage.data import horse

    yield "horse", _png(Image.fromarray(np.where(horse(), 255, 0).astype(np.uint8)))
    for path, quality in CHOSEN.items():
        text = (CLIP_ART / path).read_text("utf-8", errors="replace")
        image = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=text, width=WIDE))))
        yield f"{Path(path).stem} {quality}", worsened(image.convert("RGBA"), quality)


def worsened(image: Image.Image, quality: str) -> bytes:
    """The picture on white paper as something less than perfect would show it."""
    white = Image.new("RGBA", image.size, "white")
    flat = Image.alpha_composite(white, image).convert("RGB")
    room = Image.new("RGB", (flat.width + 40, flat.height + 40), "white")
    room.paste(flat, (20, 20))
    if quality == "black and white":
        return _png(room.convert("L").point(lambda v: 255 * (v > 127)).convert("1"))
    if quality == "JPEG":
        out = io.BytesIO()
        room.save(out, "JPEG", quality=40)
        return out.getvalue()
    if quality in ("grain", "photo"):
        grey = np.asarray(room.convert("L").filter(ImageFilter.GaussianBlur(0.8)), dtype=float) * 0.8 + 30
        if quality == "photo":
            y, x = np.mgrid[: grey.shape[0], : grey.shape[1]]
            grey *= 1.0 - 0.5 * x / grey.shape[1] - 0.15 * (y / grey.shape[0]) ** 2
        grey += np.random.default_rng(5).normal(0, 7 if quality == "grain" else 3, grey.shape)
        return _png(Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)))
    return _png(room)


def _png(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def overlay(data: bytes, name: str) -> Image.Image:
    """The picture enlarged and paled, with its outline over it."""
    start = time.perf_counter()
    outline = read_picture(data, name, ReadOptions(width=400.0))
    took = time.perf_counter() - start
    picture = Image.open(io.BytesIO(data)).convert("RGBA")
    picture = Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture).convert("RGB")
    times = max(1, round(1500 / max(picture.size)))
    large = picture.resize((picture.width * times, picture.height * times), Image.Resampling.NEAREST)
    large = large.point(lambda v: 110 + v * 145 // 255)
    draw = ImageDraw.Draw(large)
    height = picture.height
    for ring in outline.rings:
        for s in ring.segments:
            line = [(z.real * times, (height - z.imag) * times) for z in points(s, 0.02).tolist()]
            draw.line(line, fill=COLOURS[type(s)], width=2)
            x, y = line[0]
            draw.ellipse((x - 3, y - 3, x + 3, y + 3), fill=(200, 0, 200))
    count = sum(len(r.segments) for r in outline.rings)
    print(f"{name}: {len(outline.rings)} rings, {count} segments, {took:.2f} s")
    for note in outline.notes:
        print("    ", note.text)
    return large


def main() -> None:
    """Write the pictures."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    given = [(Path(p).name, Path(p).read_bytes()) for p in sys.argv[2:]]
    for name, data in given or sources():
        try:
            overlay(data, name).save(folder / f"{name}.png")
        except CutoutError as error:
            print(f"{name}: {error}")


if __name__ == "__main__":
    main()
