"""What a photograph of the sawn card says of a saw and the hand that led it, and how sure it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cutout.gauge.card import SCRAP, Cut, cuts
from cutout.gauge.corner import CornerCut, read_corner
from cutout.gauge.light import Light
from cutout.gauge.marks import CORNERS, Found, find_card
from cutout.gauge.rung import ALLOWANCE, WIDER, Rung, read_rung
from cutout.gauge.sheet import PrintScale, print_scale
from cutout.gauge.sight import Blur, Sight, sight
from cutout.gauge.slot import STEP, Slot, read_slot, share_at_peak
from cutout.geom.curve import FloatArray
from cutout.geom.robust import sigma_of

_TORN = 0.25
"""Share of a slot's stations far off the others beyond which its edges are called torn."""
_RESOLVED, _BENT = 2.0, 2.6
"""A slot's width is told from its blur when it is at least so many sigmas of it wide, and arcs are judged by it; from
simulated photographs."""
_USUAL_KERF = 0.5
"""A picture that shows no slot of this width (mm) may hide a fine saw's: the finest blade shipped takes 0.42."""
_TEAR = 0.6
"""Edges this far apart (mm) are torn independently: what averages out goes by it."""
_PIXEL_SURE = 0.12
"""Share of a pixel an edge is off for reasons that don't average out, such as a wall seen on one side; from simulated
photographs."""
_MOVED = 0.25
"""A fit that leaves so much (mm) means paper that moved."""
_SOFT = 4.0
"""Sigma of blur (px) beyond which a picture is out of focus."""
_TEAR_LONG = 0.15
"""Tears of an edge are alike over so much (mm) of it: as the simulated photographs have them, no source."""


@dataclass(frozen=True)
class Value:
    """A measured length in mm, what it may be off by (two sigma), and its spread from place to place (one sigma)."""

    value: float
    sure: float
    spread: float = 0.0


@dataclass(frozen=True)
class Unread:
    """What could not be read, and why: both may hold `{}`, one for each of `lengths` (mm)."""

    what: str
    why: str
    lengths: tuple[float, ...] = ()


@dataclass(frozen=True)
class Reading:
    """All that a photograph of a card says; lengths in mm.

    kerf: along and across the grain together, then each. bias: middle of the slot to the right of its line, seen
    in the direction sawn. wander: how far it strays to either side of that, 19 times out of 20. radius: of the
    tightest arc followed with every larger one; ladder_done: whether the next tighter arc, if any, was not seen to
    fail. feed: mm a minute."""

    card: str
    found: Found
    see: Sight
    scale: PrintScale
    slots: tuple[Slot, ...]
    rungs: tuple[Rung, ...]
    corners: tuple[CornerCut, ...]
    kerf: Value | None
    kerf_along: Value | None
    kerf_across: Value | None
    bias: Value | None
    wander: float | None
    radius: Value | None
    ladder_done: bool
    allowance: float
    feed: float | None
    unread: tuple[Unread, ...]

    @property
    def advised(self) -> float | None:
        """Allowance (mm) that covers the hand's bias and wander, rounded up to a tenth."""
        if self.bias is None or self.wander is None:
            return None
        return math.ceil((abs(self.bias.value) + self.wander) * 10 - 1e-9) / 10


