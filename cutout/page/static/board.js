// The panel as a picture: drawing, closer and farther, and where on the panel a pointer is.
// Lengths are mm in the panel's frame, y up; the picture's own y runs down, so areas sit in a flipped group.

import { svg } from "./dom.js";
import { MARKS, bridgeMark, holeMark, numberMark } from "./marks.js";

const MARGIN = 1.06;
const NEAREST = 8;
const CROWD = 14;

export class Board extends EventTarget {
  #svg;
  #layers = {};
  #centre = [0, 0];
  #across = 1;
  #size = [1, 1];
  model = null;

  constructor(holder) {
    super();
    this.holder = holder;
    this.#svg = svg("svg", { class: "board", "aria-hidden": "false", focusable: "false" }, patterns());
    this.flipped = svg("g");
    for (const name of ["wood", "waste", "before", "zones", "drops", "legs", "bridges", "figures"]) {
      this.flipped.append((this.#layers[name] = svg("g", { class: name })));
    }
    this.#svg.append(this.flipped);
    for (const name of ["numbers", "holes", "ends", "hands", "marks", "handles", "cross"]) {
      this.#svg.append((this.#layers[name] = svg("g", { class: name })));
    }
    holder.append(this.#svg);
    new ResizeObserver(() => this.#resized()).observe(holder);
  }

  get svg() {
    return this.#svg;
  }

  layer(name) {
    return this.#layers[name];
  }

  /** mm on the panel for one pixel of the screen. */
  get pixel() {
    return this.#across / this.#size[0];
  }

  get centre() {
    return [...this.#centre];
  }

  get isWhole() {
    return this.#across >= this.#wholeAcross() * 0.999;
  }

  /** Draw everything of `model`: what main.js makes of the job. The view stays unless the panel changes. */
  draw(model) {
    const { panel } = model;
    const resized = this.model?.panel.width !== panel.width || this.model?.panel.height !== panel.height;
    this.model = model;
    this.flipped.setAttribute("transform", `matrix(1 0 0 -1 0 ${panel.height})`);
    this.#drawWood(panel);
    this.#set("waste", model.show === "before" ? model.before : model.waste);
    this.#set("before", model.show === "both" ? model.before : "");
    this.#layers.zones.replaceChildren(
      ...panel.zones.map((zone) => svg("path", { d: zone.path }, svg("title", {}, zone.name))),
      ...panel.drawn.map((zone) => svg("path", { d: zone.path, class: "drawn" }, svg("title", {}, zone.name))),
    );
    this.#layers.bridges.replaceChildren(...model.bridges.map((bridge) => svg("path", { d: bridge.path })));
    this.#drawPlan(model);
    this.#drawMarks(model);
    if (resized) this.whole();
    else this.#apply();
    this.dispatchEvent(new Event("drawn"));
  }

  whole() {
    if (!this.model) return;
    const { panel } = this.model;
    this.#centre = [panel.width / 2, panel.height / 2];
    this.#across = this.#wholeAcross();
    this.#apply();
  }

  /** Come closer (factor > 1) keeping the point `at` where it is on the screen. */
  zoom(factor, at = this.#centre) {
    if (!this.model) return;
    const across = Math.min(Math.max(this.#across / factor, NEAREST), this.#wholeAcross());
    const share = across / this.#across;
    this.#centre = this.#centre.map((c, i) => at[i] + (c - at[i]) * share);
    this.#across = across;
    this.#apply();
  }

  pan(dx, dy) {
    this.#centre = [this.#centre[0] + dx, this.#centre[1] + dy];
    this.#apply();
  }

  /** Bring a spot into view, about `reach` mm around it, with a ring round it where wanted. */
  show(at, reach = 60, ring = true) {
    this.#centre = [...at];
    this.#across = Math.min(this.#across, Math.max(reach * 2, NEAREST), this.#wholeAcross());
    this.#apply();
    this.ring(ring ? at : null);
    this.bringIntoView();
  }

  /** Scroll the page to the panel where it can't be seen. */
  bringIntoView() {
    const box = this.holder.getBoundingClientRect();
    if (box.top < 0 || box.bottom > window.innerHeight) this.holder.scrollIntoView({ block: "nearest" });
  }

  ring(at) {
    const ring = at && this.#upright(at, svg("circle", { r: 26, class: "spot" }));
    this.#layers.cross.replaceChildren(...(ring ? [ring] : []));
  }

  /** The cross that shows where something would be placed; null takes it away. */
  cross(at) {
    if (!at) return this.#layers.cross.replaceChildren();
    const lines = svg("path", { d: "M-18 0H-4M4 0H18M0 -18V-4M0 4V18", class: "aim" });
    this.#layers.cross.replaceChildren(this.#upright(at, svg("circle", { r: 10, class: "aim" }), lines));
  }

  /** Where on the panel (mm) a point of the screen is. */
  at(event) {
    const box = this.#svg.getBoundingClientRect();
    const x = this.#centre[0] + (event.clientX - box.left - box.width / 2) * this.pixel;
    const y = this.#centre[1] - (event.clientY - box.top - box.height / 2) * this.pixel;
    return [x, y];
  }

  /** A group of screen-sized things standing at a spot of the panel. */
  #upright(at, ...children) {
    const group = svg("g", { "data-x": at[0], "data-y": at[1] }, ...children);
    this.#stand(group);
    return group;
  }

  upright(at, ...children) {
    return this.#upright(at, ...children);
  }

  #stand(group) {
    const { x, y } = group.dataset;
    group.setAttribute("transform", `translate(${x} ${this.model.panel.height - y}) scale(${this.pixel})`);
  }

  #drawWood(panel) {
    const board = { width: panel.width, height: panel.height };
    const grain = panel.grain === null ? null : svg("path", { class: "grain", d: grainLines(panel) });
    this.#layers.wood.replaceChildren(svg("rect", board), grain ?? "");
  }

  #drawPlan({ step, plan, walking, hands }) {
    const done = walking && step?.leg ? step.leg : 0;
    this.#layers.legs.replaceChildren(
      ...(walking && plan ? plan.legs : []).map((leg) =>
        svg("path", { d: leg.path, class: leg.order === done ? "now" : leg.order < done ? "done" : "later" }),
      ),
    );
    this.#set("drops", walking ? (step?.drops ?? "") : "");
    const lit = new Set(walking ? step?.holes : []);
    const own = (hole) => hands.some((h) => h.kind === "hole" && Math.hypot(h.at[0] - hole.at[0], h.at[1] - hole.at[1]) < 0.01);
    this.#layers.ends.replaceChildren(...(done ? this.#legEnds(plan.legs.find((leg) => leg.order === done)) : []));
    this.#layers.holes.replaceChildren(
      ...(plan?.holes ?? []).filter((hole) => !own(hole) || walking).map((hole) => this.#hole(hole, lit.has(hole.id))),
    );
  }

  /** A dot where the blade starts, an arrow where the leg ends. */
  #legEnds({ path }) {
    const points = path.slice(1).split("L").map((pair) => pair.split(" ").map(Number));
    const [before, last] = [points.at(-2) ?? points[0], points.at(-1)];
    const turn = (-Math.atan2(last[1] - before[1], last[0] - before[0]) * 180) / Math.PI;
    return [
      this.#upright(points[0], svg("circle", { r: 7 })),
      this.#upright(last, svg("path", { d: "M10 0L-9 -9V9Z", transform: `rotate(${turn})` })),
    ];
  }

