// report.html: the views of one replay, which comes with the page.
import { prepared, STALL } from './data.js';
import { selection } from './select.js';
import { mountMap } from './map.js';
import { mountPart } from './part.js';
import { mountWall } from './wall.js';
import { mountStrip } from './strip.js';
import { mountBumps, mountStalls } from './tables.js';
import { mountMarks } from './marks.js';

const data = prepared(JSON.parse(document.getElementById('data').textContent)), select = selection();
const views = { map: mountMap, part: mountPart, wall: mountWall, moment: mountStrip, bumps: mountBumps, stalls: mountStalls, seen: mountMarks };
for (const [name, mount] of Object.entries(views)) {
  const root = document.querySelector('#' + name + ' .view');
  if (root) mount(root, select).setData(data);
}
const first = data.bumps[0] || data.stalls.find((s) => data.strips.has(s[STALL])) || data.stalls[0];
if (first) select.choose(first, 'start');
