// The picture section: choosing figures, their size and place, cleaning up; and earlier jobs.

import { blob, get, post } from "./api.js";
import { byId, el, refill } from "./dom.js";
import { newGesture, setField } from "./fields.js";
import { say, warn } from "./say.js";


export class Picture {
  chosen = 0;
  #work;
  #fields;
  #limit = 40e6;
  #thumb = "";

  constructor(work) {
    this.#work = work;
  }

  start(fields, hands, choices) {
    this.#fields = fields;
    this.#limit = choices.upload_limit;
    const file = byId("picture-file");
    let figure = null;
    const choose = (which) => {
      figure = which;
      file.click();
    };
    byId("choose").addEventListener("click", () => choose(this.#work.state.job.figures.length ? this.chosen : null));
    byId("add-figure").addEventListener("click", () => choose(null));
    file.addEventListener("change", () => {
      const files = [...file.files];
      file.value = "";
      if (files.length) this.add(files, figure);
    });
    this.#listenForFiles();
    this.#startSliders();
    this.#startPlace();
    this.pick = (n) => {
      this.chosen = n;
      hands.choose(`figure-${n}`);
      this.show();
      fields.show();
    };
    byId("f-threshold-how").addEventListener("change", (event) => this.#threshold(event.target));
    byId("clean").addEventListener("toggle", () => this.#showThumb());
  }

  show() {
    const { job, labels, missing } = this.#work.state;
    this.chosen = Math.min(this.chosen, Math.max(job.figures.length - 1, 0));
    byId("figures").hidden = !job.figures.length;
    byId("choose").textContent = job.figures.length ? "Choose another picture instead" : "Choose a picture";
    byId("choose").classList.toggle("main", !job.figures.length);
    const named = (figure) => labels[figure.source] ?? figure.text ?? "figure";
    refill(byId("figure-list"), job.figures.map((figure, n) => this.#entry(named(figure), n, job.figures.length)));
    byId("figure-fields-title").textContent =
      job.figures.length > 1 ? `Size and place of ${named(job.figures[this.chosen])}` : "Size and place";
    byId("missing").replaceChildren(...missing.map((name) => this.#missing(name, labels[name])));
    this.#showFigure(job.figures[this.chosen]);
    this.#showThumb();
  }

  #entry(name, n, count) {
    const pick = el(
      "button",
      { type: "button", class: "entry", "data-key": `figure-${n}`, "aria-pressed": String(n === this.chosen), onclick: () => this.pick(n) },
      name,
    );
    const remove = () => this.#change([{ path: `figures.${n}`, value: null }], `${name} taken away.`);
    return el("li", {}, count > 1 ? pick : el("span", {}, name), button("Take away", `Take away ${name}`, remove));
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
  async add(files, figure = null) {
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
        this.chosen = figure ?? this.#work.state.job.figures.length - 1;
        this.show();
      } catch (error) {
        say("");
        warn(error.message);
        return;
      }
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
    const entry = (job) => {
      const open = () => this.#work.open(job.id).then(() => this.showEarlier()).catch((error) => warn(error.message));
      const remove = async () => {
        if (!confirm(`Delete ${job.title} and its pictures for good?`)) return;
        await post(`/api/jobs/${job.id}/remove`, {}).catch((error) => warn(error.message));
        say(`${job.title} deleted.`);
        this.showEarlier();
      };
      return el(
        "li",
        {},
        el("button", { type: "button", class: "entry", "data-key": job.id, onclick: open }, job.title),
        button("Delete for good", `Delete ${job.title} for good`, remove),
      );
    };
    refill(byId("earlier-list"), others.map(entry));
  }

  #listenForFiles() {
    document.addEventListener("dragover", (event) => {
      event.preventDefault();
      document.body.classList.add("dropping");
    });
    document.addEventListener("dragleave", (event) => event.relatedTarget ?? document.body.classList.remove("dropping"));
    document.addEventListener("drop", (event) => {
      event.preventDefault();
      document.body.classList.remove("dropping");
      this.#given([...event.dataTransfer.files]);
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
    const { shown } = this.#work.state;
    for (const field of [byId("f-x"), byId("f-y")]) {
      const n = field.dataset.place;
      setField(field, shown[`figures.${this.chosen}.at.${n}`] ?? look?.shown_at[n] ?? "");
    }
    if (look) {
      const { width } = this.#work.look.panel;
      byId("f-size").max = String(Math.floor(width));
      setField(byId("f-size"), String(Math.round(look.box[2] - look.box[0])));
      byId("f-size").setAttribute("aria-valuetext", look.label);
      byId("f-width").placeholder = byId("f-height").placeholder = "follows from the other";
    }
    setField(byId("f-turn-slider"), String(((((figure.turn + 180) % 360) + 360) % 360) - 180));
    const level = typeof figure.threshold === "number";
    byId("f-threshold-how").value = level ? "level" : (figure.threshold ?? "auto");
    byId("f-threshold").disabled = !level;
    if (level) setField(byId("f-threshold"), String(figure.threshold));
    setField(byId("f-smooth"), String(figure.smooth));
  }

  #startSliders() {
    for (const slider of document.querySelectorAll("[data-slider]")) {
      let gesture = null;
      slider.addEventListener("input", () => {
        gesture ??= newGesture();
        const at = `figures.${this.chosen}`;
        const value = Number(slider.value);
        const changes = [{ path: `${at}.${slider.dataset.slider}`, value }];
        if (slider.dataset.slider === "width") changes.push({ path: `${at}.height`, value: null });
        this.#fields.set(slider, changes, gesture);
      });
      slider.addEventListener("change", () => (gesture = null));
    }
  }

  #startPlace() {
    const [x, y] = [byId("f-x"), byId("f-y")];
    // While one is on its way, its field may show the place of before: what was asked for counts.
    let asked = null;
    for (const field of [x, y]) {
      field.addEventListener("change", async () => {
        const value = asked ?? [x.value, y.value];
        value[field.dataset.place] = field.value;
        asked = value;
        await this.#fields.set(field, [{ path: `figures.${this.chosen}.at`, value: [...value] }]);
        if (asked === value) asked = null;
      });
    }
    for (const [field, other] of [["f-width", "height"], ["f-height", "width"]]) {
      byId(field).addEventListener("change", (event) => {
        event.stopImmediatePropagation();
        const text = byId(field).value.trim();
        const at = `figures.${this.chosen}`;
        const changes = [{ path: `${at}.${byId(field).dataset.path.split(".").pop()}`, value: text || null }];
        if (text) changes.push({ path: `${at}.${other}`, value: null });
        this.#fields.set(byId(field), changes);
      }, { capture: true });
    }
    byId("centre").addEventListener("click", () =>
      this.#change([{ path: `figures.${this.chosen}.at`, value: null }], "The figure is in the middle of the panel."),
    );
  }

  #threshold(select) {
    const value = { auto: null, local: "local", level: 128 }[select.value];
    this.#fields.set(select, [{ path: `figures.${this.chosen}.threshold`, value }]);
  }

  /** The picture as it was chosen, where the browser can show its kind. */
  async #showThumb() {
    const source = this.#work.state.job.figures[this.chosen]?.source;
    const wanted = source && byId("clean").open ? `${this.#work.id}/${source}` : "";
    if (wanted === this.#thumb) return;
    this.#thumb = wanted;
    const thumb = byId("thumb");
    if (thumb.src) URL.revokeObjectURL(thumb.src);
    thumb.hidden = true;
    thumb.removeAttribute("src");
    if (!wanted) return;
    try {
      const data = await blob(`/api/jobs/${this.#work.id}/sources/${source}`);
      const start = new TextDecoder().decode(await data.slice(0, 400).arrayBuffer());
      const typed = new Blob([data], { type: /<svg|<\?xml/.test(start) ? "image/svg+xml" : "" });
      if (this.#thumb !== wanted) return;
      thumb.onload = () => (thumb.hidden = false);
      thumb.src = URL.createObjectURL(typed);
    } catch {
      thumb.hidden = true;
    }
  }

  async #change(changes, words) {
    try {
      await this.#work.change(changes);
      say(words);
    } catch (error) {
      warn(error.message);
    }
  }
}

export function button(text, label, onclick) {
  return el("button", { type: "button", "aria-label": label, onclick }, text);
}
