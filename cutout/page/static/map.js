// At the saw: the whole panel, small, and which part of it is seen.

import { byId, svg } from "./dom.js";

export class Overview {
  #board;
  #frame = svg("rect", { class: "map-view" });
  #drawn = "";

  constructor(board) {
    this.#board = board;
    board.addEventListener("viewed", () => this.#show());
  }

  #show() {
    const { model } = this.#board;
    const map = byId("map");
    map.toggleAttribute("hidden", !model.walking || this.#board.isWhole);
    if (map.hasAttribute("hidden")) return;
    const { width, height } = model.panel;
    const key = `${width} ${height} ${model.turned} ${model.waste}`;
    if (key !== this.#drawn) {
      this.#drawn = key;
      map.setAttribute("viewBox", `0 0 ${width} ${height}`);
      const way = model.turned ? `matrix(-1 0 0 -1 ${width} ${height})` : `matrix(1 0 0 -1 0 ${height})`;
      map.replaceChildren(svg("rect", { width, height, class: "map-wood" }), svg("path", { d: model.waste, class: "map-waste", transform: way }), this.#frame);
    }
    const [across, tall] = this.#board.size.map((pixels) => pixels * this.#board.pixel);
    const [x, y] = this.#board.centre;
    const box = { x: x - across / 2, y: height - y - tall / 2, width: across, height: tall };
    for (const [name, value] of Object.entries(box)) this.#frame.setAttribute(name, String(value));
  }
}
