// Fields tied to the job: each says by data-path which setting it shows, by data-kind how to read it.

import { el } from "./dom.js";
import { say } from "./say.js";

let gestures = 0;
export const newGesture = () => `${Date.now().toString(36)}-${(gestures += 1)}`;

/** The value at a path of the job; undefined where there is none. */
export const valueAt = (job, path) => path.split(".").reduce((inside, step) => inside?.[step], job);

let written = null;
document.addEventListener("input", (event) => (written = event.target), true);
for (const end of ["change", "focusout"]) {
  document.addEventListener(end, (event) => (written = written === event.target ? null : written), true);
}

/** The user has begun to write in this field, or to move this slider, and has not finished. */
export const isBeingWritten = (field) => field === written;

/** Show a value in a field, unless the user is at it. */
export function setField(field, value) {
  if (!isBeingWritten(field)) field.value = value;
}

export class Fields {
  #work;
  #figure;

  /** figure: a function that gives the number of the figure the fields with a $ in their path are about. */
  constructor(work, figure) {
    this.#work = work;
    this.#figure = figure;
    for (const field of document.querySelectorAll("[data-path]")) {
      field.addEventListener("change", () => this.#changed(field));
      if (field.type === "text") field.addEventListener("keydown", (event) => event.key === "Enter" && field.blur());
    }
  }

  pathOf(field) {
    return field.dataset.path.replace("$", String(this.#figure()));
  }

  /** Show the job; a field being written in is left alone. */
  show() {
    const { job, shown } = this.#work.state;
    for (const field of document.querySelectorAll("[data-path]")) {
      const path = this.pathOf(field);
      const value = valueAt(job, path);
      if (isBeingWritten(field)) continue;
      clearError(field);
      put(field, value, shown[path]);
    }
  }

  async #changed(field) {
    const value = read(field);
    if (value === undefined) return;
    await this.set(field, [{ path: this.pathOf(field), value }]);
  }

  /** Change the job on behalf of a field, which shows what is wrong with it. */
  async set(field, changes, gesture = null) {
    try {
      await this.#work.change(changes, gesture);
      clearError(field);
    } catch (error) {
      showError(field, error.message);
    }
  }
}

function put(field, value, length) {
  const { kind } = field.dataset;
  if (kind === "flag") field.checked = Boolean(value);
  else if (kind === "radio") field.checked = value === field.value;
  else if (kind === "json") choose(field, JSON.stringify(value ?? null));
  else if (kind === "length") field.value = length ?? "";
  else field.value = value ?? "";
}

/** A select shows a value it has no entry for as one more entry. */
function choose(select, value) {
  if (![...select.options].some((option) => option.value === value)) {
    select.append(el("option", { value }, value === "null" ? "" : value));
  }
  select.value = value;
}

function read(field) {
  const { kind } = field.dataset;
  const text = field.value.trim();
  if (kind === "flag") return field.checked;
  if (kind === "radio") return field.checked ? field.value : undefined;
  if (kind === "json") return JSON.parse(field.value);
  if (text === "" && "optional" in field.dataset) return null;
  if (kind === "number") return text === "" ? undefined : Number(text);
  return text;
}

export function showError(field, text) {
  clearError(field);
  const id = `${field.id || field.name}-wrong`;
  field.setAttribute("aria-invalid", "true");
  field.dataset.described = field.getAttribute("aria-describedby") ?? "";
  field.setAttribute("aria-describedby", `${id} ${field.dataset.described}`.trim());
  field.closest("label")?.after(el("p", { id, class: "wrong" }, text)) ?? field.after(el("p", { id, class: "wrong" }, text));
  say(text);
}

export function clearError(field) {
  if (!field.hasAttribute("aria-invalid")) return;
  field.removeAttribute("aria-invalid");
  document.getElementById(`${field.id || field.name}-wrong`)?.remove();
  if (field.dataset.described) field.setAttribute("aria-describedby", field.dataset.described);
  else field.removeAttribute("aria-describedby");
}
