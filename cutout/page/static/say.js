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

/** What is being worked out: `stage` of three, seconds so far; "" when nothing is. Not read out again and again. */
export function doing(text, stage = 0, seconds = 0) {
  byId("doing").textContent = text && seconds >= 3 ? `${text}, ${seconds} s` : text;
  byId("bar").hidden = byId("stop").hidden = !stage;
  if (stage) byId("bar").value = stage - 0.5;
}
