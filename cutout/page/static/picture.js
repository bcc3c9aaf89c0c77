// The picture section: choosing figures, their size and place, cleaning up; and earlier jobs.

import { blob, get, post } from "./api.js";
import { drawSketch } from "./begin.js";
import { all, byId, el, refill, svg } from "./dom.js";
import { newGesture, send as setOf, setField } from "./fields.js";
import { chosenFile } from "./form.js";
import { say, warn } from "./say.js";
import { Touch } from "./touch.js";
import { unpacked } from "./unzip.js";

/** Earlier jobs that are shown with a picture. */
const SKETCHED = 12;

export class Picture {
  chosen = 0;
  /** Make a figure the one that fields and handles are about. */
  /** @type {(n: number) => void} */
  pick = () => {};
  #work;
  #limit = 40e6;
  #thumb = "";
  /** The photo under Cleaning up, as soon as it can be seen. @type {Promise<any>} */
  #shown = Promise.resolve(null);

  constructor(work) {
    this.#work = work;
  }

  start(form, hands, choices) {
    this.#limit = choices.upload_limit;
    const file = byId("picture-file");
    let figure = null;
    const choose = (which) => {
      figure = which;
      file.click();
    };
    byId("choose").addEventListener("click", () => choose(this.#work.state.job.figures.length ? this.chosen : null));
    byId("begin-choose").addEventListener("click", () => choose(null));
    byId("add-figure").addEventListener("click", () => choose(null));
    byId("add-letters").addEventListener("click", () => this.#letters());
    file.addEventListener("change", () => {
      const files = [...file.files];
      file.value = "";
      if (files.length) this.add(files, figure);
    });
    this.#listenForFiles();
    this.#startSliders();
    byId("centre").addEventListener("click", () => this.#toTheMiddle());
    byId("pick-corners").addEventListener("click", () => this.#pickCorners());
    this.pick = (n) => {
      this.chosen = n;
      hands.choose(`figure-${n}`);
      this.show();
      form.show();
    };
    byId("clean").addEventListener("toggle", () => this.#showThumb());
    const touch = new Touch(this.#work, () => this.chosen);
    byId("touch-open").addEventListener("click", () => this.#drawOn(touch).catch((error) => warn(error.message)));
  }

  /** Set by main.js: photographs dropped on the place for those of one's own work. */
  /** @type {(shot: string, files: File[]) => void} */
  photos = () => {};

  show() {
    const { job, labels, missing } = this.#work.state;
    this.chosen = Math.min(this.chosen, Math.max(job.figures.length - 1, 0));
    const some = job.figures.length > 0;
    byId("figure-fields").hidden = byId("add-figure").hidden = !some;
    byId("drop-hint").hidden = some;
    byId("choose").textContent = some ? "Replace" : "Choose a picture";
    byId("choose").setAttribute("aria-label", some ? "Replace the picture" : "Choose a picture");
    byId("choose").classList.toggle("main", !some);
    const named = (figure) => (figure.text === null ? labels[figure.source] : `“${figure.text}”`) ?? "figure";
    refill(byId("figure-list"), job.figures.map((figure, n) => this.#entry(named(figure), n, job.figures.length)));
    byId("figure-fields-title").textContent = job.figures.length > 1 ? `Size and place of ${named(job.figures[this.chosen])}` : "Size and place";
    byId("missing").replaceChildren(...missing.map((name) => this.#missing(name, labels[name])));
    this.#showOverlaps(job.figures.map(named));
    this.#showFigure(job.figures[this.chosen]);
    this.#showThumb();
  }

  /** In a few words, for the front of the drawer. */
  get state() {
    const { job } = this.#work.state;
    if (!job.figures.length) return "none yet";
    return job.figures.length === 1 ? (this.#work.look?.figures[0]?.label ?? this.#work.state.title) : `${job.figures.length} figures`;
  }

  #showOverlaps(names) {
    const pairs = this.#work.look?.overlaps ?? [];
    byId("overlap").hidden = !pairs.length;
    const said = pairs.map(([a, b]) => `${names[a]} and ${names[b]} lie over each other and are cut as one.`);
    byId("overlap").replaceChildren(...said.map((text) => el("p", {}, text)));
  }

  #entry(name, n, count) {
    const pick = el(
      "button",
      { type: "button", class: "entry", "data-key": `figure-${n}`, "aria-pressed": String(n === this.chosen), onclick: () => this.pick(n) },
      name,
    );
    const remove = () => this.#change([{ path: `figures.${n}`, value: null }], `${name} taken away.`);
    const [title, away] = [count > 1 ? pick : el("strong", {}, name), button("Take away", `Take away ${name}`, remove)];
    return el("li", { class: "figure" }, this.#outlined(this.#work.look?.figures[n]), title, away);
  }

  /** A figure by itself, small. */
  #outlined(figure) {
    const picture = svg("svg", { "aria-hidden": "true" });
    if (!figure) return picture;
    const [x0, y0, x1, y1] = figure.box;
    picture.setAttribute("viewBox", `${x0} ${-y1} ${x1 - x0} ${y1 - y0}`);
    picture.append(svg("path", { d: figure.path, transform: "scale(1 -1)" }));
    return picture;
  }

  #missing(name, label) {
    const input = el("input", { type: "file", hidden: true, onchange: () => this.#supply(name, input.files[0]) });
    return el(
      "p",
      { class: "needs" },
      `This job file names ${label}, which is not here yet. `,
      input,
      button(`Choose ${label}`, `Choose ${label}`, () => input.click()),
    );
  }

  async #supply(name, file) {
    try {
      await this.#work.supply(name, file);
    } catch (error) {
      warn(error.message);
    }
  }

  /** Pictures dropped, pasted or chosen; a job file among them is opened and given the others. */
  async add(files, figure = /** @type {number | null} */ (null)) {
    warn("");
    const packed = files.find((file) => file.name.toLowerCase().endsWith(".zip"));
    if (packed) return this.#openPacked(packed);
    const jobFile = files.find((file) => file.name.toLowerCase().endsWith(".toml"));
    if (jobFile) return this.openJob(jobFile, files.filter((file) => file !== jobFile));
    for (const file of files) {
      if (file.size > this.#limit) {
        warn(`${file.name} is too large: at most ${this.#limit / 1e6} MB.`);
        return;
      }
      say(`Reading ${file.name || "the picture"}…`);
      try {
        await this.#work.addPicture(file, figure);
        say(`${file.name || "The picture"} is on the panel.`, true);
        this.chosen = figure ?? this.#work.state.job.figures.length - 1;
        this.show();
      } catch (error) {
        say("");
        warn(error.message);
        return;
      }
    }
  }

  /** "All in one file" comes back with its pictures. */
  async #openPacked(file) {
    try {
      const files = await unpacked(file, this.#limit);
      const job = files.find(({ name }) => name === "job.toml");
      if (!job) return warn(`${file.name} holds no job.toml: it is not a job of this page.`);
      return await this.openJob(job, files.filter((one) => one !== job));
    } catch (error) {
      return warn(`${file.name} can't be opened: ${error.message}`);
    }
  }

  async openJob(file, pictures) {
    if (file.size > 200_000) return warn(`${file.name} is too large for a job file.`);
    try {
      await this.#work.create({ job_file: await file.text(), name: file.name });
      for (const name of this.#work.state.missing) {
        const label = this.#work.state.labels[name];
        const match = pictures.find((picture) => picture.name === label);
        if (match) await this.#work.supply(name, match);
      }
      say(`Opened ${file.name}.`);
    } catch (error) {
      warn(error.message);
    }
  }

  async showEarlier() {
    const { jobs } = await get("/api/jobs");
    const others = jobs.filter((job) => job.id !== this.#work.id);
    byId("earlier").hidden = !others.length;
    refill(byId("earlier-list"), others.map((job) => this.#earlierEntry(job)));
    await this.#sketchEarlier(others.slice(0, SKETCHED));
  }

  #earlierEntry(job) {
    const open = () => {
      byId("job-menu").open = false;
      this.#work.open(job.id).catch((error) => warn(error.message));
    };
    const remove = async () => {
      if (!confirm(`Delete ${job.title} and its pictures for good?`)) return;
      await post(`/api/jobs/${job.id}/remove`, {}).catch((error) => warn(error.message));
      say(`${job.title} deleted.`);
      this.showEarlier();
    };
    const when = new Date(job.changed * 1000).toLocaleString(undefined, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
    const about = el("span", { class: "what" }, [job.size, when].filter(Boolean).join(", "));
    const picture = svg("svg", { viewBox: "0 0 10 10", "aria-hidden": "true" });
    return el(
      "li",
      {},
      el("button", { type: "button", class: "entry", "data-key": job.id, onclick: open }, picture, el("strong", {}, job.title), about),
      button("Delete", `Delete ${job.title} for good`, remove),
    );
  }

  /** Small pictures of earlier jobs, one after the other, while their menu is open. */
  async #sketchEarlier(jobs) {
    for (const job of jobs) {
      if (!byId("job-menu").open) return;
      const picture = document.querySelector(`#earlier-list [data-key="${job.id}"] svg`);
      if (!picture) continue; // deleted meanwhile
      const sketch = await get(`/api/jobs/${job.id}/sketch`).catch(() => null);
      if (sketch) drawSketch(picture, sketch);
    }
  }

  #listenForFiles() {
    document.addEventListener("dragover", (event) => {
      event.preventDefault();
      document.body.classList.add("dropping");
    });
    document.addEventListener("dragleave", (event) => event.relatedTarget ?? document.body.classList.remove("dropping"));
    document.addEventListener("drop", (/** @type {any} */ event) => {
      event.preventDefault();
      document.body.classList.remove("dropping");
      const files = [...event.dataTransfer.files];
      const shot = event.target.closest?.("[data-shot]")?.dataset.shot;
      if (shot) return this.photos(shot, files);
      return this.#given(files);
    });
    document.addEventListener("paste", (event) => {
      const files = [...(event.clipboardData?.files ?? [])];
      if (files.length) this.#given(files);
    });
  }

  /** The first picture takes the place of the one there is; further ones are added. */
  #given(files) {
    if (files.length) this.add(files, this.#work.state.job.figures.length === 1 && files.length === 1 ? 0 : null);
  }

  #showFigure(figure) {
    const look = this.#work.look?.figures[this.chosen];
    if (!figure) return;
    if (look) {
      const { width } = this.#work.look.panel;
      byId("f-size").max = String(Math.floor(width));
      setField(byId("f-size"), String(Math.round(look.box[2] - look.box[0])));
      byId("f-size").setAttribute("aria-valuetext", look.label);
    }
    setField(byId("f-turn-slider"), String(((((figure.turn + 180) % 360) + 360) % 360) - 180));
    setField(byId("f-threshold"), String(typeof figure.threshold === "number" ? figure.threshold : 128));
    setField(byId("f-smooth"), String(figure.smooth));
    byId("f-size").disabled = !look;
    byId("centre").disabled = Boolean(this.#work.state.closed[`figures.${this.chosen}.at`]);
  }

  #startSliders() {
    for (const slider of all("[data-slider]")) {
      /** @type {string | null} */
      let gesture = null;
      slider.addEventListener("input", () => {
        gesture ??= newGesture();
        const at = `figures.${this.chosen}`;
        const value = Number(slider.value);
        /** @type {{path: string, value: any}[]} */
        const changes = [{ path: `${at}.${slider.dataset.slider}`, value }];
        if (slider.dataset.slider === "width") changes.push(...["height", "cap_height"].map((other) => ({ path: `${at}.${other}`, value: null })), { path: `${at}.fit`, value: false });
        setOf(this.#work, slider, changes, gesture);
      });
      slider.addEventListener("change", () => (gesture = null));
    }
  }

  #toTheMiddle() {
    const at = `figures.${this.chosen}`;
    const changes = [{ path: `${at}.at`, value: null }, { path: `${at}.stand`, value: "centre" }];
    return this.#change(changes, "The figure is in the middle of the panel.");
  }

  /** Letters are a figure of their own: a font file, then words to change. */
  async #letters() {
    const font = await chosenFile(".ttf,.otf");
    if (!font) return;
    try {
      const name = await this.#work.addFile(font);
      const { panel } = this.#work.look ?? { panel: this.#work.state.job.panel };
      const value = { text: "Abc", font: name, cap_height: Math.round((panel.height ?? 500) / 8) };
      await this.#work.change([{ path: "figures.+", value }]);
      this.pick(this.#work.state.job.figures.length - 1);
      say("Letters added: write your own under More about this figure.", true);
    } catch (error) {
      warn(error.message);
    }
  }

  async #drawOn(touch) {
    const thumb = await this.#shown;
    if (!thumb) return say("There is no photo to draw on.");
    return touch.open(thumb);
  }

  /** Four clicks on the photo: the corners of the sheet that lies in it, from the top left, clockwise. */
  async #pickCorners() {
    const [photo, thumb] = [byId("photo"), await this.#shown];
    if (!thumb?.naturalWidth) return say("There is no photo to point at.");
    photo.querySelectorAll(".corner").forEach((dot) => dot.remove());
    photo.classList.add("picking");
    say("Click the sheet's corners: top left first, then clockwise.");
    const corners = [];
    const pick = async (event) => {
      const box = thumb.getBoundingClientRect();
      const share = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
      corners.push([Math.round(share[0] * thumb.naturalWidth), Math.round(share[1] * thumb.naturalHeight)]);
      const dot = el("span", { class: "corner" });
      [dot.style.left, dot.style.top] = share.map((s) => `${s * 100}%`);
      photo.append(dot);
      if (corners.length < 4) return;
      thumb.removeEventListener("click", pick);
      photo.classList.remove("picking");
      const at = `figures.${this.chosen}`;
      const sheet = this.#work.state.job.figures[this.chosen].sheet ?? ["210mm", "297mm"];
      await this.#change([{ path: `${at}.sheet`, value: sheet }, { path: `${at}.corners`, value: corners }], "Straightened by the four corners.");
    };
    thumb.addEventListener("click", pick);
  }

  /** The picture as it was chosen, where the browser can show its kind. */
  #showThumb() {
    const source = this.#work.state.job.figures[this.chosen]?.source;
    const wanted = source && byId("clean").open ? `${this.#work.id}/${source}` : "";
    if (wanted === this.#thumb) return;
    this.#thumb = wanted;
    const thumb = byId("thumb");
    if (thumb.src) URL.revokeObjectURL(thumb.src);
    thumb.hidden = true;
    thumb.removeAttribute("src");
    this.#shown = wanted ? this.#loaded(thumb, source, wanted).catch(() => (this.#thumb === wanted ? null : this.#shown)) : Promise.resolve(null);
  }

  /** The photo on the page once the browser has it; null where it can't be shown or another is wanted meanwhile. */
  async #loaded(thumb, source, wanted) {
    const data = await blob(`/api/jobs/${this.#work.id}/sources/${source}`);
    const start = new TextDecoder().decode(await data.slice(0, 400).arrayBuffer());
    const drawn = /<svg|<\?xml/.test(start);
    if (this.#thumb !== wanted) return this.#shown;
    byId("touch-open").hidden = byId("pick-corners").hidden = drawn;
    const typed = new Blob([data], { type: drawn ? "image/svg+xml" : "" });
    thumb.src = URL.createObjectURL(typed);
    await thumb.decode();
    if (this.#thumb !== wanted) return this.#shown;
    thumb.hidden = false;
    return thumb;
  }

  async #change(changes, words) {
    try {
      await this.#work.change(changes);
      say(words, true);
    } catch (error) {
      warn(error.message);
    }
  }
}

export function button(text, label, onclick) {
  return el("button", { type: "button", "aria-label": label, onclick }, text);
}
