"""Lines and points narrower than a picture's blur: their edges and what they enclose, found together.

Where an edge is alone, the half-way line is where it lies, however blurred the picture is. Where two edges lie nearer
to each other than the blur reaches, neither shows its plateau, and the half-way line runs inside both or is not there
at all. What is known is how wide the blur is. So a sharp shape is looked for there whose blurred likeness is the
picture: 0 or 1 nearly everywhere, and no longer round than it has to be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_propagation, find_objects, gaussian_filter, label, zoom
from threadpoolctl import threadpool_limits

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.figure import Field
from cutout.read.picture.likeness import FINE, coarse, drawn
from cutout.trace.iso import IsoLines, iso_lines
from cutout.trace.rings import fit_lines

LEAST_BLUR = 0.4
"""Sigma (px) from which on it is worth it: sharper pictures show all but the last pixel of a point."""

_MOST_PIXELS, _MOST_UNKNOWN = 6_000_000, 160_000
"""Larger pictures, and pictures in which more than so many half pixels are in doubt, stay as they are: what is narrow
in them is texture, or wide enough."""

_DIFFERS, _NOISES, _SPREADS = 0.06, 8.0, 0.02
"""Share of full contrast, or sigmas of noise, by which the picture differs from the blurred likeness of what was
traced where the trace is in doubt; and the least share by which it still differs all about there."""

_ROUND = 0.002
"""What a pixel of outline costs, beside squared misses of the picture; at least as much as a sigma of noise does."""

_CLOSE, _TOLERANCE = 0.05, 0.25
"""How near (px) polylines lie to what was traced, and what was traced to the picture's lines."""

_DECIMALS = 8
"""Places after the point to which the likeness of what was traced is told."""

_STEPS, _LIMIT = 120, 8.0
"""Most steps of the search; how far from 0 a pixel's logit may go: 1/3000 off black or white, beyond slopes die."""
_SOFT = 0.05
"""Rounds off the corner of the price of an edge at no edge (share of a step from black to white), for its slope."""


def unblurred(field: Field, found: IsoLines, sigma: float | None, contrast: float | None = None) -> IsoLines:
    """The lines, found anew where they are nearer to one another than a Gaussian of `sigma` px blurs them.

    sigma: of the values as they are, the pixels' own width apart; None where no edge is alone enough to tell.
    contrast: what the figure settles at above its ground, where its thin parts have told it.
    """
    values = field.values
    rough = found.blur if sigma is None else sigma
    if rough < LEAST_BLUR or values.size > _MOST_PIXELS or not found.lines:
        return found
    low, _ = field.settled()
    # Corners are put back by their flanks, better than can be done here: they are no longer in doubt then.
    shapes = [ring.complex_points(_CLOSE) for ring in fit_lines(found, _TOLERANCE)]
    # The search stops on its way: from where numbers were rounded otherwise it would end some hundredths elsewhere.
    as_traced = np.round(drawn(shapes, values.shape[:2]), _DECIMALS)
    if sigma is None:
        sigma = _best_blur(values, as_traced, low, rough)
    likeness = gaussian_filter(coarse(as_traced), sigma, mode="nearest")
    share, noise = _share(values, likeness, low, contrast)
    differs = np.abs(share - likeness)
    most = max(_DIFFERS, _NOISES * noise)
    doubt = binary_propagation(differs > most, mask=differs > most * _SPREADS / _DIFFERS)
    doubt = binary_dilation(doubt, iterations=math.ceil(2.0 * sigma) + 1)
    if not doubt.any() or doubt.sum() * FINE**2 > _MOST_UNKNOWN:
        return found
    sharp = as_traced
    price = max(_ROUND, noise)
    parts, _ = label(doubt)
    for k, box in enumerate(find_objects(parts), start=1):
        window = _Window.round_(box, values.shape[:2], math.ceil(3 * sigma) + 1)
        mine = parts[window.rows, window.columns] == k
        fine = np.repeat(np.repeat(mine, FINE, axis=0), FINE, axis=1)
        part = sharp[window.fine_rows, window.fine_columns]
        with threadpool_limits(limits=1, user_api="blas"):
            part[fine] = _sharpened(share[window.rows, window.columns], part, fine, sigma, price)[fine]
    # Elsewhere the picture's own greys tell more of the edge than a drawn line does.
    smooth = zoom(share, FINE, order=3, mode="nearest", grid_mode=True)
    edge = gaussian_filter(np.repeat(np.repeat(doubt, FINE, 0), FINE, 1).astype(np.float32), FINE)
    mixed = (edge * gaussian_filter(sharp, 0.5 * FINE) + (1 - edge) * smooth).astype(np.float32)
    again = iso_lines(mixed, 0.5)
    lines = [z / FINE for z in again.lines]
    if not lines:
        # So thin and so noisy that no sharp shape is left of it: then what was found is all there is to go by.
        return found
    return replace(found, lines=lines, sharp=_within(doubt, np.concatenate(lines)))


