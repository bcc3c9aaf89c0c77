// Puts the parts of the page together.

import { ApiError, download, get, jobInAddress } from "./api.js";
import { Board } from "./board.js";
import { byId, el, refill, settled } from "./dom.js";
import { Fields, setField } from "./fields.js";
import { Findings } from "./findings.js";
import { Hands } from "./hands.js";
import { legend } from "./marks.js";
import { Picture, button } from "./picture.js";
import { Plan } from "./plan.js";
import { say, warn } from "./say.js";
import { Work } from "./work.js";

const work = new Work();
const board = new Board(byId("board"));
const hands = new Hands(board);
const picture = new Picture(work);
const fields = new Fields(work, () => picture.chosen);
const findings = new Findings(work, board);
const plan = new Plan(work, board);
let choices = null;

const round = (mm) => Math.round(mm * 100) / 100;
const units = () => work.state.job.units ?? "mm";

async function start() {
  byId("legend").append(...legend().map((parts) => el("li", {}, ...parts)));
  startNavigation();
  try {
    choices = await get("/api/choices");
    fillChoices();
    startEverything();
    await openJob();
    await picture.showEarlier();
  } catch (error) {
    warn(error.message);
  }
}

async function openJob() {
  const id = jobInAddress();
  try {
    if (id) return await work.open(id);
  } catch (error) {
    if (!(error instanceof ApiError) || error.status !== 404) throw error;
    say("That job is no longer here; this is a new one.");
  }
  return work.create({ units: newUnits() });
}

/** Inches for people whose browser is set to a country that measures wood in inches. */
const newUnits = () => (/^en-US|-LR$|-MM$/.test(navigator.language) ? "in" : "mm");

function startEverything() {
  picture.start(fields, hands, choices);
  findings.dispatch = plan.dispatch = drawAll;
  work.addEventListener("state", showState);
  work.addEventListener("look", showLook);
  work.addEventListener("cut", showCut);
  work.addEventListener("busy", showBusy);
  work.addEventListener("trouble", (event) => warn(event.detail));
  hands.addEventListener("moved", (event) => moved(event.detail));
  hands.addEventListener("removed", (event) => removed(event.detail.item));
  hands.addEventListener("placed", (event) => placed(event.detail));
  hands.addEventListener("chosen", (event) => chosen(event.detail));
  startButtons();
  startDrills();
  startPaper();
}

function startButtons() {
  const steps = { undo: () => work.undo(), redo: () => work.redo() };
  for (const [id, step] of Object.entries(steps)) byId(id).addEventListener("click", () => history(id, step));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || writing(event.target)) return;
    const key = event.key.toLowerCase();
    const which = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : null;
    if (!which) return;
    event.preventDefault();
    history(which, steps[which]);
  });
  byId("new-job").addEventListener("click", () => attempt(async () => {
    await work.create({ units: units() });
    await picture.showEarlier();
  }, "A new job. The other one is kept under Earlier jobs."));
  byId("open-job").addEventListener("click", () => byId("job-file").click());
  byId("job-file").addEventListener("change", (event) => {
    const files = [...event.target.files];
    if (files.length) picture.add(files);
    event.target.value = "";
  });
  byId("closer").addEventListener("click", () => board.zoom(1.4));
  byId("farther").addEventListener("click", () => board.zoom(1 / 1.4));
  byId("whole").addEventListener("click", () => board.whole());
  for (const radio of document.querySelectorAll("[name=show], #show-marks")) radio.addEventListener("change", drawAll);
  byId("add-bridge").addEventListener("click", () => startPlacing("bridge"));
  byId("add-hole").addEventListener("click", () => startPlacing("hole"));
  byId("compare").addEventListener("click", compare);
  byId("test-card").addEventListener("click", () => fetchFile("test-card.pdf"));
}

const writing = (target) => target.matches("input:not([type=checkbox], [type=radio], [type=range], [type=file]), textarea");

async function history(which, step) {
  try {
    const possible = await step();
    say(possible ? (which === "undo" ? "Undone." : "Done again.") : `Nothing to ${which}.`);
  } catch (error) {
    warn(error.message);
  }
}

async function attempt(action, words) {
  try {
    await action();
    if (words) say(words);
  } catch (error) {
    warn(error.message);
  }
}

function startNavigation() {
  for (const link of document.querySelectorAll("[data-goto]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const target = byId(link.dataset.goto);
      target.scrollIntoView({ block: "start" });
      target.focus({ preventScroll: true });
    });
  }
}

