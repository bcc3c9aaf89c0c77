"""One arc of the ladder: whether the saw followed it, and what radius it really sawed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import uniform_filter1d
from scipy.optimize import least_squares

from cutout.gauge.card import Cut, Trail, arc_spans, sweep
from cutout.gauge.light import Light
from cutout.gauge.marks import Found
from cutout.gauge.sight import Sight
from cutout.gauge.slot import STEP, Slot, read_slot
from cutout.geom.curve import ComplexArray, FloatArray, run_length, to_array
from cutout.geom.robust import sigma_of

ALLOWANCE = 0.5
"""How far (mm) the slot's middle may stray from an arc that counts as followed: common practice, no source."""
_SEEN, _BLIND = 0.9, 0.5
"""Shares of an arc's stations that must have a slot to count as sawn, and below which it can't be told."""
_STRAIGHT = 3.0
"""Straight lines (mm) before and after the arcs by which a blade's stray is worked out."""
WIDER = 1.15
"""An arc sawn with more than this times its radius was not followed, however little room that takes."""
_NEAR = 0.07
"""Nearer to that than this it is a near thing, whatever the edges' noise says: a hand that wanders within one small
arc bends it by as much. By trial: one simulated photograph in 200 was read wrong by .054."""
_SLOT_WIDER = 1.35
"""A slot this many times the kerf was widened by force."""
_TRIM = 0.06
"""Share of an arc left out at its ends, where the curvature changes."""


@dataclass(frozen=True)
class Rung:
    """An arc of the ladder. radius: as drawn; sawn: as sawn (mm), `sure` within so much; stray: the furthest the
    slot's middle lies off its line but for the hand's bias (95 of 100 stations); followed: None where it can't be
    told; slip: the curve was right and only its place was not, which a hand does and a blade does not; doubtful: it
    strays by so nearly the limit that it may as well be the other way. why: a sentence with `{}` for each of
    `lengths` (mm)."""

    radius: float
    slot: Slot
    sawn: float | None
    sure: float
    stray: float | None
    followed: bool | None
    why: str = ""
    lengths: tuple[float, ...] = ()
    slip: bool = False
    doubtful: bool = False


def read_rung(
    light: Light,
    found: Found,
    see: Sight,
    cut: Cut,
    kerf: float | None,
    bias: float,
    wander: float,
    allowance: float,
) -> Rung:
    """Look at one arc. kerf, bias, wander: of the straight slots (mm)."""
    return judged(cut, read_slot(light, found, see, cut.trails[0]), kerf, bias, wander, allowance)


def judged(cut: Cut, slot: Slot, kerf: float | None, bias: float, wander: float, allowance: float) -> Rung:
    """Whether an arc was followed and what radius was sawn, from its slot."""
    spans = arc_spans(cut.radius)
    here = slot.between(spans[0][0], spans[1][1])
    share = float(slot.seen[here].mean())
    unreadable = slot.glare + slot.dark
    if unreadable > 0.2 * len(slot.s):
        why = "glare: the paper is blown out there." if slot.glare >= slot.dark else "too dark to tell."
        return Rung(cut.radius, slot, None, 0.0, None, None, why)
    if kerf is None:
        return Rung(cut.radius, slot, None, 0.0, None, None, "without the kerf no arc can be judged.")
    lead = slot.between(2.0, spans[0][0] - 1.0)
    if slot.seen[lead].mean() < _BLIND and share < _BLIND:
        return Rung(cut.radius, slot, None, 0.0, None, None, "not sawn, or its edges can't be told.")
    if share < _SEEN:
        why = f"the slot leaves its line: only {100 * share:.0f} % of it is within {{}} or so of the arc."
        return Rung(cut.radius, slot, None, 0.0, None, False, why, (allowance,))
    arc = here & slot.seen
    stray = float(np.percentile(np.abs(_calmed(slot.middle[arc]) - bias), 95))
    halves = [_fit_radius(slot, low, high) for low, high in spans]
    free = float(np.mean([r for r, _ in halves])), math.hypot(*(s for _, s in halves)) / 2
    sawn, sure = min(free, _led_in(slot, *spans[0]), key=lambda found: found[1])
    width = float(np.median(slot.width[arc]))
    told = math.isfinite(sawn) and sure <= 0.3 * sawn
    if not told and stray_of(cut.radius, WIDER) > allowance:
        why = "its curve can't be told from the edges' noise."
        return Rung(cut.radius, slot, None, 0.0, stray, None, why)
    wider, unsure = _how_wide(cut.radius, stray, math.hypot(wander / 2, _noise(slot)), sawn, sure / 2, told)
    # A blade that can't follow a small arc leaves it by less than the allowance.
    small = stray_of(cut.radius, WIDER) < allowance
    if not told:
        sawn, sure = cut.radius * wider, 2 * cut.radius * unsure
    forced = width > _SLOT_WIDER * kerf
    wide = wider > WIDER if small else sawn - sure > WIDER * cut.radius
    lengths: tuple[float, ...]
    if stray > allowance:
        why, lengths = "the slot strays {} from its line.", (stray,)
    elif wide:
        why, lengths = "it was sawn with a radius of {}.", (cut.radius * wider if small else sawn,)
    elif forced:
        why, lengths = "the slot is {} wide there: the blade was forced.", (width,)
    else:
        why, lengths = "", ()
    slip = stray > allowance and not wide and not forced
    doubtful = small and abs(wider - WIDER) < max(2 * unsure, _NEAR)
    return Rung(cut.radius, slot, sawn, sure, stray, not why, why, lengths, slip, doubtful)


