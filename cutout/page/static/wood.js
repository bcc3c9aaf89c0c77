// How wood looks: a tone by species, and lines along the grain. A texture, not a measurement.

/** @type {[RegExp, string][]} */
const TONES = [
  [/poplar|birch|maple/, "pale"],
  [/oak|cherry|mahogany/, "red"],
  [/walnut/, "brown"],
  [/ply|mdf|board/, "sheet"],
];

export const toneOf = (wood) => TONES.find(([words]) => words.test(wood ?? ""))?.[1] ?? "pine";

/** Growth rings that are drawn, and points along each. */
const RINGS = 25;
const STEPS = 10;
/** How deep the middle of the tree lies under the board's face, in half widths of the board: at one end, at the other. */
const DEEP = [0.04, 0.6];

/**
 * Lines along the grain of a board `width` by `height` mm, `grain` in degrees, as path data in its frame: the fine
 * ones, and every third, which is drawn stronger.
 * A ring of radius r meets the face at a distance v from the line over the tree's middle, v = sqrt(r^2 - d^2), where
 * the middle lies d deep. The tree tapers, so d changes along the board: the rings make arches, closer to the sides.
 */
export function grainLines({ width, height, grain }) {
  const turn = (grain * Math.PI) / 180;
  const [along, across] = [[Math.cos(turn), Math.sin(turn)], [-Math.sin(turn), Math.cos(turn)]];
  const reach = (Math.abs(along[0]) * width + Math.abs(along[1]) * height) / 2;
  const wide = (Math.abs(across[0]) * width + Math.abs(across[1]) * height) / 2;
  const place = (u, v) => [width / 2 + along[0] * u + across[0] * v, height / 2 + along[1] * u + across[1] * v];
  const lines = { fine: "", strong: "" };
  for (let n = 1; n <= RINGS; n += 1) {
    // Rings are never quite as far from each other, nor quite round.
    const radius = ((n + (((n * 37) % 11) - 5) * 0.06) / RINGS) * 1.5;
    const halves = [-1, 1].map((side) => half(radius, side, n).map(([u, v]) => place(u * reach, v * wide)));
    const closed = radius < DEEP[1];
    const drawn = closed ? [[...halves[0], ...halves[1].reverse()]] : halves;
    for (const points of drawn) if (points.length > 3) lines[n % 3 ? "fine" : "strong"] += smooth(points);
  }
  return lines;
}

/** One side of a ring from the end where the tree's middle lies near to where the ring leaves the face; in -1..1. */
function half(radius, side, n) {
  const [near, far] = DEEP;
  const end = Math.min((radius - near) / (far - near), 1);
  const points = [];
  for (let step = 0; step <= STEPS && end > 0; step += 1) {
    // Close together at the tip of the arch, where it turns.
    const t = end * (1 - (1 - step / STEPS) ** 2);
    const deep = near + (far - near) * t;
    const v = Math.sqrt(Math.max(radius ** 2 - deep ** 2, 0));
    const sway = 0.025 * Math.sin(3.1 * t + 0.7) + 0.008 * Math.sin(9 * t + n);
    points.push([2 * t - 1, 0.08 + side * v + sway]);
  }
  return points;
}

/** A curve through points: quadratic pieces between the middles of the legs. */
function smooth(points) {
  const at = ([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`;
  const middles = points.slice(1).map((p, n) => [(p[0] + points[n][0]) / 2, (p[1] + points[n][1]) / 2]);
  return `M${at(points[0])}L${at(middles[0])}${middles.slice(1).map((m, n) => `Q${at(points[n + 1])} ${at(m)}`).join("")}L${at(points.at(-1))}`;
}
