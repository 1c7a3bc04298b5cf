import { rounded } from './dom.js';

// What the views are given of a replay. Stalls and bumps are rows; these are their columns.
// Of both:
export const CAUSE = 2, LINE = 3, LAYER = 4, PLACE = 5;
// Of a stall:
export const STALL = 0, KIND = 1, REST = 6, LOST = 7, BUMP = 8, SURFACE = 9;
// Of a bump:
export const LEFT_BY = 1, HEIGHT = 6, FACES = 7, PART = 8;

// The data as they come, with what all views need of them. Rows are told apart by `isBump`.
export function prepared(data) {
  const rows = new Set(data.bumps);
  return { ...data, strips: new Map(data.strips), isBump: (row) => rows.has(row) };
}

// The path of a layer, from its bytes: runs of knots of one level of speed (-1: not printed).
export function unpack(text) {
  const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  let at = 0;
  const next = () => {
    let value = 0, by = 1, byte;
    do { byte = bytes[at++]; value += (byte & 127) * by; by *= 128; } while (byte > 127);
    return value;
  };
  const step = () => { const v = next(); return v % 2 ? -(v + 1) / 2 : v / 2; };
  const runs = [];
  let x = 0, y = 0, line = 0, last = null;
  while (at < bytes.length) {
    const level = next() - 1, knots = next();
    const run = { level, x: last ? [last.x] : [], y: last ? [last.y] : [], line: last ? [last.line] : [] };
    for (let k = 0; k < knots; k++) {
      x += step(); y += step(); line += step();
      run.x.push(x / 100); run.y.push(y / 100); run.line.push(line);
    }
    last = { x: x / 100, y: y / 100, line };
    runs.push(run);
  }
  return runs;
}

// The same of a layer's row, unpacked once.
export const runsOf = (layer) => (layer.runs ??= unpack(layer.path));

// Least and greatest x and y of all that is printed; worked out once.
export const boxOf = (data) => (data.box ??= box(data));

function box(data) {
  const low = [Infinity, Infinity], high = [-Infinity, -Infinity];
  for (const layer of data.layers) {
    for (const run of runsOf(layer)) {
      if (run.level < 0) continue;
      for (const [k, values] of [run.x, run.y].entries()) {
        for (const v of values) {
          if (v < low[k]) low[k] = v;
          if (v > high[k]) high[k] = v;
        }
      }
    }
  }
  return { low, high };
}

// Where a row is, as the end of a sentence.
export const whereIs = (row) => ' on layer ' + row[LAYER] + ' (z ' + rounded(row[PLACE][2], 2) + ' mm), line ' + row[LINE] +
  ', at x ' + row[PLACE][0] + ', y ' + row[PLACE][1] + ' mm';
