// Bumps that somebody sees on the print: marked on the unrolled wall, saved and loaded as CSV.
(() => {
  const el = (id) => document.getElementById(id);
  const svg = el('seen-wall');
  if (!svg) return;
  const data = JSON.parse(el('data').textContent), walls = data.seen, several = walls.parts.length > 1;
  const MARKS_MAX = 4000, BYTES_MAX = 1048576, ABOVE_MM = 2, PLACE = 5, FACES = 7;
  const LEFT = 64, RIGHT = 12, TOP = 14, FOOT = 34, HIGH = 420;
  // Bumps: part (from 0), z in mm, angle in degrees, layer where a loaded list counts layers.
  let marks = [], cross = null, byLayer = false;

  const shown = () => (several ? el('seen-part').selectedIndex : 0);
  const fixed = (v, digits) => String(Number(v.toFixed(digits)));
  const turn = (deg) => Number((((deg % 360) + 360) % 360).toFixed(1)) % 360;
  const bottom = (layer) => (layer ? Math.min(walls.tops[layer - 1], walls.tops[layer]) : 0);
  const middle = (layer) => (bottom(layer) + walls.tops[layer]) / 2;
  const nearest = (z) => walls.tops.reduce((best, _, k) => (Math.abs(middle(k) - z) < Math.abs(middle(best) - z) ? k : best), 0);
  const angleOf = (part, x, y) => Math.atan2(y - part.middle[1], x - part.middle[0]) * 180 / Math.PI;
  const height = (m) => (byLayer ? 'layer ' + m.layer : fixed(m.z, 2) + ' mm');
  const where = (m) => height(m) + ', ' + fixed(m.angle, 1) + '°' + (several ? ', part ' + (m.part + 1) : '');
  const tell = (text) => { el('seen-told').textContent = text; };

  // A place on the wall as it is noted.
  function noted(part, z, angle) {
    const top = walls.parts[part].top;
    const m = { part, z: Number(Math.min(Math.max(z, 0), top).toFixed(2)), angle: turn(angle), layer: null };
    if (byLayer) { m.layer = nearest(m.z); m.z = middle(m.layer); }
    return m;
  }

  function csv() {
    const head = (several ? 'part,' : '') + (byLayer ? 'layer' : 'z_mm') + ',angle_deg\n';
    return marks.reduce((all, m) => all + (several ? m.part + 1 + ',' : '') +
      (byLayer ? m.layer : fixed(m.z, 2)) + ',' + fixed(m.angle, 1) + '\n', head);
  }

  // Where a place of the shown wall lies, px, and back.
  const wide = () => Math.max((svg.clientWidth || 320) - LEFT - RIGHT, 60);
  const top = () => walls.parts[shown()].top;
  const across = (angle) => LEFT + wide() * angle / 360;
  const up = (z) => TOP + HIGH * (1 - Math.min(Math.max(z / top(), 0), 1));

  function add(name, attributes, text) {
    const made = document.createElementNS('http://www.w3.org/2000/svg', name);
    for (const key in attributes) made.setAttribute(key, attributes[key]);
    if (text !== undefined) made.textContent = text;
    svg.append(made);
  }

  function draw() {
    svg.textContent = '';
    const right = LEFT + wide(), foot = TOP + HIGH;
    svg.style.height = foot + FOOT + 'px';
    add('rect', { x: LEFT, y: TOP, width: wide(), height: HIGH, class: 'ground' });
    const each = 10 ** Math.floor(Math.log10(top() / 4)), step = [5, 2, 1].map((k) => k * each).find((s) => top() / s >= 4) || each;
    for (let k = 0; k * step <= top() * 1.0001; k++) {
      const y = up(k * step);
      add('line', { x1: LEFT, x2: right, y1: y, y2: y });
      add('text', { x: LEFT - 6, y: y + 5, 'text-anchor': 'end' }, fixed(k * step, 2) + ' mm');
    }
    for (let deg = 0; deg <= 360; deg += wide() < 420 ? 90 : 45) {
      add('line', { x1: across(deg), x2: across(deg), y1: TOP, y2: foot });
      add('text', { x: across(deg), y: foot + 22, 'text-anchor': deg === 360 ? 'end' : 'middle' }, deg + '°');
    }
    const part = walls.parts[shown()], tops = walls.tops;
    if (el('seen-predicted').checked) {
      const inside = ([x, y]) => x >= part.low[0] && x <= part.high[0] && y >= part.low[1] && y <= part.high[1];
      for (const bump of data.bumps) {
        if (bump[FACES] !== 'outer' || !inside(bump[PLACE])) continue;
        const [x, y, z] = bump[PLACE];
        add('circle', { class: 'predicted', cx: across(turn(angleOf(part, x, y))), cy: up(z - tops[0] / 2), r: 3 });
      }
    }
    for (const m of marks) {
      if (m.part === shown()) add('circle', { class: 'mark', cx: across(m.angle), cy: up(m.z), r: 7 });
    }
    if (cross) {
      const x = across(cross.angle), y = up(cross.z);
      add('path', { class: 'cross', d: 'M' + x + ' ' + TOP + 'V' + foot + 'M' + LEFT + ' ' + y + 'H' + right });
    }
    el('seen-csv').value = csv();
    el('seen-undo').disabled = el('seen-clear').disabled = el('seen-save').disabled = !marks.length;
  }

  function mark(m) {
    if (marks.length === MARKS_MAX) { tell('A list holds ' + MARKS_MAX + ' bumps at most.'); return; }
    marks.push(m);
    tell('bump ' + marks.length + ' at ' + where(m));
    draw();
  }

  function undo() {
    const last = marks.pop();
    tell(last ? 'bump ' + (marks.length + 1) + ' at ' + where(last) + ' is taken back' : 'No bump is marked.');
    draw();
  }

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
    if (several && part < 0) wrong(first, 'this plate has ' + walls.parts.length + ' parts; a column part is needed');
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
      const on = part < 0 ? 0 : number(part, 1, walls.parts.length, true) - 1, wall = walls.parts[on];
      const counted = layer < 0 ? null : number(layer, 0, walls.tops.length - 1, true);
      all.push({
        part: on,
        layer: counted,
        z: counted === null ? number(z, -ABOVE_MM, Number((wall.top + ABOVE_MM).toFixed(2))) : middle(counted),
        angle: turn(angle < 0 ? angleOf(wall, number(x, -1e5, 1e5), number(y, -1e5, 1e5)) : number(angle, -360, 720)),
      });
    }
    if (!all.length) wrong(first, 'no bump follows the header');
    return { all, byLayer: layer >= 0 };
  }

  async function load(file) {
    try {
      if (file.size > BYTES_MAX) throw new Error('it is larger than 1 MiB; a list of bumps is a page of text');
      const list = read(await file.text());
      marks = list.all;
      byLayer = list.byLayer;
      tell(file.name + ': ' + marks.length + (marks.length === 1 ? ' bump is' : ' bumps are') + ' loaded');
    } catch (e) {
      tell(file.name + ' was not loaded: ' + e.message);
    }
    draw();
  }

  svg.addEventListener('click', (e) => {
    const box = svg.getBoundingClientRect(), px = e.clientX - box.left, py = e.clientY - box.top;
    if (px < LEFT || px > LEFT + wide() || py < TOP || py > TOP + HIGH) return;
    cross = null;
    mark(noted(shown(), top() * (1 - (py - TOP) / HIGH), 360 * (px - LEFT) / wide()));
  });
  svg.addEventListener('keydown', (e) => {
    const far = e.shiftKey ? 10 : 1, layer = top() / Math.max(walls.tops.length, 1);
    const steps = { ArrowLeft: [0, -far], ArrowRight: [0, far], ArrowUp: [far * layer, 0], ArrowDown: [-far * layer, 0] }[e.key];
    if (e.ctrlKey || e.altKey || e.metaKey || !(steps || e.key === 'Enter' || e.key === 'Backspace')) return;
    e.preventDefault();
    if (e.key === 'Backspace') { undo(); return; }
    const at = cross || { z: top() / 2, angle: 180 };
    cross = steps ? { z: Math.min(Math.max(at.z + steps[0], 0), top()), angle: (at.angle + steps[1] + 360) % 360 } : at;
    const m = noted(shown(), cross.z, cross.angle);
    if (steps) { tell('cross-hair at ' + where(m)); draw(); } else mark(m);
  });
  svg.addEventListener('blur', () => { cross = null; draw(); });
  el('seen-undo').addEventListener('click', undo);
  el('seen-clear').addEventListener('click', () => { marks = []; byLayer = false; tell('All bumps are taken back.'); draw(); });
  el('seen-save').addEventListener('click', () => {
    const link = document.createElement('a'), url = URL.createObjectURL(new Blob([csv()], { type: 'text/csv' }));
    link.href = url;
    link.download = 'seen.csv';
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
    tell(marks.length + (marks.length === 1 ? ' bump' : ' bumps') + ' saved as seen.csv');
  });
  el('seen-load').addEventListener('change', (e) => {
    if (e.target.files[0]) load(e.target.files[0]);
    e.target.value = '';
  });
  el('seen-predicted').addEventListener('change', draw);
  el('seen-predicted').parentNode.hidden = !data.bumps.some((bump) => bump[FACES] === 'outer');
  if (several) el('seen-part').addEventListener('change', () => { cross = null; draw(); });
  window.addEventListener('resize', draw);
  draw();
})();
