// Cleaning up a photo: rubbing out, filling in, cutting off and marking the figure on the photo itself, under the outline
// read from it.

import { get } from "./api.js";
import { all, byId, svg } from "./dom.js";
import { say } from "./say.js";
import { cropOf, dabs } from "./dabs.js";

/** What drawing does: into which setting of the figure it goes, with what sign, or as a box; and what is said. */
const TOOLS = {
  rub: { spots: "touched", sign: -1, done: "Rubbed out." },
  fill: { spots: "touched", sign: 1, done: "Filled in." },
  crop: { box: "crop", hint: "Draw a box from corner to corner: what lies beyond it is cut off.", done: "Cut off; the outline ends there." },
  figure: { spots: "marked", sign: 1, hint: "Draw along the figure: what looks like it counts as figure.", done: "Marked as figure." },
  ground: { spots: "marked", sign: -1, hint: "Draw where there is no figure.", done: "Marked as ground." },
  within: { box: "within", hint: "Draw a box round the figure, close to it: what lies beyond shows what the ground looks like.", done: "The figure is looked for in the box." },
};

export class Touch {
  #work;
  #figure;
  #what = "rub";
  /** @type {number[] | null} */
  #from = null;
  #way = [];
  #edge = svg("path", { class: "edge" });
  #live = svg("g");

  /** figure: gives the number of the figure whose photo it is. */
  constructor(work, figure) {
    this.#work = work;
    this.#figure = figure;
    byId("touch-over").append(this.#edge, this.#live);
    for (const button of all("[data-touch]")) button.addEventListener("click", () => this.#choose(button.dataset.touch));
    const photo = byId("touch-photo");
    photo.addEventListener("pointerdown", (event) => this.#down(event));
    photo.addEventListener("pointermove", (event) => this.#from && this.#moving(event));
    photo.addEventListener("pointerup", (event) => this.#from && this.#up(event));
    photo.addEventListener("pointercancel", () => this.#drop());
    byId("touch-undo").addEventListener("click", () => this.#send(() => this.#work.undo(), "Undone."));
    byId("touch-clear").addEventListener("click", () => this.#change([["touched", []], ["crop", null], ["marked", []], ["within", null]], "Everything taken back."));
    byId("touch-close").addEventListener("click", () => byId("touch").close());
  }

  /** Show the photo that `image` shows, with its outline. */
  async open(image) {
    byId("touch-img").src = image.src;
    await byId("touch-img").decode();
    const { naturalWidth: wide, naturalHeight: high } = byId("touch-img");
    byId("touch-over").setAttribute("viewBox", `0 0 ${wide} ${high}`);
    byId("touch-size").max = String(Math.max(20, Math.round(Math.max(wide, high) / 5)));
    byId("touch-size").value = String(Math.max(4, Math.round(Math.max(wide, high) / 40)));
    byId("touch-said").textContent = "";
    byId("touch").showModal();
    await this.#trace();
  }

  #choose(what) {
    this.#what = what;
    for (const button of all("[data-touch]")) button.setAttribute("aria-pressed", String(button.dataset.touch === what));
    byId("touch-said").textContent = TOOLS[what].hint ?? "";
  }

  /** Where in the photo, in its own pixels, a pointer is. */
  #at(event) {
    const box = byId("touch-over").getBoundingClientRect();
    const { naturalWidth: wide, naturalHeight: high } = byId("touch-img");
    return [((event.clientX - box.left) / box.width) * wide, ((event.clientY - box.top) / box.height) * high];
  }

  #down(event) {
    if (event.button !== 0) return;
    event.preventDefault();
    byId("touch-photo").setPointerCapture(event.pointerId);
    this.#from = this.#at(event);
    this.#way = [this.#from];
    this.#moving(event);
  }

  #moving(event) {
    this.#way.push(this.#at(event));
    this.#live.replaceChildren(...this.#shapes());
  }

  #shapes() {
    if (TOOLS[this.#what].box && this.#from) {
      const [x0, y0, x1, y1] = cropOf(this.#from, this.#way.at(-1));
      return [svg("rect", { x: x0, y: y0, width: x1 - x0, height: y1 - y0, class: "cut" })];
    }
    return dabs(this.#way, this.#across).map(([cx, cy, across]) => svg("circle", { cx, cy, r: across / 2, class: this.#what }));
  }

  get #across() {
    return Number(byId("touch-size").value);
  }

  #up(event) {
    this.#way.push(this.#at(event));
    const [from, way] = [this.#from, this.#way];
    this.#drop();
    if (!from) return;
    const tool = TOOLS[this.#what];
    if (tool.box) {
      const box = cropOf(from, way.at(-1)).map(Math.round);
      if (box[2] - box[0] < 4 || box[3] - box[1] < 4) return;
      this.#change([[tool.box, box]], tool.done);
    } else {
      const spots = dabs(way, this.#across).map(([x, y, across]) => [`${tool.spots}.+`, [x, y, tool.sign * across]]);
      this.#change(spots, tool.done);
    }
  }

  #drop() {
    this.#from = null;
    this.#live.replaceChildren();
  }

  #change(values, words) {
    const changes = values.map(([name, value]) => ({ path: `figures.${this.#figure()}.${name}`, value }));
    return this.#send(() => this.#work.change(changes), words);
  }

  async #send(action, words) {
    try {
      await action();
      byId("touch-said").textContent = this.#work.problem ?? words;
      say(words, true);
      await this.#trace();
    } catch (error) {
      byId("touch-said").textContent = error.message;
    }
  }

  async #trace() {
    const revision = this.#work.state.revision;
    const { path, problem } = await get(`/api/jobs/${this.#work.id}/traced/${this.#figure()}`).catch((error) => ({ path: "", problem: error.message }));
    // The job has changed meanwhile, as when the answer to the photo's being added comes late: this is of the old one.
    if (revision !== this.#work.state.revision) return byId("touch").open ? this.#trace() : undefined;
    if (problem) byId("touch-said").textContent = problem;
    this.#edge.setAttribute("d", path ?? "");
    if (path === null) byId("touch-said").textContent = "The photo is straightened: its outline is shown on the panel only.";
  }
}
