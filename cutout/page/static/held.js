// What hands have done on the panel, as changes of the job; and the lists of bridges and holes.

import { byId, el, focused, one, refill } from "./dom.js";
import { button } from "./picture.js";
import { say, warn } from "./say.js";

const round = (mm) => Math.round(mm * 100) / 100;

export class Held {
  #work;
  #board;
  #hands;

  constructor(work, board, hands) {
    this.#work = work;
    this.#board = board;
    this.#hands = hands;
    hands.addEventListener("moved", (event) => this.#moved(event.detail));
    hands.addEventListener("removed", (event) => this.#removed(event.detail.item));
    hands.addEventListener("placed", (event) => this.#placed(event.detail));
    byId("add-bridge").addEventListener("click", () => this.#startPlacing("bridge"));
    byId("add-hole").addEventListener("click", () => this.#startPlacing("hole"));
  }

  /** Everything that can be taken hold of, on the panel and in the lists. */
  show() {
    const [figures, found, bridges, holes] = [this.#figures(), this.#found(), this.#bridges(), this.#holes()];
    this.#hands.hold([...figures, ...found, ...bridges, ...holes]);
    refill(byId("bridge-list"), found.map((item) => this.#entry(item)));
    byId("bridges-title").hidden = !found.length;
  }

  /** What an entry of a list of the form is called, and what showing it on the panel does. */
  entry(path, n) {
    const item = path === "mend.bridges" ? this.#bridges()[n] : path === "holes" ? this.#holes()[n] : null;
    return item && { label: item.label, key: item.key, go: () => this.#go(item) };
  }

  #go(item) {
    this.#board.show(item.at, Math.max(this.#board.model.panel.width / 8, 25));
    this.#hands.choose(item.key, true);
  }

  /** Set by main.js: draw everything again; leave the finished view, where nothing can be placed. */
  dispatch = () => {};
  leaveFinished = () => {};
  /** Set by main.js: open what holds a field, and go to it. */
  /** @type {(field: any) => void} */
  reveal = () => {};

  #figures() {
    const { job, labels } = this.#work.state;
    return (this.#work.look?.figures ?? []).map((figure, n) => ({
      ...figure,
      key: `figure-${n}`,
      kind: "figure",
      index: n,
      label: `Figure ${labels[job.figures[n]?.source] ?? n + 1}, ${figure.label}`,
    }));
  }

  #found() {
    const bridges = (this.#work.cut?.bridges ?? []).filter((bridge) => !bridge.by_hand);
    return bridges.map((bridge) => ({
      ...bridge,
      key: `found-${bridge.at.join("-")}`,
      kind: "bridge",
      found: true,
      label: `Bridge ${bridge.id}, ${bridge.label}, ${bridge.place}`,
    }));
  }

  #bridges() {
    const { job, shown } = this.#work.state;
    return job.mend.bridges.map((bridge, n) => ({
      ...bridge,
      key: `bridge-${n}`,
      kind: "bridge",
      index: n,
      label: `Bridge of your own ${n + 1}, ${shown[`mend.bridges.${n}.width`]} wide, at ${this.#place(`mend.bridges.${n}`)}`,
    }));
  }

  #holes() {
    const { job, shown } = this.#work.state;
    return job.holes.map((hole, n) => ({
      ...hole,
      key: `hole-${n}`,
      kind: "hole",
      index: n,
      label: `Hole of your own ${n + 1}, ${shown[`holes.${n}.diameter`]}, at ${this.#place(`holes.${n}`)}`,
    }));
  }

  /** Where something of the job is, in words. */
  #place(path) {
    const { shown } = this.#work.state;
    return `${shown[`${path}.at.0`]} from the left, ${shown[`${path}.at.1`]} from the bottom`;
  }

  #entry(item) {
    const go = () => this.#go(item);
    return el(
      "li",
      {},
      el("button", { type: "button", class: "entry", "data-key": item.key, onclick: go }, item.label),
      button("Set its numbers", `Set the numbers of ${item.label}`, () => this.#typed(item)),
      button("Take away", `Take away ${item.label}`, () => this.#removed(item)),
    );
  }

  /** A bridge that was found becomes one of one's own, with fields for place, direction and width. */
  async #typed({ at, angle, width }) {
    const value = { at: at.map(round), angle: round(angle), width: round(width) };
    await this.#change([{ path: "mend.without.+", value: at }, { path: "mend.bridges.+", value }], () => "This bridge is now one of your own: type its place, direction and width.");
    const field = one(`[data-path="mend.bridges.${this.#work.state.job.mend.bridges.length - 1}.width"]`);
    if (field) this.reveal(field);
  }

  async #moved({ item, at, turn, scale }) {
    const place = at.map(round);
    if (item.kind === "figure") return this.#movedFigure(item, place, turn, scale);
    const path = item.kind === "hole" ? `holes.${item.index}` : `mend.bridges.${item.index}`;
    if (item.kind === "hole") {
      const value = { at: place, diameter: round(item.diameter * scale) };
      return this.#change([{ path, value }], () => `Moved to ${this.#place(path)}.`);
    }
    const value = { at: place, angle: round(item.angle + turn), width: round(item.width * scale) };
    if (!item.found) return this.#change([{ path, value }], () => `Moved to ${this.#place(path)}.`);
    const changes = [{ path: "mend.without.+", value: item.at }, { path: "mend.bridges.+", value }];
    await this.#change(changes, () => "Moved; this bridge is now one of your own.");
    return this.#chooseLast("bridge", this.#work.state.job.mend.bridges);
  }

  #movedFigure(item, at, turn, scale) {
    const path = `figures.${item.index}`;
    const changes = [];
    if (turn) changes.push({ path: `${path}.turn`, value: round((this.#work.state.job.figures[item.index].turn + turn) % 360) });
    if (scale !== 1) changes.push(...this.#sized(path, item, scale));
    if (Math.hypot(at[0] - item.at[0], at[1] - item.at[1]) > 0.005) changes.push({ path: `${path}.at`, value: at });
    const size = () => this.#work.look?.figures[item.index]?.label;
    return this.#change(changes, () =>
      turn ? `Turned by ${turn} degrees.` : scale !== 1 ? `Now ${size()}.` : `Moved to ${this.#place(path)}.`,
    );
  }

  /** The setting that rules the size of a figure, scaled: letters keep the height of their capitals as the one. */
  #sized(path, { index, box }, scale) {
    const capital = this.#work.state.job.figures[index].cap_height;
    if (capital) return [{ path: `${path}.cap_height`, value: round(capital * scale) }];
    const others = [["height", null], ["fit", false]].map(([name, value]) => ({ path: `${path}.${name}`, value }));
    return [{ path: `${path}.width`, value: round((box[2] - box[0]) * scale) }, ...others];
  }

  async #removed(item) {
    const path = { figure: "figures", hole: "holes", bridge: "mend.bridges" }[item.kind];
    const change = item.found ? { path: "mend.without.+", value: item.at } : { path: `${path}.${item.index}`, value: null };
    await this.#change([change], () => `${item.label} taken away.`);
    // What had the focus is gone: keys go on from the panel.
    if (focused() === document.body) this.#board.holder.focus({ preventScroll: true });
  }

  #startPlacing(kind) {
    if (!this.#work.look) return say("Choose a picture first.");
    this.leaveFinished();
    this.#hands.place(kind);
    say(`Click where the ${kind} goes on the panel; or move the cross with the arrow keys and press Enter. Escape gives up.`);
  }

  async #placed({ kind, at }) {
    if (!at) return say("Nothing placed.");
    const { job } = this.#work.state;
    const place = at.map(round);
    if (kind === "hole") {
      const value = { at: place, diameter: job.units === "in" ? "1/4in" : "6mm" };
      await this.#change([{ path: "holes.+", value }], () => "Hole placed. Arrow keys move it, + and - change its size.");
      return this.#chooseLast("hole", this.#work.state.job.holes);
    }
    const { panel } = this.#work.look;
    const width = job.mend.bridge_width ?? this.#work.cut?.bridges?.[0]?.width ?? panel.thickness;
    const value = { at: place, angle: panel.grain ?? 0, width: round(width) };
    const words = "Bridge placed, along the grain. Arrow keys move it, L and R turn it.";
    await this.#change([{ path: "mend.bridges.+", value }], () => words);
    return this.#chooseLast("bridge", this.#work.state.job.mend.bridges);
  }

  #chooseLast(kind, list) {
    this.#hands.choose(`${kind}-${list.length - 1}`, true);
  }

  /** Change the job and say what came of it; what can't be done goes back to where it was. */
  async #change(changes, words) {
    if (!changes.length) return this.dispatch();
    try {
      await this.#work.change(changes);
      if (!this.#work.problem) say(words(), true);
    } catch (error) {
      this.dispatch();
      warn(error.message);
    }
  }
}
