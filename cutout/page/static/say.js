// What happens, in words: what was done (read out), what is being worked out (shown only), what needs the user.

import { byId } from "./dom.js";

/** What was done, one polite line. `undoable`: offer to take it back at once. */
export function say(text, undoable = false) {
  const status = byId("status");
  if (status.textContent !== text) status.textContent = text;
  byId("undo-here").hidden = !undoable;
}

/** Something that needs the user: stays until the next good answer. */
export function warn(text) {
  const problem = byId("problem");
  problem.hidden = !text;
  problem.textContent = text ?? "";
}

/**
 * How far along a task is, and how that is said. seconds: so far; took: what it took the last time, where that is known;
 * told: what it said of itself last.
 * @param {number} seconds
 * @param {number | null} took
 * @param {{stage: string, share: number} | null} told
 */
export function progress(seconds, took, told = null) {
  const share = Math.max(took ? Math.min(seconds / took, 0.95) : 0, told?.share ?? 0);
  const left = took ? Math.round(took - seconds) : 0;
  const time = left >= 2 ? `, about ${left} s more` : seconds >= 3 ? `, ${seconds} s` : "";
  return { share, words: `${told ? `: ${told.stage}` : ""}…${time}` };
}

/** What is being worked out: `done` of so many parts; "" when nothing is. Not read out again and again. */
/**
 * @param {string} text
 * @param {number | null} done
 */
export function doing(text, done = null, of = 3) {
  byId("doing").textContent = text;
  byId("bar").hidden = byId("stop").hidden = done === null;
  if (done === null) return;
  byId("bar").max = of;
  byId("bar").value = done;
}
