// The shapes that stand for things: each kind has a shape, a number or letter, and words, besides its colour.

import { svg } from "./dom.js";

export const MARKS = {
  stop: { name: "stop", word: "can't be cut like this", shape: "M-5 -12H5L12 -5V5L5 12H-5L-12 5V-5Z" },
  care: { name: "care", word: "needs care", shape: "M0 -13L13.5 10.5H-13.5Z" },
  cleared: { name: "cleared", word: "mended", shape: "M-11 0a11 11 0 1 0 22 0a11 11 0 1 0 -22 0Z" },
};

export const kindOf = (found) => (found.cleared ? MARKS.cleared : MARKS[found.severity]);

/** Shape and number of a finding, about 24 pixels across. */
export function numberMark(found, chosen = false) {
  const mark = kindOf(found);
  const parts = [
    svg("path", { d: mark.shape }),
    svg("text", { y: mark === MARKS.care ? 8 : 4.5 }, String(found.number)),
  ];
  return chosen ? [svg("circle", { r: 20, class: "spot" }), ...parts] : parts;
}

/** The same mark as a picture of its own, for lists. */
export function listMark(found) {
  const mark = kindOf(found);
  return svg(
    "svg",
    { class: `mark ${mark.name}`, viewBox: "-15 -15 30 30", width: 26, height: 26, "aria-hidden": "true" },
    ...numberMark(found),
  );
}

export const holeMark = (number) => [
  svg("path", { d: "M-7 0H7M0 -7V7", class: "hair" }),
  svg("text", { x: 9, y: -6 }, number),
];

/** A bar along the bridge with a stop at each end. */
export function bridgeMark(angle, found) {
  const bar = svg("path", { d: "M-14 0H14M-14 -6V6M14 -6V6", transform: `rotate(${-angle})` });
  return [svg("circle", { r: 14, class: "grip" }), bar, svg("circle", { r: 4, class: found ? "found" : "own" })];
}

/** Entries of the legend: a small picture and what it means. */
export function legend() {
  const sample = (name, words) => [
    svg("svg", { class: "sample", viewBox: "-15 -15 30 30", width: 26, height: 26, "aria-hidden": "true" }, ...name),
    words,
  ];
  const mark = (severity, number) =>
    svg("g", { class: `mark ${severity}` }, ...numberMark({ severity, number, cleared: false }));
  const area = (fill) => svg("rect", { x: -14, y: -12, width: 28, height: 24, class: fill });
  return [
    sample([mark("stop", 1)], "eight-sided mark: can't be cut, would drop out or would break"),
    sample([mark("care", 2)], "triangle: can be cut, with what the finding says"),
    sample([area("wood-sample")], "plain with thin lines: wood that stays; the lines follow the grain"),
    sample([area("waste-sample")], "white with slanting lines: cut away"),
    sample([area("bridge-sample")], "dark crossing lines: a bridge left standing"),
    sample([svg("g", { class: "hands" }, ...bridgeMark(0, false))], "bar with a dot: a bridge placed by hand; with a ring: one found"),
    sample([svg("g", { class: "holes" }, svg("circle", { r: 9 }), ...holeMark(""))], "circle with a cross: a hole to drill"),
  ];
}
