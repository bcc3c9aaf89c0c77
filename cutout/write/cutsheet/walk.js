"use strict";
// One step at a time beside the saw: the drawing goes to the step, the blade shows its way, a button ticks it off.
(() => {
  const held = document.getElementById("walk-data");
  const picture = document.querySelector("section.picture svg.panel");
  if (!held || !picture || typeof HTMLDialogElement === "undefined") return;
  const { steps, holes } = JSON.parse(held.textContent);
  const key = `cutout-walk-${held.dataset.key}`;
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  /** Millimetres of the blade's way in a second, and the least of the panel that is shown, as a share of it. */
  const PACE = 60, LEAST = 0.28;

  const el = (name, given = {}, ...inside) => {
    const made = document.createElement(name);
    for (const [k, v] of Object.entries(given)) k.startsWith("on") ? made.addEventListener(k.slice(2), v) : made.setAttribute(k, v);
    made.append(...inside);
    return made;
  };
  const drawn = (name, given, inside = "") => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [k, v] of Object.entries(given)) made.setAttribute(k, v);
    made.textContent = inside;
    return made;
  };

  let at = 0, ticked = read(), frame = 0, lock = null, keeps = true;

  function read() {
    try {
      const got = JSON.parse(localStorage.getItem(key) ?? "[]");
      return new Set(Array.isArray(got) ? got : []);
    } catch {
      return new Set();
    }
  }

  function keep() {
    try {
      localStorage.setItem(key, JSON.stringify([...ticked]));
    } catch {
      keeps = false;
    }
  }

  // The panel without the numbers of findings: its lines, and on them what has been sawn and what is sawn now.
  const view = picture.cloneNode(true);
  for (const name of ["title", "desc", ".files", ".eased-places", "[class^=names]"]) view.querySelectorAll(name).forEach((one) => one.remove());
  view.setAttribute("class", "panel walk-view");
  view.setAttribute("aria-labelledby", "walk-say");
  const whole = picture.getAttribute("viewBox").split(" ").map(Number);
  const before = drawn("path", { class: "walk-sawn" }), now = drawn("path", { class: "walk-now" });
  const starts = drawn("g", { class: "walk-start" }), blade = drawn("g", { class: "walk-blade" });
  view.append(before, now, starts, blade);

  const chips = el("ol", { class: "walk-chips", "aria-label": "Steps" });
  const where = el("p", { class: "walk-where", "aria-live": "polite" });
  const say = el("p", { id: "walk-say", class: "walk-say" });
  const told = el("p", { class: "walk-told" });
  const back = el("button", { type: "button", onclick: () => go(at - 1) }, "\u2190 Back");
  const again = el("button", { type: "button", onclick: () => show() }, "Show again");
  const on = el("button", { type: "button", onclick: () => go(at + 1) }, "Next \u2192");
  const done = el("button", { type: "button", class: "walk-done", onclick: tick });
  const room = el("dialog", { class: "walk", "aria-labelledby": "walk-title" },
    el("header", {}, el("h2", { id: "walk-title" }, "Step by step"), el("button", { type: "button", onclick: () => room.close() }, "Close")),
    chips, view, el("div", { class: "walk-words" }, where, say, told), el("div", { class: "walk-hand" }, back, again, on), done);
  room.addEventListener("close", () => { cancelAnimationFrame(frame); lock?.release().catch(() => {}); lock = null; });
  room.addEventListener("keydown", (event) => {
    const way = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!way || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    go(at + way);
  });
  document.addEventListener("visibilitychange", () => room.open && document.visibilityState === "visible" && stayAwake());
  document.body.append(room);

  const open = el("button", { type: "button", class: "walk-open", onclick: begin }, "Step by step at the saw");
  document.querySelector("section.steps h2").after(open);

  function begin() {
    room.showModal();
    stayAwake();
    const first = steps.findIndex((step) => !ticked.has(step.letter));
    go(Math.max(first, 0));
    done.focus();
  }

  async function stayAwake() {
    try {
      lock = await navigator.wakeLock.request("screen");
    } catch {
      lock = null;
    }
  }

  function tick() {
    const { letter } = steps[at];
    ticked.has(letter) ? ticked.delete(letter) : ticked.add(letter);
    keep();
    if (ticked.has(letter) && at < steps.length - 1) go(at + 1);
    else words();
  }

  function go(n) {
    if (n < 0 || n >= steps.length) return;
    at = n;
    words();
    show();
  }

  function words() {
    const step = steps[at];
    chips.replaceChildren(...steps.map((one, n) => el("li", {}, chip(one, n))));
    chips.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
    where.replaceChildren(el("b", { class: "letter" }, step.letter), el("b", {}, ` ${step.name}`), `, step ${at + 1} of ${steps.length}${step.hold ? ", hold: a piece falls" : ""}`);
    say.textContent = step.say;
    const drilling = !step.way;
    const all = ticked.size >= steps.length;
    done.textContent = ticked.has(step.letter) ? (all ? "All done. Take the tick off" : "Done: take the tick off") : drilling ? "Drilled" : "Sawn";
    told.textContent = keeps ? "" : "This browser keeps no ticks: they are gone when the page is closed.";
    told.hidden = keeps;
    back.disabled = at === 0;
    on.disabled = at === steps.length - 1;
  }

  function chip(step, n) {
    const given = { type: "button", "aria-label": `Step ${step.letter}${ticked.has(step.letter) ? ", done" : ""}`, onclick: () => go(n) };
    if (n === at) given["aria-current"] = "step";
    return el("button", given, `${step.letter}${ticked.has(step.letter) ? " \u2713" : ""}`);
  }

  /** Bring the step into view, then let the blade go its way. */
  function show() {
    cancelAnimationFrame(frame);
    const step = steps[at];
    before.setAttribute("d", steps.slice(0, at).map((one) => one.way).join(""));
    now.setAttribute("d", step.way);
    blade.replaceChildren();
    const box = boxOf(step);
    const [x, y] = step.way ? pointAt(0) : holes[step.holes[0]];
    const letter = Math.max(box[2], box[3]) / 28;
    starts.replaceChildren(...step.holes.flatMap((id) => holeSigns(id, letter)));
    if (step.way) starts.append(drawn("circle", { cx: x, cy: y, r: letter / 2 }));
    zoom(box, () => step.way && !still && saw(letter));
  }

  function holeSigns(id, letter) {
    const [x, y, r] = holes[id];
    return [
      drawn("circle", { class: "walk-hole", cx: x, cy: y, r: Math.max(r, letter / 3) }),
      drawn("text", { x: x + Math.max(r, letter / 3) + letter * 0.3, y: y - letter * 0.3, "font-size": letter * 1.4 }, String(id)),
    ];
  }

  function pointAt(length) {
    const p = now.getPointAtLength(length);
    return [p.x, p.y];
  }

  /** The step with room round it, as wide to as high as the drawing has room on the screen. */
  function boxOf(step) {
    const spots = step.holes.map((id) => holes[id]);
    if (step.way) {
      const { x, y, width, height } = now.getBBox();
      spots.push([x, y], [x + width, y + height]);
    }
    const [x0, y0, x1, y1] = [Math.min(...spots.map((s) => s[0])), Math.min(...spots.map((s) => s[1])), Math.max(...spots.map((s) => s[0])), Math.max(...spots.map((s) => s[1]))];
    const least = LEAST * Math.max(whole[2], whole[3]);
    const wide = Math.max((x1 - x0) * 1.25, least), high = Math.max((y1 - y0) * 1.25, least);
    return [(x0 + x1 - wide) / 2, (y0 + y1 - high) / 2, wide, high];
  }

  function zoom(to, then) {
    const from = (view.getAttribute("viewBox") ?? whole.join(" ")).split(" ").map(Number);
    const put = (share) => view.setAttribute("viewBox", from.map((v, n) => v + (to[n] - v) * share).join(" "));
    run(still ? 0 : 350, (share) => put(share * share * (3 - 2 * share)), then);
  }

  function saw(size) {
    const total = now.getTotalLength();
    if (!total) return;
    blade.replaceChildren(drawn("circle", { r: size / 2 }), drawn("path", { d: `M${size * 1.1} 0L${size * 0.2} ${size * 0.6}L${size * 0.2} ${-size * 0.6}Z` }));
    run(Math.min(Math.max(total / PACE, 1.5), 14) * 1000, (share) => {
      const [x, y] = pointAt(share * total);
      const [nx, ny] = pointAt(Math.min(share * total + 0.5, total)), [px, py] = pointAt(Math.max(share * total - 0.5, 0));
      blade.setAttribute("transform", `translate(${x} ${y}) rotate(${(Math.atan2(ny - py, nx - px) * 180) / Math.PI})`);
    });
  }

  function run(time, put, then = () => {}) {
    const begun = performance.now();
    const turn = (moment) => {
      const share = time ? Math.min(Math.max((moment - begun) / time, 0), 1) : 1;
      put(share);
      if (share < 1) frame = requestAnimationFrame(turn);
      else then();
    };
    frame = requestAnimationFrame(turn);
  }
})();
