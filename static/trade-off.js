// trade-off.js - versions weighed by two costs, each known within an interval; of both, less is better. Pure.
//   The front (V. Pareto's) holds the points that no other beats: none is as good in both and better in one.

/**
 * @param {{ x: { lower, upper, value }, y: { lower, upper, value } }[]} points  value: where the point is drawn
 * @returns {{ state: 'front'|'open'|'beaten', by: number|null }[]} in the order of the points. `front`: no other beats it by the values
 *   drawn; `beaten`: another certainly does, whatever the true values in the intervals; `open`: one may or may not. by: which other
 */
export function tradeOff(points) {
  const drawn = ({ value }) => ({ lower: value, upper: value });
  return points.map((point) => {
    const certain = points.findIndex((other) => other !== point && beats(other.x, other.y, point.x, point.y));
    if (certain >= 0) return { state: 'beaten', by: certain };
    const by = points.findIndex(
      (other) => other !== point && beats(drawn(other.x), drawn(other.y), drawn(point.x), drawn(point.y)),
    );
    return by >= 0 ? { state: 'open', by } : { state: 'front', by: null };
  });
}

function beats(ax, ay, bx, by) {
  return ax.upper <= bx.lower && ay.upper <= by.lower && (ax.upper < bx.lower || ay.upper < by.lower);
}

/** The same interval where more is better, turned so that less is. */
export function turned({ lower, upper, value }) {
  return { lower: -upper, upper: -lower, value: -value };
}
