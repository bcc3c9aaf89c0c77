// Puts the parts of the page together.

import { ApiError, download, get, jobInAddress } from "./api.js";
import { compareBlades } from "./blades.js";
import { Board } from "./board.js";
import { byId, el, refill, settled } from "./dom.js";
import { Fields, setField } from "./fields.js";
import { Findings } from "./findings.js";
import { Hands } from "./hands.js";
import { Held } from "./held.js";
import { legend } from "./marks.js";
import { Picture } from "./picture.js";
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
const held = new Held(work, board, hands);
let choices = null;

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
  findings.dispatch = plan.dispatch = held.dispatch = drawAll;
  work.addEventListener("state", showState);
  work.addEventListener("look", showLook);
  work.addEventListener("cut", showCut);
  work.addEventListener("busy", showBusy);
  work.addEventListener("trouble", (event) => warn(event.detail));
  hands.addEventListener("chosen", (event) => chosen(event.detail));
  startButtons();
  startKnown("s-drills", "s-own-drills", "saw.drills");
  startKnown("t-paper", "t-own-paper", "template.paper");
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
  byId("compare").addEventListener("click", () => compareBlades(work, choices.blades));
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

/** A select of known names and a field for anything else, both for the setting at `path`. */
function startKnown(select, own, path) {
  const set = (field, value) => fields.set(field, [{ path, value }]);
  byId(select).addEventListener("change", ({ target }) => (target.value === "own" ? byId(own).focus() : set(target, target.value)));
  byId(own).addEventListener("change", ({ target }) => target.value.trim() && set(target, target.value.trim()));
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
  if (!blade) {
    byId("blade-facts").textContent = "";
    return;
  }
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
  byId("notes").replaceChildren(...(work.cut?.notes ?? work.checked?.notes ?? []).map((text) => el("li", {}, text)));
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
  held.show();
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

function chosen(item) {
  if (item?.kind === "figure" && item.index !== picture.chosen) {
    picture.chosen = item.index;
    picture.show();
    fields.show();
  }
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