function fillChoices() {
  const options = (list, first = []) => [...first, ...list].map(({ name, title }) => el("option", { value: name }, title ?? name));
  byId("s-blade").append(...options(choices.blades));
  byId("p-wood").append(...options(choices.woods));
  byId("r-bit").append(...options(choices.bits));
  byId("r-small").append(...options(choices.bits, [{ name: "", title: "none" }]));
  byId("s-drills").append(...options(choices.drills, [{ name: "own", title: "your own, listed below" }]));
  byId("t-paper").append(...options(choices.papers, [{ name: "own", title: "another size, below" }]));
}

function startDrills() {
  const [select, own] = [byId("s-drills"), byId("s-own-drills")];
  select.addEventListener("change", () => {
    if (select.value === "own") own.focus();
    else fields.set(select, [{ path: "saw.drills", value: select.value }]);
  });
  own.addEventListener("change", () => own.value.trim() && fields.set(own, [{ path: "saw.drills", value: own.value.trim() }]));
}

function startPaper() {
  const [select, own] = [byId("t-paper"), byId("t-own-paper")];
  select.addEventListener("change", () => {
    if (select.value === "own") own.focus();
    else fields.set(select, [{ path: "template.paper", value: select.value }]);
  });
  own.addEventListener("change", () => own.value.trim() && fields.set(own, [{ path: "template.paper", value: own.value.trim() }]));
}

function showState() {
  const { state } = work;
  byId("job-title").textContent = state.job.figures.length ? state.title : "";
  document.title = state.job.figures.length ? `${state.title} – Cutout` : "Cutout: see it on the panel first";
  for (const which of ["undo", "redo"]) byId(which).setAttribute("aria-disabled", String(!state[`can_${which}`]));
  hands.units = units();
  fields.show();
  picture.show();
  showKnown("s-drills", "s-own-drills", state.job.saw.drills, choices.drills);
  showKnown("t-paper", "t-own-paper", state.job.template.paper, choices.papers);
  showBlade();
  showFiles();
  warn(work.problem);
}

/** A select of known names with a field beside it for anything else. */
function showKnown(select, own, value, known) {
  const isKnown = known.some((one) => one.name === value);
  byId(select).value = isKnown ? value : "own";
  setField(byId(own), isKnown ? "" : value);
}

function showBlade() {
  const { saw } = work.state.job;
  const blade = choices.blades.find((one) => one.name === saw.blade);
  const measured = work.state.shown["saw.turning_radius"];
  const from = { measured: "measured by you", catalogue: "from a catalogue", formula: "worked out from its size" };
  const radius = measured ? `${measured} (${from.measured})` : `${blade.radius[units()]} (${from[blade.radius_from]})`;
  const kerf = work.state.shown["saw.kerf"] ?? blade.kerf[units()];
  byId("blade-facts").textContent = `Turning radius ${radius}, kerf ${kerf}. Better: print and saw the test card, and enter what you measure.`;
}

function showLook() {
  byId("board").classList.toggle("stale", Boolean(work.problem));
  if (!work.look) byId("sizes").replaceChildren();
  drawAll();
  if (work.look && !work.problem && !work.busy) say(byId("caption").textContent);
}

function showCut() {
  drawAll();
  byId("notes").replaceChildren(...(work.checked?.notes ?? []).map((text) => el("li", {}, text)));
  if (work.cut?.stage === "planned") {
    byId("cautions").replaceChildren(...work.cut.cautions.map((line) => el("li", {}, line)));
  }
  say(`${byId("findings-sum").textContent} ${work.cut?.sums ?? ""}`.trim());
}

const showBusy = settled(() => {
  byId("view").setAttribute("aria-busy", String(Boolean(work.busy)));
  if (work.busy) say(`${work.busy}…`);
  plan.show();
}, 120);

function drawAll() {
  findings.show();
  plan.show();
  showHands();
  const { look, drawn } = work;
  const show = document.querySelector("[name=show]:checked").value;
  byId("caption").textContent = look ? caption(look) : "";
  byId("eased").textContent = work.cut?.eased ?? "";
  const empty = { panel: emptyPanel(), waste: "", openings: [], bridges: [] };
  const base = look ? { ...look, ...drawn } : empty;
  board.draw({
    ...base,
    show,
    before: look?.waste ?? "",
    bridges: show === "before" ? [] : (base.bridges ?? []),
    findings: (show === "before" ? work.checked?.findings : work.findings) ?? [],
    selected: findings.selected,
    marked: byId("show-marks").checked,
    plan: show === "before" ? null : plan.plan,
    walking: plan.walking,
    step: plan.step,
    hands: hands.items,
  });
}

