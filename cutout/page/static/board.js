// The panel as a picture: drawing, closer and farther, turned round, and where on the panel a pointer is.
// Lengths are mm in the panel's frame, y up; the picture's own y runs down, so areas sit in a flipped group.

import { crowds } from "./crowd.js";
import { el, svg } from "./dom.js";
import { bridgeMark, findingMark, kindOf, quarters, sign } from "./marks.js";
import { NARROW } from "./narrow.js";
import { INCH } from "./units.js";
import { grainLines, toneOf } from "./wood.js";

/** Pixels kept free round the whole panel, for rulers and dimensions: left, top, right, bottom. */
const ROOM = { wide: [104, 44, 34, 74], narrow: [48, 12, 14, 50], plain: [30, 30, 30, 30], finished: [24, 24, 24, 76] };
const NEAREST = 8;
/** Marks nearer than this (pixels) are gathered into one; from this near (mm a pixel) each shows its number. */
const CROWD = 20;
const NUMBERS_FROM = 0.3;
const MARK_REACH = 13;
const MEMBER = 50;
const HOLE_SIGN = 5;
/** Squares of the paper are at least so many pixels wide. */
const SQUARE = 9;
/** How far an edge's shadow falls for each mm of thickness, at most DEPTH mm; and the steps it fades in. */
const SLANT = 0.38;
const DEPTH = 7;
const SHADES = [1, 0.55];

export class Board extends EventTarget {
  #svg;
  #paper = el("div", { class: "squares" });
  #squareSize = "";
  #layers = {};
  #centre = [0, 0];
  #across = 1;
  #size = [1, 1];
  #whole = true;
  #drawnPixel = 0;
  #groups = [];
  /** @type {any} */
  #hovered = null;
  #grain = "";
  turned = false;
  units = "mm";
  /** There from the first drawing on. */
  model = /** @type {import("./types.d.ts").Model} */ (/** @type {unknown} */ (null));

