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
