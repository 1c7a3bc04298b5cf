// What of a part is seen in a photograph, and which place of its wall a click means.
import { projected, projector } from './camera.js';
import { folds, placeOn, rayAt, rowAt } from './solid.js';

// The part as a camera sees it.
export function view(shape, cam) {
  return { shape, cam, ...projected(shape, cam) };
}

// Twice the area of the patch at row l and ray b as it lies in the picture; positive: its outside is seen.
function facing({ shape, X, Y }, l, b) {
  const { rays } = shape, c = (b + 1) % rays, p = l * rays + b, q = l * rays + c, r = p + rays, s = q + rays;
  return (X[r] - X[q]) * (Y[s] - Y[p]) - (X[s] - X[p]) * (Y[r] - Y[q]);
}

// Where in the patch a point of the picture lies, if it does: shares along ray and row.
function within(v, l, b, x, y) {
  const { X, Y, shape: { rays } } = v, c = (b + 1) % rays;
  const p = l * rays + b, q = l * rays + c, r = p + rays, s = q + rays;
  for (const [o, i, j, lower] of [[p, q, r, true], [s, r, q, false]]) {
    const ax = X[i] - X[o], ay = Y[i] - Y[o], bx = X[j] - X[o], by = Y[j] - Y[o], d = ax * by - ay * bx;
    const f = ((x - X[o]) * by - (y - Y[o]) * bx) / d, g = (ax * (y - Y[o]) - ay * (x - X[o])) / d;
    if (f >= -1e-9 && g >= -1e-9 && f + g <= 1 + 1e-9) return lower ? [f, g] : [1 - f, 1 - g];
  }
  return null;
}

// The place of the outer wall that a point of the picture shows: the one nearest to the viewer. A point beside the part
// means the nearest place of the outline, if that is within `reach` px: bumps show best there. null: no place.
export function pick(v, x, y, reach) {
  const { shape, X, Y, near } = v, { rays, rows } = shape;
  let best = null;
  for (let l = 0; l < rows - 1; l++) {
    for (let b = 0; b < rays; b++) {
      const k = l * rays + b, c = l * rays + ((b + 1) % rays), y0 = Y[k], y1 = Y[k + rays], y2 = Y[c], y3 = Y[c + rays];
      if ((y < y0 && y < y1 && y < y2 && y < y3) || (y > y0 && y > y1 && y > y2 && y > y3)) continue;
      const at = within(v, l, b, x, y);
      if (at && (!best || near[k] > best.near)) best = { near: near[k], row: l + at[1], ray: b + at[0], seen: facing(v, l, b) > 0 };
    }
  }
  // The inside seen through the open top is no outer wall.
  if (best) return best.seen ? { ...placeOn(shape, best.row, best.ray), beside: 0 } : null;
  let k = -1, far = reach * reach;
  for (let j = 0; j < X.length; j++) {
    const d = (X[j] - x) ** 2 + (Y[j] - y) ** 2;
    if (d < far) { far = d; k = j; }
  }
  return k < 0 ? null : { ...placeOn(shape, Math.floor(k / rays), k % rays), beside: Math.sqrt(far) };
}

// Where a place of the wall (height in mm, angle in degrees) lies in the picture, and whether its outside faces the viewer.
export function place(v, z, angle) {
  const { shape, cam } = v, row = rowAt(shape, z), ray = ((rayAt(shape, angle) % shape.rays) + shape.rays) % shape.rays;
  const at = placeOn(shape, row, ray), out = [0, 0, 0];
  projector(cam, shape.high)(at.x - shape.middle[0], at.y - shape.middle[1], at.z, out);
  return { x: out[0], y: out[1], seen: facing(v, Math.min(Math.floor(row), shape.rows - 2), Math.floor(ray)) > 0 };
}

// Lines to lay over a photograph, as lists of points: one layer line in so many, and the folds of the wall.
export function lines(v, every) {
  const { shape, X, Y } = v, { rays, rows } = shape, rings = [], upright = [];
  for (let l = 0; l < rows; l += l === 0 ? every : Math.min(every, Math.max(rows - 1 - l, 1))) {
    let line = [];
    for (let b = 0; b <= rays; b++) {
      const k = b % rays, seen = facing(v, Math.min(l, rows - 2), k) > 0 && X[l * rays + k] === X[l * rays + k];
      if (seen) line.push([X[l * rays + k], Y[l * rays + k]]);
      if ((!seen || b === rays) && line.length) {
        if (line.length > 1) rings.push(line);
        line = [];
      }
    }
  }
  for (const b of folds(shape)) {
    let line = [];
    for (let l = 0; l < rows; l++) {
      const seen = facing(v, Math.min(l, rows - 2), b) > 0;
      if (seen) line.push([X[l * rays + b], Y[l * rays + b]]);
      if ((!seen || l === rows - 1) && line.length) {
        if (line.length > 1) upright.push(line);
        line = [];
      }
    }
  }
  return { rings, upright };
}

// What is left out at either edge of what faces the viewer, degrees: bumps are not told there.
const EDGE_DEG = 12;

// The arc of the wall, degrees [from, to] counter-clockwise, that faces the viewer at nearly all heights; null: none.
export function arc(v) {
  const { rays, rows } = v.shape, seen = [];
  for (let b = 0; b < rays; b++) {
    let n = 0;
    for (let l = 0; l < rows - 1; l++) if (facing(v, l, b) > 0) n++;
    seen.push(n >= 0.9 * (rows - 1));
  }
  // From the ray that faces the viewer most, to either side; narrow gaps, as in flutes, don't end it.
  const at = Math.round(((v.cam.yaw / (2 * Math.PI)) * rays) % rays) + rays, gap = rays / 36, ends = [0, 0];
  for (const [k, by] of [[0, -1], [1, 1]]) {
    let last = 0;
    for (let d = 0; d < rays / 2 && d - last <= gap; d++) if (seen[(at + by * d) % rays]) last = d;
    ends[k] = (last * 360) / rays - EDGE_DEG;
  }
  const middle = ((at % rays) * 360) / rays;
  return ends[0] + ends[1] > 0 ? [middle - ends[0], middle + ends[1]] : null;
}

// Arcs as one, [from, to] in whole degrees; null where there is none, or more than one gap between them.
export function joined(arcs) {
  const covered = Array.from({ length: 360 }, (_, deg) => arcs.some(([from, to]) => (((deg + 0.5 - from) % 360) + 360) % 360 <= to - from));
  const starts = [...covered.keys()].filter((deg) => covered[deg] && !covered[(deg + 359) % 360]);
  if (covered.every(Boolean)) return [0, 360];
  if (starts.length !== 1) return null;
  return [starts[0], starts[0] + covered.filter(Boolean).length];
}