  #hole(hole, lit) {
    const group = svg("g", { class: lit ? "lit" : "" });
    group.append(svg("circle", { cx: hole.at[0], cy: this.model.panel.height - hole.at[1], r: hole.diameter / 2 }));
    group.append(this.#upright(hole.at, ...holeMark(lit ? String(hole.id) : "")));
    return group;
  }

  #drawMarks({ openings, findings, show, selected, marked, walking }) {
    this.#layers.numbers.replaceChildren(
      ...(show === "before" ? [] : openings).map((o) => this.#upright(o.at, svg("text", {}, String(o.id)))),
    );
    const wanted = findings.filter((found) => (found.number === selected || (marked && !walking)) && !found.cleared);
    // The first of the list is drawn last, on top; where there are many, the others are smaller.
    const marks = wanted.reverse();
    const size = marks.length > CROWD ? 0.82 : 1;
    this.#layers.marks.replaceChildren(
      ...marks.map((found) => {
        const chosen = found.number === selected;
        const shape = svg("g", { transform: `scale(${chosen ? 1 : size})` }, ...numberMark(found, chosen));
        const mark = this.#upright(found.at, shape);
        mark.setAttribute("class", `mark ${MARKS[found.severity].name}${chosen ? " chosen" : ""}`);
        mark.setAttribute("aria-hidden", "true");
        mark.addEventListener("click", () =>
          this.dispatchEvent(new CustomEvent("finding", { detail: found.number })),
        );
        return mark;
      }),
    );
  }

  /** A bridge's handle: screen-sized across, with its direction. */
  bridgeHandle(item) {
    return this.#upright(item.at, ...bridgeMark(item.angle, item.found));
  }

  #set(name, d) {
    const layer = this.#layers[name];
    const path = layer.firstChild ?? layer.appendChild(svg("path"));
    path.setAttribute("d", d);
  }

  #wholeAcross() {
    if (!this.model) return 1;
    const { width, height } = this.model.panel;
    return MARGIN * Math.max(width, (height * this.#size[0]) / this.#size[1]);
  }

  #resized() {
    const whole = this.isWhole;
    this.#size = [Math.max(this.holder.clientWidth, 1), Math.max(this.holder.clientHeight, 1)];
    if (whole) this.whole();
    else this.#apply();
  }

  #apply() {
    if (!this.model) return;
    const { width, height } = this.model.panel;
    const tall = (this.#across * this.#size[1]) / this.#size[0];
    this.#centre = [Math.min(Math.max(this.#centre[0], 0), width), Math.min(Math.max(this.#centre[1], 0), height)];
    const [x, y] = [this.#centre[0] - this.#across / 2, height - this.#centre[1] - tall / 2];
    this.#svg.setAttribute("viewBox", `${x} ${y} ${this.#across} ${tall}`);
    this.#svg.classList.toggle("near", !this.isWhole);
    for (const group of this.#svg.querySelectorAll("[data-x]")) this.#stand(group);
    for (const pattern of this.#svg.querySelectorAll("pattern")) {
      pattern.setAttribute("patternTransform", `${pattern.dataset.turn} scale(${this.pixel})`);
    }
    this.dispatchEvent(new Event("viewed"));
  }
}

/** Hatching that stays the same on the screen however close one is: it tells areas apart without colour. */
function patterns() {
  const lines = (id, gap, turn) =>
    svg(
      "pattern",
      { id, width: gap, height: gap, patternUnits: "userSpaceOnUse", "data-turn": `rotate(${turn})` },
      svg("rect", { width: gap, height: gap, class: `${id}-ground` }),
      svg("path", { d: `M0 0H${gap}`, class: `${id}-line` }),
    );
  return svg("defs", {}, lines("waste-hatch", 9, 45), lines("bridge-hatch", 5, -45), lines("drop-hatch", 5, 0), lines("zone-hatch", 7, 90));
}

/** Thin strokes in the direction of the grain, at fixed places: a texture, not a measurement. */
function grainLines({ width, height, grain }) {
  const turn = (grain * Math.PI) / 180;
  const [along, across] = [[Math.cos(turn), Math.sin(turn)], [-Math.sin(turn), Math.cos(turn)]];
  const reach = Math.hypot(width, height) / 2;
  const gap = Math.max(reach / 40, 2);
  const parts = [];
  for (let n = -Math.ceil(reach / gap); n <= reach / gap; n += 1) {
    const shift = n * gap + ((n * 37) % 11) * gap * 0.05;
    const ends = [-reach, reach].map((t) => [width / 2 + along[0] * t + across[0] * shift, height / 2 + along[1] * t + across[1] * shift]);
    const cut = clipped(ends, width, height);
    if (cut) parts.push(`M${cut[0].map((v) => v.toFixed(1)).join(" ")}L${cut[1].map((v) => v.toFixed(1)).join(" ")}`);
  }
  return parts.join("");
}

/** The part of a line within the panel (Liang-Barsky), or null. */
function clipped([[x0, y0], [x1, y1]], width, height) {
  let [from, to] = [0, 1];
  const [dx, dy] = [x1 - x0, y1 - y0];
  for (const [p, q] of [[-dx, x0], [dx, width - x0], [-dy, y0], [dy, height - y0]]) {
    if (Math.abs(p) < 1e-12) {
      if (q < 0) return null;
    } else if (p < 0) from = Math.max(from, q / p);
    else to = Math.min(to, q / p);
  }
  return from < to ? [[x0 + from * dx, y0 + from * dy], [x0 + to * dx, y0 + to * dy]] : null;
}
