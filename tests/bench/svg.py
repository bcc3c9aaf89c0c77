"""Compare what `read_svg` makes of many SVG files with resvg's pixels.

    python tests/bench/svg.py FOLDER [--every 10] [--seconds 20] [--sheet worst.png] [--list out.tsv] [--beside OUT]

For each file: the outline rasterised over the page against the file rendered by resvg over white, figure
where any of red, green and blue is under 0.92; with --threshold, where the luma is under it. Drawings whose
page is painted or which are white all over follow other rules and are left out of the scores, as are
disagreements along edges thinner than two pixels (anti-aliasing, hairlines). Highlights that run to white
are figure to the reader and white to the pixels, soft shadows the other way round: they lower the scores
without a threshold. Hence the second score, the better of six: all ink or strong ink only (under 0.75), or ink that
hides what lies behind it (opaque to nine tenths, as a soft shadow never is), with what it surrounds or without.
Neither score knows what is meant to be wood: --beside writes each file under 0.95 by the second score as
resvg paints it and as it was read, side by side, to be looked at.
"""

from __future__ import annotations

import argparse
import signal
import time
import traceback
from collections import Counter
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from types import FrameType

import numpy as np
import resvg_py
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import binary_fill_holes, binary_opening

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.svg import pixels as reader
from cutout.read.svg.document import parse_document
from cutout.read.svg.reader import read_svg
from cutout.read.svg.render import Rendering, serialised
from cutout.read.svg.walk import walk

SIDE = 1200
WIDTH_MM = 400.0
UNDER = 0.95
"""A score that wants looking at."""
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Result:
    """What became of one file."""

    path: Path
    state: str
    seconds: float
    iou: float = float("nan")
    best: float = float("nan")
    text: str = ""
    expected: Mask | None = None
    got: Mask | None = None


