"""How true a sawn panel is held against its pattern: simulated photographs of a panel 300 mm wide, place by place.

    python tests/bench/compare.py [COUNT] [SEED]

The panel is sawn up to 0.6 mm beside its line, in slow waves that are known. Every photograph is invented from a
seed: tilts to 15 degrees, a lens term to 0.02, blur, noise, JPEG, 12 and 3 megapixels, dark ground, light ground, and
light ground with the panel's shadow on it. An error is what is said at a place less what was sawn there; places whose
edge the camera does not see are left out."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "gauge"))

from panel import astray, leaf, photo_of_panel, sawn_panel
from photo import Shot

from cutout.errors import ReadError
from cutout.gauge.compare import Drawn, compare
from cutout.gauge.light import linear_colour

MOST = 0.6
DRAWN = Drawn(300.0, 200.0, 18.0, shapely.MultiPolygon([leaf()]))


def case(rng: np.random.Generator) -> tuple[Shot, str]:
    """A photograph drawn at random, and the ground."""
    shot = Shot(
        megapixels=3.0 if rng.uniform() < 0.35 else 12.0,
        tilt=float(rng.uniform(0, 15)),
        axis=float(rng.uniform(0, 360)),
        turn=float(rng.uniform(-15, 15)) + 90 * int(rng.integers(4)),
        k1=float(rng.uniform(-0.02, 0.02)),
        blur=float(rng.uniform(0.6, 1.3)),
        noise=float(rng.uniform(0.003, 0.012)),
        quality=int(rng.integers(80, 97)),
        shade=float(rng.uniform(0, 0.3)),
        fill=0.8,
        seed=int(rng.integers(1 << 30)),
    )
    return shot, str(rng.choice(["dark", "light", "light, shadow"], p=[0.4, 0.4, 0.2]))


def main() -> None:
    """Print each photograph's errors and, by ground, the worst and how much could be told."""
    count, seed = (int(sys.argv[n]) if len(sys.argv) > n else usual for n, usual in ((1, 6), (2, 1)))
    rng = np.random.default_rng(seed)
    rows: list[tuple[str, float, np.ndarray, float]] = []
    sawn = sawn_panel(leaf(), MOST)
    for n in range(count):
        shot, ground = case(rng)
        shadow = complex(*rng.uniform(-8, 8, 2)) if "shadow" in ground else 0j
        data = photo_of_panel(sawn, 18.0, shot, dark_ground=ground == "dark", shadow=shadow)
        head = f"{n:>3} {shot.megapixels:g} MP, tilt {shot.tilt:.0f}, {ground}"
        try:
            found = compare(DRAWN, {"panel.jpg": linear_colour(data, "panel.jpg")}, 0.3)
        except ReadError as error:
            print(f"{head}: {error}", flush=True)
            continue
        off = np.abs(found.off - astray(*found.places.T, MOST))
        off = off[np.isfinite(off)]
        rows.append((ground, found.told, off, found.sure))
        print(
            f"{head}: {100 * found.told:.0f} % told, error median {np.median(off):.3f}, 95 of 100 within "
            f"{np.percentile(off, 95):.3f}, worst {off.max():.3f} mm; said to be sure to {found.sure:.3f}",
            flush=True,
        )
    for ground in sorted({row[0] for row in rows}):
        of = [row for row in rows if row[0] == ground]
        off = np.concatenate([row[2] for row in of])
        sure = np.concatenate([np.full(len(row[2]), row[3]) for row in of])
        print(
            f"{ground}: {len(of)} photographs, {100 * min(row[1] for row in of):.0f} to "
            f"{100 * max(row[1] for row in of):.0f} % told, {len(off)} places: worst {off.max():.3f} mm, "
            f"within 0.2 mm {100 * (off <= 0.2).mean():.2f} %, as sure as said {100 * (off <= sure).mean():.2f} %"
        )


if __name__ == "__main__":
    main()
