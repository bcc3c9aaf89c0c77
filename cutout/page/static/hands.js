// What can be taken hold of on the panel: figures, bridges and holes, with pointer or keys.

import { svg } from "./dom.js";

const STEP = { mm: 1, in: 25.4 / 16 };
const KEY_REST = 350;
const SIZE_STEP = 1.01;
const SMALL_SIZE_STEP = 1.05;

/**
 * Events: "moved" {item, at, turn, scale} when something was let go; "removed" {item}; "chosen" {item};
 * "placed" {kind, at} at the end of placing. While something moves only its transform changes.
 */
export class Hands extends EventTarget {
  #board;
  #items = new Map();
  #groups = new Map();
  #move = null;
  #pointers = new Map();
  #pinch = 0;
  #placing = null;
  #rest = 0;
  chosen = null;
  units = "mm";

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
    this.#placing = { kind, at: this.#board.centre };
    this.#board.cross(this.#placing.at);
    this.#board.holder.classList.add("placing");
    this.#board.holder.focus();
  }

  #endPlacing(at) {
    const { kind } = this.#placing;
    this.#placing = null;
    this.#board.cross(null);
    this.#board.holder.classList.remove("placing");
    this.dispatchEvent(new CustomEvent("placed", { detail: { kind, at } }));
  }

  #redraw() {
    const focused = document.activeElement?.dataset?.hold;
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
    if (focused && this.#groups.has(focused)) this.#groups.get(focused).focus({ preventScroll: true });
  }

  /** The drawing is new, what is being moved goes on from where it stands now. */
  #goOnMoving() {
    const item = this.#move && this.#items.get(this.#move.item.key);
    if (!item) {
      this.#move = null;
      return;
    }
    this.#move.item = item;
    this.#showMove();
  }

  #small(item) {
    const group = svg("g");
    if (item.kind === "bridge") group.append(this.#board.bridgeHandle(item));
    else {
      const { height } = this.#board.model.panel;
      group.append(svg("circle", { class: "own-hole", cx: item.at[0], cy: height - item.at[1], r: item.diameter / 2 }));
      const hair = svg("path", { d: "M-9 0H9M0 -9V9", class: "hair" });
      group.append(this.#board.upright(item.at, svg("circle", { r: 14, class: "grip" }), hair));
    }
    return group;
  }

  /** Four corners to size the chosen figure, and one arm to turn it. */
  #drawHandles() {
    const item = this.#items.get(this.chosen);
    const layer = this.#board.layer("handles");
    if (item?.kind !== "figure" || this.#move) return layer.replaceChildren();
    const [x0, y0, x1, y1] = item.box;
    const height = this.#board.model.panel.height;
    const box = svg("rect", { x: x0, y: height - y1, width: x1 - x0, height: y1 - y0, class: "box" });
    const corners = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].map((at, n) =>
      this.#handle(at, n % 2 ? "nesw" : "nwse", "size", svg("rect", { x: -7, y: -7, width: 14, height: 14 })),
    );
    const top = [(x0 + x1) / 2, y1];
    const arm = this.#handle(top, "turn", "turn", svg("path", { d: "M0 0V-26", class: "arm" }), svg("circle", { cy: -32, r: 8 }));
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
    const held = event.target.closest("[data-hold]");
    const handle = event.target.closest("[data-what]");
    if (event.target.closest(".mark")) return;
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

  #begin(item, what, from) {
    this.#move = { item, what, from, dx: 0, dy: 0, turn: 0, scale: 1, pointed: true };
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
    if (!this.#move?.pointed) {
      const [a, b] = [this.#board.at(before), this.#board.at(event)];
      return this.#board.pan(a[0] - b[0], a[1] - b[1]);
    }
    this.#follow(this.#board.at(event), event.shiftKey);
  }

  /** Take over where the pointer is: moved, turned or sized about the item's middle. */
  #follow(to, coarse) {
    const move = this.#move;
    const [cx, cy] = move.item.at;
    if (move.what === "move") [move.dx, move.dy] = [to[0] - move.from[0], to[1] - move.from[1]];
    else if (move.what === "size") {
      const scale = Math.hypot(to[0] - cx, to[1] - cy) / Math.hypot(move.from[0] - cx, move.from[1] - cy);
      move.scale = this.#allowed(move.item, scale);
    } else {
      const angle = (p) => Math.atan2(p[1] - cy, p[0] - cx) * (180 / Math.PI);
      const step = coarse ? 15 : 1;
      const turn = Math.round((angle(to) - angle(move.from)) / step) * step;
      move.turn = ((((turn + 180) % 360) + 360) % 360) - 180;
    }
    this.#showMove();
  }

  /** No figure grows beyond the panel, none shrinks to nothing. */
  #allowed(item, scale) {
    const [x0, y0, x1, y1] = item.box;
    const { width, height } = this.#board.model.panel;
    return Math.min(Math.max(scale, 5 / Math.max(x1 - x0, y1 - y0)), width / (x1 - x0), height / (y1 - y0));
  }

  #showMove() {
    const { item, dx, dy, turn, scale } = this.#move;
    const group = this.#groups.get(item.key);
    const [cx, cy] = item.at;
    const flip = item.kind === "figure" ? 1 : -1;
    const y = item.kind === "figure" ? cy : this.#board.model.panel.height - cy;
    group.setAttribute(
      "transform",
      `translate(${cx + dx} ${y + flip * dy}) rotate(${flip * turn}) scale(${scale}) translate(${-cx} ${-y})`,
    );
    group.classList.add("moving");
    this.#board.layer("handles").replaceChildren();
  }

  #up(event, cancelled = false) {
    this.#pointers.delete(event.pointerId);
    if (this.#placing && !cancelled) {
      if (event.button === 0) this.#endPlacing(this.#board.at(event));
      return;
    }
    if (this.#move?.pointed) this.#letGo(cancelled);
  }

  #letGo(cancelled = false) {
    const move = this.#move;
    this.#move = null;
    clearTimeout(this.#rest);
    if (!move) return;
    const still = Math.hypot(move.dx, move.dy) < this.#board.pixel && !move.turn && Math.abs(move.scale - 1) < 1e-6;
    if (cancelled || (still && move.pointed)) {
      const group = this.#groups.get(move.item.key);
      group?.removeAttribute("transform");
      group?.classList.remove("moving");
      return this.#drawHandles();
    }
    const at = [move.item.at[0] + move.dx, move.item.at[1] + move.dy];
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

  /** Only with Ctrl (which a trackpad's pinch sends too): the wheel alone scrolls the page. */
  #wheel(event) {
    if (!event.ctrlKey) return;
    event.preventDefault();
    this.#board.zoom(Math.exp(-event.deltaY / 300), this.#board.at(event));
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const item = this.#items.get(event.target.dataset?.hold);
    const used = this.#placing ? this.#keyPlacing(event) : item ? this.#keyItem(event, item) : this.#keyView(event);
    if (used) event.preventDefault();
  }

  #keyPlacing({ key, shiftKey }) {
    const way = arrow(key);
    if (way) {
      const step = STEP[this.units] * (shiftKey ? 10 : 1);
      const { width, height } = this.#board.model.panel;
      const [x, y] = this.#placing.at;
      this.#placing.at = [clamp(x + way[0] * step, width), clamp(y + way[1] * step, height)];
      this.#board.cross(this.#placing.at);
    } else if (key === "Enter" || key === " ") this.#endPlacing(this.#placing.at);
    else if (key === "Escape") this.#endPlacing(null);
    return Boolean(way) || ["Enter", " ", "Escape"].includes(key);
  }

  #keyItem({ key, shiftKey }, item) {
    const way = arrow(key);
    const big = shiftKey ? 10 : 1;
    const turn = { "[": 1, "]": -1, "{": 15, "}": -15 }[key];
    const grow = { "+": 1, "=": 1, "-": -1, "_": -1 }[key];
    if (way) this.#nudge(item, (move) => {
      move.dx += way[0] * STEP[this.units] * big;
      move.dy += way[1] * STEP[this.units] * big;
    });
    else if (turn && item.kind !== "hole") this.#nudge(item, (move) => (move.turn += turn));
    else if (grow) this.#nudge(item, (move) => (move.scale = this.#grown(item, move.scale, grow)));
    else if (key === "Delete" || key === "Backspace") this.dispatchEvent(new CustomEvent("removed", { detail: { item } }));
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

  #grown(item, scale, steps) {
    const grown = scale * (item.kind === "figure" ? SIZE_STEP : SMALL_SIZE_STEP) ** steps;
    return item.kind === "figure" ? this.#allowed(item, grown) : grown;
  }

  /** Keys add up; what they came to is sent once they rest. */
  #nudge(item, by) {
    if (this.#move?.item.key !== item.key) {
      this.#letGo();
      this.#begin(item, "keys", null);
      this.#move.pointed = false;
    }
    by(this.#move);
    this.#showMove();
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

const arrow = (key) => ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] })[key];
const clamp = (value, most) => Math.min(Math.max(value, 0), most);
