// The list of findings, each tied to its mark on the panel.

import { byId, el, refill } from "./dom.js";
import { kindOf, listMark } from "./marks.js";
import { say } from "./say.js";

export class Findings {
  selected = null;
  #work;
  #board;

  constructor(work, board) {
    this.#work = work;
    this.#board = board;
    board.addEventListener("finding", (event) => this.#fromMark(event.detail));
  }

  get list() {
    return this.#work.findings ?? [];
  }

  show() {
    const left = this.list.filter((found) => !found.cleared);
    const cleared = this.list.filter((found) => found.cleared);
    const stops = left.filter((found) => found.severity === "stop").length;
    const sum = this.#sum(left.length, stops, cleared.length);
    byId("findings-sum").textContent = sum;
    byId("nav-findings").textContent = this.#work.findings ? `(${left.length})` : "";
    refill(byId("finding-list"), left.map((found) => this.#entry(found)));
    byId("cleared").hidden = !cleared.length;
    byId("cleared-sum").textContent = `Mended: ${cleared.length}`;
    refill(byId("cleared-list"), cleared.map((found) => this.#entry(found)));
    return sum;
  }

  #sum(count, stops, cleared) {
    if (!this.#work.look) return "Choose a picture first.";
    if (!this.#work.findings) return this.#work.problem ? "" : "Checking…";
    const state = this.#work.cut ? "" : " Before mending:";
    if (!count) return `${state} Nothing found${cleared ? `; ${cleared} mended` : ""}.`.trim();
    const care = count - stops;
    const parts = [stops && `${stops} that can't be cut like this`, care && `${care} that need${care === 1 ? "s" : ""} care`];
    return `${state} ${parts.filter(Boolean).join(", ")}${cleared ? `; ${cleared} mended` : ""}.`.trim();
  }

  #entry(found) {
    const key = `finding-${found.number}`;
    const place = found.opening ? `, opening ${found.opening}` : "";
    const text = el(
      "span",
      {},
      el("strong", {}, `${found.number}. ${sentence(found.kind)}`),
      el("span", { class: "what" }, ` (${kindOf(found).word}${place})`),
      el("span", { class: "text" }, found.text),
      el("span", { class: "remedy" }, found.cleared ? "" : found.remedy),
    );
    const chosen = found.number === this.selected;
    const attributes = { type: "button", class: "entry finding", "data-key": key, "aria-current": chosen && "true" };
    return el("li", {}, el("button", { ...attributes, onclick: () => this.choose(found) }, listMark(found), text));
  }

  /** Bring the spot into view and mark it. */
  choose(found) {
    this.selected = found.number;
    this.dispatch();
    this.#board.show(found.at, Math.max(this.#work.look.panel.width / 8, 25), false);
    say(`${found.number}, ${found.kind}: shown on the panel.`);
  }

  #fromMark(number) {
    this.selected = number;
    this.dispatch();
    const entry = document.querySelector(`[data-key="finding-${number}"]`);
    entry?.scrollIntoView({ block: "center" });
    entry?.focus({ preventScroll: true });
  }

  /** Set by main.js: draw everything again. */
  dispatch = () => {};
}

const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1);
