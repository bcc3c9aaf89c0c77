// The form: every setting of a job, made from what the server says of the schema. A new setting appears by itself.

import { all, el, one } from "./dom.js";
import { isBeingWritten, send, valueAt } from "./fields.js";
import { say, warn } from "./say.js";

/** Of such settings only one is given: writing in the one empties the others. */
const EITHER = [["width", "height", "cap_height"], ["size", "diameter"]];
const EITHER_IN = /^(figures|faces\.(show|back)\.figures|panel\.zones)\.\d+$/;

/** Letters of a value, or of the words for none, from which on a field needs a line of its own. */
const LONG = 18;

export class Form {
  #work;
  #spec;
  #figure;
  #lists = [];
  #switches = [];
  /** Set by main.js: what an entry of a list is called and shows; the words for an unset value; adding by hand. */
  /** @type {(path: string, n: number) => any} */
  entry = () => null;
  /** @type {(path: string, part?: string) => string | null} */
  fallback = () => null;
  adding = {};

  /** spec: the server's list of settings. figure: gives the number of the cut figure the fields are about. */
  constructor(work, spec, figure) {
    this.#work = work;
    this.#spec = spec;
    this.#figure = figure;
    for (const holder of all("[data-form]")) this.#fill(holder);
  }

  #fill(holder) {
    const { form: drawer, group, table, only } = holder.dataset;
    holder.classList.add("form");
    const wanted = this.#spec.filter((field) => field.drawer === drawer && (only ? field.path === only : this.#belongs(field, table, group)));
    const shown = only || table ? wanted : wanted.filter((field) => field.path !== "title" && field.path !== "figures" && !field.path.startsWith("figures."));
    holder.replaceChildren(...this.#build(shown, table ? { "figures.*": "figures.$" } : {}));
  }

  /** A setting stands with its table: what a list or a table that is switched on holds is not torn apart. */
  #belongs(field, table, group) {
    if (table) return field.path.startsWith(`${table}.`) && field.group === group && field.name !== "source";
    const around = this.#spec.find((other) => other.path !== field.path && field.path.startsWith(`${other.path}.`) && this.#isOptional(other));
    return (around ?? field).group === group || (field.kind === "table" && !this.#isOptional(field));
  }

