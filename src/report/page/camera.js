// A photograph's camera: a pinhole whose picture plane may be turned in its plane (roll), looks down (pitch), from one side (yaw).
//   qx, qy  where the middle of the part lies in the picture, from the picture's middle, px to the right and down
//   scale   px per mm at the distance of the part's middle
//   roll, pitch, yaw   radians; yaw: the side that faces the viewer, counter-clockwise from +x, seen from above
//   near    1 / distance from the lens to the part's middle, 1/mm; 0: from far away (parallel rays)
//   stretch height of the print in the picture against its width; 1 for a true print
//   cx, cy  the picture's middle, px
// With X_ref the middle of the part, a pinhole of focal length f = scale / near gives
// X = cx + f (X_ref + u) / (D - t) = cx + (qx + scale u) / (1 - near t): plain geometry of central projection.

export const FREE = ['qx', 'qy', 'scale', 'roll', 'pitch', 'yaw', 'near', 'stretch'];
const FRONT = (3 * Math.PI) / 2;
// Focal length of a telephone's main camera over the picture's diagonal: 26 mm to 43.3 mm (common practice, no source).
const FOCAL = 0.6;

// Projection of places (x, y from the part's middle; z from the bed) as a function that writes px right, px down and nearness, mm.
export function projector(cam, high) {
  const ca = Math.cos(cam.yaw), sa = Math.sin(cam.yaw), cp = Math.cos(cam.pitch), sp = Math.sin(cam.pitch);
  const cr = Math.cos(cam.roll) * cam.scale, sr = Math.sin(cam.roll) * cam.scale, half = high / 2;
  return (dx, dy, z, out) => {
    const u = dy * ca - dx * sa, w = dx * ca + dy * sa, up = (z - half) * cam.stretch;
    const v = up * cp - w * sp, near = w * cp + up * sp, by = 1 / Math.max(1 - cam.near * near, 0.05);
    out[0] = cam.cx + (cam.qx + cr * u - sr * v) * by;
    out[1] = cam.cy + (cam.qy - sr * u - cr * v) * by;
    out[2] = near;
  };
}

// All corners of the wall in the picture: X, Y, nearness.
export function projected(shape, cam) {
  const { rays, rows, radius, z } = shape, n = rays * rows, at = [0, 0, 0], put = projector(cam, shape.high);
  const X = new Float64Array(n), Y = new Float64Array(n), near = new Float64Array(n);
  const cos = new Float64Array(rays), sin = new Float64Array(rays);
  for (let b = 0; b < rays; b++) {
    cos[b] = Math.cos((2 * Math.PI * (b + 0.5)) / rays);
    sin[b] = Math.sin((2 * Math.PI * (b + 0.5)) / rays);
  }
  for (let l = 0, k = 0; l < rows; l++) {
    for (let b = 0; b < rays; b++, k++) {
      put(radius[k] * cos[b], radius[k] * sin[b], z[l], at);
      X[k] = radius[k] > 0 ? at[0] : NaN;
      Y[k] = at[1];
      near[k] = at[2];
    }
  }
  return { X, Y, near };
}

// Extremes along the picture's own directions: the foot's left and right ends, and how far up the top goes.
function ends(shape, cam, row, put, at) {
  const { rays, radius, z } = shape, cr = Math.cos(cam.roll), sr = Math.sin(cam.roll);
  const found = { left: null, right: null, up: null };
  let left = Infinity, right = -Infinity, up = -Infinity;
  for (let b = 0; b < rays; b++) {
    const r = radius[row * rays + b], angle = (2 * Math.PI * (b + 0.5)) / rays;
    if (!(r > 0)) continue;
    put(r * Math.cos(angle), r * Math.sin(angle), z[row], at);
    const along = at[0] * cr - at[1] * sr, over = -at[0] * sr - at[1] * cr;
    if (along < left) { left = along; found.left = [at[0], at[1]]; }
    if (along > right) { right = along; found.right = [at[0], at[1]]; }
    if (over > up) { up = over; found.up = [at[0], at[1]]; }
  }
  return found;
}

// The three places that handles stand for: left and right end of the foot, and the top.
export function handlesOf(shape, cam) {
  const at = [0, 0, 0], put = projector(cam, shape.high);
  const foot = ends(shape, cam, 0, put, at), top = ends(shape, cam, shape.rows - 1, put, at);
  return { left: foot.left, right: foot.right, top: top.up };
}

