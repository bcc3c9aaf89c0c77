// What a drawing office adds to the board: rulers at its edges, and dimensions with their ticks, in pixels of the screen.

import { svg } from "./dom.js";
import { NARROW } from "./narrow.js";
import { INCH } from "./units.js";

const RULER = 24;
const STEPS_MM = [1, 2, 5, 10, 20, 50, 100, 200, 500];
const STEPS_IN = [1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24].map((inches) => inches * INCH);
const APART = 46;
const OUT = [26, 54];

/** The numbers people write: 14-1/2, or 368; to a tenth of a millimetre or a 16th of an inch. */
export function figure(mm, units) {
  if (units !== "in") return String(Math.round(mm * 10) / 10);
  const sixteenths = Math.round((Math.abs(mm) / INCH) * 16);
  const [whole, rest] = [Math.floor(sixteenths / 16), sixteenths % 16];
  const by = [16, 8, 4, 2, 1].find((n) => rest % n === 0) ?? 1;
  const sign = mm < 0 && sixteenths ? "-" : "";
  if (!rest) return `${sign}${whole}`;
  return `${sign}${whole ? `${whole}-` : ""}${rest / by}/${16 / by}`;
}

export class Paper {
  #board;
  #ruler = svg("g", { class: "ruler" });
  #dims = svg("g", { class: "dims" });
  #snap = svg("g", { class: "snap" });
  #saying = svg("g", { class: "saying" });
  #asked = false;
  units = "mm";
  /** The box (mm) of what is being moved, else of what is chosen; the lines it lies in; what is said beside it. */
  /** @type {number[] | null} */
  live = null;
  /** @type {number[] | null} */
  still = null;
  /** @type {import("./types.d.ts").Line[]} */
  lines = [];
  /** @type {string | null} */
  words = null;
  off = false;

