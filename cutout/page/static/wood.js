// How wood looks: a tone by species, and lines along the grain. A texture, not a measurement.

/** @type {[RegExp, string][]} */
const TONES = [
  [/poplar|birch|maple/, "pale"],
  [/oak|cherry|mahogany/, "red"],
  [/walnut/, "brown"],
  [/ply|mdf|board/, "sheet"],
];

export const toneOf = (wood) => TONES.find(([words]) => words.test(wood ?? ""))?.[1] ?? "pine";

const LINES = 34;
const STEPS = 10;

/**
 * Lines along the grain of a board `width` by `height` mm, `grain` in degrees, as path data in its frame.
 * They part in the middle and close again, as they do where a board is sawn off the middle of the tree.
 */
export function grainLines({ width, height, grain }) {
  const turn = (grain * Math.PI) / 180;
  const [along, across] = [[Math.cos(turn), Math.sin(turn)], [-Math.sin(turn), Math.cos(turn)]];
  const reach = Math.hypot(width, height) / 2;
  const wide = (Math.abs(across[0]) * width + Math.abs(across[1]) * height) / 2;
  const parts = [];
  for (let n = 0; n <= LINES; n += 1) {
    const share = (2 * n) / LINES - 1 + (((n * 37) % 11) - 5) * 0.006;
    const points = [];
    for (let step = 0; step <= STEPS; step += 1) {
      const t = (2 * step) / STEPS - 1;
      const swell = 1 + 0.55 * Math.exp(-((t / 0.45) ** 2)) * Math.exp(-Math.abs(share) * 2.4);
      const v = wide * (share * swell + 0.012 * Math.sin(3 * t + n));
      const u = reach * t;
      points.push([width / 2 + along[0] * u + across[0] * v, height / 2 + along[1] * u + across[1] * v]);
    }
    parts.push(smooth(points));
  }
  return parts.join("");
}

/** A curve through points: quadratic pieces between the middles of the legs. */
function smooth(points) {
  const at = ([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`;
  const middles = points.slice(1).map((p, n) => [(p[0] + points[n][0]) / 2, (p[1] + points[n][1]) / 2]);
  return `M${at(points[0])}L${at(middles[0])}${middles.slice(1).map((m, n) => `Q${at(points[n + 1])} ${at(m)}`).join("")}L${at(points.at(-1))}`;
}
