// What can be taken hold of on the panel: figures, bridges and holes, with pointer or keys.

import { focused, svg } from "./dom.js";
import { quarters } from "./marks.js";
import { snap } from "./snap.js";
import { INCH } from "./units.js";

const STEP = { mm: 1, in: INCH / 16 };
const KEY_REST = 350;
const SIZE_STEP = 1.01;
const SMALL_SIZE_STEP = 1.05;
/** Pixels within which a figure that is dragged is put in line with something. */
const SNAP = 7;
/** Pixels a finger or mouse may stray and still only have tapped. */
const TAP = 4;

/**
 * Events: "moving" {item, box, words, lines} while something moves, null when it has ended;
 * "moved" {item, at, turn, scale} when something was let go; "removed" {item}; "chosen" {item};
 * "placed" {kind, at} at the end of placing. While something moves only its transform changes.
 */
export class Hands extends EventTarget {
  #board;
  #items = new Map();
  #groups = new Map();
  /** @type {import("./types.d.ts").Move | null} */
  #move = null;
  #pointers = new Map();
  #pinch = 0;
  /** What has been taken away, until the answer says so: nothing more is done to it. */
  /** @type {string | null} */
  #leaving = null;
  /** @type {{kind: string, at: number[]} | null} */
  #placing = null;
  #rest = 0;
  /** @type {{x: number, y: number} | null} */
  #pressed = null;
  /** @type {string | null} */
  chosen = null;
  units = "mm";
  /** At the saw nothing can be moved; the view still can. */
  off = false;
  /** Wood (mm) that snapping keeps to the panel's edge. */
  edge = 0;