  #isOptional(field) {
    return field.kind === "tables" || field.switched;
  }

  /** Elements for settings in order; `renamed` puts a concrete path in the place of a star. */
  #build(fields, renamed) {
    const built = [];
    const skip = new Set();
    for (const field of fields) {
      if (skip.has(field.path)) continue;
      if (!this.#isOptional(field)) {
        if (field.kind !== "table") built.push(this.#field(field, concrete(field.path, renamed)));
        continue;
      }
      const inside = this.#spec.filter((other) => other.path.startsWith(`${field.path}.`));
      for (const other of inside) skip.add(other.path);
      built.push(field.kind === "tables" ? this.#list(field, concrete(field.path, renamed)) : this.#switch(field, inside, concrete(field.path, renamed), renamed));
    }
    return built;
  }

  /** A table that is there or not: a switch, and its settings once it is on. */
  #switch(field, inside, path, renamed) {
    const id = idOf(path);
    const box = el("input", { type: "checkbox", id, "aria-describedby": `${id}-means` });
    const body = el("div", { class: "form" }, ...this.#build(inside, renamed));
    const holder = el("fieldset", { "data-table": path }, el("legend", {}, el("label", { for: id }, box, field.label)), el("p", { class: "hint", id: `${id}-means` }, field.meaning), body);
    box.addEventListener("change", () => this.#set(box, this.#switched(path, field, box.checked)));
    this.#switches.push({ path, box, body });
    return holder;
  }

  #switched(path, field, on) {
    if (!on) return [{ path, value: null }, ...(path === "panel.frame" ? this.#ownSize() : [])];
    if (path !== "panel.frame") return [{ path, value: field.start }];
    const { width, height } = this.#work.state.job.panel;
    return [{ path, value: { opening: [width ?? 500, height ?? 700] } }];
  }

  /** A panel taken out of its frame keeps the size the frame had given it. */
  #ownSize() {
    const { panel } = this.#work.look ?? {};
    return panel ? ["width", "height"].map((side) => ({ path: `panel.${side}`, value: panel[side] })) : [];
  }

  #list(field, path) {
    const entries = el("ul", { class: "entries" });
    const adding = this.#work && el("button", { type: "button", "data-add": path }, `Add to: ${field.label.toLowerCase()}`);
    const holder = el("fieldset", { "data-table": path }, el("legend", {}, field.label), el("p", { class: "hint" }, field.meaning), entries, adding);
    adding.addEventListener("click", () => this.#add(adding, field, path));
    this.#lists.push({ field, path, entries, count: -1 });
    return holder;
  }

  async #add(button, field, path) {
    if (this.adding[path]) return this.adding[path]();
    const start = { ...field.start[0] };
    if ("source" in start) {
      const file = await chosenFile("image/*,.svg,.dxf");
      if (!file) return;
      start.source = await this.#work.addFile(file).catch((error) => warn(error.message));
      if (!start.source) return;
    }
    await this.#set(button, [{ path: `${path}.+`, value: start }]);
  }

  #showList(list) {
    const { field, path, entries } = list;
    const value = valueAt(this.#work.state.job, path) ?? [];
    if (value.length !== list.count) {
      list.count = value.length;
      entries.replaceChildren(...value.map((_, n) => this.#entry(field, `${path}.${n}`, path, n)));
    }
    value.forEach((one, n) => {
      const name = entries.children[n].querySelector(".entry, strong");
      const label = this.entry(path, n)?.label ?? this.#nameOf(one, field, n);
      if (name.textContent !== label) name.textContent = label;
      entries.children[n].querySelector(".away").setAttribute("aria-label", `Take away ${label}`);
    });
  }

  #nameOf(one, field, n) {
    return one.name ?? this.#work.state.labels[one.source] ?? one.text ?? `${field.label}, ${n + 1}`;
  }

  #entry(field, path, list, n) {
    const about = this.entry(list, n);
    const name = about ? el("button", { type: "button", class: "entry", "data-key": about.key, onclick: () => this.entry(list, n)?.go() }) : el("strong", {});
    const away = el("button", { type: "button", class: "away", onclick: () => this.#take(away, path, list) }, "Take away");
    const inside = this.#spec.filter((other) => other.path.startsWith(`${field.path}.*.`));
    return el("li", {}, el("div", { class: "row" }, name, away), el("div", { class: "form" }, ...this.#build(inside, { [`${field.path}.*`]: path })));
  }

  async #take(button, path, list) {
    const words = button.getAttribute("aria-label").replace("Take away ", "");
    if (!(await this.#set(button, [{ path, value: null }]))) return;
    say(`${words} taken away.`, true);
    one(`[data-add="${list}"]`)?.focus();
  }

  /** One setting: a label, one field or a few side by side, its meaning, and why it is closed where it is. */
  #field(field, path) {
    const id = idOf(path);
    const about = { id: `${id}-means`, class: field.group === "first" ? "quiet" : "hint" };
    const means = el("p", about, field.meaning);
    const why = el("p", { class: "why", id: `${id}-why`, hidden: true });
    const input = field.parts.length ? this.#parts(field, path, id) : this.#input(field, path, id);
    const flag = field.kind === "yes or no" && field.default !== null;
    const label = field.parts.length ? el("span", { class: "legend", id: `${id}-label` }, field.label) : el("label", { for: id }, field.label);
    const named = field.names.length && !field.more_than_names ? field.names : field.choices;
    const longest = Math.max(0, ...named.map(({ title }) => title.length), field.required || field.default !== null ? 0 : field.unset.length);
    const wide = field.parts.length > 2 || ["places", "file"].includes(field.kind) || flag || longest > LONG ? " wide" : field.parts.length ? " pair" : "";
    const order = flag ? [input, label] : [label, input];
    return el("div", { class: `field${flag ? " flag" : ""}${wide}`, "data-field": path }, ...order, means, why);
  }

  #input(field, path, id) {
    const about = { id, "data-path": path, "data-kind": field.kind, "aria-describedby": `${id}-means` };
    if (field.kind === "places") return el("ul", { ...about, class: "entries" });
    if (field.kind === "spots") return el("button", { ...about, type: "button", onclick: () => this.#set(document.getElementById(id), [{ path: this.#pathOf(path), value: [] }]) }, "none");
    if (field.kind === "file") return el("button", { ...about, type: "button", onclick: () => this.#chooseFile(id, path) }, "Choose a file");
    const select = this.#options(field);
    const input = select ? el("select", about, ...select) : el("input", { ...about, type: field.kind === "yes or no" ? "checkbox" : "text", autocomplete: "off" });
    if (field.more_than_names || (field.choices.length && !select)) this.#suggest(input, field, id);
    if (!select && field.kind !== "yes or no") {
      input.placeholder = field.required ? field.example.replaceAll('"', "") : field.unset;
      input.addEventListener("keydown", (event) => event.key === "Enter" && input.blur());
    }
    if (select) input.dataset.choice = "";
    if (field.kind === "number" || field.kind === "whole number") input.inputMode = "decimal";
    input.addEventListener("change", () => this.#changed(field, input, path));
    return input;
  }

  /** Entries of a select, where a setting takes nothing but what stands in a list. */
  #options(field) {
    const option = ({ name, title }) => el("option", { value: name }, title);
    const unset = field.default === null && !field.required ? [el("option", { value: "" }, field.unset)] : [];
    if (field.kind === "yes or no" && field.default === null) return [...unset, option({ name: "true", title: "yes" }), option({ name: "false", title: "no" })];
    if (field.names.length && !field.more_than_names) return [...unset, ...field.names.map(option)];
    if (field.kind === "choice") return [...unset, ...field.choices.map(option)];
    return null;
  }

  #suggest(input, field, id) {
    const list = el("datalist", { id: `${id}-list` }, ...[...field.names, ...field.choices].map(({ name, title }) => el("option", { value: name }, title)));
    input.setAttribute("list", list.id);
    document.body.append(list);
  }

  #parts(field, path, id) {
    const inputs = field.parts.map((word, n) => {
      const input = el("input", { type: "text", id: `${id}-${n}`, "data-path": path, "data-part": n, "data-kind": field.kind, "aria-describedby": `${id}-means`, "aria-label": `${field.label}, ${word}`, autocomplete: "off" });
      input.addEventListener("keydown", (event) => event.key === "Enter" && input.blur());
      input.addEventListener("change", () => this.#partChanged(field, input, path));
      return el("label", {}, word, input);
    });
    return el("div", { class: "parts", role: "group", "aria-labelledby": `${id}-label`, id }, ...inputs);
  }

  #pathOf(path) {
    return path.replace("$", String(this.#figure()));
  }

  async #changed(field, input, path) {
    const value = read(field, input);
    const at = this.#pathOf(path);
    const [way, name] = [at.slice(0, at.lastIndexOf(".")), at.slice(at.lastIndexOf(".") + 1)];
    await this.#set(input, [{ path: at, value }, ...this.#emptied(way, name, value)]);
  }

  #emptied(way, name, value) {
    const alike = value !== null && EITHER_IN.test(way) && EITHER.find((names) => names.includes(name));
    const others = (alike || []).filter((other) => other !== name && valueAt(this.#work.state.job, `${way}.${other}`));
    return others.map((other) => ({ path: `${way}.${other}`, value: null }));
  }

  /** One of several values: sent with the others once all are there; all emptied, the setting is unset. */
  async #partChanged(field, input, path) {
    const group = input.closest(".parts");
    const inputs = [...group.querySelectorAll("input")];
    const texts = inputs.map((one) => one.value.trim());
    const at = this.#pathOf(path);
    const [way, name] = [at.slice(0, at.lastIndexOf(".")), at.slice(at.lastIndexOf(".") + 1)];
    delete group.dataset.half;
    if (texts.every((text) => !text)) return this.#set(input, [{ path: at, value: null }]);
    if (texts.some((text) => !text)) {
      group.dataset.half = `${this.#work.id} ${at}`;
      return say(`${field.label}: fill in ${field.parts.filter((_, n) => !texts[n]).join(" and ")} too.`);
    }
    const value = field.kind === "number" ? texts.map(numberIn) : texts;
    return this.#set(input, [{ path: at, value }, ...this.#emptied(way, name, value)]);
  }

  async #set(input, changes) {
    const before = this.#work.state.revision;
    const taken = await send(this.#work, input, changes);
    // Left alone while it was on its way: now it shows what the job has, the change or what another tab made of it.
    if (this.#work.state.revision !== before && input.matches("[data-path]")) this.#show(input);
    return taken;
  }

  async #chooseFile(id, path) {
    const button = document.getElementById(id);
    const file = await chosenFile(path.endsWith(".font") ? ".ttf,.otf" : "image/*,.svg,.dxf");
    if (!file) return;
    const name = await this.#work.addFile(file).catch((error) => warn(error.message));
    if (name) await this.#set(button, [{ path: this.#pathOf(path), value: name }]);
  }

  /** Show the job; a field being written in is left alone. */
  show() {
    for (const list of this.#lists) this.#showList(list);
    for (const { path, box, body } of this.#switches) {
      const on = Boolean(valueAt(this.#work.state.job, this.#pathOf(path)));
      box.checked = on;
      body.hidden = !on;
    }
    for (const field of all("[data-path]")) this.#show(field);
    for (const holder of all("[data-field]")) this.#close(holder);
  }

  #show(field) {
    if (isBeingWritten(field)) return;
    const { job, shown, labels } = this.#work.state;
    const path = this.#pathOf(field.dataset.path);
    if (this.#isHalfWritten(field, path)) return;
    const whole = valueAt(job, path);
    const { kind, part } = field.dataset;
    const value = part === undefined ? whole : whole?.[part];
    if (kind === "places") return this.#showPlaces(field, path, whole ?? []);
    const text = shown[part === undefined ? path : `${path}.${part}`];
    if (kind === "spots") field.textContent = whole?.length ? `Take back all ${whole.length}` : "none";
    else if (kind === "file") field.textContent = whole ? `${labels[whole] ?? whole}: choose another` : "Choose a file";
    else if (field.type === "checkbox") field.checked = Boolean(value);
    else if ("choice" in field.dataset) choose(field, value === null || value === undefined ? "" : String(value));
    else field.value = text ?? spelled(value) ?? this.fallback(path, part) ?? "";
  }

  /** What has been written of values that only go together stays until the others are there too. */
  #isHalfWritten(field, path) {
    const group = field.closest("[data-half]");
    if (group?.dataset.half === `${this.#work.id} ${path}`) return true;
    if (group) delete group.dataset.half; // begun for another figure or job
    return false;
  }

  #close(holder) {
    const reason = this.#work.state.closed[this.#pathOf(holder.dataset.field)];
    const why = holder.querySelector(".why");
    why.hidden = !reason;
    if (why.textContent !== (reason ?? "")) why.textContent = reason ?? "";
    for (const input of holder.querySelectorAll("input, select, [data-kind=file], [data-kind=spots]")) input.disabled = Boolean(reason);
  }

  #showPlaces(field, path, places) {
    const { shown } = this.#work.state;
    const key = JSON.stringify(places);
    if (field.dataset.shown === key) return;
    field.dataset.shown = key;
    const entry = (_, n) => {
      const words = `${shown[`${path}.${n}.0`]} from the left, ${shown[`${path}.${n}.1`]} from the bottom`;
      const back = el("button", { type: "button", "aria-label": `Put back the one at ${words}`, onclick: () => this.#set(back, [{ path: `${path}.${n}`, value: null }]) }, "Put back");
      return el("li", {}, el("div", { class: "row" }, words, back));
    };
    field.replaceChildren(...(places.length ? places.map(entry) : [el("li", {}, "none")]));
  }
}

const idOf = (path) => `s-${path.replaceAll(".", "-").replace("$", "now")}`;

const concrete = (path, renamed) => Object.entries(renamed).reduce((text, [star, to]) => (text.startsWith(star) ? to + text.slice(star.length) : text), path);

const numberIn = (text) => (Number.isFinite(Number(text.replace(",", "."))) && text !== "" ? Number(text.replace(",", ".")) : text);

function read(field, input) {
  const text = input.value.trim();
  if (input.type === "checkbox") return input.checked;
  if (text === "") return null;
  if (field.kind === "yes or no") return text === "true";
  // A number that may also be a word, like a grain of "none", is read over there.
  if ((field.kind === "number" || field.kind === "whole number") && !field.choices.length) return numberIn(text);
  return text;
}

function spelled(value) {
  if (value === null || value === undefined) return null;
  return Array.isArray(value) ? value.flat().join(", ") : String(value);
}

/** A select shows a value it has no entry for as one more entry. */
function choose(select, value) {
  if (![...select.options].some((option) => option.value === value)) select.append(el("option", { value }, value || "not set"));
  select.value = value;
}

/** The file the user picks, or null. */
export function chosenFile(accept) {
  return new Promise((resolve) => {
    const input = el("input", { type: "file", accept });
    input.addEventListener("change", () => resolve(input.files[0] ?? null));
    input.addEventListener("cancel", () => resolve(null));
    input.click();
  });
}