def read_card(
    light: Light,
    name: str,
    minutes: float | None = None,
    square: tuple[float, float] | None = None,
    allowance: float = ALLOWANCE,
) -> Reading:
    """Measure the card in a photograph.

    minutes: what all of it took to saw. square: the check square as measured on the print (mm), wide and high;
    without it the paper's own edges tell the print scale where they are seen. allowance: how far (mm) the slot of
    an arc may stray. Raises ReadError where there is no whole card in the picture or the picture is out of focus.
    """
    found = find_card(light, name)
    see = sight(light, found)
    scale = print_scale(light, found, square)
    unread = [*_doubts(found, see)]
    lines = cuts(found.card.ladder)
    straight = {
        c.kind: read_slot(light, found, see, c.trails[0]) for c in lines if c.kind in ("along", "across")
    }
    width: dict[str, Value | None] = {}
    for kind, slot in straight.items():
        value, why = _kerf(slot, see, f"kerf {kind} the grain")
        width[kind] = (
            None
            if value is None
            else _scaled(value, scale.wide if kind == "along" else scale.high, scale.sure)
        )
        if why:
            unread.append(why)
    along, across = width["along"], width["across"]
    kerf = _both(along, across)
    # The arcs run every way: one direction in which the slot is too fine to be seen is enough to misjudge them.
    unjudged = "without the kerf along and across no arc can be judged."
    if kerf is not None:
        unjudged = f"the slots are too fine in this picture for arcs to be judged: {_again(see)}"
    judge = None if any(_too_fine(slot, _BENT) for slot in straight.values()) else kerf
    good = [s for k, s in straight.items() if width[k] is not None]
    bias, wander = _hand(good, see)
    rungs = tuple(
        read_rung(
            light,
            found,
            see,
            cut,
            judge.value if judge else None,
            bias.value if bias else 0.0,
            wander or 0.0,
            allowance,
        )
        for cut in lines
        if cut.kind == "arc"
    )
    radius, whole = _radius(rungs, scale, judge, unjudged, unread)
    bent = [cut for cut in lines if cut.kind in ("turned", "met")]
    corners = tuple(read_corner(light, found, see, cut) for cut in bent) if kerf else ()
    unread += [Unread(_corner_name(c.kind), c.why) for c in corners if c.why]
    feed = None
    if minutes is not None:
        feed = _sawn([*straight.values()], rungs, corners, lines) / minutes
    return Reading(
        found.card.title,
        found,
        see,
        scale,
        tuple(straight.values()),
        rungs,
        corners,
        kerf,
        along,
        across,
        bias,
        wander,
        radius,
        whole,
        allowance,
        feed,
        tuple(unread),
    )


def _doubts(found: Found, see: Sight) -> list[Unread]:
    """What makes everything read from this picture less sure."""
    doubts = []
    off = found.fitted.rms * see.pixel
    if off > _MOVED:
        doubts.append(
            Unread(
                "flatness",
                "the dots lie {} off where they belong: the paper has moved, or is not flat.",
                (off,),
            )
        )
    doubts += [
        Unread(
            f"{place} mark", "not seen: glare, or something lies on it. What is near it is told by the dots."
        )
        for corner, place in enumerate(CORNERS)
        if all(mark.corner != corner for mark in found.marks)
    ]
    if see.blur.sigma > _SOFT:
        doubts.append(
            Unread(
                "sharpness",
                "edges are blurred over {}, and all values are less sure: take it again in focus, held still.",
                (2 * see.blur.sigma * see.pixel,),
            )
        )
    return doubts


def inner(slot: Slot) -> np.ndarray:
    """Stations away from the scrap's edge, where saws splinter, and from the slot's end."""
    return slot.between(SCRAP + 5.0, slot.trail.length - 4.0)


def _why_not(slot: Slot, here: np.ndarray, see: Sight, what: str) -> Unread:
    """Why a slot was not read where it should be."""
    n = max(int(here.sum()), 1)
    if slot.glare > 0.2 * len(slot.s):
        return Unread(what, "glare, or too bright a picture: the paper is blown out there.")
    if slot.dark > 0.2 * len(slot.s):
        return Unread(what, "too dark to tell.")
    if _RESOLVED * slot.blur > _USUAL_KERF:
        why = f"no slot there, or one under {{}}, which this picture, with its blur, does not show: {_again(see)}"
        return Unread(what, why, (_RESOLVED * slot.blur,))
    if slot.seen[here].sum() < 0.1 * n:
        return Unread(
            what, "no slot there: not sawn, or the light shows through it (lay the card on something dark)."
        )
    share = 100 * slot.seen[here].sum() / n
    return Unread(what, f"only {share:.0f} % of it can be told: torn, covered, or not sawn to its end.")


def _again(see: Sight) -> str:
    """What to do about a picture that shows too little."""
    return "take it again " + ("in focus." if see.blur.sigma > _SOFT else "nearer, or with more pixels.")


