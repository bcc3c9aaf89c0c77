// Nothing on the board yet: choose a picture, open a job, or begin with one of three examples.

import { get } from "./api.js";
import { byId, el, svg } from "./dom.js";
import { say, warn } from "./say.js";
import { toneOf } from "./wood.js";

export class Begin {
  #work;
  #names = [];
  #asked = false;

  constructor(work) {
    this.#work = work;
    byId("begin-open").addEventListener("click", () => byId("job-file").click());
  }

  start(names) {
    this.#names = names;
    this.show();
  }

  show() {
    const empty = !this.#work.state?.job.figures.length;
    document.body.classList.toggle("empty", empty);
    byId("begin").hidden = !empty;
    if (empty && !this.#asked && this.#names.length) this.#fill();
  }

  async #fill() {
    this.#asked = true;
    const entries = this.#names.map((name) => el("li", {}, el("button", { type: "button", "data-example": name, onclick: () => this.#open(name) }, svg("svg", { viewBox: "0 0 10 10", "aria-hidden": "true" }), el("strong", {}, "…"), el("span", { class: "what" }, ""))));
    byId("examples").replaceChildren(...entries);
    for (const [n, name] of this.#names.entries()) {
      try {
        fillEntry(entries[n].firstChild, await get(`/api/examples/${name}`));
      } catch (error) {
        entries[n].querySelector("strong").textContent = name;
        say(error.message);
      }
    }
  }

  async #open(name) {
    say("Opening the example…");
    try {
      await this.#work.create({ example: name });
      say(`${this.#work.state.title}: an example to change as you like.`);
    } catch (error) {
      warn(error.message);
    }
  }
}

function fillEntry(button, view) {
  const [picture, name, what] = button.children;
  drawSketch(picture, view);
  name.textContent = view.title;
  what.textContent = view.about;
}

/** A job as a small picture. */
export function drawSketch(picture, { panel, figure, cut_out: cutOut }) {
  picture.setAttribute("viewBox", `${-panel.width * 0.03} ${-panel.height * 0.03} ${panel.width * 1.06} ${panel.height * 1.06}`);
  const board = svg("rect", { width: panel.width, height: panel.height, class: "example-wood" });
  const shape = svg("path", { d: figure, transform: `matrix(1 0 0 -1 0 ${panel.height})`, class: cutOut ? "example-cut" : "example-wood" });
  picture.replaceChildren(...(cutOut ? [board, shape] : [shape]));
  picture.dataset.tone = toneOf(panel.wood);
}
