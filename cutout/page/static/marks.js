// The signs that stand for things, one place for all: told apart by shape, then by words, and only last by colour.
// A triangle is for care, an octagon for what can't be cut: the same as on paper, from where the server takes them.
// A ring for what was mended is the page's own.

import { svg } from "./dom.js";

/** Path data of the signs, by name; there before anything is drawn. */
const SIGNS = /** @type {any} */ ({ cleared: "M-6 0a6 6 0 1 0 12 0a6 6 0 1 0 -12 0Z" });

export const takeSigns = (signs) => Object.assign(SIGNS, signs);

const MARKS = {
  stop: { name: "stop", word: "can't be cut like this" },
  care: { name: "care", word: "needs care" },
  cleared: { name: "cleared", word: "mended" },
};

export const sign = (name) => SIGNS[name];

export const kindOf = (found) => (found.cleared ? MARKS.cleared : MARKS[found.severity]);

/**
 * The sign of a finding or of a crowd of them; `flag` is its number, shown on a small flag with a leader to the sign.
 * @param {any} flag
 * @param {any} off from the sign to the flag's middle, pixels
 */
export function findingMark(found, count = 1, flag = null, chosen = false, off = OFF) {
  const parts = [svg("path", { d: sign(kindOf(found).name) })];
  if (chosen) parts.unshift(svg("circle", { r: 17, class: "spot" }));
  if (count > 1 && flag === null) parts.push(svg("text", { x: 9, y: 4.5 }, `×${count}`));
  if (flag !== null) parts.unshift(svg("line", { x2: off[0], y2: off[1], class: "leader" }), flagOf(String(flag), off));
  return parts;
}

const OFF = [24, -20];

/** Width of a flag (pixels) with so many figures on it. */
export const flagWide = (text) => 12 + 8 * String(text).length;

function flagOf(text, [x, y]) {
  const wide = flagWide(text);
  return svg("g", { class: "flag", transform: `translate(${x} ${y})` }, svg("rect", { x: -wide / 2, y: -9, width: wide, height: 18, rx: 3 }), svg("text", { y: 4.5 }, text));
}

/** The same sign as a picture of its own, for lists. */
export function listMark(found) {
  const mark = kindOf(found);
  return svg("svg", { class: `mark ${mark.name}`, viewBox: "-10 -10 20 20", width: 20, height: 20, "aria-hidden": "true" }, svg("path", { d: sign(mark.name) }));
}

/** What lies in the circle of a hole, by which of the drills makes it; `r` in the units it is drawn in. */
export const quarters = (r, drill = 0) =>
  svg("g", { class: "quarters", transform: `scale(${r})` }, svg("path", { class: "quarter", d: SIGNS.drill_areas[drill] }), svg("path", { class: "thin", d: SIGNS.drill_lines[drill] }));

/** A drill's sign as a picture of its own, for lists. */
export const drillMark = (drill) => svg("svg", { class: "drill-mark", viewBox: "-11 -11 22 22", width: 26, height: 26, "aria-hidden": "true" }, svg("circle", { r: 9, class: "size" }), quarters(9, drill));

/** A bridge: a tie with a short bar at each end; with a dot where it is one's own. */
export function bridgeMark(angle, found) {
  const d = SIGNS.bridge;
  const turn = `rotate(${-angle})`;
  return [
    svg("circle", { r: 16, class: "grip" }),
    svg("path", { d, transform: turn, class: "case" }),
    svg("path", { d, transform: turn }),
    svg("circle", { r: 4.5, class: found ? "found" : "own" }),
  ];
}

/** Entries of the legend: a small picture and what it means. */
export function legend() {
  const sample = (words, ...shapes) => [svg("svg", { class: "sample", viewBox: "-15 -15 30 30", width: 28, height: 28, "aria-hidden": "true" }, ...shapes), words];
  const mark = (name) => svg("g", { class: `mark ${name}` }, svg("path", { d: sign(name), transform: "scale(1.5)" }));
  const area = (fill) => svg("rect", { x: -14, y: -12, width: 28, height: 24, class: fill });
  return [
    sample("octagon: can't be cut, would drop out or would break", svg("g", {}, markSvg(mark("stop")))),
    sample("triangle: can be cut, with the care the finding says", svg("g", {}, markSvg(mark("care")))),
    sample("ring: mended", svg("g", {}, markSvg(mark("cleared")))),
    sample("lines along the grain: wood that stays", area("wood-sample")),
    sample("plain tint: cut away", area("waste-sample")),
    sample("tie with two bars: a bridge left standing; with a dot: placed by hand", svg("path", { class: "line", d: SIGNS.bridge })),
    sample("circle with quarters filled: a hole to drill; which quarters says with which drill", svg("circle", { r: 9, class: "line" }), quarters(9)),
    sample("dotted edge: a place to keep clear, or what lies behind the frame's lip", area("zone-sample")),
    sample("disc with a letter: a step of the plan; its arrow is where the blade goes off", svg("circle", { r: 11, class: "start" }), svg("text", { y: 5 }, "A")),
  ];
}

/** A mark inside a sample is coloured as in lists. */
function markSvg(mark) {
  return svg("svg", { class: mark.getAttribute("class"), x: -15, y: -15, width: 30, height: 30, viewBox: "-15 -15 30 30" }, ...mark.children);
}
