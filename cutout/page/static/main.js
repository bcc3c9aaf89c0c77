// Puts the parts of the page together.

import { ApiError, download, get, jobInAddress } from "./api.js";
import { Begin } from "./begin.js";
import { compareBlades, comparing, stopComparing } from "./blades.js";
import { Board } from "./board.js";
import { all, byId, el, one, refill, settled, svg } from "./dom.js";
import { Drawers } from "./drawers.js";
import { take } from "./fields.js";
import { Findings } from "./findings.js";
import { Form } from "./form.js";
import { Hands } from "./hands.js";
import { Held } from "./held.js";
import { legend, takeSigns } from "./marks.js";
import { Overview } from "./map.js";
import { Measure } from "./measure.js";
import { figure as written, Paper } from "./paper.js";
import { Picture } from "./picture.js";
import { doing, progress, say, warn } from "./say.js";
import { section } from "./section.js";
import { Walk } from "./walk.js";
import { Work } from "./work.js";

const NUDGE_EDGE = 10;

const work = new Work();
const board = new Board(byId("board"));
const paper = new Paper(board);
new Overview(board);
const hands = new Hands(board);
const drawers = new Drawers();
const begin = new Begin(work);
const picture = new Picture(work);
const findings = new Findings(work, board);
const walk = new Walk(work, board);
const measure = new Measure(work, board);
const held = new Held(work, board, hands);
/** Both are there before anything is shown. */
let form = /** @type {Form} */ (/** @type {unknown} */ (null));
/** @type {any} */
let choices = null;
let turned = false;

const units = () => work.state.job.units ?? "mm";
const shown = () => one("[name=show]:checked").value;

async function start() {
  for (const link of all("[data-goto]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      byId(link.dataset.goto).focus({ preventScroll: true });
    });
  }
  try {
    choices = await get("/api/choices");
    takeSigns(choices.signs);
    byId("legend").append(...legend().map((parts) => el("li", {}, ...parts)));
    startEverything();
    await openJob();
    await picture.showEarlier();
    begin.start(choices.examples);
  } catch (error) {
    warn(error.message);
  }
}

/** Where a phone finds the walk, as a code to read; or how to get one. */
function showShared() {
  const { shared } = choices;
  const hint = (text) => el("p", { class: "hint" }, text);
  if (!shared) return byId("shared").replaceChildren(hint("Save cutsheet.html under Print and open it there; or start the page with “cutout page --share” for a code to read."));
  const box = `-2 -2 ${shared.across + 4} ${shared.across + 4}`;
  const code = svg("svg", { viewBox: box, class: "code", role: "img", "aria-label": "Code that opens the walk on a phone" }, svg("rect", { x: -2, y: -2, width: shared.across + 4, height: shared.across + 4, fill: "#fff" }), svg("path", { d: shared.code, fill: "#000" }));
  return byId("shared").replaceChildren(hint("Read this code in the same network. Whoever has it sees the steps of the job that is open here, and nothing else; it ends with the page."), code, el("p", { class: "address" }, shared.address));
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
  form = new Form(work, choices.form, () => picture.chosen);
  one('[data-table="panel.frame"]').append(byId("section"));
  form.entry = (path, n) => held.entry(path, n);
  form.fallback = fallback;
  form.adding = { "mend.bridges": () => byId("add-bridge").click(), holes: () => byId("add-hole").click() };
  picture.start(form, hands, choices);
  measure.tell = tellBusy;
  picture.photos = (shot, files) => measure.take(shot, files);
  findings.dispatch = walk.dispatch = held.dispatch = drawAll;
  drawers.dispatch = () => work.state && drawAll();
  findings.reveal = () => drawers.open("findings");
  held.reveal = (field) => {
    drawers.reveal(field);
    field.focus();
  };
  held.leaveFinished = () => shown() === "finished" && showAs("after");
  work.addEventListener("state", showState);
  work.addEventListener("sending", (/** @type {any} */ event) => document.body.classList.toggle("sending", event.detail));
  work.addEventListener("look", showLook);
  work.addEventListener("cut", showCut);
  work.addEventListener("busy", showBusy);
  work.addEventListener("trouble", (/** @type {any} */ event) => warn(event.detail));
  hands.addEventListener("chosen", (/** @type {any} */ event) => chosen(event.detail));
  hands.addEventListener("moving", (/** @type {any} */ event) => showMoving(event.detail));
  startButtons();
  showShared();
}

