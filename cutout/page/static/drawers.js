// The dock: six drawers, one open at a time, each front saying how things stand in a few words.

import { byId, one } from "./dom.js";

const NAMES = ["picture", "panel", "saw", "findings", "plan", "print"];

export class Drawers {
  current = null;
  /** Set by main.js: draw everything again. */
  dispatch = () => {};

  constructor() {
    for (const name of NAMES) this.#front(name).addEventListener("click", () => this.#tapped(name));
    byId("dock").addEventListener("keydown", (event) => this.#key(event));
    this.open("picture");
  }

  #front(name) {
    return one(`#${name} > h2 > .front`);
  }

  /** The front of the open drawer closes it, so that a small screen is all board. */
  #tapped(name) {
    const open = this.#front(name).getAttribute("aria-expanded") === "true" && !byId(`${name}-in`).hidden;
    const folded = document.body.classList.contains("empty") && !byId(`${name}-in`).classList.contains("wanted");
    this.open(open && !folded ? null : name, true);
  }

  /** wanted: the user asked for it; on a phone an empty board keeps the sheet folded until then. */
  open(name, wanted = false) {
    const before = this.current;
    this.current = name;
    document.body.classList.toggle("folded", name === null);
    for (const other of NAMES) {
      const front = this.#front(other);
      front.setAttribute("aria-expanded", String(other === name));
      byId(`${other}-in`).hidden = other !== name;
      byId(`${other}-in`).classList.toggle("wanted", wanted && other === name);
    }
    // The sheets of the template lie on the board while their drawer is open.
    if (before !== name && [before, name].includes("print")) this.dispatch();
  }

  /** Open the drawer that holds an element. */
  reveal(element) {
    const section = element.closest("#dock section");
    if (section) this.open(section.id);
    for (let around = element.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
  }

  /** Up and down go from front to front. */
  #key(event) {
    const at = NAMES.findIndex((name) => this.#front(name) === event.target);
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (at < 0 || !by) return;
    event.preventDefault();
    this.#front(NAMES[(at + by + NAMES.length) % NAMES.length]).focus();
  }

  say(name, words) {
    const state = byId(`${name}-state`);
    if (state.textContent !== words) state.textContent = words;
  }
}
