// Comparing blades for the figures of a job.

import { get } from "./api.js";
import { byId, el } from "./dom.js";
import { take } from "./fields.js";
import { say, warn } from "./say.js";

/** Which blade of how many is being looked at; none while `of` is 0. */
export const comparing = { at: 0, of: 0 };
let stopping = new AbortController();

/** End the comparison; the rows found so far stay. */
export function stopComparing() {
  stopping.abort();
}

/** The table of blades; the smallest size each manages is a search of its own and comes row by row. */
export async function compareBlades(work, blades, tell) {
  stopComparing();
  stopping = new AbortController();
  const mine = stopping;
  try {
    await compareEach(work, blades, mine.signal, tell);
  } finally {
    if (mine === stopping) comparing.of = 0;
    tell();
  }
}

async function compareEach(work, blades, signal, tell) {
  if (!work.look) return say("Choose a picture first.");
  const table = bladeTable(blades, work.state);
  byId("sizes").replaceChildren(...table.parts);
  const revision = work.state.revision;
  for (const [n, [name, cells]] of [...table.rows].entries()) {
    [comparing.at, comparing.of] = [n + 1, table.rows.size];
    tell();
    try {
      const { smallest, manages, ways } = await get(`/api/jobs/${work.id}/blades/${encodeURIComponent(name)}`, signal);
      cells[0].textContent = smallest;
      cells[1].textContent = manages ? "yes" : "no";
      cells[2].replaceChildren(...ways.map((way) => wayButton(work, way)));
    } catch (error) {
      cells[0].textContent = "not found out";
      if (signal.aborted) return say("Comparing stopped.");
      if (work.state.revision !== revision) return say("The job has changed: compare again.");
      warn(error.message);
    }
  }
  say("All blades compared.");
}

/** Takes a blade, or the size another needs: a change of the job like any other. */
function wayButton(work, way) {
  return el("button", { type: "button", class: "way", onclick: () => take(work, way) }, way.label);
}

function bladeTable(blades, { job, shown }) {
  const units = job.units ?? "mm";
  const heads = ["Turning radius", "Kerf", "Smallest width of the figures", "This size", "Take it"];
  const caption = "Where nothing stops each blade, before mending; weak webs and loose pieces apart";
  const rows = new Map();
  // Each row is laid out as a card, for the dock is narrow: what browsers then no longer take for a table is said.
  const cell = (n, text) => el("td", { role: "cell", "data-head": heads[n] }, text);
  const row = (blade) => {
    const open = [cell(2, "…"), cell(3, "…"), cell(4, "")];
    rows.set(blade.name, open);
    const mine = blade.name === job.saw.blade;
    const measured = (path) => (mine ? shown[path] : undefined);
    const known = [measured("saw.turning_radius") ?? blade.radius[units], measured("saw.kerf") ?? blade.kerf[units]];
    return el("tr", { role: "row", class: mine ? "chosen" : "" }, el("th", { role: "rowheader", scope: "row" }, blade.title + (mine ? " (chosen)" : "")), ...known.map((text, n) => cell(n, text)), ...open);
  };
  const body = el("tbody", { role: "rowgroup" }, ...blades.map(row));
  const head = el("thead", { class: "quiet", role: "rowgroup" }, el("tr", { role: "row" }, ...["Blade", ...heads].map((text) => el("th", { role: "columnheader", scope: "col" }, text))));
  const table = el("table", { role: "table", class: "cards" }, el("caption", {}, caption), head, body);
  return { rows, parts: [table] };
}