def main() -> None:
    """Run over a folder and print the summary."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--every", type=int, default=10)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--seconds", type=int, default=20)
    parser.add_argument("--budget", type=int, default=3600, help="seconds for the whole run")
    parser.add_argument("--sheet", type=Path)
    parser.add_argument("--list", type=Path)
    parser.add_argument("--beside", type=Path, help="folder for pictures of the files under 0.95")
    parser.add_argument("--without", default="/shapes/stars/", help="leave out paths that hold this")
    parser.add_argument("--exact", action="store_true", help="leave out files that need rendering")
    parser.add_argument("--threshold", type=int, help="grey 1..255; without it, whatever is painted")
    args = parser.parse_args()
    paths = [p for p in sorted(args.folder.rglob("*.svg")) if args.without not in str(p)][
        args.start :: args.every
    ]
    if args.exact:
        setattr(reader, "render", _leave_out)  # noqa: B010
    began = time.perf_counter()
    results: list[Result] = []
    for path in paths:
        if time.perf_counter() - began > args.budget:
            print(f"stopped after {args.budget} s, {len(results)} of {len(paths)} files")
            break
        results.append(compare(path, args.seconds, args.threshold))
    report(results)
    if args.list:
        lines = [
            f"{r.best:.4f}\t{r.iou:.4f}\t{r.state}\t{r.seconds:.2f}\t{r.path}\t{r.text}" for r in results
        ]
        args.list.write_text("\n".join(sorted(lines)) + "\n")
    if args.beside:
        args.beside.mkdir(parents=True, exist_ok=True)
        for r in results:
            if r.state == "read" and r.best < UNDER:
                beside(r).save(args.beside / f"{r.path.stem}.png")
    if args.sheet:
        worst = sorted((r for r in results if r.state == "read"), key=lambda r: r.best)[:20]
        contact_sheet(worst).save(args.sheet)


def compare(path: Path, seconds: int = 20, threshold: int | None = None) -> Result:
    """Read one file within a time limit and compare it with its pixels."""
    began = time.perf_counter()
    signal.signal(signal.SIGALRM, _too_long)
    signal.alarm(seconds)
    try:
        data = path.read_bytes()
        options = ReadOptions(width=WIDTH_MM, speck=0.0, threshold=threshold)
        outline = read_svg(data, path.name, options)
        taken = time.perf_counter() - began
        signal.alarm(seconds)
        kinds = " ".join(sorted({n.kind for n in outline.notes}))
        rendering = expected_pixels(data, path.name, outline, threshold)
        if rendering is None:
            return Result(path, "no page", taken, text=kinds)
        expected, strong, hiding, unit = rendering
        got = rasterised(outline, expected.shape, unit)
        plain = (expected, strong, hiding)
        ways = (*plain, *(binary_fill_holes(way) for way in plain))
        best = max(iou(way, got) for way in ways)
        return Result(path, "read", taken, iou(expected, got), best, kinds, expected, got)
    except ReadError as error:
        return Result(path, "refused", time.perf_counter() - began, text=str(error))
    except _LeftOutError:
        return Result(path, "left out", time.perf_counter() - began)
    except TimeoutError:
        return Result(path, "too long", time.perf_counter() - began)
    except Exception:
        return Result(path, "crashed", time.perf_counter() - began, text=traceback.format_exc(limit=-3))
    finally:
        signal.alarm(0)


def expected_pixels(
    data: bytes, name: str, outline: Outline, threshold: int | None
) -> tuple[Mask, Mask, Mask, float] | None:
    """The pixels of the figure, those of its strong ink, of ink that hides, and px per pixel; None where there is no
    page or another rule to compare by."""
    document = parse_document(data, name)
    drawing = walk(document, name)
    kinds = {note.kind for note in outline.notes}
    if drawing.page is None or kinds & {"ground", "light drawing"}:
        return None
    if threshold is None and "light on dark" in kinds:
        return None
    box = (0.0, 0.0, *drawing.page)
    png = resvg_py.svg_to_bytes(svg_string=serialised(document, box, SIDE), dpi=96.0)
    rgba = np.asarray(Image.open(BytesIO(bytes(png))).convert("RGBA"), dtype=np.float64) / 255
    over_white = rgba[..., :3] * rgba[..., 3:] + 1 - rgba[..., 3:]
    unit = max(drawing.page) / SIDE
    if threshold is None:
        darkest = over_white.min(axis=2)
        return darkest < 0.92, darkest < 0.75, (darkest < 0.92) & (rgba[..., 3] > 0.9), unit
    dark = (over_white @ [0.299, 0.587, 0.114] < threshold / 255) ^ ("light on dark" in kinds)
    return dark, dark, dark, unit


def rasterised(outline: Outline, shape: tuple[int, ...], unit: float) -> Mask:
    """The outline filled on a page of the given shape in pixels."""
    image = Image.new("L", (shape[1] * 4, shape[0] * 4))
    draw = ImageDraw.Draw(image)
    for ring in sorted(outline.rings, key=lambda r: -abs(r.area)):
        xy = ring.points(unit / 4) * [4 / unit, -4 / unit] - 0.5
        draw.polygon([(float(x), float(y)) for x, y in xy], fill=255 if ring.area > 0 else 0)
    small = image.resize((shape[1], shape[0]), Image.Resampling.BOX)
    return np.asarray(small) > 127


def iou(a: Mask, b: Mask) -> float:
    """Intersection over union without hairline disagreements; 1 where both are empty."""
    union = (a | b).sum()
    wrong = binary_opening(a ^ b, np.ones((2, 2), dtype=bool)).sum()
    return 1 - float(wrong / union) if union else 1.0


def report(results: list[Result]) -> None:
    """Counts, quantiles and everything that went wrong."""
    print("states", dict(Counter(r.state for r in results)))
    scores = np.array([r.iou for r in results if r.state == "read"])
    if len(scores):
        marks = ", ".join(f"{q}%: {np.percentile(scores, q):.4f}" for q in (1, 5, 10, 25, 50))
        best = np.array([r.best for r in results if r.state == "read"])
        print(f"IoU of {len(scores)}: {marks}; under 0.95: {(scores < UNDER).sum()}")
        print(f"by the better of six readings under 0.95: {(best < UNDER).sum()}")
    times = np.array([r.seconds for r in results])
    print(
        f"seconds: median {np.median(times):.2f}, 95 % {np.percentile(times, 95):.2f}, most {times.max():.2f}"
    )
    for r in results:
        if r.state in ("crashed", "too long"):
            print(r.state, r.path, r.text)
    for text, count in Counter(r.text.split(":", 1)[-1] for r in results if r.state == "refused").most_common(
        12
    ):
        print(count, "refused:", text)


def beside(result: Result) -> Image.Image:
    """The drawing as resvg paints it on white, and the outline read from it filled in black."""
    assert result.got is not None
    height, width = result.got.shape
    document = parse_document(result.path.read_bytes(), result.path.name)
    drawing = walk(document, result.path.name)
    assert drawing.page is not None
    png = resvg_py.svg_to_bytes(svg_string=serialised(document, (0.0, 0.0, *drawing.page), SIDE), dpi=96.0)
    painted = Image.open(BytesIO(bytes(png))).convert("RGBA")
    both = Image.new("RGBA", (2 * width + 20, height + 20), "white")
    both.alpha_composite(painted.crop((0, 0, width, height)))
    both.paste(Image.fromarray(~result.got).convert("RGBA"), (width + 20, 0))
    ImageDraw.Draw(both).text(
        (4, height + 4), f"{result.best:.3f} {result.iou:.3f} {result.text}", fill="black"
    )
    small = both.convert("RGB")
    small.thumbnail((1200, 1200))
    return small


def contact_sheet(results: list[Result]) -> Image.Image:
    """Five across: red only expected, blue only read, black both."""
    cell = 300
    sheet = Image.new("RGB", (5 * cell, max(1, (len(results) + 4) // 5) * (cell + 16)), "white")
    draw = ImageDraw.Draw(sheet)
    for i, r in enumerate(results):
        if r.expected is None or r.got is None:
            continue
        picture = np.full((*r.expected.shape, 3), 255, dtype=np.uint8)
        picture[r.expected & r.got] = 0
        picture[r.expected & ~r.got] = (230, 40, 40)
        picture[~r.expected & r.got] = (40, 80, 230)
        thumb = Image.fromarray(picture)
        thumb.thumbnail((cell - 6, cell - 6))
        at = (i % 5 * cell, i // 5 * (cell + 16))
        sheet.paste(thumb, at)
        draw.text((at[0], at[1] + cell), f"{r.best:.3f} {r.path.name[:34]}", fill="black")
    return sheet


class _LeftOutError(Exception):
    pass


def _leave_out(*args: object, **options: object) -> Rendering:
    raise _LeftOutError


def _too_long(number: int, frame: FrameType | None) -> None:
    raise TimeoutError


if __name__ == "__main__":
    main()
