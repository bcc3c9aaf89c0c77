// Photographs of one's own work: the sawn test card says what the saw does, the finished panel how true it was sawn.

import { post, send } from "./api.js";
import { all, byId, el, refill } from "./dom.js";
import { take } from "./fields.js";
import { say, warn } from "./say.js";

/**
 * What is read of a photograph: values by name and what could not be read; a change of the job that takes them; what
 * they would be kept for; or the spots worth a file.
 * @typedef {{rows: [string, string][], picture: string, unread?: string[], way?: {label: string, changes: any[]} | null,
 *   keep?: string | null, spots?: {at: number[], text: string}[], photos?: number}} Answer
 */

/** What is noted at the saw beside the photo of the card. */
const ASKED = ["minutes", "square", "entry", "hole", "allowance"];

export class Measure {
  #work;
  #board;
  #address = "";
  /** The job that what is shown was read for. */
  #of = "";
  /** What is being read, in words; "" when nothing is. */
  busy = "";
  since = 0;
  /** Set by main.js: say what is being worked out. */
  tell = () => {};

  constructor(work, board) {
    this.#work = work;
    this.#board = board;
    for (const holder of all("[data-shot]")) {
      const { shot } = holder.dataset;
      const input = holder.querySelector("input[type=file]");
      holder.querySelector("button").addEventListener("click", () => input.click());
      input.addEventListener("change", () => {
        const files = [...input.files];
        input.value = "";
        this.take(shot, files);
      });
    }
    work.addEventListener("state", () => this.#forget());
    byId("shot-close").addEventListener("click", () => byId("shot-large").close());
  }

  /** What was read belongs to the job it was read for. */
  #forget() {
    if (this.#of === this.#work.id) return;
    this.#of = this.#work.id;
    byId("shot-answer").replaceChildren();
  }

  /** Photographs chosen, or dropped on the place for them. */
  async take(shot, files) {
    if (!files.length || this.busy) return;
    warn("");
    try {
      if (shot === "card") return this.#showCard(await this.#read(`card?${this.#asked()}`, files[0], "Reading the card"));
      for (const [n, file] of files.entries()) {
        const first = n === 0 && !byId("shot-more").checked ? "1" : "0";
        this.#showPanel(await this.#read(`held?first=${first}`, file, "Holding the panel against its pattern"));
      }
    } catch (error) {
      warn(error.message);
    }
    return undefined;
  }

  #asked() {
    return new URLSearchParams(ASKED.map((name) => [name, byId(`shot-${name}`).value.trim()])).toString();
  }

  /** @returns {Promise<Answer>} */
  async #read(path, file, words) {
    const { id } = this.#work;
    [this.busy, this.since] = [words, Date.now()];
    this.tell();
    try {
      const answer = await send(`/api/jobs/${id}/${path}`, file);
      if (id !== this.#work.id) throw new Error("Another job is open now: read the photo once more for it.");
      return answer;
    } finally {
      this.busy = "";
      this.tell();
    }
  }

  /** @param {Answer} answer */
  #showCard({ rows, unread = [], picture, way, keep }) {
    const use = way && el("button", { type: "button", class: "main", onclick: () => take(this.#work, way) }, way.label);
    const kept = keep && el("button", { type: "button", "data-key": "keep", onclick: () => this.#keep(keep, false) }, `Keep for every later job with: ${keep}`);
    const missed = unread.map((text) => el("p", { class: "notice" }, `Not read: ${text}`));
    this.#show("What the card says", rows, picture, [...missed, ...[use, kept].filter(Boolean)]);
    say("The card is read. Look at the picture before you trust the values.");
  }

  /** @param {Answer} answer */
  #showPanel({ rows, spots = [], picture, photos = 1 }) {
    const entries = spots.map(({ at, text }, n) => el("li", {}, el("button", { type: "button", class: "entry", "data-key": `spot-${n}`, onclick: () => this.#board.show(at) }, text)));
    this.#show(photos > 1 ? `The panel beside its pattern, from ${photos} photos` : "The panel beside its pattern", rows, picture, [el("ol", { class: "items", "aria-label": "Spots worth a file" }, ...entries)]);
    say(spots.length ? `${spots.length} spots are worth a file.` : "Nothing worth a file where it could be told.");
  }

  #show(title, rows, picture, more) {
    URL.revokeObjectURL(this.#address);
    this.#address = URL.createObjectURL(new Blob([bytesOf(picture)], { type: "image/png" }));
    const [large, image] = [byId("shot-large"), byId("shot-image")];
    image.src = this.#address;
    const open = el("button", { type: "button", class: "shot-picture", "aria-label": "Show the picture larger", onclick: () => large.showModal() }, el("img", { src: this.#address, alt: "The photo with what was read in it" }));
    const table = el("table", {}, ...rows.map(([what, text]) => el("tr", {}, what ? el("th", { scope: "row" }, what) : null, el("td", { colspan: what ? 1 : 2 }, text))));
    refill(byId("shot-answer"), [el("h3", {}, title), open, table, ...more]);
    byId("shot-answer").scrollIntoView({ block: "start" });
  }

  /** For every later job, and for this one too: it is worked out anew. */
  async #keep(what, replacing) {
    try {
      const { kept, before } = await post(`/api/jobs/${this.#work.id}/card/keep`, { replacing });
      const button = el("button", { type: "button", "data-key": "keep", onclick: () => this.#keep(what, true) }, "Put the new values in their place");
      const old = byId("shot-answer").querySelector("[data-key=keep]");
      if (!kept) {
        old?.replaceWith(button);
        return say(`The same was measured on ${before} already.`);
      }
      old?.replaceWith(el("p", {}, `Kept for every later job with: ${what}.`));
      say("Kept. Jobs that say nothing else of this blade use it, this one too.");
      return await this.#work.anew();
    } catch (error) {
      return warn(error.message);
    }
  }
}

/** @param {string} text bytes as base64 */
const bytesOf = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
