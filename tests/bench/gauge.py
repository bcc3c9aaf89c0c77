"""How true the card is read: simulated photographs with exact geometry, and what came out against what was put in.

    python tests/bench/gauge.py [COUNT] [SEED] [FOLDER]

Every photograph is invented from a seed: four cards, three papers and woods, tilts to 30 degrees, a lens term to
0.02, blur, noise, JPEG, 12 and 3 megapixels, edges torn by 0.1 mm, and one in seven with glare, dusk, or out of
focus: half of these blurred by a disc, as a lens does, half by a Gaussian. A value is wrong in silence where it is
said, and is further off than both the wanted limit and what it was said to be sure to. With FOLDER the photographs
are kept there, and read from there the next time."""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "gauge"))

from photo import Card, Saw, Shot, photo_of_card, sawn

from cutout.errors import ReadError
from cutout.gauge.card import SCRAP, arc_spans
from cutout.gauge.light import linear_light
from cutout.gauge.reading import Reading, read_card
from cutout.gauge.rung import ALLOWANCE
from cutout.say.gauging import unread

BIAS = 0.05
"""How far off (mm) a bias may be."""
BLADES = {0: (1.6, 18.0), 1: (1.3, 9.0), 2: (0.8, 3.3), 3: (0.42, 0.75)}
"""Kerf and least radius about which each card's saw is drawn."""


@dataclass(frozen=True)
class Row:
    """One photograph: name of its class, what was found, errors (None: not said), what was wrong in silence; coarse:
    it has 3 megapixels."""

    kind: str
    found: bool
    kerf: float | None
    bias: float | None
    radius: float | None
    silent: str
    seconds: float
    why: str
    coarse: bool = False


def case(rng: np.random.Generator) -> tuple[Card, Saw, Shot, str]:
    """A card, a saw and a photograph drawn at random."""
    ladder = int(rng.integers(4))
    kerf, least = BLADES[ladder]
    fine = ladder == 3
    saw = Saw(
        kerf=kerf * float(rng.uniform(0.85, 1.2)),
        bias=float(rng.uniform(-0.3, 0.3)) * (0.3 if fine else 1.0),
        wander=float(rng.uniform(0.02, 0.1)) * (0.4 if fine else 1.0),
        torn=0.03 if fine else 0.1,
        least=least * float(rng.uniform(0.8, 1.3)),
        corner=str(rng.choice(["round", "blunt"])),
    )
    bad = str(rng.choice(["glare", "dusk", "soft"])) if rng.uniform() < 1 / 7 else ""
    megapixels = 3.0 if rng.uniform() < 0.35 else 12.0
    shot = Shot(
        megapixels=megapixels,
        tilt=float(rng.uniform(0, 30)),
        axis=float(rng.uniform(0, 360)),
        turn=float(rng.uniform(-15, 15)) + 90 * int(rng.integers(4)),
        k1=float(rng.uniform(-0.02, 0.02)),
        blur=float(rng.uniform(0.6, 1.3)) if bad != "soft" else float(rng.uniform(4, 7)),
        noise=float(rng.uniform(0.003, 0.012)),
        quality=int(rng.integers(80, 97)),
        light=float(rng.uniform(0.5, 0.95)) if bad != "dusk" else float(rng.uniform(0.03, 0.08)),
        shade=float(rng.uniform(0, 0.3)),
        glare=(*(float(v) for v in rng.uniform(-0.7, 0.7, 2)), 0.35, 1.2) if bad == "glare" else None,
        paper=str(rng.choice(["white", "ivory", "recycled"])),
        wood=str(rng.choice(["pine", "oak", "walnut"])),
        seed=int(rng.integers(1 << 30)),
    )
    shot = replace(shot, disc=bad == "soft" and shot.seed % 2 == 1)
    card = Card(ladder, str(rng.choice(["a4", "letter"])))
    return card, saw, shot, bad or f"{megapixels:g} MP"


def true_bias(card: Card, saw: Saw) -> float:
    """Mean distance right of the line on the stations that are read."""
    means = []
    for line in sawn(card, saw):
        if line.cut.kind in ("along", "across"):
            s = np.arange(len(line.middle)) * 0.05
            means.append(line.off[(s > SCRAP + 5) & (s < line.trail.length - 4)].mean())
    return float(np.mean(means))


def right_radii(card: Card, saw: Saw) -> set[float]:
    """The tightest arc followed, as drawn and as sawn, by the exact geometry; those of two arcs where one is within
    0.08 mm of the allowance."""
    bias = true_bias(card, saw)
    right = set()
    for allowance in (ALLOWANCE - 0.08, ALLOWANCE + 0.08):
        best = 0.0
        for line in (x for x in sawn(card, saw) if x.cut.kind == "arc"):
            (low, _), (_, high) = arc_spans(line.cut.radius)
            s = np.arange(len(line.middle)) * 0.05
            on = (s >= low) & (s <= high)
            stray = float(np.percentile(np.abs(line.off[on] - bias), 95))
            if stray <= allowance and max(saw.least / line.cut.radius, 1) < 1.15:
                best = line.cut.radius
        right |= {best, max(best, saw.least) if best else best}
    return right