def _kerf(slot: Slot, see: Sight, what: str) -> tuple[Value | None, Unread | None]:
    """The slot's width, or why it, which is called `what`, is not known. Torn places are left out, and counted."""
    here = inner(slot)
    seen = here & slot.seen
    if seen.sum() < 0.6 * here.sum():
        return None, _why_not(slot, here, see, what)
    width = slot.width[seen]
    middle = float(np.median(width))
    mad = sigma_of(width - middle)
    near = np.abs(width - middle) < 4 * max(mad, 0.03)
    if near.mean() < 1 - _TORN:
        return None, Unread(what, "the edges of the slot are too torn.")
    if _too_fine(slot, _RESOLVED):
        why = "the slot is about {} wide, and this picture, with its blur, shows nothing under {} for sure: "
        return None, Unread(what, why + _again(see), (middle, _RESOLVED * slot.blur))
    value = float(np.median(width[near]))
    spread = float(np.std(width[near]))
    chance = 2 * spread / math.sqrt(max(near.sum() * STEP / _TEAR, 1.0))
    # A slot hardly wider than the blur leans on how well the blur is known. Tears finer than the blur add to it: how
    # torn its edges are is seen by their spread, less what the blur smoothes along them.
    share = leaning(value / slot.blur, see.blur)
    # A narrow slot's width wavers more than its edges do, for it leans on its middle's darkness too.
    edge = spread / math.sqrt(2) / (1 + share / 2)
    torn = edge**2 * math.hypot(1.0, slot.blur / _TEAR_LONG) / (2 * slot.blur**2)
    lean = value * share
    sure = math.hypot(chance, 2 * _PIXEL_SURE * see.pixel, lean * see.blur.sure, lean * torn)
    return Value(value - lean * torn, sure, spread), None


def leaning(ratio: float, blur: Blur) -> float:
    """By what share the width of a slot, `ratio` sigmas of blur wide, is off where the blur is taken wrong, as a
    multiple of the blur's own share.

    Area over peak is w / F(w / sigma), F the share of its darkness left in the middle: held still,
    d ln w = -q / (1 - q) d ln sigma with q = d ln F / d ln (w / sigma).
    """
    step = 0.01
    low, high = (share_at_peak(ratio * f, blur) for f in (1 - step, 1 + step))
    q = math.log(high / low) / math.log((1 + step) / (1 - step))
    return q / max(1 - q, 1e-9)


def _scaled(value: Value, scale: float, sure: float) -> Value:
    return Value(
        value.value * scale, math.hypot(value.sure * scale, value.value * sure), value.spread * scale
    )


def _too_fine(slot: Slot, sigmas: float) -> bool:
    """Whether a slot is not so many sigmas of the picture's blur wide."""
    seen = inner(slot) & slot.seen
    return bool(seen.any()) and float(np.median(slot.width[seen])) < sigmas * slot.blur


def _both(along: Value | None, across: Value | None) -> Value | None:
    """Along and across the grain together: their mean, or the one there is."""
    known = [v for v in (along, across) if v is not None]
    if not known:
        return None
    mean = float(np.mean([v.value for v in known]))
    # What is off for one reason is off for both: it does not average out.
    return Value(mean, max(v.sure for v in known), float(np.hypot(*(np.mean([v.spread for v in known]), 0))))


def _hand(slots: list[Slot], see: Sight) -> tuple[Value | None, float | None]:
    """Bias from the line, and wander about it: tears smoothed away, each slot about its own mean."""
    if not slots:
        return None, None
    means, strays, lengths = [], [], 0.0
    for slot in slots:
        here = inner(slot) & slot.seen
        off = smooth(slot.middle[here], round(2.0 / STEP))
        means.append(float(np.mean(off)))
        strays.append(off - means[-1])
        lengths += float(here.sum()) * STEP
    stray = np.concatenate(strays)
    spread = float(np.std(stray))
    # A hand strays over about a centimetre: so many centimetres are so many tries.
    chance = 2 * spread / math.sqrt(max(lengths / 10.0, 1.0))
    return (
        Value(float(np.mean(means)), math.hypot(chance, 2 * _PIXEL_SURE * see.pixel), spread),
        float(np.percentile(np.abs(stray), 95)),
    )


