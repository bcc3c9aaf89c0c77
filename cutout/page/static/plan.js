// Walking through the cut plan, one step at a time.

import { byId, el, refill } from "./dom.js";
import { say } from "./say.js";

export class Plan {
  walking = false;
  #at = 0;
  #work;
  #board;

  constructor(work, board) {
    this.#work = work;
    this.#board = board;
    for (const id of ["walk-on", "here-on"]) byId(id).addEventListener("click", () => this.go(this.walking ? this.#at + 1 : 0));
    for (const id of ["walk-back", "here-back"]) byId(id).addEventListener("click", () => this.go(this.#at - 1));
  }

  get plan() {
    return this.#work.cut?.stage === "planned" ? this.#work.cut : null;
  }

  get step() {
    return this.walking ? (this.plan?.steps[this.#at] ?? null) : null;
  }

  show() {
    const { plan } = this;
    byId("walk").hidden = !plan?.steps.length;
    byId("plan-sum").textContent = plan
      ? `${plan.sums}${plan.proved ? " The plan was checked by following it with the blade." : " Following it with the blade failed: see Findings."}`
      : this.#work.look
        ? this.#work.busy || "The plan comes when the picture has been checked."
        : "Choose a picture first.";
    if (!plan) {
      this.walking = false;
      byId("here-walk").hidden = true;
      return;
    }
    this.#at = Math.min(this.#at, plan.steps.length - 1);
    this.#showStep();
    refill(byId("step-list"), plan.steps.map((step, n) => this.#entry(step, n)));
  }

  #entry(step, n) {
    const attributes = { type: "button", class: "entry", "data-key": `step-${n}`, "aria-current": this.walking && n === this.#at && "step" };
    return el("li", {}, el("button", { ...attributes, onclick: () => this.go(n) }, step.title));
  }

  #showStep() {
    const { step, plan } = this;
    byId("walk-back").setAttribute("aria-disabled", String(!this.walking));
    byId("walk-on").textContent = this.walking ? (this.#at < plan.steps.length - 1 ? "Next step" : "Done") : "Walk through it";
    byId("walk-at").textContent = this.walking ? `Step ${this.#at + 1} of ${plan.steps.length}` : "";
    byId("here-walk").hidden = !this.walking;
    byId("here-on").textContent = byId("walk-on").textContent;
    byId("here-at").textContent = step ? `${byId("walk-at").textContent}: ${step.title}` : "";
    byId("walk-step").replaceChildren(
      ...(step ? [el("h3", {}, step.title), ...step.lines.map((line) => el("p", {}, line))] : []),
    );
  }

  /** Step `n`; before the first or after the last the walk ends. */
  go(n) {
    const { plan } = this;
    if (!plan) return;
    this.walking = n >= 0 && n < plan.steps.length;
    this.#at = this.walking ? n : 0;
    this.dispatch();
    if (this.walking) return this.#board.bringIntoView();
    byId("walk-on").focus();
    say("The walk through the plan has ended.");
  }

  /** Set by main.js: draw everything again. */
  dispatch = () => {};
}
