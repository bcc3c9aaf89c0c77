// The job as the server has it, and everything worked out from it. One change is under way at a time.

import { get, post, putJobInAddress, send } from "./api.js";

/** What is worked out in the background after a change, how long to wait before each, and in what words. */
const STAGES = [
  ["checked", 150, "Checking"],
  ["mended", 50, "Mending"],
  ["planned", 700, "Working out the plan"],
];

/**
 * Events: "sending" when changes begin to be sent, and when all of them have been answered; "state" after every
 * answer about the job; "look" when the quick view is there; "cut" when findings, the mended pattern or the plan are
 * there; "busy" when background work starts or ends; "trouble" when it failed.
 */
export class Work extends EventTarget {
  /** There from the first answer on; nothing is drawn before. */
  state = /** @type {import("./types.d.ts").State} */ (/** @type {unknown} */ (null));
  /** @type {import("./types.d.ts").Look | null} */
  look = null;
  /** @type {import("./types.d.ts").Checked | null} */
  checked = null;
  /** @type {import("./types.d.ts").Mended | import("./types.d.ts").Planned | null} */
  cut = null;
  /** @type {string | null} */
  problem = null;
  busy = "";
  /** Which of the three stages is under way, from 1; and when it began. */
  stage = 0;
  since = 0;
  /** @type {{stage: string, share: number} | null} */
  told = null;
  #hearing = false;
  #took = new Map();
  /** The user has stopped what was being worked out; it goes on with the next change. */
  stopped = false;
  /** What to ask before mending goes on; null while there is nothing to ask. */
  /** @type {import("./types.d.ts").Ask | null} */
  asking = null;
  #asked = new Set();
  /** Entries of lists whose taking away has not been answered yet. */
  #leaving = new Map();
  #queue = [];
  #sending = false;
  /** @type {AbortController | null} */
  #background = null;

  /** Seconds that the stage under way took the last time for this job; null where that is not known. */
  get took() {
    return this.#took.get(`${this.id} ${this.stage}`) ?? null;
  }

  get id() {
    return this.state?.id;
  }