def _how_wide(
    radius: float, stray: float, noise: float, sawn: float, unsure: float, told: bool
) -> tuple[float, float]:
    """How many times its radius an arc was sawn, and one sigma of that: by how far the slot strays, and, where it is
    `told`, by its curve, each by how sure it is."""
    slope = stray_of(radius, WIDER) / (WIDER - 1)
    by_stray, sigma = 1 + stray / slope, noise / slope
    if not told:
        return by_stray, sigma
    weights = 1 / max(sigma, 1e-6) ** 2, (radius / max(unsure, 1e-6)) ** 2
    mean = (weights[0] * by_stray + weights[1] * sawn / radius) / sum(weights)
    return mean, 1 / math.sqrt(sum(weights))


def stray_of(radius: float, wider: float) -> float:
    """How far (mm) from an arc of the ladder a blade goes that turns `wider` times its radius for the same length,
    first one way and then the other: 95 of 100 places are nearer."""
    low, half = _STRAIGHT, radius * sweep(radius)
    drawn, sawn = (
        Trail(0j, 0.0, ((low, 0.0), (half, 1 / r), (half, -1 / r), (low, 0.0)))
        for r in (radius, radius * wider)
    )
    places = to_array(sawn.at(np.linspace(low, low + 2 * half, 200))[0])
    away = shapely.distance(shapely.LineString(drawn.points(0.02)), shapely.points(places))
    return float(np.percentile(away, 95))


def _calmed(values: FloatArray) -> FloatArray:
    """Means over three stations, so that a single torn one counts less."""
    return np.asarray(uniform_filter1d(values, 3, mode="nearest"))


def _noise(slot: Slot) -> float:
    """Sigma (mm) by which one station is off for itself, from how the stations jump."""
    middle = slot.middle[slot.seen]
    if len(middle) < 8:
        return 0.0
    # Second differences of independent values have six times their variance; a curve's are next to nothing.
    jumps = np.diff(middle, 2)
    return sigma_of(jumps) / math.sqrt(6)


def _fit_radius(slot: Slot, low: float, high: float) -> tuple[float, float]:
    """Radius of the circle nearest to the slot's middle between two arc lengths, and its two-sigma error (mm)."""
    trim = _TRIM * (high - low)
    here = slot.between(low + trim, high - trim) & slot.seen
    if here.sum() < 4:
        return math.nan, math.inf
    return circle(slot.places()[here], _noise(slot))