  constructor(board) {
    super();
    this.#board = board;
    const { svg: picture, holder } = board;
    picture.addEventListener("pointerdown", (event) => this.#down(event));
    picture.addEventListener("pointermove", (event) => this.#moving(event));
    picture.addEventListener("pointerup", (event) => this.#up(event));
    picture.addEventListener("pointercancel", (event) => this.#up(event, true));
    holder.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    holder.addEventListener("keydown", (event) => this.#key(event));
    board.addEventListener("drawn", () => this.#redraw());
    board.addEventListener("viewed", () => this.#drawHandles());
  }

  /** The things that can be held: [{key, kind, label, at, ...}]. */
  hold(items) {
    this.#leaving = null;
    this.#items = new Map(items.map((item) => [item.key, item]));
    if (this.chosen && !this.#items.has(this.chosen)) this.chosen = null;
  }

  get items() {
    return [...this.#items.values()];
  }

  choose(key, focus = false) {
    this.chosen = key;
    for (const [other, group] of this.#groups) group.classList.toggle("chosen", other === key);
    if (focus) this.#groups.get(key)?.focus({ preventScroll: true });
    this.#drawHandles();
    this.dispatchEvent(new CustomEvent("chosen", { detail: this.#items.get(key) ?? null }));
  }

  /** Let the user point at a place, with a click or with arrow keys and Enter. */
  place(kind) {
    this.#placing = { kind, at: this.#board.middle };
    this.#board.cross(this.#placing.at);
    this.#board.holder.classList.add("placing");
    this.#board.holder.focus();
  }

  #endPlacing(at) {
    const kind = this.#placing?.kind;
    this.#placing = null;
    this.#board.cross(null);
    this.#board.holder.classList.remove("placing");
    this.dispatchEvent(new CustomEvent("placed", { detail: { kind, at } }));
  }

  #redraw() {
    const held = focused()?.dataset?.hold;
    this.#groups.clear();
    const figures = [];
    const hands = [];
    for (const item of this.#items.values()) {
      const group = item.kind === "figure" ? svg("g", {}, svg("path", { d: item.path })) : this.#small(item);
      const about = { "data-hold": item.key, class: `hold ${item.kind}`, tabindex: 0, role: "button", "aria-label": item.label };
      for (const [name, value] of Object.entries(about)) group.setAttribute(name, value);
      group.addEventListener("focus", () => this.chosen !== item.key && this.choose(item.key));
      this.#groups.set(item.key, group);
      (item.kind === "figure" ? figures : hands).push(group);
    }
    this.#board.layer("figures").replaceChildren(...figures);
    this.#board.layer("hands").replaceChildren(...hands);
    this.#groups.get(this.chosen)?.classList.add("chosen");
    this.#goOnMoving();
    this.#drawHandles();
    if (held && this.#groups.has(held)) this.#groups.get(held).focus({ preventScroll: true });
  }

  /** The drawing is new, what is being moved goes on from where it stands now. */
  #goOnMoving() {
    const item = this.#move && this.#items.get(this.#move.item.key);
    if (!this.#move || !item) {
      this.#move = null;
      return;
    }
    this.#move.item = item;
    this.#showMove(this.#move);
  }

  #small(item) {
    const group = svg("g");
    if (item.kind === "bridge") group.append(this.#board.bridgeHandle(item));
    else {
      const upright = this.#board.upright(item.at, svg("circle", { r: 14, class: "grip" }));
      const r = item.diameter / 2 / this.#board.pixel;
      const sign = svg("g", { class: "drill" }, svg("circle", { class: "own-hole", r }), quarters(r));
      upright.prepend(sign);
      group.append(upright);
    }
    return group;
  }

  /** Four corners to size the chosen figure, and one arm to turn it. */
  #drawHandles() {
    const item = this.#items.get(this.chosen);
    const layer = this.#board.layer("handles");
    if (item?.kind !== "figure" || this.#move) return layer.replaceChildren();
    const [x0, y0, x1, y1] = item.box;
    const { panel } = this.#board.model;
    const left = Math.min(this.#board.seen([x0, y0])[0], this.#board.seen([x1, y0])[0]);
    const box = svg("rect", { x: left, y: panel.height - y1, width: x1 - x0, height: y1 - y0, class: "box" });
    const corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].map((at, n) => {
      const [dx, dy] = [(n === 0 || n === 3) !== this.#board.turned ? 1 : -1, n < 2 ? -1 : 1];
      const d = `M0 ${dy * 13}V0H${dx * 13}`;
      return this.#handle(at, (n % 2 === 0) !== this.#board.turned ? "nesw" : "nwse", "size", svg("path", { d, class: "case" }), svg("path", { d, class: "corner-sign" }));
    });
    const top = [(x0 + x1) / 2, y1];
    const arc = svg("path", { d: "M-24 -24Q0 -44 24 -24", class: "arm" });
    const arm = this.#handle(top, "turn", "turn", svg("path", { d: "M0 0V-24", class: "arm" }), arc, svg("circle", { cy: -32, r: 8, class: "knob" }));
    layer.replaceChildren(box, ...corners, arm);
  }

  #handle(at, way, what, ...shapes) {
    const grip = svg("circle", { r: 16, cy: what === "turn" ? -32 : 0, class: "grip" });
    const group = this.#board.upright(at, grip, ...shapes);
    group.setAttribute("class", `handle ${way}`);
    group.dataset.what = what;
    return group;
  }

  #down(event) {
    if (event.button !== 0) return;
    this.#pointers.set(event.pointerId, event);
    if (this.#placing) return;
    if (this.#pointers.size === 2) return this.#startPinch();
    if (this.off) return this.#board.svg.setPointerCapture(event.pointerId);
    const held = event.target.closest("[data-hold]");
    const handle = event.target.closest("[data-what]");
    // A mark never keeps a figure from being taken hold of: only a tap that moved nothing is for the mark.
    const small = handle || (held && held.classList.contains("figure") === false);
    this.#pressed = small ? null : { x: event.clientX, y: event.clientY };
    this.#board.svg.setPointerCapture(event.pointerId);
    const from = this.#board.at(event);
    if (handle) this.#begin(this.#items.get(this.chosen), handle.dataset.what, from);
    else if (held) {
      this.choose(held.dataset.hold, true);
      this.#begin(this.#items.get(held.dataset.hold), "move", from);
    } else {
      this.#move = null;
      if (this.chosen) this.choose(null);
    }
  }

  #begin(item, what, from, pointed = true) {
    this.#move = { item, what, from, dx: 0, dy: 0, turn: 0, scale: 1, pointed };
    return this.#move;
  }

  #moving(event) {
    if (this.#placing) {
      this.#placing.at = this.#board.at(event);
      return this.#board.cross(this.#placing.at);
    }
    const before = this.#pointers.get(event.pointerId);
    if (!before) return;
    this.#pointers.set(event.pointerId, event);
    if (this.#pointers.size === 2) return this.#pinching();
    if (this.#pressed && Math.hypot(event.clientX - this.#pressed.x, event.clientY - this.#pressed.y) > TAP) this.#pressed = null;
    if (!this.#move?.pointed) {
      const { pixel } = this.#board;
      return this.#board.pan((before.clientX - event.clientX) * pixel, (event.clientY - before.clientY) * pixel);
    }
    if (this.#pressed) return;
    this.#follow(this.#board.at(event), event.shiftKey, !event.altKey);
  }

  /** Take over where the pointer is: moved, turned or sized about the item's middle. */
  #follow(to, coarse, snapping) {
    const move = this.#move;
    if (!move) return;
    const [cx, cy] = move.item.at;
    move.lines = [];
    if (move.what === "move") {
      [move.dx, move.dy] = [to[0] - move.from[0], to[1] - move.from[1]];
      if (snapping && move.item.kind === "figure") this.#snap(move);
    }
    else if (move.what === "size") {
      const scale = Math.hypot(to[0] - cx, to[1] - cy) / Math.hypot(move.from[0] - cx, move.from[1] - cy);
      move.scale = this.#allowed(move.item, scale);
    } else {
      const angle = (p) => Math.atan2(p[1] - cy, p[0] - cx) * (180 / Math.PI);
      const step = coarse ? 15 : 1;
      const turn = Math.round((angle(to) - angle(move.from)) / step) * step;
      move.turn = ((((turn + 180) % 360) + 360) % 360) - 180;
    }
    this.#showMove(move);
  }

  #snap(move) {
    const others = [...this.#items.values()].filter((item) => item.kind === "figure" && item !== move.item).map((item) => item.box);
    const { panel } = this.#board.model;
    const { shift, lines } = snap(boxOf(move), panel, this.edge, others, SNAP * this.#board.pixel);
    move.dx += shift[0];
    move.dy += shift[1];
    move.lines = lines;
  }

  /** No figure grows beyond the panel, none shrinks to nothing. */
  #allowed(item, scale) {
    const [x0, y0, x1, y1] = item.box;
    const { width, height } = this.#board.model.panel;
    return Math.min(Math.max(scale, 5 / Math.max(x1 - x0, y1 - y0)), width / (x1 - x0), height / (y1 - y0));
  }

  /** @param {import("./types.d.ts").Move} move */
  #showMove(move) {
    const { item, dx, dy, turn, scale } = move;
    const group = this.#groups.get(item.key);
    const [cx, cy] = item.at;
    if (item.kind === "figure") {
      group.setAttribute("transform", `translate(${cx + dx} ${cy + dy}) rotate(${turn}) scale(${scale}) translate(${-cx} ${-cy})`);
    } else this.#board.restand(group.firstChild, [cx + dx, cy + dy], turn, scale);
    group.classList.add("moving");
    this.#board.layer("handles").replaceChildren();
    const box = item.kind === "figure" ? boxOf(move) : [cx + dx, cy + dy, cx + dx, cy + dy];
    this.#tell({ item, box, turn, scale, lines: move.lines ?? [] });
  }

  #tell(detail) {
    this.dispatchEvent(new CustomEvent("moving", { detail }));
  }

  #up(event, cancelled = false) {
    this.#pointers.delete(event.pointerId);
    if (this.#placing && !cancelled) {
      if (event.button === 0) this.#endPlacing(this.#board.at(event));
      return;
    }
    const tapped = this.#pressed && !cancelled && this.#board.tap(event);
    this.#pressed = null;
    if (this.#move?.pointed) this.#letGo(cancelled || tapped);
  }

  #letGo(cancelled = false) {
    const move = this.#move;
    this.#move = null;
    clearTimeout(this.#rest);
    if (!move) return;
    const still = Math.hypot(move.dx, move.dy) < this.#board.pixel && !move.turn && Math.abs(move.scale - 1) < 1e-6;
    if (cancelled || (still && move.pointed)) {
      const group = this.#groups.get(move.item.key);
      if (move.item.kind === "figure") group?.removeAttribute("transform");
      else if (group) this.#board.restand(group.firstChild, move.item.at);
      group?.classList.remove("moving");
      this.#tell(null);
      return this.#drawHandles();
    }
    const at = [move.item.at[0] + move.dx, move.item.at[1] + move.dy];
    this.#tell(null);
    this.dispatchEvent(new CustomEvent("moved", { detail: { item: move.item, at, turn: move.turn, scale: move.scale } }));
  }

  #startPinch() {
    if (this.#move?.pointed) this.#letGo(true);
    this.#pinch = this.#spread();
  }

  #pinching() {
    const spread = this.#spread();
    const [a, b] = [...this.#pointers.values()].map((event) => this.#board.at(event));
    this.#board.zoom(spread / this.#pinch, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
    this.#pinch = spread;
  }

  #spread() {
    const [a, b] = [...this.#pointers.values()];
    return Math.max(Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY), 1);
  }

  /** The page itself does not scroll: the wheel comes closer, and with Shift moves the view sideways. */
  #wheel(event) {
    event.preventDefault();
    if (event.shiftKey) return this.#board.pan((event.deltaX || event.deltaY) * this.#board.pixel, 0);
    this.#board.zoom(Math.exp(-event.deltaY / (event.ctrlKey ? 120 : 420)), this.#board.at(event));
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const item = this.#items.get(event.target.dataset?.hold);
    if (this.off) return;
    const used = this.#placing ? this.#keyPlacing(event) : item ? this.#keyItem(event, item) : this.#keyView(event);
    if (used) event.preventDefault();
  }

  #keyPlacing({ key, shiftKey }) {
    const way = arrow(key);
    if (!this.#placing) return false;
    if (way) {
      const step = STEP[this.units] * (shiftKey ? 10 : 1);
      const { width, height } = this.#board.model.panel;
      const [x, y] = this.#placing.at;
      way[0] *= this.#board.turned ? -1 : 1;
      this.#placing.at = [clamp(x + way[0] * step, width), clamp(y + way[1] * step, height)];
      this.#board.cross(this.#placing.at);
    } else if (key === "Enter" || key === " ") this.#endPlacing(this.#placing.at);
    else if (key === "Escape") this.#endPlacing(null);
    return Boolean(way) || ["Enter", " ", "Escape"].includes(key);
  }

  #keyItem({ key, shiftKey }, item) {
    if (item.key === this.#leaving) return true;
    const way = arrow(key);
    const big = shiftKey ? 10 : 1;
    // Letters, not brackets: a bracket can't be typed without two more keys on many keyboards.
    const turn = { l: 1, r: -1 }[key.toLowerCase()] * (shiftKey ? 15 : 1);
    const grow = { "+": 1, "=": 1, "-": -1, "_": -1 }[key];
    if (way) this.#nudge(item, (move) => {
      move.dx += (this.#board.turned ? -way[0] : way[0]) * STEP[this.units] * big;
      move.dy += way[1] * STEP[this.units] * big;
    });
    else if (turn && item.kind !== "hole") this.#nudge(item, (move) => (move.turn += turn));
    else if (grow) this.#nudge(item, (move) => (move.scale = this.#grown(item, move.scale, grow)));
    else if (key === "Delete" || key === "Backspace") this.#remove(item);
    else if (key === "Enter" || key === " ") this.choose(item.key, true);
    else if (key === "Escape") {
      if (this.#move) this.#letGo(true);
      else {
        this.choose(null);
        this.#board.holder.focus();
      }
    } else return false;
    return true;
  }

  /** What keys had begun to move is not sent any more: there will be nothing to move. */
  #remove(item) {
    this.#letGo(true);
    this.#leaving = item.key;
    this.dispatchEvent(new CustomEvent("removed", { detail: { item } }));
  }

  #grown(item, scale, steps) {
    const grown = scale * (item.kind === "figure" ? SIZE_STEP : SMALL_SIZE_STEP) ** steps;
    return item.kind === "figure" ? this.#allowed(item, grown) : grown;
  }

  /** Keys add up; what they came to is sent once they rest. */
  #nudge(item, by) {
    if (this.#move?.item.key !== item.key) this.#letGo();
    const move = this.#move ?? this.#begin(item, "keys", null, false);
    by(move);
    this.#showMove(move);
    clearTimeout(this.#rest);
    this.#rest = setTimeout(() => this.#letGo(), KEY_REST);
  }

  #keyView({ key }) {
    const way = arrow(key);
    if (way) this.#board.pan(way[0] * this.#board.pixel * 60, way[1] * this.#board.pixel * 60);
    else if (key === "PageUp") this.#board.zoom(1.4);
    else if (key === "PageDown") this.#board.zoom(1 / 1.4);
    else if (key === "0") this.#board.whole();
    else return false;
    return true;
  }
}

/** The box of a figure as it is being moved: turning is left out, for the box of a turned outline is not known here. */
function boxOf({ item, dx, dy, scale }) {
  const [[x0, y0, x1, y1], [cx, cy]] = [item.box, item.at];
  return [cx + dx + (x0 - cx) * scale, cy + dy + (y0 - cy) * scale, cx + dx + (x1 - cx) * scale, cy + dy + (y1 - cy) * scale];
}

const arrow = (key) => ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] })[key];
const clamp = (value, most) => Math.min(Math.max(value, 0), most);