function caption({ panel, figures, arranged }) {
  if (arranged) return `${panel.label}; the figures stand in a row or as pairs, as the job file says, and can't be moved by hand`;
  return figures.length ? `${panel.label}; figure ${figures.map((figure) => figure.label).join(", ")}` : panel.label;
}

const emptyPanel = () => {
  const { width, height } = work.state.job.panel;
  return { width: width ?? 500, height: height ?? 700, grain: null, zones: [], drawn: [] };
};

/** Everything that can be taken hold of, on the panel and in the lists. */
function showHands() {
  const { job, shown } = work.state;
  const figures = (work.look?.figures ?? []).map((figure, n) => ({
    ...figure,
    key: `figure-${n}`,
    kind: "figure",
    index: n,
    label: `Figure ${work.state.labels[job.figures[n]?.source] ?? n + 1}, ${figure.label}`,
  }));
  const at = (path) => `${shown[`${path}.at.0`]}, ${shown[`${path}.at.1`]}`;
  const bridges = job.mend.bridges.map((bridge, n) => ({
    ...bridge,
    key: `bridge-${n}`,
    kind: "bridge",
    index: n,
    label: `Bridge of your own ${n + 1}, ${shown[`mend.bridges.${n}.width`]} wide, at ${at(`mend.bridges.${n}`)}`,
  }));
  const found = (work.cut?.bridges ?? []).filter((bridge) => !bridge.by_hand).map((bridge) => ({
    ...bridge,
    key: `found-${bridge.at.join("-")}`,
    kind: "bridge",
    found: true,
    label: `Bridge ${bridge.id}, ${bridge.label}`,
  }));
  const holes = job.holes.map((hole, n) => ({
    ...hole,
    key: `hole-${n}`,
    kind: "hole",
    index: n,
    label: `Hole of your own ${n + 1}, ${shown[`holes.${n}.diameter`]}, at ${at(`holes.${n}`)}`,
  }));
  hands.hold([...figures, ...found, ...bridges, ...holes]);
  refill(byId("bridge-list"), [...found, ...bridges].map(handEntry));
  refill(byId("hole-list"), holes.map(handEntry));
}

function handEntry(item) {
  const go = () => {
    board.show(item.at, Math.max(board.model.panel.width / 8, 25));
    hands.choose(item.key, true);
  };
  return el(
    "li",
    {},
    el("button", { type: "button", class: "entry", "data-key": item.key, onclick: go }, item.label),
    button("Take away", `Take away ${item.label}`, () => removed(item)),
  );
}

function chosen(item) {
  if (item?.kind === "figure" && item.index !== picture.chosen) {
    picture.chosen = item.index;
    picture.show();
    fields.show();
  }
}

async function moved({ item, at, turn, scale }) {
  const place = at.map(round);
  const words = `Moved to ${place.map((mm) => Math.round(mm * 10) / 10).join(", ")} mm from the lower left.`;
  if (item.kind === "figure") return attemptChange(figureChanges(item, place, turn, scale), figureWords(item, turn, scale, words));
  if (item.kind === "hole") {
    const value = { at: place, diameter: round(item.diameter * scale) };
    return attemptChange([{ path: `holes.${item.index}`, value }], words);
  }
  const value = { at: place, angle: round(item.angle + turn), width: round(item.width * scale) };
  if (!item.found) return attemptChange([{ path: `mend.bridges.${item.index}`, value }], words);
  await attemptChange([{ path: "mend.without.+", value: item.at }, { path: "mend.bridges.+", value }], words);
  return hands.choose(`bridge-${work.state.job.mend.bridges.length - 1}`, true);
}

function figureChanges(item, at, turn, scale) {
  const path = `figures.${item.index}`;
  const now = work.state.job.figures[item.index];
  const changes = [];
  if (turn) changes.push({ path: `${path}.turn`, value: round((now.turn + turn) % 360) });
  if (scale !== 1) {
    changes.push({ path: `${path}.width`, value: round((item.box[2] - item.box[0]) * scale) }, { path: `${path}.height`, value: null });
  }
  if (Math.hypot(at[0] - item.at[0], at[1] - item.at[1]) > 0.005) changes.push({ path: `${path}.at`, value: at });
  return changes;
}

const figureWords = (item, turn, scale, words) =>
  turn ? `Turned by ${turn} degrees.` : scale !== 1 ? `Size changed to ${Math.round(scale * 100)} %.` : words;