  constructor(board) {
    this.#board = board;
    board.overlay.append(this.#dims, this.#snap, this.#saying, this.#ruler);
    board.addEventListener("viewed", () => this.redraw());
  }

  /** Once a frame, however often it is asked for. */
  redraw() {
    if (this.#asked) return;
    this.#asked = true;
    requestAnimationFrame(() => {
      this.#asked = false;
      if (this.#board.model) this.#draw();
    });
  }

  #draw() {
    this.#board.overlay.classList.toggle("off", this.off);
    for (const group of [this.#dims, this.#snap, this.#saying, this.#ruler]) group.replaceChildren();
    if (this.off) return;
    const { model } = this.#board;
    if (!model.walking) this.#drawDims();
    // A phone's screen is for the panel: its dimensions stand beside it, rulers only on larger screens.
    if (this.#board.size[0] >= NARROW) this.#drawRulers();
  }

  #drawDims() {
    const { panel } = this.#board.model;
    const narrow = this.#board.size[0] < NARROW;
    const box = this.live ?? this.still;
    const framed = panel.frame && !box && !narrow;
    const far = box || framed ? (narrow ? 42 : OUT[1]) : narrow ? 20 : OUT[0];
    const near = narrow ? 18 : OUT[0];
    const { width, height } = panel;
    const places = (low, high, side) => (box ? [0, low, high, side] : []);
    const word = framed ? " panel" : "";
    this.#dims.append(this.#level([0, width], far, false, word), this.#upright([0, height], far, false, word));
    if (box) {
      this.#dims.append(this.#level(places(box[0], box[2], width), near, true), this.#upright(places(box[1], box[3], height), near, true));
    }
    if (framed) {
      const [x0, y0, x1, y1] = panel.frame.opening;
      this.#dims.append(this.#level([x0, x1], near, false, " opening"), this.#upright([y0, y1], near, false, " opening"));
    }
    for (const line of this.lines) this.#drawSnap(line);
    if (this.words && box) this.#say(box, this.words);
  }

  /** A chain of dimensions under the panel. The numbers add up: places are rounded, not gaps. */
  #level(xs, out, live, word = "") {
    const { model } = this.#board;
    const y = this.#board.screen([0, this.#board.extent[1]])[1] + out;
    const seen = [...xs].sort((a, b) => a - b).map((x) => [this.#board.screen([x, 0])[0], this.#board.turned ? model.panel.width - x : x]).sort((a, b) => a[0] - b[0]);
    return this.#chain(seen, live, (s) => [s, y], (s) => [s, y - out + 3, s, y + 5], { word, shift: [0, -5], upright: false });
  }

  #upright(ys, out, live, word = "") {
    const board = this.#board;
    const left = Math.min(board.screen([board.extent[0], 0])[0], board.screen([board.extent[2], 0])[0]);
    const x = left - out;
    const seen = [...ys].sort((a, b) => a - b).map((y) => [board.screen([0, y])[1], y]);
    return this.#chain(seen, live, (s) => [x, s], (s) => [x - 5, s, x + out - 3, s], { word, shift: [-5, 0], upright: true });
  }

  #chain(seen, live, at, out, { word, shift, upright }) {
    const group = svg("g", { class: live ? "live" : "" });
    const [first, last] = [at(seen[0][0]), at(seen.at(-1)[0])];
    const lines = [`M${first}L${last}`];
    const ticks = [];
    const thin = [];
    for (const [s] of seen) {
      const [x, y] = at(s);
      ticks.push(`M${x - 4} ${y + 4}L${x + 4} ${y - 4}`);
      const [x0, y0, x1, y1] = out(s);
      thin.push(`M${x0} ${y0}L${x1} ${y1}`);
    }
    group.append(svg("path", { d: thin.join(""), class: "thin" }), svg("path", { d: lines.join("") }), svg("path", { d: ticks.join(""), class: "tick" }));
    seen.slice(1).forEach(([s, value], n) => {
      const [before, was] = seen[n];
      const text = figure(round(value, this.units) - round(was, this.units), this.units) + word;
      if (Math.abs(s - before) < 8 + 7 * text.length || text === "0") return;
      const [x, y] = at((s + before) / 2);
      const place = `translate(${x + shift[0]} ${y + shift[1]})${upright ? " rotate(-90)" : ""}`;
      group.append(svg("text", { transform: place }, text.replace("-", "‑")));
    });
    return group;
  }

  #drawSnap({ axis, at }) {
    const { panel } = this.#board.model;
    const [a, b] = axis === "x" ? [[at, 0], [at, panel.height]] : [[0, at], [panel.width, at]];
    const [p, q] = [this.#board.screen(a), this.#board.screen(b)];
    const over = axis === "x" ? [0, 14] : [14, 0];
    const [s, t] = p[1] >= q[1] && p[0] <= q[0] ? [p, q] : [q, p];
    const d = axis === "x" ? `M${s[0]} ${s[1] + over[1]}L${t[0]} ${t[1] - over[1]}` : `M${s[0] - over[0]} ${s[1]}L${t[0] + over[0]} ${t[1]}`;
    this.#snap.append(svg("path", { d }), svg("path", { d }));
  }

  #say(box, text) {
    const corners = [this.#board.screen([box[0], box[1]]), this.#board.screen([box[2], box[1]])];
    const [x, y] = [Math.max(corners[0][0], corners[1][0]), corners[0][1] + 8];
    const wide = 14 + 7.4 * text.length;
    const at = Math.min(Math.max(x - wide, RULER + 4), this.#board.size[0] - wide - 4);
    this.#saying.append(svg("rect", { x: at, y, width: wide, height: 22, rx: 3 }), svg("text", { x: at + wide / 2, y: y + 15.5 }, text));
  }

  #drawRulers() {
    const [wide, tall] = this.#board.size;
    const { pixel } = this.#board;
    const steps = this.units === "in" ? STEPS_IN : STEPS_MM;
    const step = steps.find((mm) => mm / pixel >= APART) ?? steps[steps.length - 1];
    const fine = this.units === "in" ? step / 4 : step / 10 / pixel >= 4 ? step / 10 : step / 5;
    const [x0, y0] = this.#board.screen(this.#board.turned ? [this.#board.model.panel.width, 0] : [0, 0]);
    const range = this.live ?? this.still;
    const parts = [svg("rect", { width: wide, height: RULER }), svg("rect", { width: RULER, height: tall })];
    if (range) {
      const [a, b] = [this.#board.screen([range[0], range[1]]), this.#board.screen([range[2], range[3]])];
      parts.push(
        svg("rect", { class: "range", x: Math.min(a[0], b[0]), y: 0, width: Math.abs(b[0] - a[0]), height: RULER }),
        svg("rect", { class: "range", x: 0, y: b[1], width: RULER, height: a[1] - b[1] }),
      );
    }
    const ticks = [];
    const texts = [];
    for (let n = Math.ceil((-x0 * pixel) / fine); n * fine < (wide - x0) * pixel; n += 1) {
      const x = x0 + (n * fine) / pixel;
      const long = Math.abs(n * fine - Math.round((n * fine) / step) * step) < fine / 10;
      ticks.push(`M${x.toFixed(1)} ${long ? 4 : RULER - 6}V${RULER}`);
      if (long && x > RULER) texts.push(svg("text", { x: x + 3, y: 13 }, figure(n * fine, this.units)));
    }
    for (let n = Math.ceil(((y0 - tall) * pixel) / fine); n * fine < y0 * pixel; n += 1) {
      const y = y0 - (n * fine) / pixel;
      const long = Math.abs(n * fine - Math.round((n * fine) / step) * step) < fine / 10;
      ticks.push(`M${long ? 4 : RULER - 6} ${y.toFixed(1)}H${RULER}`);
      if (long && y > RULER + 20) texts.push(svg("text", { transform: `translate(13 ${y - 3}) rotate(-90)` }, figure(n * fine, this.units)));
    }
    parts.push(svg("path", { d: `${ticks.join("")}M${RULER} ${RULER}H${wide}M${RULER} ${RULER}V${tall}` }), ...texts);
    parts.push(svg("rect", { width: RULER, height: RULER }), svg("text", { x: 3, y: 16 }, this.units));
    this.#ruler.append(...parts);
  }
}

const round = (mm, units) => (units === "in" ? Math.round((mm / INCH) * 16) / 16 * INCH : Math.round(mm * 10) / 10);