def smooth(values: FloatArray, n: int) -> FloatArray:
    """Running means of n values (odd or even), as many as there are values."""
    if len(values) < 3 or n < 2:
        return values
    kernel = np.ones(min(n, len(values)))
    return np.convolve(values, kernel, "same") / np.convolve(np.ones(len(values)), kernel, "same")


def _radius(
    rungs: tuple[Rung, ...], scale: PrintScale, kerf: Value | None, unjudged: str, unread: list[Unread]
) -> tuple[Value | None, bool]:
    """The tightest arc followed before the blade gave up; whether the next tighter one was not seen
    to fail, so that the saw may turn tighter still.

    A single slip of the hand, followed by a tighter arc that was sawn well, does not count against the blade; nor
    does a slot that was lost from view. Its radius is the drawn one unless it was sawn wider for sure. unjudged: why
    there is no kerf to judge by, if so.
    """
    if kerf is None:
        unread.append(Unread("turning radius", unjudged))
        return None, False
    rungs = tuple(replace(r, followed=None) if _lost(r, rungs[k + 1 :]) else r for k, r in enumerate(rungs))
    unread += [Unread("arc of {}", r.why, (r.radius, *r.lengths)) for r in rungs if r.followed is None]
    readable = [r for r in rungs if r.followed is not None]
    best: Rung | None = None
    for k, rung in enumerate(readable):
        after = readable[k + 1].followed if k + 1 < len(readable) else False
        if not rung.followed and not (rung.slip and after):
            break
        best = rung if rung.followed else best
    if best is None or best.sawn is None:
        if readable:
            first = readable[0]
            why = f"not even the arc of {{}} was followed: {first.why}"
            unread.append(Unread("turning radius", why, (first.radius, *first.lengths)))
        return None, False
    tighter = rungs[rungs.index(best) + 1 :]
    open_end = not tighter or tighter[0].followed is None
    wider = best.sawn - best.sure > best.radius
    sawn, sure = (best.sawn, best.sure) if wider else (best.radius, 0.02 * best.radius)
    if not wider and best.sawn + best.sure > WIDER * best.radius:
        # It may have been too tight for the blade: then the blade turns as tight as the arc was sawn.
        sure = best.sawn + best.sure - best.radius
    if tighter and tighter[0].doubtful and tighter[0].followed is False:
        # It may have been followed after all.
        sure = max(sure, sawn - tighter[0].radius)
    if best.doubtful and best is not rungs[0]:
        # It may not have been: then the one before it was the last.
        sure = max(sure, rungs[rungs.index(best) - 1].radius - sawn)
    factor = math.sqrt(scale.wide * scale.high)
    # What is drawn is known; what is not is whether a blade that took this arc would take a slightly tighter one.
    return Value(sawn * factor, math.hypot(sure, sawn * scale.sure)), open_end


def _lost(rung: Rung, tighter: Sequence[Rung]) -> bool:
    """Whether an arc's slot was lost from view, as glare or a scrap of paper makes it, rather than the blade's fault:
    the next arc whose slot could be followed by eye was sawn as tight as it is drawn."""
    after = next((r for r in tighter if r.stray is not None), None)
    if rung.followed or rung.stray is not None or after is None or after.sawn is None:
        return False
    return bool(after.followed) and not after.doubtful and after.sawn + after.sure < WIDER * after.radius


def _sawn(
    slots: list[Slot], rungs: tuple[Rung, ...], corners: tuple[CornerCut, ...], lines: tuple[Cut, ...]
) -> float:
    """Length sawn (mm): stations with a slot, and the corners whole where they were read."""
    length = sum(float(s.seen.sum()) * STEP for s in (*slots, *(r.slot for r in rungs)))
    whole = {c.kind: sum(t.length for t in c.trails) for c in lines}
    return length + sum(whole[c.kind] for c in corners if not c.why)


def _corner_name(kind: str) -> str:
    return {"turned": "the corner turned on the spot", "met": "the corner sawn from both sides"}[kind]