  /** Ask the stage under way how far it is; `told` then is what it said last, or null. */
  async ask() {
    const [id, stage] = [this.id, this.stage];
    if (!stage || this.#hearing) return;
    this.#hearing = true;
    const told = await get(`/api/jobs/${id}/progress`).catch(() => ({}));
    this.#hearing = false;
    if (id === this.id && stage === this.stage) this.told = told[STAGES[stage - 1][0]] ?? this.told;
  }

  /** The pattern to draw: as it will be cut where that is known, else as it was laid out. */
  get drawn() {
    return this.cut ?? this.look;
  }

  /** What was found, or null while that is not known yet. */
  get findings() {
    return (this.cut ?? this.checked)?.findings ?? null;
  }

  open(id) {
    return this.#inTurn(() => get(`/api/jobs/${encodeURIComponent(id)}`));
  }

  create(options) {
    return this.#inTurn(() => post("/api/jobs", options));
  }

  /** Keep a file for a field that names one; resolves to its name. */
  async addFile(file) {
    return (await send(`/api/jobs/${this.id}/sources`, file)).name;
  }

  addPicture(file, figure) {
    const which = figure === null ? "" : `?figure=${figure}`;
    return this.#inTurn(() => send(`/api/jobs/${this.id}/picture${which}`, file));
  }

  supply(name, file) {
    return this.#inTurn(() => send(`/api/jobs/${this.id}/sources/${name}`, file));
  }

  /** Set fields: [{path, value}]. Changes of one gesture make one step of undo. Rejects with ApiError. */
  change(changes, gesture = /** @type {string | null} */ (null)) {
    const key = leaving(changes);
    const under = key && this.#leaving.get(key);
    if (under) return under; // pressed twice: the next of the list is not taken away as well
    const done = new Promise((resolve, reject) => {
      this.#queue.push({ changes, gesture, resolve, reject });
      this.#pump();
    });
    if (key) this.#leaving.set(key, done);
    return done.finally(() => this.#leaving.delete(key));
  }

  undo() {
    return this.#step("undo");
  }

  redo() {
    return this.#step("redo");
  }

  /** Resolves to whether there was a step to take. */
  async #step(which) {
    let possible = false;
    await this.#inTurn(() => {
      possible = this.state[`can_${which}`];
      return post(`/api/jobs/${this.id}/${which}`, { revision: this.state.revision });
    });
    return possible;
  }

  /** Ask when everything asked before has been answered; the answer is how the job stands then. */
  #inTurn(ask) {
    return new Promise((resolve, reject) => {
      this.#queue.push({ ask, gesture: null, resolve, reject });
      this.#pump();
    });
  }

  async #pump() {
    if (this.#sending) return;
    this.#setSending(true);
    while (this.#queue.length) {
      const batch = this.#batch();
      try {
        this.#take(await (batch[0].ask?.() ?? this.#send(batch)));
        batch.forEach((entry) => entry.resolve());
      } catch (error) {
        if (error.kind === "stale") await get(`/api/jobs/${this.id}`).then((answer) => this.#take(answer), () => {});
        batch.forEach((entry) => entry.reject(error));
      }
    }
    this.#setSending(false);
  }

  #setSending(sending) {
    this.#sending = sending;
    this.dispatchEvent(new CustomEvent("sending", { detail: sending }));
  }

  #send(batch) {
    const { gesture } = batch[0];
    const changes = lastOfEach(batch.flatMap((entry) => entry.changes), gesture !== null);
    return post(`/api/jobs/${this.id}/change`, { revision: this.state.revision, changes, gesture });
  }

  /** Everything queued that belongs to one gesture; a change without a gesture goes alone. */
  #batch() {
    const { gesture } = this.#queue[0];
    let count = 1;
    while (gesture !== null && this.#queue[count]?.gesture === gesture) count += 1;
    return this.#queue.splice(0, count);
  }

  #take(answer) {
    const before = this.state && `${this.state.id}/${this.state.revision}`;
    if (this.id !== answer.state.id) this.look = null;
    this.state = answer.state;
    this.problem = answer.problem;
    putJobInAddress(this.state.id);
    if (answer.look || !this.state.job.figures.length) this.look = answer.look;
    if (before !== `${this.state.id}/${this.state.revision}` || !this.cut) this.#again();
    this.dispatchEvent(new Event("state"));
    this.dispatchEvent(new Event("look"));
  }

  /** End what is being worked out; what is known so far stays. */
  stop() {
    this.#background?.abort();
    this.stopped = true;
    this.#setBusy("");
    this.dispatchEvent(new Event("cut"));
  }

  /** What jobs are worked out from has changed outside of this one: everything once more. */
  async anew() {
    this.cut = null;
    await this.open(this.id);
  }

  /** The answer to what was asked is no: go on with the job as it is. */
  goOn() {
    this.#asked.add(this.id);
    this.#again();
  }

  /** One stage after the other, as long as nothing changes. */
  async #again() {
    this.cut = this.checked = this.asking = null;
    this.stopped = false;
    this.#background?.abort();
    this.#setBusy("");
    if (!this.look || this.problem || this.state.missing.length) return;
    const mine = (this.#background = new AbortController());
    try {
      for (const [n, [task, wait, words]] of STAGES.entries()) {
        await pause(wait);
        if (mine.signal.aborted) return;
        this.#setBusy(words, n + 1);
        const answer = await get(`/api/jobs/${this.id}/work/${task}`, mine.signal);
        if (mine.signal.aborted || answer.revision !== this.state.revision) return;
        if (answer.problem) throw new Error(answer.problem);
        this.#took.set(`${this.id} ${this.stage}`, (Date.now() - this.since) / 1000);
        // The first look is only near enough for the eye; the checks come with the exact one.
        if (task === "checked") [this.checked, this.look] = [answer, answer.look];
        else this.cut = answer;
        this.asking = task === "checked" && !this.#asked.has(this.id) ? answer.ask : null;
        if (n === STAGES.length - 1 || this.asking) this.#setBusy("");
        this.dispatchEvent(new Event("cut"));
        if (this.asking) return;
      }
    } catch (error) {
      if (mine.signal.aborted || error.kind === "replaced") return;
      this.#setBusy("");
      this.dispatchEvent(new CustomEvent("trouble", { detail: error.message }));
    }
  }

  #setBusy(words, stage = 0) {
    this.busy = words;
    this.stage = stage;
    this.told = null;
    this.since = Date.now();
    this.dispatchEvent(new Event("busy"));
  }
}

/** The entry of a list that changes take away, or null. */
const leaving = (changes) => changes.find(({ path, value }) => value === null && /\.\d+$/.test(path))?.path ?? null;

const pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

function lastOfEach(changes, merge) {
  if (!merge) return changes;
  return [...new Map(changes.map((change) => [change.path, change])).values()];
}
