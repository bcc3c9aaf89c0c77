"""How sharply a photograph shows the card: its blur, by the marks, whose print is known to the last cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.special import ndtr

from cutout.gauge.camera import Camera
from cutout.gauge.card import MARK, RIM, card_numbered, cells, mark_boxes, word
from cutout.gauge.light import Light
from cutout.gauge.marks import Found, Mark, sample
from cutout.geom.curve import FloatArray

_ROUND = 2.5
"""Paper round a mark (mm) that is looked at with it: nothing else is printed there."""
_FINE = 0.17
"""Distance between the places a mark is looked at (mm): no part of a cell, so that edges are met all over."""
_SHARPEST, _SOFTEST = 0.3, 20.0
"""Sigmas of blur (px) between which a picture's is looked for."""
_FULL = 0.97
"""Light (0..1) above which a place is blown out and tells nothing."""
_CLEAR = 0.7
"""Share of those places that must not be."""
_PALE = 0.67
"""Ink that is not darker than so much of the paper is lost in glare."""
_LEAST_SURE = 0.04
"""Share the blur may be off by even where the marks agree; from simulated photographs."""
_SHAPED = 2.0
"""Sigma of blur (px) from which its shape can be told: below it, pixels and noise decide."""
_DISCS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.97)
"""Shares of disc in a blur that are tried."""
_NODES = np.pi * np.arange(1, 17) / 17
_CHORDS, _WEIGHTS = np.cos(_NODES), 2 / 17 * np.sin(_NODES) ** 2
"""Gauss-Chebyshev quadrature of the second kind: the chords of a disc weigh sqrt(1 - x^2)."""
_USUAL = 1.0
"""Sigma of blur (px) where no mark tells it, and the share it may then be off by."""


@dataclass(frozen=True)
class Blur:
    """How an edge is blurred: a disc, which a lens out of focus makes of a point, and a Gaussian over it.

    sigma: of both together (px); sure: by what share it may be off (two sigma); disc: share of the disc in sigma, 0 a
    Gaussian alone. (A disc of radius R has the sigma R / 2 along any line.)
    """

    sigma: float
    sure: float
    disc: float

    def edge(self, x: FloatArray) -> FloatArray:
        """Light (0..1) at places x (n,), in sigmas beyond a straight edge."""
        if self.disc == 0.0:
            return np.asarray(ndtr(x))
        rest = np.sqrt(1 - self.disc**2)
        return np.asarray(ndtr((x[..., None] - 2 * self.disc * _CHORDS) / rest) @ _WEIGHTS)


@dataclass(frozen=True)
class Sight:
    """How well the picture shows the card: its blur, size of a pixel (mm) on average, ink over paper."""

    blur: Blur
    pixel: float
    ink: float


def sight(light: Light, found: Found) -> Sight:
    """Blur and scale from the marks, which are sharp on paper."""
    camera = found.fitted.camera
    centre = np.array([[93.0, 125.0], [30.0, 40.0], [156.0, 40.0], [156.0, 210.0], [30.0, 210.0]])
    pixel = float(np.mean(camera.mm_per_pixel(centre)))
    views = [v for m in found.marks if (v := _view(light, camera, m)) is not None]
    dark = [(v, t) for v in views if (t := _told(v, 0.0)).ink < _PALE]
    if not dark:
        return Sight(Blur(_USUAL, _USUAL, 0.0), pixel, 0.05)
    disc, told = 0.0, [t for _, t in dark]
    if np.median([t.sigma for t in told]) > _SHAPED:
        tried = [(share, [_told(v, share) for v, _ in dark]) for share in _DISCS]
        disc, told = min(tried, key=lambda one: sum(t.left for t in one[1]))
    sigmas = np.array([t.sigma for t in told])
    sigma = float(np.median(sigmas))
    # A lens is not as sharp in every corner: what lies between them may be as sharp as any.
    apart = float(np.abs(sigmas - sigma).max()) / sigma
    return Sight(Blur(sigma, max(apart, _LEAST_SURE), disc), pixel, float(np.median([t.ink for t in told])))


@dataclass(frozen=True)
class _View:
    """A mark as the picture shows it: light at the places (n, n) `t` mm across and up it, which of them tell
    anything, its cells, and how far (mm) a pixel's blur reaches across and up."""

    t: FloatArray
    light: FloatArray
    clear: NDArray[np.bool_]
    cells: int
    wide: float
    high: float


@dataclass(frozen=True)
class _Told:
    """What one mark tells: sigma of the blur (px), ink over paper, what is left over (mean square, of paper)."""

    sigma: float
    ink: float
    left: float


def _view(light: Light, camera: Camera, mark: Mark) -> _View | None:
    """One mark, or None where the picture is blown out."""
    x0, y0, _, _ = mark_boxes()[mark.corner]
    t = np.arange(-_ROUND, MARK + _ROUND + 1e-9, _FINE)
    places = np.stack(np.meshgrid(x0 + t, y0 + t), axis=-1)
    values = sample(light, camera.pixels(places))
    clear = values < _FULL
    if clear.mean() < _CLEAR:
        return None
    middle = np.array([[x0 + MARK / 2, y0 + MARK / 2]])
    wide, high = (float(camera.reach(middle, np.array([way]))[0]) for way in ((1.0, 0.0), (0.0, 1.0)))
    return _View(t, values, clear, word(card_numbered(mark.number), mark.corner), wide, high)


def _told(view: _View, disc: float) -> _Told:
    """Blur and ink by one mark.

    The mark as printed, blurred, is held against the picture: for each blur the light of paper and ink, both of
    which may slope, and a shift are fitted by least squares, and the blur that leaves least is taken.
    """
    x, y = np.meshgrid(*[(view.t - MARK / 2) / MARK] * 2)
    seen = view.light[view.clear]

    def fitted(size: float) -> tuple[float, FloatArray]:
        sigma = float(np.exp(size))
        ink = _printed(view, sigma, disc)
        up, across = np.gradient(ink, _FINE)
        terms = np.stack([np.ones_like(ink), x, y, ink, ink * x, ink * y, across, up])[:, view.clear]
        fit = np.linalg.solve(terms @ terms.T + 1e-9 * np.eye(8), terms @ seen)
        return float(((fit @ terms - seen) ** 2).mean()), fit

    best = minimize_scalar(
        lambda size: fitted(size)[0],
        bounds=(np.log(_SHARPEST), np.log(_SOFTEST)),
        method="bounded",
        options={"xatol": 2e-3},
    )
    left, fit = fitted(float(best.x))
    paper = max(float(fit[0]), 1e-6)
    return _Told(float(np.exp(best.x)), max(float(fit[0] + fit[3]) / paper, 0.0), left / paper**2)


def _printed(view: _View, sigma: float, disc: float) -> FloatArray:
    """Ink (0 none .. 1) of a mark at the places of a view, (n, n) with rows upwards, blurred by `sigma` (px)."""
    blur, cell = Blur(sigma, 0.0, disc), (MARK - 2 * RIM) / 4
    lines = RIM + cell * np.arange(5)
    edges = np.concatenate([[0.0], lines, [MARK]])
    past_x, past_y = (
        blur.edge((view.t[None, :] - edges[:, None]) / (sigma * w)) for w in (view.wide, view.high)
    )
    across, up = past_x[:-1] - past_x[1:], past_y[:-1] - past_y[1:]
    # The rim is black all round; row 0 of the cells is the top one.
    black = np.ones((6, 6))
    black[1:-1, 1:-1] = cells(view.cells)[::-1]
    return np.asarray(up.T @ black @ across)