async function attemptChange(changes, words) {
  if (!changes.length) return drawAll();
  try {
    await work.change(changes);
    if (!work.problem) say(words);
  } catch (error) {
    drawAll();
    warn(error.message);
  }
}

function removed(item) {
  const path = { figure: "figures", hole: "holes", bridge: "mend.bridges" }[item.kind];
  const change = item.found ? { path: "mend.without.+", value: item.at } : { path: `${path}.${item.index}`, value: null };
  return attemptChange([change], `${item.label} taken away.`);
}

function startPlacing(kind) {
  if (!work.look) return say("Choose a picture first.");
  hands.place(kind);
  say(`Click where the ${kind} goes on the panel; or move the cross with the arrow keys and press Enter. Escape gives up.`);
  byId("view").scrollIntoView({ block: "nearest" });
}

async function placed({ kind, at }) {
  if (!at) return say("Nothing placed.");
  const place = at.map(round);
  const { panel } = work.look;
  if (kind === "hole") {
    const value = { at: place, diameter: units() === "in" ? "1/4in" : "6mm" };
    await attemptChange([{ path: "holes.+", value }], "Hole placed. Arrow keys move it, + and − change its size.");
    return hands.choose(`hole-${work.state.job.holes.length - 1}`, true);
  }
  const width = work.state.job.mend.bridge_width ?? work.cut?.bridges[0]?.width ?? panel.thickness;
  const value = { at: place, angle: panel.grain ?? 0, width: round(width) };
  await attemptChange([{ path: "mend.bridges.+", value }], "Bridge placed, along the grain. Arrow keys move it, [ and ] turn it.");
  return hands.choose(`bridge-${work.state.job.mend.bridges.length - 1}`, true);
}

/** The table of blades; the smallest size each manages is a search of its own and comes row by row. */
async function compare() {
  if (!work.look) return say("Choose a picture first.");
  const table = bladeTable();
  byId("sizes").replaceChildren(...table.parts);
  const revision = work.state.revision;
  for (const [name, cells] of table.rows) {
    try {
      const { smallest, manages } = await get(`/api/jobs/${work.id}/blades/${encodeURIComponent(name)}`);
      cells[0].textContent = smallest;
      cells[1].textContent = manages ? "yes" : "no";
    } catch (error) {
      cells[0].textContent = "not found out";
      if (work.state.revision !== revision) return say("The job has changed: compare again.");
      warn(error.message);
    }
  }
  say("All blades compared.");
}

function bladeTable() {
  const heads = ["Blade", "Turning radius", "Kerf", "Smallest width of the figures", "This size"];
  const caption = "What each blade manages without a stop, before mending";
  const rows = new Map();
  const row = (blade) => {
    const open = [el("td", {}, "…"), el("td", {}, "…")];
    rows.set(blade.name, open);
    const known = [blade.radius[units()], blade.kerf[units()]].map((text) => el("td", {}, text));
    const mine = blade.name === work.state.job.saw.blade;
    return el("tr", { class: mine ? "chosen" : "" }, el("th", { scope: "row" }, blade.title + (mine ? " (chosen)" : "")), ...known, ...open);
  };
  const body = el("tbody", {}, ...choices.blades.map(row));
  const head = el("thead", {}, el("tr", {}, ...heads.map((text) => el("th", { scope: "col" }, text))));
  const table = el("table", {}, el("caption", {}, caption), head, body);
  return { rows, parts: [el("div", { class: "scroll", tabindex: 0, role: "group", "aria-label": caption }, table)] };
}

const fetchFile = (name) => attempt(async () => {
  say(`Writing ${name}…`);
  await download(`/api/jobs/${work.id}/files/${name}`, name);
}, `${name} is in your downloads.`);

function showFiles() {
  const ready = work.state.job.figures.length && !work.state.missing.length;
  const offered = [
    ...choices.files,
    { name: "job.toml", purpose: "Job file: open it again here, or give it to “cutout make”" },
    { name: "everything.zip", purpose: "All of these and the picture, in one" },
  ];
  const entry = ({ name, purpose }) => {
    const text = [el("strong", {}, name), el("span", { class: "text" }, purpose)];
    return el("li", {}, el("button", { type: "button", class: "entry", "data-key": name, onclick: () => fetchFile(name) }, el("span", {}, ...text)));
  };
  refill(byId("file-list"), ready ? offered.map(entry) : [el("li", {}, "Choose a picture first.")]);
}

start();
