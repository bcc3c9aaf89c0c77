// What happens, in words: one polite line for everyone, read out by screen readers.

import { byId } from "./dom.js";

export function say(text) {
  const status = byId("status");
  if (status.textContent !== text) status.textContent = text;
}

/** Something that needs the user: stays until the next good answer. */
export function warn(text) {
  const problem = byId("problem");
  problem.hidden = !text;
  problem.textContent = text ?? "";
}