  constructor(holder) {
    super();
    this.holder = holder;
    this.#svg = svg("svg", { class: "board", "aria-hidden": "false", focusable: "false" }, patterns());
    this.flipped = svg("g");
    for (const name of ["shadow", "frame", "wood", "halo", "waste", "depth", "before", "zones", "painted", "sheets", "bridges", "sawn", "fallen", "drops", "legs", "lip", "figures"]) {
      this.flipped.append((this.#layers[name] = svg("g", { class: name })));
    }
    this.#svg.append(this.flipped);
    for (const name of ["zone-names", "sheet-names", "numbers", "holes", "marks", "ends", "blade", "hands", "handles", "cross"]) {
      this.#svg.append((this.#layers[name] = svg("g", { class: name })));
    }
    this.overlay = svg("svg", { class: "overlay", "aria-hidden": "true" });
    holder.append(this.#paper, this.#svg, this.overlay);
    new ResizeObserver(() => this.#resized()).observe(holder);
    this.#svg.addEventListener("pointermove", (event) => !event.buttons && this.#hover(event));
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

  get size() {
    return this.#size;
  }

  get centre() {
    return [...this.#centre];
  }

  /** The middle of what is seen of the panel. */
  get middle() {
    const { width, height } = this.model.panel;
    if (this.#whole) return [width / 2, height / 2];
    const [x, y] = this.seen(this.#centre);
    return [Math.min(Math.max(x, 0), width), Math.min(Math.max(y, 0), height)];
  }

  get isWhole() {
    return this.#whole;
  }

  /** What is drawn beside the panel: the frame it hangs in. */
  get extent() {
    const { panel } = this.model;
    const [x0, y0, x1, y1] = panel.frame?.opening ?? [0, 0, panel.width, panel.height];
    const by = panel.frame ? MEMBER : 0;
    return [Math.min(0, x0 - by), Math.min(0, y0 - by), Math.max(panel.width, x1 + by), Math.max(panel.height, y1 + by)];
  }

  /** Draw everything of `model`: what main.js makes of the job. The view stays unless the panel changes. */
  draw(model) {
    const { panel } = model;
    const before = this.model?.panel;
    const resized = before?.width !== panel.width || before?.height !== panel.height || Boolean(before?.frame) !== Boolean(panel.frame);
    const turnedRound = this.turned !== model.turned;
    this.model = model;
    this.turned = model.turned;
    this.flipped.setAttribute("transform", this.turned ? `matrix(-1 0 0 -1 ${panel.width} ${panel.height})` : `matrix(1 0 0 -1 0 ${panel.height})`);
    const waste = model.show === "before" ? model.before : model.waste;
    // What is left of a board that only its figure is kept of, once all is done: the figure.
    const alone = model.show === "finished" && model.keep === "figure";
    this.holder.classList.toggle("alone", alone);
    this.#drawWood(panel, alone ? waste : "");
    this.#drawFrame(panel);
    this.#set("waste", waste);
    this.#set("halo", model.show === "finished" ? waste : "");
    this.#svg.querySelector("#through path").setAttribute("d", waste);
    this.#drawDepth(panel, waste);
    this.#set("before", model.show === "both" ? model.before : "");
    this.#drawZones(panel);
    this.#drawSheets(model.sheets ?? []);
    this.#layers.bridges.replaceChildren(...model.bridges.map((bridge) => svg("path", { d: bridge.path })));
    this.#drawPlan(model);
    // At the saw a bridge says what is to be done with it: nothing.
    const leave = model.walking ? model.bridges.map((bridge) => this.upright(bridge.at, svg("text", { y: 4, class: "leave" }, "leave"))) : [];
    this.#layers.numbers.replaceChildren(...(model.numbered ? model.openings : []).map((o) => this.upright(o.at, svg("text", {}, String(o.id)))), ...leave);
    this.#drawMarks();
    if (resized || (turnedRound && this.#whole)) this.whole();
    else this.#apply(true);
    this.dispatchEvent(new Event("drawn"));
  }

  whole() {
    if (!this.model) return;
    this.#whole = true;
    const [left, top, right, bottom] = this.#room();
    const [x0, y0, x1, y1] = this.#turnedBox(this.extent);
    const [wide, tall] = [Math.max(this.#size[0] - left - right, 40), Math.max(this.#size[1] - top - bottom, 40)];
    this.#across = Math.max((x1 - x0) / wide, (y1 - y0) / tall) * this.#size[0];
    this.#centre = [(x0 + x1) / 2 - ((left - right) / 2) * this.pixel, (y0 + y1) / 2 + ((top - bottom) / 2) * this.pixel];
    this.#apply();
  }

  #room() {
    if (this.model.walking) return ROOM.plain;
    if (this.model.show === "finished") return ROOM.finished;
    return this.#size[0] < NARROW ? ROOM.narrow : ROOM.wide;
  }

  /** @param {number[]} box */
  #turnedBox([x0, y0, x1, y1]) {
    const { width } = this.model.panel;
    return this.turned ? [width - x1, y0, width - x0, y1] : [x0, y0, x1, y1];
  }

  /** Come closer (factor > 1) keeping the point `at` (of the panel) where it is on the screen. */
  zoom(factor, at = null) {
    if (!this.model) return;
    const spot = at ? this.seen(at) : this.#centre;
    const [x0, y0, x1, y1] = this.extent;
    const most = 2.5 * Math.max(x1 - x0, ((y1 - y0) * this.#size[0]) / this.#size[1]);
    const across = Math.min(Math.max(this.#across / factor, NEAREST), most);
    const share = across / this.#across;
    this.#centre = this.#centre.map((c, i) => spot[i] + (c - spot[i]) * share);
    this.#across = across;
    this.#whole = false;
    this.#apply();
  }

  /** Move the view by mm as seen. */
  pan(dx, dy) {
    this.#centre = [this.#centre[0] + dx, this.#centre[1] + dy];
    this.#whole = false;
    this.#apply();
  }

  /** Bring a spot into view, about `reach` mm around it, with a ring round it where wanted. */
  show(at, reach = 60, ring = true) {
    this.#centre = this.seen(at);
    this.#across = Math.min(this.#across, Math.max(reach * 2, NEAREST));
    this.#whole = false;
    this.#apply();
    this.ring(ring ? at : null);
  }

  /** Bring a box of the panel into view, no closer than `least` mm across. */
  showBox(box, least = 60) {
    const [x0, y0, x1, y1] = this.#turnedBox(box);
    const [wide, tall] = [Math.max(x1 - x0, least) * 1.5, Math.max(y1 - y0, least * 0.6) * 1.5];
    this.#across = Math.max(wide, (tall * this.#size[0]) / this.#size[1]);
    this.#centre = [(x0 + x1) / 2, (y0 + y1) / 2];
    this.#whole = false;
    this.#apply();
  }

  ring(at) {
    const ring = at && this.upright(at, svg("circle", { r: 26, class: "spot" }));
    this.#layers.cross.replaceChildren(...(ring ? [ring] : []));
  }

  /** The cross that shows where something would be placed; null takes it away. */
  cross(at) {
    if (!at) return this.#layers.cross.replaceChildren();
    const lines = svg("path", { d: "M-18 0H-4M4 0H18M0 -18V-4M0 4V18", class: "aim" });
    this.#layers.cross.replaceChildren(this.upright(at, svg("circle", { r: 10, class: "aim" }), lines));
  }

  /**
   * A place of the panel as it is seen: mirrored when the panel is turned round.
   * @param {number[]} at
   */
  seen([x, y]) {
    return [this.turned ? this.model.panel.width - x : x, y];
  }

  /** Where on the panel (mm) a point of the screen is. */
  at(event) {
    const box = this.#svg.getBoundingClientRect();
    const x = this.#centre[0] + (event.clientX - box.left - box.width / 2) * this.pixel;
    const y = this.#centre[1] - (event.clientY - box.top - box.height / 2) * this.pixel;
    return this.seen([x, y]);
  }

  /** Where in the overlay (pixels) a place of the panel is. */
  screen(at) {
    const [x, y] = this.seen(at);
    return [(x - this.#centre[0]) / this.pixel + this.#size[0] / 2, (this.#centre[1] - y) / this.pixel + this.#size[1] / 2];
  }

  /** A group of screen-sized things standing at a spot of the panel. */
  upright(at, ...children) {
    const group = svg("g", { "data-x": at[0], "data-y": at[1] }, ...children);
    this.#stand(group);
    return group;
  }

  /** Put something upright elsewhere, turned by degrees and scaled. */
  restand(group, at, turn = 0, scale = 1) {
    [group.dataset.x, group.dataset.y] = at;
    this.#stand(group);
    if (turn || scale !== 1) group.setAttribute("transform", `${group.getAttribute("transform")} rotate(${this.turned ? turn : -turn}) scale(${scale})`);
  }

  #stand(group) {
    const [x, y] = this.seen([Number(group.dataset.x), Number(group.dataset.y)]);
    group.setAttribute("transform", `translate(${x} ${this.model.panel.height - y}) scale(${this.pixel})`);
  }

  #drawWood(panel, gone) {
    const key = JSON.stringify([panel.width, panel.height, panel.grain, gone]);
    this.holder.dataset.tone = toneOf(panel.wood);
    if (key === this.#grain) return;
    this.#grain = key;
    const face = faceOf(panel) + gone;
    this.#svg.querySelector("#wood-edge").replaceChildren(svg("path", { d: face, "clip-rule": "evenodd" }));
    this.#layers.wood.replaceChildren(svg("path", { d: face, class: "face" }), ...(panel.grain === null ? [] : grainPaths(panel, "wood-edge")));
  }

  /** Light comes from the upper left, as seen: how deep an opening is shows by the shadow its edge throws into it. */
  #drawDepth(panel, waste) {
    const kept = faceOf(panel) + waste;
    const fall = Math.min((panel.thickness ?? DEPTH) * SLANT, DEPTH, Math.min(panel.width, panel.height) / 60);
    const layer = this.#layers.depth;
    if (!layer.firstChild) layer.append(...SHADES.map(() => svg("path", {})));
    layer.setAttribute("clip-path", "url(#through)");
    SHADES.forEach((share, n) => {
      const by = fall * share;
      layer.children[n].setAttribute("transform", `translate(${this.turned ? -by : by} ${-by})`);
      if (layer.children[n].getAttribute("d") !== kept) layer.children[n].setAttribute("d", kept);
    });
    const [x0, y0, x1, y1] = this.extent;
    const shade = (by) => svg("rect", { x: x0, y: y0, width: x1 - x0, height: y1 - y0, rx: by / 2, transform: `translate(${this.turned ? -by : by} ${-by})` });
    const apart = Math.max(x1 - x0, y1 - y0) / 100;
    this.#layers.shadow.replaceChildren(...[0.35, 0.7, 1.05].map((share) => shade(share * apart)));
  }

  /** The frame lies before the panel seen from the front, and behind it once it is turned round. */
  #drawFrame(panel) {
    const { frame } = panel;
    const [layer, lip] = [this.#layers.frame, this.#layers.lip];
    if (!frame) return [layer, lip].forEach((one) => one.replaceChildren());
    const [x0, y0, x1, y1] = frame.opening;
    const ring = (by) => `M${x0 - by} ${y0 - by}H${x1 + by}V${y1 + by}H${x0 - by}Z`;
    const mitres = [[x0, y0, -1, -1], [x1, y0, 1, -1], [x1, y1, 1, 1], [x0, y1, -1, 1]].map(([x, y, dx, dy]) => `M${x} ${y}L${x + dx * MEMBER} ${y + dy * MEMBER}`);
    layer.replaceChildren(svg("path", { d: ring(MEMBER) + ring(0) }), svg("path", { d: memberGrain(frame.opening), class: "grain" }), svg("path", { d: mitres.join("") }));
    lip.replaceChildren(svg("path", { d: `M0 0H${panel.width}V${panel.height}H0Z` }));
    if (this.turned) this.flipped.insertBefore(layer, this.#layers.wood);
    else this.flipped.insertBefore(layer, lip);
  }

  #drawZones(panel) {
    const face = this.turned ? "back" : "show";
    const zones = panel.zones.filter((zone) => zone.name !== "frame's lip");
    this.#layers.zones.replaceChildren(...zones.map((zone) => svg("path", { d: zone.path }, svg("title", {}, zone.name))));
    this.#layers.painted.replaceChildren(
      ...panel.drawn.map((zone) => svg("path", { d: zone.path, class: zone.face === face ? "" : "other" }, svg("title", {}, zone.name))),
    );
    this.#layers["zone-names"].replaceChildren(...zones.filter((zone) => zone.at).map((zone) => this.#zoneName(zone)));
  }

  /** Inside its zone where that is high enough, else under it. */
  #zoneName({ name, at, path }) {
    const ys = pointsOf(path.replaceAll("Z", "").replaceAll("M", "L")).map((point) => point[1]);
    const [low, high] = [Math.min(...ys), Math.max(...ys)];
    const inside = (high - low) / this.pixel > 40;
    return this.upright(inside ? at : [at[0], low], svg("text", { y: inside ? 4 : 14 }, name));
  }

  /** The template's sheets, each with its name; one that would be blank is not printed. */
  #drawSheets(sheets) {
    this.#layers.sheets.replaceChildren(...sheets.map(({ path, blank }) => svg("path", { d: path, class: blank ? "blank" : "" })));
    const named = (sheet) => this.upright(sheet.at, svg("text", { y: 6 }, sheet.blank ? "not printed" : sheet.name));
    this.#layers["sheet-names"].replaceChildren(...sheets.map(named));
  }

  #drawPlan({ step, plan, walking, hands, done, fallen }) {
    const now = new Set(step?.legs ?? []);
    const path = (leg, name) => svg("path", { d: leg.path, class: name });
    const legs = walking && plan ? plan.legs : [];
    const present = legs.filter((leg) => now.has(leg.order));
    this.#layers.sawn.replaceChildren(...legs.filter((leg) => !now.has(leg.order)).map((leg) => path(leg, done.has(leg.order) ? "done" : "later")));
    this.#layers.legs.replaceChildren(...present.map((leg) => path(leg, "case")), ...present.map((leg) => path(leg, "now")));
    this.#layers.fallen.setAttribute("clip-path", "url(#through)");
    this.#set("fallen", walking ? fallen : "");
    this.#set("drops", walking ? (step?.drops ?? "") : "");
    const lit = new Set(walking ? step?.holes : []);
    const own = (hole) => hands.some((h) => h.kind === "hole" && Math.hypot(h.at[0] - hole.at[0], h.at[1] - hole.at[1]) < 0.01);
    this.#layers.ends.replaceChildren(...(present.length ? this.#legStart(present[0], step.letter) : []));
    this.#layers.holes.replaceChildren(...(plan?.holes ?? []).filter((hole) => !own(hole) || walking).map((hole) => this.#hole(hole, lit.has(hole.id), walking)));
  }

  /** A disc with the step's letter where the blade starts, and an arrow that says which way it goes. */
  #legStart({ path }, letter) {
    const points = pointsOf(path);
    const next = points.find((p) => Math.hypot(p[0] - points[0][0], p[1] - points[0][1]) > 14 * this.pixel) ?? points.at(-1);
    const [a, b] = [this.seen(points[0]), this.seen(next)];
    const turn = (-Math.atan2(b[1] - a[1], b[0] - a[0]) * 180) / Math.PI;
    const arrow = svg("path", { d: sign("arrow"), class: "arrow", transform: `rotate(${turn})` });
    const disc = svg("g", { transform: `rotate(${turn}) translate(-16 0) rotate(${-turn})` }, svg("circle", { r: 14, class: "start" }), svg("text", { y: 5 }, String(letter)));
    return [this.upright(points[0], arrow, disc)];
  }

  /** Where the blade is: a bar in the direction it goes. */
  blade(at, turn) {
    if (!at) return this.#layers.blade.replaceChildren();
    const shapes = [svg("circle", { r: 18 }), svg("path", { d: "M-9 -3H9L12 0L9 3H-9Z", transform: `rotate(${this.turned ? 180 + turn : -turn})` })];
    return this.#layers.blade.replaceChildren(this.upright(at, ...shapes));
  }

  #hole(hole, lit, named) {
    const group = svg("g", { class: lit ? "lit" : "" });
    const [x, y] = this.seen(hole.at);
    const middle = svg("g", { transform: `translate(${x} ${this.model.panel.height - y})` });
    middle.append(svg("circle", { r: hole.diameter / 2, class: "size" }), quarters(hole.diameter / 2));
    // From afar a hole is smaller than its sign: the sign stands for it.
    const sign = [svg("circle", { r: HOLE_SIGN, class: "size" }), quarters(HOLE_SIGN)];
    const name = lit || named ? [svg("text", { x: 12, y: -8 }, String(hole.id))] : [];
    group.append(middle, this.upright(hole.at, ...sign, ...name));
    return group;
  }

  #drawMarks() {
    const { findings, selected, marked, walking } = this.model;
    const wanted = walking ? [] : findings.filter((found) => found === selected || (marked && !found.cleared));
    const near = this.pixel < NUMBERS_FROM;
    this.#groups = crowds(wanted, CROWD * this.pixel, (found) => found === selected);
    // The first of the list is drawn last, on top.
    this.#layers.marks.replaceChildren(...[...this.#groups].reverse().map((group) => this.#mark(group, selected, near)));
  }

  #mark(group, selected, near) {
    const [first] = group.spots;
    const chosen = first === selected;
    const alone = group.spots.length === 1;
    const flag = chosen || (alone && (near || group === this.#hovered)) ? first.number : group === this.#hovered ? group.spots.slice(0, 4).map((f) => f.number).join(" ") : null;
    const mark = this.upright(group.at, ...findingMark(first, group.spots.length, flag, chosen));
    mark.setAttribute("class", `mark ${kindOf(first).name}${chosen ? " chosen" : ""}`);
    mark.dataset.number = first.number;
    return mark;
  }

  #groupAt(event) {
    const at = this.seen(this.at(event));
    const far = (group) => Math.hypot(this.seen(group.at)[0] - at[0], group.at[1] - at[1]);
    const near = this.#groups.filter((group) => far(group) < MARK_REACH * this.pixel).sort((a, b) => far(a) - far(b));
    return near[0] ?? null;
  }

  #hover(event) {
    const group = this.model ? this.#groupAt(event) : null;
    if (group === this.#hovered) return;
    this.#hovered = group;
    this.#layers.marks.replaceChildren(...[...this.#groups].reverse().map((g) => this.#mark(g, this.model.selected, this.pixel < NUMBERS_FROM)));
  }

  /** A tap on the board, not a drag: on a mark it chooses its finding, on a crowd the next of them. */
  tap(event) {
    const group = this.#groupAt(event);
    if (!group) return false;
    const at = group.spots.indexOf(this.model.selected);
    this.dispatchEvent(new CustomEvent("finding", { detail: group.spots[(at + 1) % group.spots.length] }));
    return true;
  }

  bridgeHandle(item) {
    return this.upright(item.at, ...bridgeMark(this.turned ? -item.angle : item.angle, item.found));
  }

  /** The bench is squared paper, its squares true to the rulers and counted from the panel's corner. */
  #square() {
    const { fine, times } = squares(this.pixel, this.units);
    const [x, y] = this.screen([this.turned ? this.model.panel.width : 0, 0]);
    const { style } = this.#paper;
    const large = (times * fine) / this.pixel;
    const size = `${fine / this.pixel} ${large}`;
    // Drawn anew for another scale only; a shift moves it as it is, which costs nothing.
    if (size !== this.#squareSize) {
      this.#squareSize = size;
      style.setProperty("--square", `${fine / this.pixel}px`);
      style.setProperty("--squares", `${large}px`);
    }
    const rest = (value) => ((value % large) + large) % large;
    style.setProperty("transform", `translate(${rest(x)}px, ${rest(y)}px)`);
  }

  #set(name, d) {
    const layer = this.#layers[name];
    const path = layer.firstChild ?? layer.appendChild(svg("path"));
    if (path.getAttribute("d") !== d) path.setAttribute("d", d);
  }

  #resized() {
    this.#size = [Math.max(this.holder.clientWidth, 1), Math.max(this.holder.clientHeight, 1)];
    if (this.#whole) this.whole();
    else this.#apply();
  }

  #apply(redrawn = false) {
    if (!this.model) return;
    const { height } = this.model.panel;
    const [x0, y0, x1, y1] = this.#turnedBox(this.extent);
    const tall = (this.#across * this.#size[1]) / this.#size[0];
    const slack = this.#across / 3;
    this.#centre = [Math.min(Math.max(this.#centre[0], x0 - slack), x1 + slack), Math.min(Math.max(this.#centre[1], y0 - slack), y1 + slack)];
    const [x, y] = [this.#centre[0] - this.#across / 2, height - this.#centre[1] - tall / 2];
    this.#svg.setAttribute("viewBox", `${x} ${y} ${this.#across} ${tall}`);
    // Only another scale changes what stands upright; a mere shift leaves it where it is.
    if (!redrawn && Math.abs(this.pixel - this.#drawnPixel) > 1e-9) {
      this.#drawMarks();
      for (const group of this.#svg.querySelectorAll("[data-x]")) this.#stand(group);
    }
    this.#drawnPixel = this.pixel;
    this.#svg.querySelector("#mesh").setAttribute("patternTransform", `scale(${this.pixel})`);
    this.#square();
    this.dispatchEvent(new Event("viewed"));
  }
}

export const pointsOf = (path) => path.slice(1).split("L").map((pair) => pair.split(" ").map(Number));

/** Width of a square (mm) that is neither a blur nor lost at so many mm a pixel; every so many-th line is stronger. */
export function squares(pixel, units) {
  const sides = units === "in" ? [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8].map((inches) => inches * INCH) : [1, 5, 10, 50, 100, 500];
  const fine = sides.find((mm) => mm / pixel >= SQUARE) ?? sides[sides.length - 1];
  return { fine, times: units === "in" ? 4 : String(fine).startsWith("5") ? 2 : 10 };
}

const faceOf = ({ width, height }) => `M0 0H${width}V${height}H0Z`;

const grainPaths = (panel, clip) => Object.entries(grainLines(panel)).map(([kind, d]) => svg("path", { class: `grain ${kind}`, d, "clip-path": `url(#${clip})` }));

/** A few lines along each member of a frame round an opening, from mitre to mitre. */
function memberGrain([x0, y0, x1, y1]) {
  return [0.14, 0.3, 0.52, 0.68, 0.86]
    .map((share) => share * MEMBER)
    .map((by) => `M${x0 - by} ${y0 - by}H${x1 + by}V${y1 + by}H${x0 - by}Z`)
    .join("");
}

function patterns() {
  const mesh = svg("pattern", { id: "mesh", width: 8, height: 8, patternUnits: "userSpaceOnUse" }, svg("rect", { width: 8, height: 8, class: "mesh-ground" }), svg("path", { d: "M0 4H8M4 0V8", class: "mesh-line" }));
  const glow = svg("radialGradient", { id: "glow", gradientUnits: "objectBoundingBox" }, svg("stop", { offset: 0, "stop-color": "#fff6d8" }), svg("stop", { offset: 0.55, "stop-color": "#ffdd94" }), svg("stop", { offset: 1, "stop-color": "#f0ae52" }));
  const soft = svg("filter", { id: "soft", x: "-30%", y: "-30%", width: "160%", height: "160%" }, svg("feGaussianBlur", { stdDeviation: 9 }));
  return svg("defs", {}, mesh, glow, soft, svg("clipPath", { id: "wood-edge" }), svg("clipPath", { id: "through" }, svg("path", { d: "", "clip-rule": "evenodd" })));
}
