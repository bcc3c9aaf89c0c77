"""Whether a change of the code changes what is made: results of the examples and of clip art, kept and compared.

    python tests/bench/same.py --into A                 results of this tree into folder A, one file a job
    python tests/bench/same.py --into A --first 5 --most 10     only some of the jobs
    python tests/bench/same.py A B                      what differs between two folders, job by job

A file holds result.json, as it would be written but for the sizes of the other files, and checksums of what is
rounded in it: the mended pattern, the paths of the legs, what falls. Silhouettes: the horse, letters, stars and
public-domain clip art of the Debian package openclipart-svg, as in saw.py; every third is sawn with a thin blade
that is turned on the spot.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import shapely
from shapely import MultiPolygon

sys.path.insert(0, str(Path(__file__).parent))

from saw import silhouettes

from cutout.errors import CutoutError
from cutout.job.options import asked_for
from cutout.run import make
from cutout.write.result import result_json
from cutout.write.work import Work

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
COUNT = 40
BLADES = ("jigsaw-narrow", "jigsaw", "scroll-medium")
SIZE = 220.0


def jobs(folder: Path, count: int) -> Iterator[tuple[str, Path, dict[str, Any]]]:
    """Names, sources and options; silhouettes are written into a folder as SVG."""
    for job in sorted(EXAMPLES.glob("*/job.toml")):
        yield job.parent.name, job, {}
    for n, (name, region) in enumerate(silhouettes(count)):
        source = folder / f"{n}.svg"
        x0, y0, x1, y1 = region.bounds
        source.write_text(drawn(region), "utf-8")
        longer = "width" if x1 - x0 >= y1 - y0 else "height"
        across, panel = f"{SIZE}mm", f"{SIZE + 60}x{SIZE + 60}mm"
        options = {longer: across, "panel": panel, "thickness": "12mm", "blade": BLADES[n % len(BLADES)]}
        yield f"{n:02d} {name.replace('/', '-')}", source, options


def drawn(region: MultiPolygon) -> str:
    """A silhouette as SVG."""
    x0, y0, x1, y1 = region.bounds
    rings = [ring for part in region.geoms for ring in (part.exterior, *part.interiors)]
    path = "".join(
        "M" + "L".join(f"{x - x0:.2f} {y1 - y:.2f}" for x, y in shapely.get_coordinates(ring)[:-1]) + "Z"
        for ring in rings
    )
    size = f"0 0 {x1 - x0:.2f} {y1 - y0:.2f}"
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}"><path fill-rule="evenodd" d="{path}"/></svg>'


def sums(work: Work) -> dict[str, str]:
    """Checksums of what result.json rounds."""
    exact = {
        "pattern": work.pattern.waste.wkb + work.pattern.keep.wkb,
        "paths": b"".join(leg.path.tobytes() for leg in work.plan.legs),
        "drops": b"".join(leg.drops.wkb for leg in work.plan.legs),
        "findings": repr(work.findings).encode(),
        "plan": repr([(h.id, h.at, h.diameter) for h in work.plan.holes]).encode()
        + repr(work.plan.left_over).encode()
        + repr(work.plan.minutes_by).encode(),
        "proof": repr(asdict(work.proof)).encode(),
        "router": repr(work.router).encode(),
    }
    return {name: hashlib.sha256(data).hexdigest()[:16] for name, data in exact.items()}


def keep(into: Path, first: int, most: int, count: int) -> None:
    """Make the jobs and keep their results."""
    into.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for name, source, options in list(jobs(Path(folder), count))[first : first + most]:
            try:
                work = make(*asked_for(source, options))
                made = result_json(work, {}).decode() + json.dumps({"exact": sums(work)})
            except CutoutError as error:
                made = json.dumps({"refused": str(error)})
            (into / f"{name}.json").write_text(made.replace(folder, ""), "utf-8")
            print(name, flush=True)


def compare(one: Path, other: Path) -> int:
    """Print what differs; the number of jobs that do."""
    names = sorted({p.name for p in (*one.glob("*.json"), *other.glob("*.json"))})
    differ = 0
    for name in names:
        found = [folder / name for folder in (one, other)]
        if not all(p.exists() for p in found):
            continue
        texts = [p.read_text("utf-8") for p in found]
        if texts[0] == texts[1]:
            continue
        differ += 1
        print(f"{name}: {', '.join(differences(*(parts(text) for text in texts)))}")
    both = sum(all((folder / name).exists() for folder in (one, other)) for name in names)
    print(f"{both - differ} of {both} the same")
    return differ


def parts(text: str) -> dict[str, Any]:
    """A kept result by its parts."""
    decoder, found, at = json.JSONDecoder(), {}, 0
    while at < len(text):
        part, at = decoder.raw_decode(text, at)
        found |= part
        at += len(text[at:]) - len(text[at:].lstrip())
    return found


def differences(one: dict[str, Any], other: dict[str, Any]) -> list[str]:
    """Which parts differ; of the checksums, which."""
    found = [k for k in {**one, **other} if k != "exact" and one.get(k) != other.get(k)]
    exact = [{}, {}] if "exact" not in one or "exact" not in other else [one["exact"], other["exact"]]
    return [*found, *(f"exact {k}" for k in exact[0] if exact[0][k] != exact[1].get(k))]


def main() -> int:
    """Keep or compare."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--into", type=Path)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--most", type=int, default=1000)
    parser.add_argument("--count", type=int, default=COUNT)
    args = parser.parse_args()
    if args.into is not None:
        keep(args.into, args.first, args.most, args.count)
        return 0
    return int(compare(*args.folders) > 0)


if __name__ == "__main__":
    sys.exit(main())
