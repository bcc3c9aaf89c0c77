// Snapping: a box that is nearly in line with something is put in line with it. Plain numbers in, plain numbers out.

/** @typedef {{to: number, by: "low" | "middle" | "high", name: string}} Target */

/** Where along one axis a box may be held: [{to, by}], `by` says which of its low, middle and high is put there. */
function targets(panel, edge, others) {
  /** @type {Target[]} */
  const found = [
    { to: panel / 2, by: "middle", name: "middle" },
    { to: edge, by: "low", name: "edge" },
    { to: panel - edge, by: "high", name: "edge" },
  ];
  for (const [low, high] of others) {
    found.push({ to: (low + high) / 2, by: "middle", name: "in line" }, { to: low, by: "low", name: "in line" }, { to: high, by: "high", name: "in line" });
  }
  return found;
}

function along(low, high, panel, edge, others, reach) {
  const at = { low, middle: (low + high) / 2, high };
  /** @type {(Target & {shift: number}) | null} */
  let best = null;
  for (const target of targets(panel, edge, others)) {
    const shift = target.to - at[target.by];
    if (Math.abs(shift) <= (best ? Math.abs(best.shift) : reach)) best = best && Math.abs(best.shift) <= Math.abs(shift) ? best : { ...target, shift };
  }
  return best;
}

/**
 * How far a box [x0, y0, x1, y1] is to be shifted to lie in line, and the lines it then lies on.
 * panel: its width and height. edge: wood kept to its edge. others: boxes of other figures. reach: mm.
 * @param {number[]} box
 */
export function snap([x0, y0, x1, y1], panel, edge, others, reach) {
  const x = along(x0, x1, panel.width, edge, others.map((box) => [box[0], box[2]]), reach);
  const y = along(y0, y1, panel.height, edge, others.map((box) => [box[1], box[3]]), reach);
  return { shift: [x?.shift ?? 0, y?.shift ?? 0], lines: [x && { axis: "x", at: x.to, name: x.name }, y && { axis: "y", at: y.to, name: y.name }].filter(Boolean) };
}