def _led_in(slot: Slot, low: float, high: float) -> tuple[float, float]:
    """Radius of the arc that leaves the lead-in as its tangent and comes nearest to the slot's middle up to `high`,
    and its two-sigma error (mm).

    How far a short arc has swung out at its end says far more of its radius than its own bend does.
    """
    here = slot.between(2.0, high) & slot.seen
    after = slot.s[here] > low
    if after.sum() < 3 or (~after).sum() < 8:
        return math.nan, math.inf
    start, way = slot.trail.at(np.array([low]))
    bend = math.copysign(1.0, slot.trail.runs[1][1])
    w = (slot.places()[here] - start[0]) * np.conj(way[0])
    w = w.real + 1j * bend * w.imag
    scale = high - low

    def off(p: np.ndarray) -> np.ndarray:
        aside, turned, curvature = p
        u = (w / scale - 1j * aside) * np.exp(-1j * turned)
        # Distance to a circle of this curvature that touches 0 along +x, exact also where curvature is nought.
        a = np.abs(1 + 1j * curvature * u)
        return np.asarray(np.where(after, (2 * u.imag - curvature * np.abs(u) ** 2) / (1 + a), u.imag))

    found = least_squares(off, np.array([0.0, 0.0, scale * abs(slot.trail.runs[1][1])]))
    curvature = float(found.x[2])
    if curvature < 1e-6:
        return math.inf, math.inf
    jacobian = np.asarray(found.jac, dtype=float)
    spread = _spread(off(found.x), _noise(slot) / scale)
    variance = float(np.linalg.pinv(jacobian.T @ jacobian)[2, 2])
    radius, sure = _with_error(scale, curvature, spread, variance, scale)
    # A hand that keeps to one side of its line saws a parallel to the arc it follows.
    return radius + scale * float(found.x[0]), sure


def _spread(left: FloatArray, noise: float) -> float:
    """Sigma of one place, from what a fit of three numbers leaves at all of them (n,), and `noise` at least."""
    return max(math.sqrt(float((left**2).sum()) / max(len(left) - 3, 1)), noise)


def _with_error(
    scale: float, curvature: float, spread: float, variance: float, length: float
) -> tuple[float, float]:
    """A radius (mm) and its two-sigma error, from a fit in units of `scale` over `length` mm."""
    # Neighbouring stations share the hand's stray, in long arcs over several millimetres: so many of them are one.
    shared = min(max(2.0, length / 2), 12.0) / STEP
    error = 2 * spread * math.sqrt(max(variance, 0.0)) * math.sqrt(shared)
    return scale / curvature, scale / curvature * min(error / curvature, 10.0)


def circle(z: ComplexArray, noise: float = 0.0) -> tuple[float, float]:
    """Radius of the circle nearest to places (n,), by least squares of distances, and its two-sigma error.

    noise: sigma by which each place is off at least, however well a few of them happen to lie on a circle.
    """
    middle = z.mean()
    scale = float(np.abs(z - middle).max())
    u = (z - middle) / scale
    # A circle through a short arc is found from its curvature, not from a centre far away:
    # q (|u|^2) + Re(conj(b) u) + c = 0 with |b|^2 - 4 q c = 1 (Pratt's normalisation keeps straight lines possible).
    chord = u[-1] - u[0]
    tilt = math.atan2(chord.imag, chord.real) + math.pi / 2
    side = ((u - u[0]) * np.exp(-1j * tilt)).real
    bend = 8 * float(np.median(side[len(side) // 3 : -len(side) // 3 or None])) / max(abs(chord) ** 2, 1e-9)

    def off(p: np.ndarray) -> np.ndarray:
        angle, distance, curvature = p
        w = u * np.exp(-1j * angle) - distance
        # Distance to the circle of this curvature that touches 0 across +x, exact also where curvature is nought.
        a = np.abs(1 - curvature * w)
        return np.asarray((2 * w.real - curvature * np.abs(w) ** 2) / (1 + a))

    start = np.array([tilt, float((u * np.exp(-1j * tilt)).real.mean()), -bend])
    fits = [least_squares(off, start * np.array([1, 1, s])) for s in (1.0, -1.0)]
    found = min(fits, key=lambda f: f.cost)
    curvature = abs(float(found.x[2]))
    if curvature < 1e-6:
        return math.inf, math.inf
    jacobian = np.asarray(found.jac, dtype=float)
    variance = float(np.linalg.pinv(jacobian.T @ jacobian)[2, 2])
    spread = _spread(off(found.x), noise / scale)
    return _with_error(scale, curvature, spread, variance, run_length(z))
