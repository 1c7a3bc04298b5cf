// The knobs of a board, each with the stops that it has. A stop: what it says, what it sets, what it costs.

const SAVES = [
  ['off', ['save.when=off'], 'Saves off: a power cut costs the whole print.'],
  ['at each layer', ['save.when=layer'], 'A save at each layer: a power cut costs up to one layer.'],
  ...[60, 30, 20, 10, 5, 2, 1].map((s) => ['every ' + s + ' s', ['save.when=seconds', 'save.every=' + s], s === 1 ? null : 'A save every ' + s + ' s: a power cut costs up to ' + s + ' s of the print.']),
];

const stop = (say, sets, cost) => ({ say, sets, cost, isRest: false });
// Numbers as they are typed.
const typed = (v) => String(Number(v.toPrecision(6)));

// Stops along a number; the board's own value is one of them.
function along(own, numbers, say, sets, cost) {
  const rest = { say: say(own), sets: [], isRest: true };
  return [...numbers.filter((v) => v !== own).map((v) => [v, stop(say(v), sets(v), cost(v))]), [own, rest]].sort((a, b) => a[0] - b[0]).map(([, s]) => s);
}

// The same of a duration that may be drawn at random: all of its numbers by a factor.
function scaled(values, key, factors, say, cost) {
  const parts = Object.keys(values).filter((k) => k === key || k.startsWith(key + '.'));
  if (!parts.length) return null;
  const by = (f) => parts.map((k) => k + '=' + values[k].replace(/(^|[\s=])(-?\d[\d._]*(?:e[-+]?\d+)?)/gi, (_, before, v) => before + typed(Number(v.replaceAll('_', '')) * f)));
  return factors.map((f) => (f === 1 ? { say: say(1), sets: [], isRest: true } : stop(say(f), by(f), cost(f))));
}

function saves(values) {
  const rest = values['save.when'] ?? 'off', every = Number(values['save.every']);
  const own = rest === 'seconds' ? 'every ' + every + ' s' : rest === 'lines' ? 'every ' + every + ' lines' : rest === 'layer' ? 'at each layer' : 'off';
  const stops = SAVES.map(([say, sets, cost]) => (say === own ? { say, sets: [], isRest: true } : stop(say, sets, cost)));
  return stops.some((s) => s.isRest) ? stops : [...stops, { say: own, sets: [], isRest: true }];
}

const times = (f) => (f === 1 ? 'as it is' : f < 1 ? typed(1 / f) + ' times as quick' : 'takes ' + f + ' times as long');

// All knobs that this board has, given the values of its keys.
export function knobsOf(values) {
  const at = (key, usual) => Number(values[key] ?? usual), knobs = [];
  const add = (id, name, keys, stops) => { if (stops) knobs.push({ id, name, keys, stops, merges: id === 'merge' }); };
  add('save', 'Saves against a power cut', ['save.when', 'save.every'], saves(values));
  add('queue', 'Planner queue, moves', ['queue.blocks'], along(at('queue.blocks', 16), [4, 8, 12, 16, 24, 32, 48, 64, 128], String,
    (v) => ['queue.blocks=' + v], () => 'Another depth of the queue: other electronics or firmware.'));
  if (values['link.kind'] === 'serial') {
    const baud = values['link.bytes_per_s'] ? Number(values['link.bytes_per_s']) * Number(values['link.bits_per_byte'] ?? 10) : at('link.baud', 115200);
    const own = { say: values['link.bytes_per_s'] ? values['link.bytes_per_s'] + ' bytes/s' : baud + ' baud', sets: [], isRest: true };
    const others = [57600, 115200, 250000, 500000, 1000000, 2000000].filter((v) => v !== baud);
    add('cable', 'Speed of the cable', ['link.baud', 'link.bytes_per_s'], [
      ...others.map((v) => [v, stop(v + ' baud', ['link.baud=' + v], 'Another speed of the cable: controller and computer must both be set to it, and be able to.')]), [baud, own],
    ].sort((a, b) => a[0] - b[0]).map(([, s]) => s));
  } else {
    add('card', 'Reading the card', ['link.sector_ms', 'link.sector_ms.min', 'link.sector_ms.max', 'link.sector_ms.mean', 'link.sector_ms.median', 'link.sector_ms.p99'],
      scaled(values, 'link.sector_ms', [10, 4, 2, 1.5, 1, 0.5, 0.25, 0.1], times, () => 'Another speed of reading: another card, or other electronics.'));
    add('hiccup', 'Hiccups of the card', ['link.hiccup_chance'], along(at('link.hiccup_chance', 0), [0, 0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05],
      (v) => (v === 0 ? 'none' : 'one in ' + Math.round(1 / v) + ' sectors'), (v) => ['link.hiccup_chance=' + v], (v) => (v < at('link.hiccup_chance', 0) ? 'Fewer hiccups: another card.' : null)));
  }
  if (values['motion.speed_max.x']) {
    const own = Math.max(at('motion.speed_max.x'), at('motion.speed_max.y'));
    add('speed', 'Top speed of x and y, mm/s', ['motion.speed_max.x', 'motion.speed_max.y'], along(own, [15, 20, 25, 30, 40, 50, 60, 80, 100, 120, 150, 200, 300], String,
      (v) => ['motion.speed_max.x=' + v, 'motion.speed_max.y=' + v], (v) => (v < own ? 'A lower top speed: see the print time below.' : null)));
  }
  add('merge', 'Chords merged', [], [null, 0.005, 0.01, 0.025, 0.05, 0.1].map((mm) => (mm === null
    ? { say: 'none', merge_mm: null, isRest: true }
    : { say: 'within ' + mm + ' mm', merge_mm: mm, isRest: false, cost: 'Chords merged: slice again, with a coarser resolution of curves; the path moves by at most ' + mm + ' mm.' })));
  return knobs;
}