/** What an unset field of a figure comes to, as the panel shows it. */
function fallback(path, part) {
  const [, n, name] = /^figures\.(\d+)\.(at|width|height)$/.exec(path) ?? [];
  const look = name && work.look?.figures[n];
  if (!look) return null;
  return name === "at" ? look.shown_at[part] : look.shown_size[name === "width" ? 0 : 1];
}

function startButtons() {
  const steps = { undo: () => work.undo(), redo: () => work.redo() };
  for (const [id, step] of Object.entries(steps)) byId(id).addEventListener("click", () => history(id, step));
  byId("undo-here").addEventListener("click", () => history("undo", steps.undo));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || writing(event.target)) return;
    const key = event.key.toLowerCase();
    const which = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : null;
    if (!which) return;
    event.preventDefault();
    history(which, steps[which]);
  });
  byId("new-job").addEventListener("click", () => {
    byId("job-menu").open = false; // at once: closed after the answer, it would shut what was opened meanwhile
    attempt(() => work.create({ units: units() }), "A new job. The other one is kept under Earlier jobs.");
  });
  byId("open-job").addEventListener("click", () => byId("job-file").click());
  byId("job-file").addEventListener("change", (event) => {
    const files = [...event.target.files];
    if (files.length) picture.add(files);
    event.target.value = "";
    byId("job-menu").open = false;
  });
  byId("job-menu").addEventListener("toggle", () => byId("job-menu").open && picture.showEarlier());
  document.addEventListener("pointerdown", (/** @type {any} */ event) => event.target.closest("#job-menu") || (byId("job-menu").open = false));
  byId("job-menu").addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    byId("job-menu").open = false;
    byId("job-menu").firstElementChild.focus();
  });
  byId("closer").addEventListener("click", () => board.zoom(1.4));
  byId("farther").addEventListener("click", () => board.zoom(1 / 1.4));
  byId("whole").addEventListener("click", () => board.whole());
  byId("show-marks").addEventListener("click", () => {
    const on = byId("show-marks").getAttribute("aria-pressed") !== "true";
    byId("show-marks").setAttribute("aria-pressed", String(on));
    drawAll();
  });
  for (const radio of all("[name=show]")) radio.addEventListener("change", () => showAs(radio.value));
  byId("turn-round").addEventListener("click", turnRound);
  for (const button of all("#behind [data-behind]")) button.addEventListener("click", () => putBehind(button.dataset.behind));
  putBehind("light");
  byId("help-open").addEventListener("click", () => byId("help").showModal());
  byId("compare").addEventListener("click", () => compareBlades(work, choices.blades, tellBusy));
  byId("test-card").addEventListener("click", () => fetchFile("test-card.pdf"));
  byId("everything").addEventListener("click", () => fetchFile("everything.zip"));
  byId("ask-no").addEventListener("click", () => work.goOn());
  byId("ask-yes").addEventListener("click", () => {
    if (work.asking) take(work, work.asking.way);
  });
  byId("stop").addEventListener("click", () => {
    if (comparing.of) return stopComparing();
    work.stop();
    say("Stopped. It goes on with the next change.");
  });
  setInterval(async () => {
    if (!work.busy && !comparing.of && !measure.busy) return;
    await work.ask();
    tellBusy();
  }, 1000);
}

function showAs(value) {
  one(`[name=show][value=${value}]`).checked = true;
  byId("behind").hidden = value !== "finished";
  drawAll();
  if (board.isWhole) board.whole();
}

function turnRound() {
  turned = !turned;
  byId("turn-round").setAttribute("aria-pressed", String(turned));
  board.holder.setAttribute("aria-label", `Panel seen from the ${turned ? "back" : "show face"}`);
  drawAll();
  say(`Seen from the ${turned ? "back" : "show face"}.`);
}

