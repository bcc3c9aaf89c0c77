// The list of findings by kind, each tied to its mark on the panel.

import { sameAs } from "./crowd.js";
import { byId, el, one, refill } from "./dom.js";
import { take } from "./fields.js";
import { kindOf, listMark } from "./marks.js";
import { say } from "./say.js";

export class Findings {
  selected = null;
  #work;
  #board;
  #open = new Set();

  constructor(work, board) {
    this.#work = work;
    this.#board = board;
    board.addEventListener("finding", (event) => this.#fromMark(event.detail));
  }

  get list() {
    return this.#work.findings ?? [];
  }

  get left() {
    return this.list.filter((found) => !found.cleared);
  }

  show() {
    // Numbers are given anew by each check: the chosen one is known by its kind and place.
    this.selected = sameAs(this.selected, this.#work.findings ? this.list : this.selected ? [this.selected] : []);
    const cleared = this.list.filter((found) => found.cleared);
    const stops = this.left.filter((found) => found.severity === "stop").length;
    byId("findings-sum").textContent = this.#sum(this.left.length, stops, cleared.length);
    this.#showLead();
    refill(byId("finding-list"), this.#groups(this.left));
    byId("cleared").hidden = !cleared.length;
    byId("cleared-sum").textContent = `Mended: ${cleared.length}`;
    refill(byId("cleared-list"), this.#groups(cleared));
  }

  /** In a few words, for the front of the drawer. */
  get state() {
    if (!this.#work.look) return "";
    if (!this.#work.findings) return this.#work.problem ? "" : "checking…";
    const stops = this.left.filter((found) => found.severity === "stop").length;
    if (stops) return `${stops} to be settled`;
    return this.left.length ? `${this.left.length} to take care with` : "nothing found";
  }

  #sum(count, stops, cleared) {
    if (!this.#work.look) return "Choose a picture first.";
    if (!this.#work.findings) return this.#work.problem ? "" : "Checking…";
    const state = this.#work.cut ? "" : "Before mending:";
    if (!count) return `${state} Nothing found${cleared ? `; ${cleared} mended` : ""}.`.trim();
    const care = count - stops;
    const parts = [stops && `${stops} that can't be cut like this`, care && `${care} that need${care === 1 ? "s" : ""} care`];
    return `${state} ${parts.filter(Boolean).join(", ")}${cleared ? `; ${cleared} mended` : ""}.`.trim();
  }

  /** One fold for each kind: its sign, its name, how many, and "next" to go through them. */
  #groups(list) {
    const kinds = new Map();
    for (const found of list) {
      const key = `${found.severity}-${found.kind}-${found.cleared}`;
      kinds.set(key, [...(kinds.get(key) ?? []), found]);
    }
    return [...kinds].map(([key, group]) => this.#group(key, group));
  }

  #group(key, group) {
    const open = group.includes(this.selected) || this.#open.has(key) || group[0].severity === "stop" || group.length === 1;
    const next = el("button", { type: "button", "data-key": `next-${key}`, "aria-label": `Next ${group[0].kind}`, onclick: () => this.choose(group[(group.indexOf(this.selected) + 1) % group.length]) }, "Next");
    const summary = el("summary", {}, listMark(group[0]), el("span", {}, sentence(group[0].kind)), el("span", { class: "count" }, `${group.length} ×`));
    const fold = el("details", { class: "kind", open }, summary, group.length > 1 ? el("div", { class: "row" }, next) : null, el("ol", { class: "items" }, ...group.map((found) => this.#entry(found))));
    fold.addEventListener("toggle", () => this.#open[fold.open ? "add" : "delete"](key));
    return fold;
  }

  #entry(found) {
    // Openings are numbered anew until the pattern is final: their numbers are only told then.
    const place = found.opening && this.#work.cut ? `, opening ${found.opening}` : "";
    const text = el(
      "span",
      {},
      el("strong", {}, `${found.number}. ${sentence(found.kind)}`),
      el("span", { class: "what" }, ` (${kindOf(found).word}${place})`),
      el("span", { class: "text" }, found.text),
      el("span", { class: "remedy" }, found.cleared ? "" : found.remedy),
    );
    const attributes = { type: "button", class: "entry finding", "data-key": keyOf(found), "aria-current": found === this.selected && "true" };
    return el("li", {}, el("button", { ...attributes, onclick: () => this.choose(found) }, listMark(found), text), this.#ways(found));
  }

  /** A button for each thing that can be done about a finding at one touch. */
  #ways(found) {
    const ways = (found.ways ?? []).map((way, n) => this.#wayButton(way, `${keyOf(found)}-way-${n}`, `${way.label}, for ${found.number}, ${found.kind}`));
    return ways.length ? el("div", { class: "ways" }, ...ways) : null;
  }

  #wayButton(way, key, label) {
    return el("button", { type: "button", class: "way", "data-key": key, "aria-label": label, onclick: () => take(this.#work, way) }, way.label);
  }

  /** What would help the whole pattern most stands before everything else. */
  #showLead() {
    const lead = this.#work.cut?.lead;
    byId("lead").hidden = !lead;
    refill(byId("lead"), lead ? [el("p", {}, lead.text), lead.way && this.#wayButton(lead.way, "lead-way", lead.way.label)].filter(Boolean) : []);
  }

  /** Bring the spot into view and mark it. */
  choose(found) {
    this.selected = found;
    this.dispatch();
    this.#board.show(found.at, Math.max(this.#work.look.panel.width / 8, 25), false);
    say(`${found.number}, ${found.kind}: shown on the panel.`);
  }

  #fromMark(found) {
    this.selected = found;
    this.reveal();
    this.dispatch();
    const entry = one(`[data-key="${keyOf(found)}"]`);
    entry?.scrollIntoView({ block: "center" });
    entry?.focus({ preventScroll: true });
  }

  /** Set by main.js: draw everything again; open the drawer of findings. */
  dispatch = () => {};
  reveal = () => {};
}

const keyOf = ({ number, kind, at }) => `finding-${kind.replaceAll(" ", "-")}-${at.map(Math.round).join("-")}-${number}`;

const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1);
