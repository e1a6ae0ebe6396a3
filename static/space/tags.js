// tags.js - where the numbered tags of findings hang over a figure, so that none hides another. Pure.
const WIDTH = 40; // of a tag, in pixels
const HEIGHT = 26;
const STEPS = 4; // tried above and below its place

/**
 * @param {{ x: number, y: number }[]} wanted  where each tag would hang by itself, the most important first
 * @returns {({ x: number, y: number }|null)[]} null where there is no room: its ring is drawn, its number stands in the list
 */
export function placeTags(wanted, width, height) {
  const taken = [];
  const isFree = (x, y) => taken.every((other) => Math.abs(other.x - x) >= WIDTH || Math.abs(other.y - y) >= HEIGHT);
  return wanted.map((place) => {
    const x = Math.max(4, Math.min(width - WIDTH - 4, place.x));
    const near = Math.max(4, Math.min(height - HEIGHT - 4, place.y));
    for (let step = 0; step <= 2 * STEPS; step += 1) {
      const y = near + (step % 2 === 0 ? 1 : -1) * Math.ceil(step / 2) * HEIGHT;
      if (y < 4 || y > height - HEIGHT - 4 || !isFree(x, y)) continue;
      taken.push({ x, y });
      return { x, y };
    }
    return null;
  });
}
