// A stroke as discs, and a box from two corners. Plain numbers in, plain numbers out.

/** Discs this share of their width apart make a stroke without teeth. */
const APART = 0.25;

/**
 * Discs [x, y, across] along a way of points, close enough to make one stroke; rounded to tenths of a pixel.
 * @param {number[][]} way
 * @param {number} across
 */
export function dabs(way, across) {
  const round = (value) => Math.round(value * 10) / 10;
  const found = [];
  let last = null;
  for (const to of way) {
    const far = last ? Math.hypot(to[0] - last[0], to[1] - last[1]) : 0;
    const count = last ? Math.floor(far / (across * APART)) : 1;
    for (let n = 1; n <= count; n += 1) {
      const share = last ? (n * across * APART) / far : 0;
      const [x, y] = last ? [last[0] + (to[0] - last[0]) * share, last[1] + (to[1] - last[1]) * share] : to;
      found.push([round(x), round(y), round(across)]);
    }
    if (count) last = found.at(-1).slice(0, 2);
  }
  return found;
}

/**
 * Left, top, right, bottom of the box between two corners.
 * @param {number[]} a
 * @param {number[]} b
 */
export const cropOf = (a, b) => [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[0], b[0]), Math.max(a[1], b[1])];
