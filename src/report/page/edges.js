// Turns a camera until the part's outline lies on the picture's edges. From each place of the outline the strongest edge
// along its normal is looked for; least squares move the camera there; both again, with a shorter reach each time.
// Method: C. Harris, "Tracking with rigid models", in: Active Vision (1992); weights of J. W. Tukey (both from memory).
import { FREE, projected, projector, solve } from './camera.js';
import { placeOn } from './solid.js';

// How far a result may be from its start, standard deviations: px are the picture's own and not held. A print is as high as
// it was meant to be, within half a percent.
const HELD = { pitch: 0.2, yaw: 0.35, roll: 0.3, stretch: 0.005, near: 0.5 };
const STEP = { qx: 0.5, qy: 0.5, scale: 1e-4, roll: 1e-4, pitch: 1e-4, yaw: 1e-4, near: 1e-3, stretch: 1e-4 };
// Places of the outline next to each other share their error: each counts as one that is so many px off.
const NOISE_PX = 3;

// What counts as an edge, levels of 256; and as lying on one, px.
const STRONG = 5, NEAR_PX = 2.5;
// Beyond this all are equally far off, px.
const FAR_PX = 6;

// The outline in the picture: places of the wall, their points, and normals. Rows of the picture give its left and right,
// columns its top and bottom.
export function outline(shape, cam, count = 120) {
  const { X, Y } = projected(shape, cam), { rays, rows } = shape;
  const low = [Infinity, Infinity], high = [-Infinity, -Infinity];
  for (let k = 0; k < X.length; k++) {
    if (X[k] !== X[k]) continue;
    low[0] = Math.min(low[0], X[k]); high[0] = Math.max(high[0], X[k]);
    low[1] = Math.min(low[1], Y[k]); high[1] = Math.max(high[1], Y[k]);
  }
  // along 1: rows of the picture (least and greatest X); along 0: columns.
  const side = (along) => {
    const A = along ? Y : X, B = along ? X : Y, step = (high[along] - low[along]) / count;
    const least = new Array(count).fill(null), most = new Array(count).fill(null);
    const edge = (p, q, row, ray, dRow, dRay) => {
      const a = A[p], d = A[q] - a;
      if (!(d === d) || d === 0) return;
      const from = (Math.min(a, a + d) - low[along]) / step - 0.5, to = (Math.max(a, a + d) - low[along]) / step - 0.5;
      for (let j = Math.max(Math.ceil(from), 0); j <= to && j < count; j++) {
        const f = (low[along] + (j + 0.5) * step - a) / d, is = B[p] + f * (B[q] - B[p]);
        if (!least[j] || is < least[j].is) least[j] = { is, row: row + f * dRow, ray: ray + f * dRay };
        if (!most[j] || is > most[j].is) most[j] = { is, row: row + f * dRow, ray: ray + f * dRay };
      }
    };
    for (let l = 0; l < rows; l++) {
      for (let b = 0; b < rays; b++) {
        const k = l * rays + b;
        if (X[k] !== X[k]) continue;
        if (l + 1 < rows) edge(k, k + rays, l, b, 1, 0);
        edge(k, l * rays + ((b + 1) % rays), l, b, 0, 1);
      }
    }
    return [least, most].map((all) => all.map((s, j) => {
      if (!s) return null;
      const a = low[along] + (j + 0.5) * step;
      return { at: along ? [s.is, a] : [a, s.is], row: s.row, ray: s.ray };
    }));
  };
  const found = [];
  for (const along of [1, 0]) {
    side(along).forEach((all, which) => {
      for (let j = 1; j < all.length - 1; j++) {
        const before = all[j - 1], s = all[j], after = all[j + 1];
        if (!before || !s || !after) continue;
        const d = [after.at[0] - before.at[0], after.at[1] - before.at[1]], long = Math.hypot(d[0], d[1]);
        // Where the outline runs across these rows (columns) the columns (rows) have it.
        if (Math.abs(d[along]) < 0.7 * long) continue;
        const out = (which ? 1 : -1) * Math.sign(d[along]);
        const normal = along ? [(out * d[1]) / long, (-out * d[0]) / long] : [(-out * d[1]) / long, (out * d[0]) / long];
        found.push({ ...s, normal, side: along ? (which ? 'right' : 'left') : (which ? 'foot' : 'top') });
      }
    });
  }
  return found;
}

// The brightness of a picture of `wide` by `high`, between its pixels.
function bright(grey, x, y) {
  const { wide, high, values } = grey, fx = Math.min(Math.max(x - 0.5, 0), wide - 1.001), fy = Math.min(Math.max(y - 0.5, 0), high - 1.001);
  const i = Math.floor(fx), j = Math.floor(fy), a = fx - i, b = fy - j, k = j * wide + i;
  return (1 - b) * ((1 - a) * values[k] + a * values[k + 1]) + b * ((1 - a) * values[k + wide] + a * values[k + wide + 1]);
}

