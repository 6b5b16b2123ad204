/**
 * The strongest edge near a point, along a direction: pure arithmetic on grey levels.
 *
 * Grey levels are read along a short line through the point, smoothed, and their steepest place
 * is found to a part of a pixel. A step no steeper than the picture's own noise is no edge.
 */
const STEP = 0.5;
const BLUR = 1.5;
const CLEAR = 4;
const LEAST_STEP = 1.5;

function kernel() {
  const reach = Math.ceil((3 * BLUR) / STEP);
  const weights = [];
  for (let i = -reach; i <= reach; i += 1) weights.push(Math.exp(-0.5 * ((i * STEP) / BLUR) ** 2));
  const sum = weights.reduce((all, each) => all + each, 0);
  return weights.map((each) => each / sum);
}

const WEIGHTS = kernel();

function greyAt({ grey, width, height }, x, y) {
  const left = Math.min(Math.max(x - 0.5, 0), width - 1.001);
  const top = Math.min(Math.max(y - 0.5, 0), height - 1.001);
  const [i, j] = [Math.floor(left), Math.floor(top)];
  const [u, v] = [left - i, top - j];
  const at = j * width + i;
  return (
    (grey[at] * (1 - u) + grey[at + 1] * u) * (1 - v) + (grey[at + width] * (1 - u) + grey[at + width + 1] * u) * v
  );
}

/** Return grey levels along the direction, each the mean of a few beside it along the edge. */
function profile(picture, [x, y], [dx, dy], count) {
  const levels = [];
  for (let k = -count; k <= count; k += 1) {
    let sum = 0;
    for (const aside of [-2, -1, 0, 1, 2]) {
      sum += greyAt(picture, x + k * STEP * dx - aside * dy, y + k * STEP * dy + aside * dx);
    }
    levels.push(sum / 5);
  }
  return levels;
}

function smooth(levels) {
  const half = (WEIGHTS.length - 1) / 2;
  return levels.map((_, i) =>
    WEIGHTS.reduce((sum, weight, k) => sum + weight * levels[Math.min(Math.max(i + k - half, 0), levels.length - 1)], 0),
  );
}

function median(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)];
}

/** Return where the top of the parabola through the steepest slope and its two neighbours lies. */
function peak(slopes, best) {
  const [before, top, after] = [slopes[best - 1], slopes[best], slopes[best + 1]];
  const bend = before - 2 * top + after;
  return bend === 0 ? best : best + (before - after) / (2 * bend);
}

/**
 * Return the strongest edge within reach, [x, y] in pixels of the picture, or null.
 *
 * picture {grey, width, height}; at [x, y]; direction [dx, dy] of length one, across the edge;
 * reach in pixels of the picture.
 */
export function edgeNear(picture, at, direction, reach) {
  const margin = Math.ceil((3 * BLUR) / STEP) + 1;
  const count = Math.ceil(reach / STEP) + margin;
  const levels = smooth(profile(picture, at, direction, count));
  const slopes = levels.map((_, i) => (i === 0 || i === levels.length - 1 ? 0 : Math.abs(levels[i + 1] - levels[i - 1]) / 2));
  let best = -1;
  for (let i = margin; i < slopes.length - margin; i += 1) {
    if (best < 0 || slopes[i] > slopes[best]) best = i;
  }
  const inner = slopes.slice(margin, slopes.length - margin);
  if (slopes[best] < LEAST_STEP * STEP || slopes[best] < CLEAR * median(inner)) return null;
  const along = (peak(slopes, best) - count) * STEP;
  if (Math.abs(along) > reach) return null;
  return [at[0] + along * direction[0], at[1] + along * direction[1]];
}
