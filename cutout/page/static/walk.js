// At the saw: one step, one sentence, one big button; the view goes to the step, the blade shows the way.

import { pointsOf } from "./board.js";
import { byId, el, one, refill, svg } from "./dom.js";
import { drillMark } from "./marks.js";
import { say } from "./say.js";

/** Steps that stand nearer than this (mm) to one that was ticked off, and are called the same, count as it. */
const SAME = 15;
/** mm of the saw's way in a second of the drawing. */
const PACE = 90;

export class Walk {
  walking = false;
  #at = 0;
  #work;
  #board;
  /** @type {WakeLockSentinel | null} */
  #lock = null;
  #showing = 0;

  constructor(work, board) {
    this.#work = work;
    this.#board = board;
    byId("walk-on").addEventListener("click", () => this.#sawn());
    byId("walk-back").addEventListener("click", () => this.go(this.#at - 1));
    byId("walk-again").addEventListener("click", () => this.#look());
    byId("walk-start").addEventListener("click", () => this.start());
    byId("to-saw").addEventListener("click", () => (this.walking ? this.end() : this.start()));
    document.addEventListener("keydown", (event) => this.#key(event));
    document.addEventListener("visibilitychange", () => this.walking && document.visibilityState === "visible" && this.#stayAwake());
  }

  get plan() {
    return this.#work.cut?.stage === "planned" ? this.#work.cut : null;
  }

  get steps() {
    return this.plan?.steps ?? [];
  }

  get step() {
    return this.walking ? (this.steps[this.#at] ?? null) : null;
  }

  /** Legs of all steps before this one. */
  get sawn() {
    return new Set(this.steps.slice(0, this.#at).flatMap((step) => step.legs));
  }

  /** What has come free in the steps before this one, as path data. */
  get fallen() {
    return this.steps.slice(0, this.#at).map((step) => step.drops).join("");
  }

  /** In a few words, for the front of the drawer. */
  get state() {
    if (!this.#work.look) return "";
    if (!this.plan) return this.#work.busy ? "being worked out" : "";
    return `${this.steps.length} steps, about ${this.plan.time}`;
  }

  show() {
    const { plan } = this;
    const ready = Boolean(plan?.steps.length);
    byId("to-saw").setAttribute("aria-disabled", String(!ready && !this.walking));
    byId("to-saw").lastElementChild.textContent = this.walking ? "To the desk" : "To the saw";
    byId("walk-start").hidden = !ready;
    byId("plan-sum").textContent = plan
      ? `${plan.sums}${plan.proved ? " The plan was checked by following it with the blade." : " Following it with the blade failed: see Findings."}`
      : this.#work.look
        ? this.#work.busy || (this.#work.stopped ? "Stopped: it goes on with the next change." : "The plan comes when the picture has been checked.")
        : "Choose a picture first.";
    refill(byId("step-list"), this.steps.map((step, n) => this.#entry(step, n)));
    if (this.walking) this.#showStep();
  }

  #entry(step, n) {
    const words = el("span", {}, el("span", { class: "title" }, step.title), el("span", { class: "what" }, this.#about(step)));
    const parts = [el("strong", { class: "letter" }, step.letter), words, el("span", { class: "takes" }, minutesOf(step))];
    if (step.hold) parts.splice(2, 0, icon("hand", "held"));
    return el("li", {}, this.#headed(step, n), el("button", { type: "button", class: "entry", "data-key": `step-${n}`, onclick: () => this.start(n) }, ...parts));
  }

  /** How many cuts, how long, whether the saw is put in anew; of drilling, the drills. */
  #about(step) {
    if (!step.legs.length) return this.#drills(step).map((drill) => drill.label).join(", ");
    return [many(step.legs.length, "cut"), step.length, step.goes ? `saw put in ${timesOf(step.goes)}` : ""].filter(Boolean).join(", ");
  }

  #drills(step) {
    return (this.plan?.drills ?? []).map(({ holes, ...drill }) => ({ ...drill, holes: holes.filter((hole) => step.holes.includes(hole)) })).filter((drill) => drill.holes.length);
  }

  #headed(step, n) {
    const words = this.#heading(step, n);
    return words ? el("span", { class: "small" }, words) : null;
  }

  /** What stands before a step with which another opening begins; "" elsewhere, where all is one, and where one step
   * is the whole of its opening, which its name says. */
  #heading(step, n) {
    const openings = new Set(this.steps.map((one) => one.opening).filter((opening) => opening !== null));
    const begins = step.opening !== null && (n === 0 || this.steps[n - 1].opening !== step.opening);
    const several = this.steps.filter((one) => one.opening === step.opening).length > 1;
    return openings.size > 1 && begins && several ? `Opening ${step.opening}` : "";
  }

  #showStep() {
    this.#at = Math.min(this.#at, Math.max(this.steps.length - 1, 0));
    const { step } = this;
    const ticked = this.#ticks();
    refill(byId("walk-steps"), this.steps.map((one, n) => this.#chip(one, n, ticked)));
    byId("walk-letter").textContent = step?.letter ?? "";
    byId("walk-at").textContent = step ? `Step ${this.#at + 1} of ${this.steps.length}` : "";
    byId("walk-facts").replaceChildren(...(step ? this.#facts(step) : []));
    byId("walk-title").textContent = step?.title ?? "The plan is being worked out again.";
    // What is drilled stands below, a drill a row.
    byId("walk-say").textContent = step?.legs.length ? step.say : "";
    byId("walk-hold").hidden = !step?.hold;
    byId("walk-hold-say").textContent = step?.hold ?? "";
    const last = this.#at === this.steps.length - 1;
    byId("walk-on").textContent = step?.holes.length ? (last ? "Drilled, done" : "Drilled, next") : last ? "Sawn, done" : "Sawn, next";
    for (const id of ["walk-on", "walk-again"]) byId(id).setAttribute("aria-disabled", String(!step));
    byId("walk-back").setAttribute("aria-disabled", String(this.#at === 0));
  }

  #chip(step, n, ticked) {
    const done = ticked.some((tick) => isSame(tick, step));
    const name = `Step ${step.letter}, ${step.title}${done ? ", done" : ""}`;
    return el("li", {}, this.#headed(step, n), el("button", { type: "button", "data-key": `chip-${n}`, "aria-label": name, "aria-current": n === this.#at && "step", "data-done": done, onclick: () => this.go(n) }, step.letter));
  }

  /** A drill a row, with its sign; of sawing the cuts, how long they are, and what it takes. */
  #facts(step) {
    if (!step.legs.length) {
      return this.#drills(step).map(({ label, sign, holes }) => el("div", { class: "drill-row" }, drillMark(sign), el("strong", {}, label), el("span", {}, `${holes.length > 1 ? "holes" : "hole"} ${holes.join(", ")}`)));
    }
    const rows = [[String(step.legs.length), step.legs.length > 1 ? "cuts" : "cut"], [step.length, "to saw"], [minutesOf(step), "about"]];
    if (step.goes) rows.push([timesOf(step.goes), "saw put in"]);
    return rows.map(([value, what]) => el("div", { class: "fact" }, el("strong", {}, value), el("span", {}, what)));
  }

  start(n = this.#firstOpen()) {
    if (!this.steps.length) return say("The plan is not there yet.");
    this.walking = true;
    document.body.classList.replace("desk", "saw");
    byId("walk").hidden = false;
    this.#stayAwake();
    this.go(n);
    byId("walk-title").focus();
  }

  end() {
    this.walking = false;
    document.body.classList.replace("saw", "desk");
    byId("walk").hidden = true;
    this.#board.blade(null);
    cancelAnimationFrame(this.#showing);
    this.#lock?.release().catch(() => {});
    this.#lock = null;
    this.dispatch();
    this.#board.whole();
    byId("to-saw").focus();
    say("Back at the desk.");
  }

  go(n) {
    if (n < 0 || n >= this.steps.length) return;
    this.#at = n;
    this.dispatch();
    one("#walk-steps [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
    this.#look();
  }

  #sawn() {
    const { step } = this;
    if (!step) return;
    const ticked = this.#ticks();
    if (!ticked.some((tick) => isSame(tick, step))) this.#keep([...ticked, { title: step.title, at: step.at }]);
    if (this.#at < this.steps.length - 1) return this.go(this.#at + 1);
    this.end();
    say("That was the last step.");
  }

  /** Bring the step into view and let the blade go along it. */
  #look() {
    const { step, plan } = this;
    if (!step) return;
    const legs = plan.legs.filter((leg) => step.legs.includes(leg.order));
    const holes = plan.holes.filter((hole) => step.holes.includes(hole.id));
    const points = [...legs.flatMap((leg) => pointsOf(leg.path)), ...holes.map((hole) => hole.at)];
    if (points.length) this.#board.showBox(boxOf(points));
    this.#follow(legs.map((leg) => pointsOf(leg.path)));
  }

  #follow(paths) {
    cancelAnimationFrame(this.#showing);
    this.#board.blade(null);
    if (!paths.length) return;
    const way = paths.flatMap(legsOf);
    const total = way.reduce((sum, part) => sum + part.length, 0);
    if (matchMedia("(prefers-reduced-motion: reduce)").matches || !total) return;
    const seconds = Math.min(Math.max(total / PACE, 1.5), 12);
    const begun = performance.now();
    const frame = (now) => {
      const gone = ((now - begun) / 1000 / seconds) * total;
      const at = placeOn(way, Math.min(gone, total));
      this.#board.blade(at.at, at.turn);
      if (gone < total && this.walking) this.#showing = requestAnimationFrame(frame);
    };
    this.#showing = requestAnimationFrame(frame);
  }

  #key(event) {
    if (!this.walking || event.ctrlKey || event.metaKey || event.altKey || one("dialog[open]")) return;
    const action = { ArrowRight: () => this.#sawn(), ArrowLeft: () => this.go(this.#at - 1), Escape: () => this.end() }[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  }

  async #stayAwake() {
    const told = byId("walk-wake");
    try {
      this.#lock = await navigator.wakeLock.request("screen");
      told.textContent = "The screen stays on.";
    } catch {
      told.textContent = "This browser can't keep the screen on: set it so on the device.";
    }
  }

  #firstOpen() {
    const ticked = this.#ticks();
    const open = this.steps.findIndex((step) => !ticked.some((tick) => isSame(tick, step)));
    return Math.max(open, 0);
  }

  /** Steps ticked off, kept in this browser under the job. */
  #ticks() {
    try {
      return JSON.parse(localStorage.getItem(`cutout-sawn-${this.#work.id}`) ?? "") ?? [];
    } catch {
      return [];
    }
  }

  #keep(ticks) {
    try {
      localStorage.setItem(`cutout-sawn-${this.#work.id}`, JSON.stringify(ticks));
    } catch {
      say("This browser keeps no ticks.");
    }
  }

  /** Set by main.js: draw everything again. */
  dispatch = () => {};
}

/** What a step takes, as people say it. */
const minutesOf = ({ minutes }) => (minutes < 0.75 ? "1/2 min" : `${Math.round(minutes)} min`);

const many = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;

const timesOf = (n) => ({ 1: "once", 2: "twice" })[n] ?? `${n} times`;

const icon = (name, words) => svg("svg", { class: "icon", role: "img", "aria-label": words }, svg("use", { href: `#i-${name}` }));

const isSame = (tick, step) => tick.title === step.title && Math.hypot(tick.at[0] - step.at[0], tick.at[1] - step.at[1]) < SAME;

const boxOf = (points) => [0, 1].map((i) => Math.min(...points.map((p) => p[i]))).concat([0, 1].map((i) => Math.max(...points.map((p) => p[i]))));

const legsOf = (points) => points.slice(1).map((to, n) => ({ from: points[n], to, length: Math.hypot(to[0] - points[n][0], to[1] - points[n][1]) }));

/** The place and direction (degrees) after a length of the way. */
function placeOn(way, gone) {
  let left = gone;
  for (const { from, to, length } of way) {
    if (left <= length && length > 0) {
      const share = left / length;
      return { at: [from[0] + (to[0] - from[0]) * share, from[1] + (to[1] - from[1]) * share], turn: (Math.atan2(to[1] - from[1], to[0] - from[0]) * 180) / Math.PI };
    }
    left -= length;
  }
  const { from, to } = way.at(-1);
  return { at: to, turn: (Math.atan2(to[1] - from[1], to[0] - from[0]) * 180) / Math.PI };
}