// How far along the normal the strongest edge lies, px, and how strong it is; those nearby count more.
function edge(grey, s, reach, soft) {
  const n = Math.ceil(reach), [x, y] = s.at, [nx, ny] = s.normal, sum = [];
  const value = (d) => bright(grey, x + d * nx, y + d * ny);
  // Mean brightness of `soft` px beyond against `soft` px before.
  const jump = (d) => {
    let by = 0;
    for (let k = 0; k < soft; k++) by += value(d + k + 0.5) - value(d - k - 0.5);
    return Math.abs(by / soft);
  };
  let best = -1;
  for (let d = -n; d <= n; d++) {
    const is = jump(d) * Math.exp(-2 * (d / reach) ** 2);
    sum.push(is);
    if (best < 0 || is > sum[best]) best = sum.length - 1;
  }
  const d = best - n, strong = jump(d);
  const before = sum[best - 1] ?? 0, after = sum[best + 1] ?? 0, bend = before + after - 2 * sum[best];
  return { off: d + (bend < 0 ? Math.min(Math.max((before - after) / (2 * bend), -0.5), 0.5) : 0), strong };
}

const median = (values) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)];

// One step: edges for the outline of this camera, and the camera that is nearest to them.
function step(shape, cam, held, grey, reach) {
  const soft = Math.max(1, Math.min(4, Math.round(reach / 6)));
  const all = outline(shape, cam), seen = all.map((s) => ({ ...s, ...edge(grey, s, reach, soft) })).filter((s) => s.strong > STRONG);
  if (seen.length < 40) return null;
  const sizes = FREE.map((name) => (name === 'scale' || name === 'near' ? STEP[name] * (cam[name] || 1e-6) : STEP[name]));
  const moved = FREE.map((name, k) => projector({ ...cam, [name]: cam[name] + sizes[k] }, shape.high));
  const still = projector(cam, shape.high), at = [0, 0, 0];
  for (const s of seen) {
    const p = placeOn(shape, s.row, s.ray), dx = p.x - shape.middle[0], dy = p.y - shape.middle[1];
    still(dx, dy, p.z, at);
    const [x, y] = at;
    s.by = moved.map((put, k) => {
      put(dx, dy, p.z, at);
      return ((at[0] - x) * s.normal[0] + (at[1] - y) * s.normal[1]) / sizes[k];
    });
  }
  let by = null;
  for (let turn = 0; turn < 6; turn++) {
    const left = seen.map((s) => s.off - (by ? s.by.reduce((all, d, k) => all + d * by[k], 0) : 0));
    const cut = 4.685 * Math.max(1.4826 * median(left.map(Math.abs)), 0.5);
    const a = FREE.map(() => FREE.map(() => 0)), b = FREE.map(() => 0);
    seen.forEach((s, i) => {
      const u = left[i] / cut, w = Math.abs(u) < 1 ? (1 - u * u) ** 2 / NOISE_PX ** 2 : 0;
      for (let k = 0; k < FREE.length; k++) {
        b[k] += w * s.by[k] * s.off;
        for (let j = 0; j < FREE.length; j++) a[k][j] += w * s.by[k] * s.by[j];
      }
    });
    FREE.forEach((name, k) => {
      if (!HELD[name]) return;
      const sd = HELD[name] * (name === 'near' ? held.near || 1e-5 : 1), to = name === 'stretch' ? 1 : held[name];
      a[k][k] += 1 / sd ** 2;
      b[k] += (to - cam[name]) / sd ** 2;
    });
    by = solve(a, b);
    if (!by) return null;
  }
  const next = { ...cam };
  FREE.forEach((name, k) => { next[name] += by[k]; });
  next.near = Math.min(Math.max(next.near, 0), 0.5 / Math.hypot(shape.high, shape.wide));
  const left = seen.map((s) => Math.abs(s.off - s.by.reduce((all, d, k) => all + d * by[k], 0)));
  // Places without an edge count as far from one.
  const cost = (left.reduce((all, d) => all + Math.min(d, FAR_PX), 0) + FAR_PX * (all.length - left.length)) / all.length;
  return { cam: next, cost, off_px: median(left), share: left.filter((d) => d < NEAR_PX).length / all.length };
}

const REACHES = [1, 0.7, 0.5, 0.35, 0.25, 0.18, 0.13, 0.09];

// From a start to the edges; with each reach so many steps.
function approach(shape, cam, grey, reach, reaches, turns) {
  let found = { cam, cost: Infinity, off_px: Infinity, share: 0 };
  for (const r of reaches) {
    for (let turn = 0; turn < turns; turn++) {
      found = step(shape, found.cam, cam, grey, Math.max(r * reach, 3));
      if (!found || !(found.cam.scale > 0)) return null;
    }
  }
  return found;
}

const better = (best, f) => (f && (!best || f.cost < best.cost) ? f : best);

// The camera near `cam` whose outline lies on the picture's edges, how far off half of it is, px, and what share of it lies on
// edges; null where too few edges are
// found. `grey`: {wide, high, values}, the picture's brightness 0 to 255; `reach`: how far to look at first, px. A camera that looks
// down from near and one that looks level from afar are alike at first: several are tried.
export function fitted(shape, cam, grey, reach) {
  const best = [0, 0.1, 0.22, -0.1]
    .map((by) => approach(shape, { ...cam, pitch: cam.pitch + by }, grey, reach, REACHES, 3))
    .reduce(better, null);
  // Near by may lie a better one: the rim of an open top has two edges.
  const about = best ? [[0.05, 1], [-0.05, 1], [0.03, 0.8], [-0.03, 1.25]] : [];
  return about
    .map(([by, far]) => approach(shape, { ...best.cam, pitch: best.cam.pitch + by, near: best.cam.near * far }, grey, reach, [0.25, 0.13, 0.09], 3))
    .reduce(better, best);
}

// The same, quickly, for comparing sides.
export function roughly(shape, cam, grey, reach) {
  return approach(shape, cam, grey, reach, [1, 0.6, 0.4, 0.25], 2);
}
