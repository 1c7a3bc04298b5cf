// Bumps that somebody sees on the print: marked on the unrolled wall, saved and loaded as CSV.
import { make, drawn, count, reveal, save } from './dom.js';
import { FACES } from './data.js';
import { unrolled, partChoice, angleOf, turn, fixed } from './wall.js';

const MARKS_MAX = 4000, BYTES_MAX = 1048576, ABOVE_MM = 2;

export function mountMarks(root) {
  // Bumps: part (from 0), z in mm, angle in degrees, layer where a loaded list counts layers.
  let data = null, walls = null, marks = [], cross = null, byLayer = false;
  const hearers = [];
  const button = (name, text, act) => {
    const made = make('button', { type: 'button', class: 'seen-' + name }, text);
    made.addEventListener('click', act);
    return made;
  };
  const svg = drawn('svg', { class: 'unrolled marking', role: 'application', tabindex: 0, 'aria-label': 'Unrolled outer wall, to mark bumps on: angle across, height up. Arrow keys move the cross-hair, Enter sets a bump.' });
  const wall = unrolled(svg), choice = partChoice(() => { cross = null; draw(); });
  const file = make('input', { type: 'file', class: 'seen-load', accept: '.csv,text/csv' });
  const predicted = make('input', { type: 'checkbox', class: 'seen-predicted' });
  const told = make('p', { class: 'seen-told', role: 'status' }, 'No bump is marked yet.');
  const list = make('textarea', { class: 'seen-csv', readonly: '', rows: 7, spellcheck: 'false' });
  const needsMarks = [button('undo', 'Undo', undo), button('clear', 'Clear', clear), button('save', 'Save seen.csv', saveList)];
  root.append(
    make('p', { class: 'note' }, 'By keyboard: arrow keys move the cross-hair (with Shift ten times as far), Enter sets a bump, Backspace takes the last one back. Nothing is kept when you close this page: save the list.'),
    make('div', { class: 'controls' }, choice.label, ...needsMarks, make('label', {}, 'Load a list ', file),
      make('label', {}, predicted, ' Show predicted bumps (they bias the eye: mark first)')),
    make('div', { class: 'paper' }, svg), told, make('label', {}, 'The list, to copy ', list));

  const several = () => walls.parts.length > 1;
  const bottom = (layer) => (layer ? Math.min(walls.tops[layer - 1], walls.tops[layer]) : 0);
  const middle = (layer) => (bottom(layer) + walls.tops[layer]) / 2;
  const nearest = (z) => walls.tops.reduce((best, _, k) => (Math.abs(middle(k) - z) < Math.abs(middle(best) - z) ? k : best), 0);
  const height = (m) => (byLayer ? 'layer ' + m.layer : fixed(m.z, 2) + ' mm');
  const describe = (m) => height(m) + ', ' + fixed(m.angle, 1) + '°' + (several() ? ', part ' + (m.part + 1) : '');
  const tell = (text) => { told.textContent = text; };

  // A place on the wall as it is noted.
  function noted(part, z, angle) {
    const m = { part, z: Number(Math.min(Math.max(z, 0), walls.parts[part].top).toFixed(2)), angle: turn(angle), layer: null };
    if (byLayer) { m.layer = nearest(m.z); m.z = middle(m.layer); }
    return m;
  }

  function csv() {
    if (!walls) return '';
    const head = (several() ? 'part,' : '') + (byLayer ? 'layer' : 'z_mm') + ',angle_deg\n';
    return marks.reduce((all, m) => all + (several() ? m.part + 1 + ',' : '') +
      (byLayer ? m.layer : fixed(m.z, 2)) + ',' + fixed(m.angle, 1) + '\n', head);
  }

  function draw() {
    if (!walls) return;
    if (svg.clientWidth) {
      wall.show(walls, choice.index());
      if (predicted.checked) for (const { x, y } of wall.bumps(data)) wall.add('circle', { class: 'predicted', cx: x, cy: y, r: 3 });
      for (const m of marks) {
        if (m.part !== choice.index()) continue;
        const [cx, cy] = wall.at(m.angle, m.z);
        wall.add('circle', { class: 'mark', cx, cy, r: 7 });
      }
      if (cross) wall.cross(cross.angle, cross.z);
    }
    list.value = csv();
    for (const needs of needsMarks) needs.disabled = !marks.length;
  }

  function changed(text) {
    tell(text);
    draw();
    for (const hear of hearers) hear();
  }

  // Takes a bump that is seen; without a part, on the one that is shown.
  function add({ part = choice.index(), z, angle }) {
    if (!walls) return;
    if (marks.length === MARKS_MAX) { tell('A list holds ' + MARKS_MAX + ' bumps at most.'); return; }
    const m = noted(part, z, angle);
    marks.push(m);
    changed('bump ' + marks.length + ' at ' + describe(m));
  }

  function undo() {
    const last = marks.pop();
    changed(last ? 'bump ' + (marks.length + 1) + ' at ' + describe(last) + ' is taken back' : 'No bump is marked.');
  }

  function clear() { marks = []; byLayer = false; changed('All bumps are taken back.'); }

  // Reads a list; what is thrown says what is wrong, and on which line.
  function read(text) {
    const wrong = (line, what) => { throw new Error('line ' + line + ': ' + what); };
    const cells = (row) => row.split(/,(?=(?:[^"]*"[^"]*")*[^"]*$)/).map((c) => c.trim().replace(/^"(.*)"$/, '$1').trim());
    const rows = text.replace(/^\uFEFF/, '').split(/\r?\n/).map((row, k) => [k + 1, row])
      .filter(([, row]) => row.trim() && !row.startsWith('#'));
    if (!rows.length) wrong(1, 'is empty; a header such as z_mm,angle_deg is needed');
    const [first, header] = rows.shift(), names = cells(header.toLowerCase());
    const column = (name) => {
      const at = names.indexOf(name);
      if (at >= 0 && names.indexOf(name, at + 1) >= 0) wrong(first, 'there are two columns ' + name);
      return at;
    };
    const [z, layer, angle, x, y, part] = ['z_mm', 'layer', 'angle_deg', 'x_mm', 'y_mm', 'part'].map(column);
    if (names.length === 1 && /[;\t]/.test(header)) wrong(first, 'columns must be separated by commas, and numbers written with a point');
    if (z < 0 && layer < 0) wrong(first, 'a column z_mm (height over the bed) or layer (counted from 0) is needed');
    if (z >= 0 && layer >= 0) wrong(first, 'give z_mm or layer, not both');
    if (angle < 0 && (x < 0 || y < 0)) wrong(first, 'a column angle_deg, or columns x_mm and y_mm, are needed');
    if (angle >= 0 && (x >= 0 || y >= 0)) wrong(first, 'give angle_deg, or x_mm and y_mm, not both');
    if (several() && part < 0) wrong(first, 'this plate has ' + walls.parts.length + ' parts; a column part is needed');
    const all = [];
    for (const [line, row] of rows) {
      const values = cells(row);
      if (values.every((v) => !v)) continue;
      if (values.length > names.length) wrong(line, 'has ' + values.length + ' values, the header has ' + names.length);
      if (all.length === MARKS_MAX) wrong(line, 'more than ' + MARKS_MAX + ' bumps');
      const number = (at, low, high, whole) => {
        const said = values[at] || '', v = /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(said) ? Number(said) : NaN;
        if (!(v >= low && v <= high) || (whole && !/^\d+$/.test(said))) {
          wrong(line, names[at] + ' ' + said.slice(0, 40) + ': must be a ' + (whole ? 'whole ' : '') + 'number from ' + low + ' to ' + high);
        }
        return v;
      };
      const on = part < 0 ? 0 : number(part, 1, walls.parts.length, true) - 1, own = walls.parts[on];
      const counted = layer < 0 ? null : number(layer, 0, walls.tops.length - 1, true);
      all.push({
        part: on,
        layer: counted,
        z: counted === null ? number(z, -ABOVE_MM, Number((own.top + ABOVE_MM).toFixed(2))) : middle(counted),
        angle: turn(angle < 0 ? angleOf(own, number(x, -1e5, 1e5), number(y, -1e5, 1e5)) : number(angle, -360, 720)),
      });
    }
    if (!all.length) wrong(first, 'no bump follows the header');
    return { all, byLayer: layer >= 0 };
  }

  function load(text, name) {
    try {
      const taken = read(text);
      marks = taken.all;
      byLayer = taken.byLayer;
      changed(name + ': ' + count(marks.length, 'bump') + (marks.length === 1 ? ' is' : ' are') + ' loaded');
    } catch (e) {
      tell(name + ' was not loaded: ' + e.message);
    }
  }

  function saveList() {
    save(csv(), 'seen.csv', 'text/csv');
    tell(count(marks.length, 'bump') + ' saved as seen.csv');
  }

  svg.addEventListener('click', (e) => {
    const at = walls && wall.under(e);
    if (!at) return;
    cross = null;
    add(at);
  });
  svg.addEventListener('keydown', (e) => {
    const far = e.shiftKey ? 10 : 1, top = walls.parts[choice.index()].top, layer = top / Math.max(walls.tops.length, 1);
    const steps = { ArrowLeft: [0, -far], ArrowRight: [0, far], ArrowUp: [far * layer, 0], ArrowDown: [-far * layer, 0] }[e.key];
    if (e.ctrlKey || e.altKey || e.metaKey || !(steps || e.key === 'Enter' || e.key === 'Backspace')) return;
    e.preventDefault();
    if (e.key === 'Backspace') { undo(); return; }
    const at = cross || { z: top / 2, angle: 180 };
    cross = steps ? { z: Math.min(Math.max(at.z + steps[0], 0), top), angle: (at.angle + steps[1] + 360) % 360 } : at;
    if (!steps) { add(cross); return; }
    tell('cross-hair at ' + describe(noted(choice.index(), cross.z, cross.angle)));
    draw();
  });
  svg.addEventListener('blur', () => { cross = null; draw(); });
  file.addEventListener('change', async () => {
    const taken = file.files[0];
    if (taken && taken.size > BYTES_MAX) tell(taken.name + ' was not loaded: it is larger than 1 MiB; a list of bumps is a page of text');
    else if (taken) load(await taken.text(), taken.name);
    file.value = '';
  });
  predicted.addEventListener('change', draw);
  new ResizeObserver(draw).observe(svg.parentElement);
  return {
    setData(next) {
      data = next && next.seen ? next : null;
      reveal(root, data);
      const before = walls;
      walls = data && data.seen;
      if (!walls) return;
      choice.setParts(walls.parts);
      predicted.parentNode.hidden = !data.bumps.some((bump) => bump[FACES] === 'outer');
      // Another plate: what was marked belongs to the old one.
      if (before && JSON.stringify(before) !== JSON.stringify(walls)) { marks = []; byLayer = false; changed('No bump is marked yet.'); }
      draw();
    },
    marks: () => marks, csv, add, undo, clear, load, describe, changed: (hear) => hearers.push(hear),
  };
}
