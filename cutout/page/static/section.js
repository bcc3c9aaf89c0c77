// A panel in its frame, cut across beside its left edge: what lies behind the lip, and what gap is left round it.

import { el, svg } from "./dom.js";
import { figure } from "./paper.js";

/** How much of the frame's member and of the panel is shown (mm), and how thick the lip is drawn: nobody gives it. */
const [MEMBER, SHOWN, LIP] = [34, 62, 8];
/** Lines of its hatching (mm). */
const APART = 4;

/**
 * The section as a picture with its words; nothing for a panel that hangs free.
 * @param {import("./types.d.ts").Panel | undefined} panel
 * @param {number | null} backing thickness of what lies behind the panel (mm)
 * @param {string} units
 */
export function section(panel, backing, units) {
  if (!panel?.frame) return [];
  const { opening, reveal } = panel.frame;
  const thick = panel.thickness ?? 0;
  const behind = backing ?? 0;
  const high = LIP + thick + behind + 3;
  const lip = opening[0];
  const member = `M${-reveal - MEMBER} 0H${lip}V${LIP}H${-reveal}V${high}H${-reveal - MEMBER}Z`;
  const say = (mm) => `${figure(mm, units)} ${units}`;
  const parts = [
    svg("path", { class: "member", d: member }),
    svg("path", { class: "hatch", d: hatch(-reveal - MEMBER, -reveal, 0, high) + hatch(-reveal, lip, 0, LIP) }),
    svg("rect", { class: "cut", x: 0, y: LIP, width: SHOWN, height: thick }),
    ...(behind ? [svg("rect", { class: "behind", x: 0, y: LIP + thick, width: SHOWN, height: behind })] : []),
    svg("path", { class: "lead", d: `M${lip / 2} ${LIP / 2}V-5M${-reveal / 2} ${LIP + thick / 2}V${high + 5}M${SHOWN * 0.6} ${LIP + thick / 2}V-5` }),
    word(lip / 2, -6.5, `lip over ${say(lip)}`),
    word(SHOWN * 0.6, -6.5, `panel ${say(thick)}`),
    word(-reveal / 2, high + 8.5, `reveal ${say(reveal)}`),
    ...(behind ? [svg("path", { class: "lead", d: `M${SHOWN * 0.6} ${LIP + thick + behind / 2}V${high + 5}` }), word(SHOWN * 0.6, high + 8.5, `backing ${say(behind)}`)] : []),
  ];
  const box = `${-reveal - MEMBER - 1} -12 ${MEMBER + reveal + SHOWN + 2} ${high + 23}`;
  const name = `Section at the left edge, front above: the lip lies over ${say(lip)} of the panel, ${say(reveal)} are left beside it`;
  const picture = svg("svg", { viewBox: box, role: "img", "aria-label": name }, ...parts);
  return [el("h3", {}, "Across the frame, at the left"), picture, el("p", { class: "hint" }, "Front above, back below. The lip's own thickness is not known here.")];
}

const word = (x, y, text) => svg("text", { x, y }, text);

/** Slanting lines over a box, those of boxes beside each other in line: wood that is cut through. */
function hatch(x0, x1, y0, y1) {
  const lines = [];
  for (let sum = Math.ceil((x0 + y0) / APART) * APART; sum < x1 + y1; sum += APART) {
    const [a, b] = [Math.max(x0, sum - y1), Math.min(x1, sum - y0)];
    lines.push(`M${a} ${sum - a}L${b} ${sum - b}`);
  }
  return lines.join("");
}
