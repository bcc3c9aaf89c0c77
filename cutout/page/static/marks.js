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

/** The sign of a finding or of a crowd of them; `flag` is its number, shown beside it on a small flag. */
export function findingMark(found, count = 1, flag = null, chosen = false) {
  const parts = [svg("path", { d: sign(kindOf(found).name) })];
  if (chosen) parts.unshift(svg("circle", { r: 17, class: "spot" }));
  if (count > 1) parts.push(svg("text", { x: 9, y: 4.5 }, `×${count}`));
  if (flag !== null) parts.push(flagOf(String(flag)));
  return parts;
}

function flagOf(text) {
  const wide = 12 + 8 * text.length;
  return svg("g", { class: "flag", transform: "translate(10 -22)" }, svg("rect", { width: wide, height: 18, rx: 3 }), svg("text", { x: wide / 2, y: 13.5 }, text));
}

/** The same sign as a picture of its own, for lists. */
export function listMark(found) {
  const mark = kindOf(found);
  return svg("svg", { class: `mark ${mark.name}`, viewBox: "-10 -10 20 20", width: 20, height: 20, "aria-hidden": "true" }, svg("path", { d: sign(mark.name) }));
}

/** A hole to drill: a circle with two opposite quarters filled. `r` in the units it is drawn in. */
export const quarters = (r) => svg("path", { class: "quarter", d: `M0 0V${-r}A${r} ${r} 0 0 1 ${r} 0ZM0 0V${r}A${r} ${r} 0 0 1 ${-r} 0Z` });

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
    sample("circle with two quarters filled: a hole to drill", svg("circle", { r: 9, class: "line" }), quarters(9)),
    sample("dotted edge: a place to keep clear, or what lies behind the frame's lip", area("zone-sample")),
    sample("disc with a letter: a step of the plan; its arrow is where the blade goes off", svg("circle", { r: 11, class: "start" }), svg("text", { y: 5 }, "A")),
  ];
}

/** A mark inside a sample is coloured as in lists. */
function markSvg(mark) {
  return svg("svg", { class: mark.getAttribute("class"), x: -15, y: -15, width: 30, height: 30, viewBox: "-15 -15 30 30" }, ...mark.children);
}