// Solves a x = b for a small symmetric positive definite a, by elimination; null where it is singular.
export function solve(a, b) {
  const n = b.length, m = a.map((row, k) => [...row, b[k]]);
  for (let k = 0; k < n; k++) {
    let best = k;
    for (let j = k + 1; j < n; j++) if (Math.abs(m[j][k]) > Math.abs(m[best][k])) best = j;
    if (!(Math.abs(m[best][k]) > 1e-300)) return null;
    [m[k], m[best]] = [m[best], m[k]];
    for (let j = k + 1; j < n; j++) {
      const f = m[j][k] / m[k][k];
      for (let i = k; i <= n; i++) m[j][i] -= f * m[k][i];
    }
  }
  const x = new Array(n);
  for (let k = n - 1; k >= 0; k--) {
    x[k] = m[k][n];
    for (let i = k + 1; i < n; i++) x[k] -= m[k][i] * x[i];
    x[k] /= m[k][k];
  }
  return x;
}

// What 1 / distance is taken for as long as nobody says it, 1/mm: a telephone's usual focal length, but three sizes of the part
// away at least.
export function guessedNear(shape, cam) {
  return Math.min(cam.scale / (FOCAL * 2 * Math.hypot(cam.cx, cam.cy)), 1 / (3 * Math.max(shape.high, shape.wide)));
}

// A first camera for a picture: from the front, the part 60 % of the picture's height or width.
export function firstCamera(shape, wide, high) {
  const scale = Math.min((0.6 * high) / shape.high, (0.6 * wide) / shape.wide);
  const cam = { qx: 0, qy: 0, scale, roll: 0, pitch: 0, yaw: FRONT, near: 0, stretch: 1, cx: wide / 2, cy: high / 2 };
  return { ...cam, near: guessedNear(shape, cam) };
}

// The same camera for the picture made so many times as large.
export function resized(cam, by) {
  const all = { ...cam };
  for (const name of ['qx', 'qy', 'scale', 'cx', 'cy']) all[name] *= by;
  return all;
}

// The camera whose outline goes through the handles, turned and distant as `cam` is: the foot's ends give place, scale and
// roll, the top gives the stretch. null where no camera does.
export function through(shape, cam, handles) {
  const names = ['qx', 'qy', 'scale', 'roll', 'stretch'], steps = [1, 1, 1e-4 * cam.scale, 1e-4, 1e-4];
  const wide = Math.hypot(handles.right[0] - handles.left[0], handles.right[1] - handles.left[1]);
  if (wide < 8) return null;
  const off = (c) => {
    const is = handlesOf(shape, c), cr = Math.cos(c.roll), sr = Math.sin(c.roll);
    if (!is.left || !is.top) return null;
    const up = (p, q) => -(p[0] - q[0]) * sr - (p[1] - q[1]) * cr;
    return [
      is.left[0] - handles.left[0], is.left[1] - handles.left[1],
      is.right[0] - handles.right[0], is.right[1] - handles.right[1], up(is.top, handles.top),
    ];
  };
  let c = { ...cam }, miss = off(c);
  // A start that is close: place, scale and roll from the foot alone.
  const foot = handlesOf(shape, c), d = [foot.right[0] - foot.left[0], foot.right[1] - foot.left[1]];
  c.scale *= wide / Math.hypot(d[0], d[1]);
  c.roll -= Math.atan2(handles.right[1] - handles.left[1], handles.right[0] - handles.left[0]) - Math.atan2(d[1], d[0]);
  miss = off(c);
  for (let turn = 0; turn < 30 && miss; turn++) {
    const columns = names.map((name, k) => {
      const moved = off({ ...c, [name]: c[name] + steps[k] });
      return miss.map((m, i) => (moved[i] - m) / steps[k]);
    });
    const by = solve(miss.map((_, i) => columns.map((col) => col[i])), miss.map((m) => -m));
    if (!by) return null;
    const next = { ...c };
    names.forEach((name, k) => { next[name] += by[k]; });
    next.scale = Math.max(next.scale, 0.3 * c.scale);
    next.stretch = Math.min(Math.max(next.stretch, 0.3), 3);
    c = next;
    miss = off(c);
    if (Math.max(...miss.map(Math.abs)) < 0.01) return c;
  }
  return miss && Math.max(...miss.map(Math.abs)) < 1 ? c : null;
}