function putBehind(what) {
  board.holder.dataset.behind = what;
  for (const button of all("#behind [data-behind]")) button.setAttribute("aria-pressed", String(button.dataset.behind === what));
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

function showState() {
  showAsk();
  const { state } = work;
  byId("job-title").textContent = state.job.figures.length ? state.title : "New job";
  document.title = state.job.figures.length ? `${state.title} – Cutout` : "Cutout: see it on the panel first";
  for (const which of ["undo", "redo"]) byId(which).setAttribute("aria-disabled", String(!state[`can_${which}`]));
  hands.units = paper.units = board.units = units();
  hands.edge = state.job.limits.edge ?? NUDGE_EDGE;
  form.show();
  picture.show();
  begin.show();
  showBlade();
  showFiles();
  warn(work.problem);
  // What is asked for is shown: a job file without its pictures can't go on.
  if (state.missing.length) drawers.open("picture", true);
}

function showBlade() {
  const { saw } = work.state.job;
  const blade = choices.blades.find((one) => one.name === saw.blade);
  const measured = work.state.shown["saw.turning_radius"];
  const from = { measured: "measured by you", catalogue: "from a catalogue", formula: "worked out from its size" };
  if (!blade) {
    byId("blade-facts").textContent = "";
    return;
  }
  // With a picture on the board the server says what the job's blade comes to, own values kept for it included.
  const known = work.look?.blade ?? blade;
  const radius = measured ? `${measured} (${from.measured})` : `${known.radius[units()]} (${from[known.radius_from]})`;
  const kerf = work.state.shown["saw.kerf"] ?? known.kerf[units()];
  byId("blade-facts").textContent = `Turning radius ${radius}, kerf ${kerf}. ${known.measured ? `Kept: ${known.measured}.` : "Better: print and saw the test card, and let its photo be read below."}`;
}

/** Each front says how things stand. */
function showFronts() {
  const { job } = work.state;
  const titled = (list, name) => list.find((one) => one.name === name)?.title ?? name;
  const { panel } = work.look ?? {};
  drawers.say("picture", picture.state);
  drawers.say("panel", panel ? `${panel.label?.replace(" thick", "")}${panel.frame ? ", framed" : ""}` : `${work.state.shown["panel.width"] ?? ""} x ${work.state.shown["panel.height"] ?? ""}`);
  // What tells blades apart at a glance: the tool and what it is for; the size stands in the drawer.
  drawers.say("saw", titled(choices.blades, job.saw.blade).split(", ").slice(0, 2).join(", "));
  drawers.say("findings", findings.state);
  drawers.say("plan", walk.state);
  const printed = walk.plan?.template?.sheets.filter((sheet) => !sheet.blank).length;
  const paperName = titled(choices.form.find((field) => field.path === "template.paper").names, job.template.paper);
  drawers.say("print", printed ? `${printed} ${printed === 1 ? "sheet" : "sheets"} ${paperName}` : paperName);
}

function showLook() {
  byId("board").classList.toggle("stale", Boolean(work.problem));
  if (!work.look) byId("sizes").replaceChildren();
  byId("section").replaceChildren(...section(work.look?.panel, work.state.job.backing?.thickness ?? null, units()));
  drawAll();
  form.show();
  picture.show();
}

/** Before hundreds of findings are mended: shall the picture be smoothed? */
function showAsk() {
  const { asking } = work;
  byId("ask").hidden = !asking;
  byId("ask-text").textContent = asking?.text ?? "";
  byId("ask-yes").textContent = asking?.way.label ?? "";
}

function showCut() {
  showAsk();
  drawAll();
  if (!work.cut) form.show();  // The checks bring the exact size.
  byId("notes").replaceChildren(...(work.cut?.notes ?? work.checked?.notes ?? []).map((text) => el("li", {}, text)));
  if (walk.plan) {
    byId("cautions").replaceChildren(...walk.plan.cautions.map((line) => el("li", {}, line)));
    showFiles();
    doing(`Plan worked out. ${findings.state}.`);
  }
}

const showBusy = settled(() => {
  byId("view").setAttribute("aria-busy", String(Boolean(work.busy)));
  tellBusy();
  walk.show();
  if (work.state) showFronts();
}, 120);

function tellBusy() {
  if (comparing.of) return doing(`Comparing blades, ${comparing.at} of ${comparing.of}`, comparing.at - 1, comparing.of);
  if (measure.busy) return doing(`${measure.busy}${progress(Math.round((Date.now() - measure.since) / 1000), null).words}`);
  if (work.busy) {
    const { share, words } = progress(Math.round((Date.now() - work.since) / 1000), work.took, work.told);
    return doing(`${work.busy}${words}`, work.stage - 1 + share);
  }
  return doing(work.stopped ? "Stopped" : work.cut?.stage === "planned" ? "Plan worked out" : "");
}

function drawAll() {
  findings.show();
  walk.show();
  held.show();
  showFronts();
  const { look, drawn } = work;
  const show = walk.walking ? "after" : shown();
  board.holder.classList.toggle("finished", show === "finished");
  board.holder.classList.toggle("walking", walk.walking);
  hands.off = walk.walking;
  paper.off = show === "finished";
  const chosenBox = hands.items.find((item) => item.key === hands.chosen)?.box;
  paper.still = chosenBox ?? (look?.figures.length === 1 ? look.figures[0].box : null);
  byId("caption").textContent = look ? caption(look) : "";
  byId("template-sum").textContent = walk.plan?.template?.text ?? "";
  byId("eased").textContent = work.cut?.eased ?? "";
  const empty = { panel: emptyPanel(), waste: "", openings: [], bridges: [] };
  /** @type {any} */
  const base = look ? { ...look, ...drawn } : empty;
  board.draw({
    ...base,
    panel: look?.panel ?? empty.panel,
    show,
    keep: work.state.job.keep,
    turned,
    before: look?.waste ?? "",
    numbered: show !== "before" && Boolean(work.cut),
    bridges: show === "before" ? [] : (base.bridges ?? []),
    findings: (show === "before" ? work.checked?.findings : work.findings) ?? [],
    selected: findings.selected,
    marked: byId("show-marks").getAttribute("aria-pressed") === "true",
    plan: show === "before" ? null : walk.plan,
    sheets: drawers.current === "print" && !walk.walking && show !== "finished" ? (walk.plan?.template?.sheets ?? []) : [],
    walking: walk.walking,
    step: walk.step,
    done: walk.sawn,
    fallen: walk.fallen,
    hands: hands.items,
  });
  paper.redraw();
}

function caption({ panel, figures, arranged }) {
  if (arranged) return `${panel.label}; the figures stand in a row or as pairs`;
  return figures.length ? `${panel.label}; figure ${figures.map((figure) => figure.label).join(", ")}` : panel.label;
}

const emptyPanel = () => {
  const { width, height, wood } = work.state.job.panel;
  return { width: width ?? 500, height: height ?? 700, grain: (height ?? 700) >= (width ?? 500) ? 90 : 0, wood, zones: [], drawn: [], frame: null };
};

function chosen(item) {
  paper.still = item?.box ?? (work.look?.figures.length === 1 ? work.look.figures[0].box : null);
  paper.redraw();
  if (item?.kind === "figure" && item.index !== picture.chosen) {
    picture.chosen = item.index;
    picture.show();
    form.show();
  }
}

/** While something moves: its distances to the edges, its size or turn beside it, the lines it lies in. */
function showMoving(moving) {
  paper.live = moving?.box ?? null;
  paper.lines = moving?.lines ?? [];
  paper.words = null;
  if (moving) {
    const { box, turn, item } = moving;
    const size = [box[2] - box[0], box[3] - box[1]].map((mm) => written(mm, units())).join(" × ");
    const said = turn ? `${turn}°` : item.kind === "figure" ? `${size} ${units()}` : "";
    paper.words = [said, moving.lines[0]?.name].filter(Boolean).join(", ") || null;
  }
  paper.redraw();
}

const fetchFile = (name) => attempt(async () => {
  say(`Writing ${name}…`);
  await download(`/api/jobs/${work.id}/files/${name}`, name);
}, `${name} is in your downloads.`);

function showFiles() {
  const ready = work.state.job.figures.length && !work.state.missing.length;
  const jobFile = { name: "job.toml", purpose: "Job file: open it again here, or give it to “cutout make”", usual: true };
  const asked = new Set(walk.plan?.wanted);
  const files = [...choices.files, jobFile];
  const first = files.filter((file) => file.usual || asked.has(file.name));
  const others = files.filter((file) => !first.includes(file));
  byId("everything").disabled = !ready;
  // Left as it is where it would be the same: nothing is taken from under a finger that is just pressing it.
  const now = JSON.stringify([Boolean(ready), first.map((file) => file.name)]);
  if (byId("file-list").dataset.now === now) return;
  byId("file-list").dataset.now = now;
  refill(byId("file-list"), ready ? first.map(fileEntry) : [el("li", {}, "Choose a picture first.")]);
  refill(byId("other-files"), ready ? others.map(fileEntry) : []);
  byId("other-files").closest("details").hidden = !ready || !others.length;
}

const sentence = (text) => text[0].toUpperCase() + text.slice(1);

/** Each file by a small drawing of what is on it, its name, and what it is for. */
function fileEntry({ name, purpose }) {
  const picture = svg("svg", { class: "icon file", "aria-hidden": "true" }, svg("use", { href: `#f-${name.replaceAll(".", "-")}` }));
  const [what, more] = purpose.split(": ");
  const words = [el("span", { class: "head" }, el("strong", {}, what), el("span", { class: "what" }, name)), more ? el("span", { class: "text" }, sentence(more)) : null];
  return el("li", {}, el("button", { type: "button", class: "entry", "data-key": name, onclick: () => fetchFile(name) }, picture, el("span", {}, ...words)));
}

start();
