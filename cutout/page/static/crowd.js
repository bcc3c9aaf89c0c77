// Marks that would lie on each other, gathered into one with a count. Plain numbers in, plain numbers out.

/**
 * Groups of `spots` ([{at: [x, y], ...}], mm) of which each is nearer than `reach` mm to the first of its group.
 * Spots that come first lead their group; one for which `apart` holds stands alone.
 * @param {any[]} spots
 * @param {number} reach
 * @param {(spot: any) => boolean} apart
 */
export function crowds(spots, reach, apart = () => false) {
  const groups = [];
  const cells = new Map();
  const cell = (x, y) => `${Math.floor(x / reach)},${Math.floor(y / reach)}`;
  for (const spot of spots) {
    const near = apart(spot) ? null : nearest(cells, spot.at, reach, cell);
    if (near) near.spots.push(spot);
    else {
      const group = { at: spot.at, spots: [spot] };
      groups.push(group);
      if (apart(spot)) continue;
      const key = cell(...spot.at);
      cells.set(key, [...(cells.get(key) ?? []), group]);
    }
  }
  return groups;
}

function nearest(cells, [x, y], reach, cell) {
  /** @type {[any, number]} */
  let [best, least] = [null, reach];
  for (const dx of [-reach, 0, reach]) {
    for (const dy of [-reach, 0, reach]) {
      for (const group of cells.get(cell(x + dx, y + dy)) ?? []) {
        const far = Math.hypot(group.at[0] - x, group.at[1] - y);
        if (far < least) [best, least] = [group, far];
      }
    }
  }
  return best;
}

/** The finding of `list` that is the same as `one` was: of its kind, mended or not, and nearest within `reach` mm. */
export function sameAs(one, list, reach = 15) {
  if (!one) return null;
  /** @type {[any, number]} */
  let [best, least] = [null, reach];
  for (const other of list) {
    if (other.kind !== one.kind) continue;
    const far = Math.hypot(other.at[0] - one.at[0], other.at[1] - one.at[1]);
    if (far <= least) [best, least] = [other, far];
  }
  return best;
}

/** Where a flag may stand, seen from its mark: near first, to the upper right first. Radii in pixels. */
const RINGS = [24, 36, 50, 66];
const ANGLES = [-45, -135, -90, 0, 180, 45, 135, 90, -20, -160, 20, 160].map((degrees) => (degrees * Math.PI) / 180);
const FLAG_HIGH = 20;
const SIGN = 16;
/** What is taken is kept in squares of so many pixels. */
const CELL = 6;

/**
 * A place for the number of each mark where it covers neither another mark nor another number, as far as there is
 * one: its middle, seen from the mark. Pixels, y down.
 * @param {{at: any, wide: number}[]} marks
 * @returns {number[][]}
 */
export function flagPlaces(marks) {
  const taken = new Set();
  for (const { at } of marks) each(at[0], at[1], SIGN, SIGN, (cell) => taken.add(cell));
  return marks.map(({ at: [x, y], wide }) => {
    const choices = RINGS.flatMap((r) => ANGLES.map((angle) => [Math.cos(angle) * (r + wide / 2 - 12), Math.sin(angle) * r]));
    let [best, least] = [choices[0], Infinity];
    for (const choice of choices) {
      let cost = 0;
      each(x + choice[0], y + choice[1], wide, FLAG_HIGH, (cell) => {
        if (taken.has(cell)) cost++;
        return cost < least;
      });
      if (cost < least) [best, least] = [choice, cost];
      if (!cost) break;
    }
    each(x + best[0], y + best[1], wide, FLAG_HIGH, (cell) => taken.add(cell));
    return best;
  });
}

/** Every square that a box round a spot touches, a number each, until `visit` says no. */
function each(x, y, wide, high, visit) {
  for (let i = Math.floor((x - wide / 2) / CELL); i <= (x + wide / 2) / CELL; i++) {
    for (let j = Math.floor((y - high / 2) / CELL); j <= (y + high / 2) / CELL; j++) if (!visit(i * 65536 + j)) return;
  }
}
