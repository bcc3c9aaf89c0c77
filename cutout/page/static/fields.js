// What fields have in common: who is being written in, showing what is wrong with one, sending its change.

import { el } from "./dom.js";
import { say, warn } from "./say.js";

let gestures = 0;
export const newGesture = () => `${Date.now().toString(36)}-${(gestures += 1)}`;

/** The value at a path of the job; undefined where there is none. */
export const valueAt = (job, path) => path.split(".").reduce((inside, step) => inside?.[step], job);

/** @type {EventTarget | null} */
let written = null;
document.addEventListener("input", (event) => (written = event.target), true);
for (const end of ["change", "focusout"]) {
  document.addEventListener(end, (event) => (written = written === event.target ? null : written), true);
}

/** How many changes of a field are on their way. */
const onTheirWay = new WeakMap();

/** Whether a field is being written in, or what was written has not been answered: neither may be written over. */
export const isBeingWritten = (field) => field === written || (onTheirWay.get(field) ?? 0) > 0;

/** Show a value in a field, unless the user is at it. */
export function setField(field, value) {
  if (!isBeingWritten(field) && field.value !== value) field.value = value;
}

/** Change the job on behalf of a field, which shows what is wrong with it. Resolves to whether it was taken. */
export async function send(work, field, changes, gesture = /** @type {string | null} */ (null)) {
  onTheirWay.set(field, (onTheirWay.get(field) ?? 0) + 1);
  try {
    await work.change(changes, gesture);
    clearError(field);
    return true;
  } catch (error) {
    showError(field, error.message);
    return false;
  } finally {
    onTheirWay.set(field, onTheirWay.get(field) - 1);
  }
}

/** Take a way out that is offered, which is a change of the job like any other; says what became of it. */
export async function take(work, way) {
  try {
    await work.change(way.changes);
    say(`Done: ${way.label}. It is checked again.`, true);
  } catch (error) {
    warn(error.message);
  }
}

export function showError(field, text) {
  clearError(field);
  const id = `${field.id || field.name}-wrong`;
  field.setAttribute("aria-invalid", "true");
  field.dataset.described = field.getAttribute("aria-describedby") ?? "";
  field.setAttribute("aria-describedby", `${id} ${field.dataset.described}`.trim());
  (field.closest(".field") ?? field.parentElement).append(el("p", { id, class: "wrong" }, text));
  say(text);
}

export function clearError(field) {
  if (!field.hasAttribute("aria-invalid")) return;
  field.removeAttribute("aria-invalid");
  document.getElementById(`${field.id || field.name}-wrong`)?.remove();
  if (field.dataset.described) field.setAttribute("aria-describedby", field.dataset.described);
  else field.removeAttribute("aria-describedby");
}