def photo(card: Card, saw: Saw, shot: Shot, kept: Path | None) -> bytes:
    """The photograph, taken anew or as it was kept."""
    if kept is not None and kept.exists():
        return kept.read_bytes()
    data = photo_of_card(card, saw, shot)
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(data)
    return data


def measure(card: Card, saw: Saw, shot: Shot, kind: str, kept: Path | None = None) -> Row:
    """Photograph, read, hold against the truth."""
    data = photo(card, saw, shot, kept)
    begun = time.process_time()
    try:
        reading: Reading | None = read_card(linear_light(data, "photo.jpg"), "photo.jpg")
        why = ""
    except ReadError as error:
        reading, why = None, str(error)
    return judge(card, saw, shot, kind, reading, why, time.process_time() - begun)


def judge(
    card: Card, saw: Saw, shot: Shot, kind: str, reading: Reading | None, why: str, seconds: float
) -> Row:
    """What was read held against what was put in; `why`: nothing was."""
    if reading is None:
        return Row(kind, False, None, None, None, "", seconds, why)
    why = "; ".join(unread(u, "mm") for u in reading.unread)
    coarse = shot.megapixels < 6
    limit = {"kerf": 0.1 if coarse else 0.05, "bias": BIAS}
    off = {
        "kerf": None if reading.kerf is None else reading.kerf.value - saw.kerf,
        "bias": None if reading.bias is None else reading.bias.value - true_bias(card, saw),
    }
    sure = {"kerf": reading.kerf and reading.kerf.sure, "bias": reading.bias and reading.bias.sure}
    silent = [
        f"{k} {e:+.3f}, said to be sure to {sure[k]:.3f}"
        for k, e in off.items()
        if e is not None and abs(e) > max(limit[k], sure[k] or 0.0)
    ]
    radius = None
    if reading.radius is not None:
        right = right_radii(card, saw)
        radius = min(abs(reading.radius.value / r - 1) if r else 1.0 for r in right)
        above = reading.ladder_done and reading.radius.value > max(right)
        if not above and radius > max(0.05, reading.radius.sure / reading.radius.value):
            silent.append(f"radius {reading.radius.value:.2f} for {sorted(right)} (least {saw.least:.2f})")
    if reading.found.card != card:
        silent.append("card")
    return Row(kind, True, off["kerf"], off["bias"], radius, ", ".join(silent), seconds, why, coarse)


def table(rows: list[Row]) -> str:
    """Classes down, what was found and how far off across."""
    lines = [
        f"{'photos':<8} {'n':>4} {'marks':>6} | {'kerf':>5} {'within':>6} {'worst':>6} | {'bias':>5} "
        f"{'within':>6} {'worst':>6} | {'radius':>6} {'within':>6} | {'silent':>6} {'CPU s':>6}"
    ]
    for kind in [*sorted({r.kind for r in rows}), "all"]:
        of = [r for r in rows if kind in (r.kind, "all")]
        kerf = np.array([(r.kerf, 0.1 if r.coarse else 0.05) for r in of if r.kerf is not None]).reshape(
            -1, 2
        )
        bias = np.array([r.bias for r in of if r.bias is not None])
        radius = np.array([r.radius for r in of if r.radius is not None])
        lines.append(
            f"{kind:<8} {len(of):>4} {sum(r.found for r in of):>6} | {len(kerf):>5} "
            f"{int((np.abs(kerf[:, 0]) <= kerf[:, 1]).sum()):>6} {np.abs(kerf[:, 0]).max(initial=0):>6.3f} | "
            f"{len(bias):>5} {int((np.abs(bias) <= BIAS).sum()):>6} {np.abs(bias).max(initial=0):>6.3f} | "
            f"{len(radius):>6} {int((radius <= 0.05).sum()):>6} | "
            f"{sum(bool(r.silent) for r in of):>6} {np.mean([r.seconds for r in of]):>6.1f}"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the table, and each photograph with something to say."""
    asked = sys.argv[1:]
    count, seed = (int(asked[n]) if len(asked) > n else usual for n, usual in enumerate((20, 1)))
    folder = Path(asked[2]) if len(asked) > 2 else None
    rng = np.random.default_rng(seed)
    rows = []
    for n in range(count):
        card, saw, shot, kind = case(rng)
        row = measure(card, saw, shot, kind, folder / f"{seed}-{n}.jpg" if folder else None)
        rows.append(row)
        if row.silent or row.why:
            print(
                f"{n:>3} {kind}: {card.title}, kerf {saw.kerf:.2f}, tilt {shot.tilt:.0f}: "
                f"{'WRONG ' + row.silent + '; ' if row.silent else ''}{row.why}",
                flush=True,
            )
    print(table(rows))


if __name__ == "__main__":
    main()