def _within(mask: NDArray[np.bool_], z: ComplexArray) -> ComplexArray:
    """Those of the places z that lie in a pixel of the mask."""
    height, width = mask.shape
    column = np.clip(np.floor(z.real).astype(int), 0, width - 1)
    row = np.clip(np.floor(height - z.imag).astype(int), 0, height - 1)
    return np.asarray(z[mask[row, column]])


@dataclass(frozen=True, slots=True)
class _Window:
    """Rows and columns of the picture, and the same on finer pixels."""

    rows: slice
    columns: slice

    @classmethod
    def round_(cls, box: tuple[slice, ...], shape: tuple[int, ...], spare: int) -> _Window:
        rows, columns = (
            slice(max(s.start - spare, 0), min(s.stop + spare, n)) for s, n in zip(box, shape, strict=True)
        )
        return cls(rows, columns)

    @property
    def fine_rows(self) -> slice:
        return slice(self.rows.start * FINE, self.rows.stop * FINE)

    @property
    def fine_columns(self) -> slice:
        return slice(self.columns.start * FINE, self.columns.stop * FINE)


def _share(
    values: NDArray[np.uint8], likeness: FloatArray, low: float, contrast: float | None = None
) -> tuple[FloatArray, float]:
    """How much of each pixel the figure covers by its grey, and the noise in that.

    Where the contrast is not known, it is what lays the blurred likeness of the whole figure best over the picture: a
    figure of thin parts only never shows its own grey.
    """
    above = values.astype(np.float64) - low
    if contrast is None:
        seen = likeness > 0.02
        contrast = float((above * likeness)[seen].sum() / max((likeness[seen] ** 2).sum(), 1e-9))
    share = above / max(contrast, 1.0)
    bare = likeness < 0.001
    steps = np.abs(np.diff(share, axis=1))[bare[:, 1:] & bare[:, :-1]]
    # White paper may be cut off at its noise's middle: nine tenths tell more of it than a half.
    noise = float(np.quantile(steps, 0.9)) / 1.645 / math.sqrt(2.0) if steps.size > 50 else 0.0
    return share, noise


def _best_blur(values: NDArray[np.uint8], as_traced: FloatArray, low: float, rough: float) -> float:
    """The sigma (px) that makes a blurred likeness of what was traced most like the picture."""
    from scipy.optimize import minimize_scalar

    plain = coarse(as_traced)

    def missed(sigma: float) -> float:
        likeness = gaussian_filter(plain, sigma, mode="nearest")
        share, _ = _share(values, likeness, low)
        return float(np.mean((share - likeness) ** 2))

    best = minimize_scalar(missed, bounds=(0.4, 2.5 * rough), method="bounded", options={"xatol": 0.03})
    return float(best.x)


def _sharpened(
    share: FloatArray, start: FloatArray, free: NDArray[np.bool_], sigma: float, price: float
) -> FloatArray:
    """Finer pixels (0..1) whose blurred likeness is `share`, near `start` where they are not `free`."""
    from scipy.optimize import minimize

    fixed = np.where(free, 0.0, start)
    first = gaussian_filter(start, FINE / 2)[free].clip(0.02, 0.98)

    def cost(phi: FloatArray) -> tuple[float, FloatArray]:
        inner = 1.0 / (1.0 + np.exp(-phi))
        u = fixed.copy()
        u[free] = inner
        missed = coarse(gaussian_filter(u, sigma * FINE, mode="nearest", truncate=3.0)) - share
        across = np.diff(u, axis=1, append=u[:, -1:])
        down = np.diff(u, axis=0, append=u[-1:])
        steep = np.sqrt(across * across + down * down + _SOFT**2)
        total = 0.5 * float((missed * missed).sum()) + price / FINE * float((steep - _SOFT).sum())
        back = np.repeat(np.repeat(missed, FINE, axis=0), FINE, axis=1) / FINE**2
        slope = gaussian_filter(back, sigma * FINE, mode="nearest", truncate=3.0)
        a, d = across / steep, down / steep
        a[:, 1:] -= a[:, :-1].copy()
        d[1:] -= d[:-1].copy()
        slope -= price / FINE * (a + d)
        return total, (slope[free] * inner * (1.0 - inner))

    best = minimize(
        cost,
        np.log(first / (1.0 - first)),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-_LIMIT, _LIMIT)] * len(first),
        options={"maxiter": _STEPS, "maxcor": 8},
    )
    out = start.copy()
    out[free] = 1.0 / (1.0 + np.exp(-best.x))
    return out
