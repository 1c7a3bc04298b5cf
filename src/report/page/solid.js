// A part's outer wall as the job prints it: for each layer and each ray from the middle, how far out the wall lies.
// The middle and the rays are those that `explain` takes angles from.
export const RAYS = 720;
const ROWS_MAX = 400;
// From the middle of a bead to its outside: half of a usual nozzle (common practice, no source).
const HALF_BEAD_MM = 0.2;
// What is torn off after the print stands out farther than this from the layers above it, mm.
const BRIM_MM = 1;
const TURN = 2 * Math.PI;

// How far out each ray meets the farthest printed move of a layer, mm; 0: nowhere.
function ring(runs, wall, rays) {
  const out = new Float32Array(rays), [mx, my] = wall.middle;
  const inside = (x, y) => x >= wall.low[0] - 0.5 && x <= wall.high[0] + 0.5 && y >= wall.low[1] - 0.5 && y <= wall.high[1] + 0.5;
  for (const run of runs) {
    if (run.level < 0) continue;
    for (let k = 1; k < run.x.length; k++) {
      if (!inside(run.x[k - 1], run.y[k - 1]) || !inside(run.x[k], run.y[k])) continue;
      const ax = run.x[k - 1] - mx, ay = run.y[k - 1] - my, dx = run.x[k] - mx - ax, dy = run.y[k] - my - ay;
      const from = Math.atan2(ay, ax);
      let by = Math.atan2(ay + dy, ax + dx) - from;
      if (by > Math.PI) by -= TURN; else if (by < -Math.PI) by += TURN;
      // Rays stand at half steps: ray b at (b + 0.5) of them.
      const low = (Math.min(from, from + by) / TURN) * rays - 0.5, high = (Math.max(from, from + by) / TURN) * rays - 0.5;
      for (let b = Math.ceil(low); b <= high; b++) {
        const angle = (TURN * (b + 0.5)) / rays, c = Math.cos(angle), s = Math.sin(angle);
        const across = dx * s - dy * c;
        if (Math.abs(across) < 1e-12) continue;
        const f = Math.min(Math.max((ay * c - ax * s) / across, 0), 1);
        const far = (ax + f * dx) * c + (ay + f * dy) * s, at = ((b % rays) + rays) % rays;
        if (far > out[at]) out[at] = far;
      }
    }
  }
  for (let b = 0; b < rays; b++) if (out[b] > 0) out[b] += HALF_BEAD_MM;
  return out;
}

const reach = (radii) => radii.reduce((most, r) => Math.max(most, r), 0);

// The solid of one part. `layers`: those of the page's data with `runs`, their paths; `tops`: the top of each layer, mm;
// `wall`: middle, box and height of the part. Rows of the wall run from the foot (z 0) to the top.
export function solid(layers, tops, wall, rays = RAYS, rowsMax = ROWS_MAX) {
  const printed = layers.filter((l) => tops[l.layer] <= wall.top + 1e-6);
  const every = Math.max(1, Math.ceil(printed.length / rowsMax)), rows = [];
  printed.forEach((l, k) => {
    if (k % every && k !== printed.length - 1) return;
    const under = l.layer ? Math.min(tops[l.layer - 1], tops[l.layer]) : 0;
    const radii = ring(l.runs, wall, rays);
    if (reach(radii)) rows.push({ z: (under + tops[l.layer]) / 2, top: tops[l.layer], radii });
  });
  if (!rows.length) return null;
  while (rows.length > 2 && rows[0].z < 2 && reach(rows[0].radii) > reach(rows[Math.min(5, rows.length - 1)].radii) + BRIM_MM) {
    rows.shift();
  }
  rows.unshift({ ...rows[0], z: 0 });
  rows.push({ ...rows[rows.length - 1], z: rows[rows.length - 1].top });
  const radius = new Float32Array(rows.length * rays);
  rows.forEach((row, k) => radius.set(row.radii, k * rays));
  const z = Float64Array.from(rows, (row) => row.z);
  return { rays, rows: rows.length, z, radius, middle: wall.middle, high: z[rows.length - 1], wide: 2 * reach(radius) };
}

// A place of the wall: row and ray may lie between two.
export function placeOn(shape, row, ray) {
  const { rays, rows, radius, z } = shape;
  const l = Math.min(Math.max(Math.floor(row), 0), rows - 2), f = row - l, b = Math.floor(ray), g = ray - b;
  const r = (i, k) => radius[i * rays + (((b + k) % rays) + rays) % rays];
  const far = (1 - f) * ((1 - g) * r(l, 0) + g * r(l, 1)) + f * ((1 - g) * r(l + 1, 0) + g * r(l + 1, 1));
  const angle = (TURN * (ray + 0.5)) / rays;
  return {
    x: shape.middle[0] + far * Math.cos(angle),
    y: shape.middle[1] + far * Math.sin(angle),
    z: (1 - f) * z[l] + f * z[l + 1],
    angle: (((angle * 360) / TURN) % 360 + 360) % 360,
  };
}

// The row at a height.
export function rowAt(shape, z) {
  let l = 0;
  while (l < shape.rows - 2 && shape.z[l + 1] < z) l++;
  return l + Math.min(Math.max((z - shape.z[l]) / (shape.z[l + 1] - shape.z[l] || 1), 0), 1);
}

// The ray at an angle, degrees.
export const rayAt = (shape, angle) => (angle * shape.rays) / 360 - 0.5;

// Rays along which the wall stands out or lies back from its neighbours: edges and flutes, by which an eye tells how
// far a part is turned.
export function folds(shape) {
  const { rays, rows, radius } = shape, mean = new Float64Array(rays);
  for (let l = 0; l < rows; l++) for (let b = 0; b < rays; b++) mean[b] += radius[l * rays + b] / rows;
  const near = Math.round(rays / 90), found = [];
  for (let b = 0; b < rays; b++) {
    let most = -Infinity, least = Infinity;
    for (let k = -near; k <= near; k++) {
      const r = mean[(b + k + rays) % rays];
      most = Math.max(most, r);
      least = Math.min(least, r);
    }
    // Of equal ones the first counts.
    const is = mean[b], before = mean[(b - 1 + rays) % rays];
    if (most - least > 0.02 && ((is === most && before < is) || (is === least && before > is))) found.push(b);
  }
  return found;
}
