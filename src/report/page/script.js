'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const el = (id) => document.getElementById(id);
  // Columns that stalls and bumps share, those of a stall, those of a bump.
  const CAUSE = 2, LINE = 3, LAYER = 4, PLACE = 5;
  const STALL = 0, KIND = 1, REST = 6, LOST = 7, BUMP = 8, SURFACE = 9;
  const LEFT_BY = 1, HEIGHT = 6, FACES = 7, PART = 8;
  const bumps = new Set(data.bumps);
  const strips = new Map(data.strips);
  let chosen = null;
  const ms = (s) => (s < 1 ? Math.round(s * 1000) + ' ms' : s.toFixed(1) + ' s');

  // The path of a layer, from its bytes: runs of knots of one level.
  function unpack(text) {
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
      const level = next() - 1, count = next();
      const run = { level, x: last ? [last.x] : [], y: last ? [last.y] : [], line: last ? [last.line] : [] };
      for (let k = 0; k < count; k++) {
        x += step(); y += step(); line += step();
        run.x.push(x / 100); run.y.push(y / 100); run.line.push(line);
      }
      last = { x: x / 100, y: y / 100, line };
      runs.push(run);
    }
    return runs;
  }

  const canvas = el('map');
  let runs = [], frame = null, here = [], bumpsHere = [];

  function box() {
    let low = [Infinity, Infinity], high = [-Infinity, -Infinity];
    for (const layer of data.layers) {
      layer.runs ??= unpack(layer.path);
      for (const run of layer.runs) {
        if (run.level < 0) continue;
        for (let k = 0; k < run.x.length; k++) {
          if (run.x[k] < low[0]) low[0] = run.x[k];
          if (run.x[k] > high[0]) high[0] = run.x[k];
          if (run.y[k] < low[1]) low[1] = run.y[k];
          if (run.y[k] > high[1]) high[1] = run.y[k];
        }
      }
    }
    return { low, high };
  }

  function draw() {
    const wide = canvas.clientWidth || 320, pad = 18;
    const size = [frame.high[0] - frame.low[0], frame.high[1] - frame.low[1]].map((v) => Math.max(v, 0.001));
    const scale = Math.min((wide - 2 * pad) / size[0], (Math.min(wide, 820) - 2 * pad) / size[1]);
    const high = size[1] * scale + 2 * pad + 26, dense = window.devicePixelRatio || 1;
    canvas.width = wide * dense; canvas.height = high * dense;
    canvas.style.height = high + 'px';
    const left = (wide - size[0] * scale) / 2;
    frame.at = (x, y) => [left + (x - frame.low[0]) * scale, pad + (frame.high[1] - y) * scale];
    const pen = canvas.getContext('2d');
    pen.scale(dense, dense);
    pen.fillStyle = '#fff'; pen.fillRect(0, 0, wide, high);
    pen.lineJoin = pen.lineCap = 'round';
    const order = [...data.colours.keys()].reverse();
    for (const level of [-1, ...order]) {
      pen.beginPath();
      for (const run of runs) {
        if (run.level !== level) continue;
        for (let k = 0; k < run.x.length; k++) {
          const [x, y] = frame.at(run.x[k], run.y[k]);
          if (k) pen.lineTo(x, y); else pen.moveTo(x, y);
        }
      }
      pen.strokeStyle = level < 0 ? '#c3c9d1' : data.colours[level];
      const bead = Math.min(Math.max(0.4 * scale, 1.5), 6);
      pen.lineWidth = level < 0 ? 1 : bead * (1.4 - 0.4 * level / (order.length - 1));
      pen.stroke();
    }
    for (const stall of [...here].reverse()) mark(pen, stall);
    for (const bump of [...bumpsHere].reverse()) diamond(pen, bump);
    // A scale bar.
    const power = 10 ** Math.floor(Math.log10(wide * 0.3 / scale));
    const mm = [5, 2, 1].map((k) => k * power).find((v) => v * scale <= wide * 0.3) || power;
    pen.strokeStyle = pen.fillStyle = '#1d2430'; pen.lineWidth = 2;
    pen.strokeRect(wide - pad - mm * scale, high - 14, mm * scale, 0.5);
    pen.font = '14px system-ui, sans-serif'; pen.textAlign = 'right';
    pen.fillText(mm + ' mm', wide - pad - mm * scale - 8, high - 9);
  }

  function mark(pen, stall) {
    const [x, y] = frame.at(stall[PLACE][0], stall[PLACE][1]);
    const r = Math.min(Math.max(22 * Math.sqrt(stall[LOST]), 4), 20);
    pen.lineWidth = 3; pen.strokeStyle = '#1d2430'; pen.fillStyle = '#1d2430';
    pen.beginPath();
    if (stall[KIND] === 'dwell') {
      pen.arc(x, y, r, 0, 7); pen.fill();
      pen.strokeStyle = '#fff'; pen.lineWidth = 2; pen.stroke();
    } else if (stall[KIND] === 'dip') {
      pen.moveTo(x - r, y - 0.8 * r); pen.lineTo(x + r, y - 0.8 * r); pen.lineTo(x, y + r); pen.closePath();
      pen.fillStyle = '#fff'; pen.fill(); pen.stroke();
    } else {
      pen.moveTo(x - r, y); pen.lineTo(x + r, y); pen.stroke();
    }
    if (stall === chosen) ring(pen, x, y, r + 7);
  }

  function ring(pen, x, y, r) {
    pen.beginPath(); pen.arc(x, y, r, 0, 7); pen.strokeStyle = '#1f5fa8'; pen.lineWidth = 4; pen.stroke();
  }

  // A bump: as large as it is high, against the highest of all.
  const size = (bump) => 5 + 6 * Math.sqrt(bump[HEIGHT] / data.bumps[0][HEIGHT]);
  function diamond(pen, bump) {
    const [x, y] = frame.at(bump[PLACE][0], bump[PLACE][1]), r = size(bump);
    pen.beginPath();
    pen.moveTo(x, y - r); pen.lineTo(x + r, y); pen.lineTo(x, y + r); pen.lineTo(x - r, y); pen.closePath();
    pen.fillStyle = '#1f5fa8'; pen.fill();
    pen.strokeStyle = '#fff'; pen.lineWidth = 2; pen.stroke();
    if (bump === chosen) ring(pen, x, y, r + 8);
  }

  function show(index) {
    const slider = el('slider');
    const at = Math.min(Math.max(index, 0), data.layers.length - 1);
    slider.value = at;
    const layer = data.layers[at];
    runs = layer.runs ??= unpack(layer.path);
    here = data.stalls.filter((s) => s[LAYER] === layer.layer).sort((a, b) => b[LOST] - a[LOST]).slice(0, 400);
    bumpsHere = data.bumps.filter((b) => b[LAYER] === layer.layer).slice(0, 400);
    const count = (n, noun) => n + ' ' + noun + (n === 1 ? '' : 's');
    const told = 'layer ' + layer.layer + ', z ' + layer.z.toFixed(2) + ' mm, ' + count(layer.bumps, 'visible bump') + ', ' +
      count(layer.stalls, 'stall') + ', ' + ms(Math.max(layer.lost, 0)) + ' lost';
    el('which').textContent = told;
    slider.setAttribute('aria-valuetext', told);
    draw();
  }

  // What lies under the pointer: a mark first, else the path.
  function find(px, py) {
    for (const bump of bumpsHere) {
      const [x, y] = frame.at(bump[PLACE][0], bump[PLACE][1]);
      if (Math.hypot(x - px, y - py) <= size(bump)) return { bump, x, y };
    }
    for (const stall of here) {
      const [x, y] = frame.at(stall[PLACE][0], stall[PLACE][1]);
      if (Math.hypot(x - px, y - py) <= Math.min(Math.max(22 * Math.sqrt(stall[LOST]), 9), 20)) return { stall, x, y };
    }
    let best = null, near = 8;
    for (const run of runs) {
      if (run.level < 0) continue;
      for (let k = 1; k < run.x.length; k++) {
        const [ax, ay] = frame.at(run.x[k - 1], run.y[k - 1]), [bx, by] = frame.at(run.x[k], run.y[k]);
        const dx = bx - ax, dy = by - ay, long = dx * dx + dy * dy;
        const t = long ? Math.min(Math.max(((px - ax) * dx + (py - ay) * dy) / long, 0), 1) : 0;
        const away = Math.hypot(ax + t * dx - px, ay + t * dy - py);
        if (away < near) {
          near = away;
          const line = Math.round(run.line[k - 1] + t * (run.line[k] - run.line[k - 1]));
          best = { x: px, y: py, line, level: run.level };
        }
      }
    }
    return best;
  }

  function tell(found) {
    const tip = el('tip');
    if (!found) { tip.style.visibility = 'hidden'; return; }
    const s = found.stall, b = found.bump;
    tip.textContent = b ? 'bump of ' + b[HEIGHT].toFixed(2) + ' mm, line ' + b[LINE] + ', lost by ' + b[CAUSE]
      : s
      ? s[KIND] + ', line ' + s[LINE] + ': ' + s[CAUSE] + ', ' + ms(s[LOST]) + ' lost'
      : 'about line ' + found.line + ', ' + Math.round(100 * found.level / (data.colours.length - 1)) + ' % of full speed';
    tip.style.visibility = 'visible';
    const wide = tip.offsetWidth;
    tip.style.left = Math.min(Math.max(found.x - wide / 2, 4), canvas.clientWidth - wide - 4) + 'px';
    tip.style.top = (found.y > 60 ? found.y - tip.offsetHeight - 14 : found.y + 18) + 'px';
  }

  const where = (row) => ' on layer ' + row[LAYER] + ' (z ' + row[PLACE][2].toFixed(2) + ' mm), line ' + row[LINE] +
    ', at x ' + row[PLACE][0] + ', y ' + row[PLACE][1] + ' mm';

  // Shows a bump or a stall on its layer, and the time around it.
  function choose(item, scroll) {
    chosen = item;
    const at = data.layers.findIndex((l) => l.layer === item[LAYER]);
    if (canvas && at >= 0) show(at);
    const isBump = bumps.has(item);
    const svg = strips.get(item[isBump ? LEFT_BY : STALL]);
    el('moment').hidden = false;
    el('moment-where').textContent = (isBump
      ? 'Bump of ' + item[HEIGHT].toFixed(2) + ' mm' + where(item) + '. The stall that left it: ' + (item[CAUSE] || 'not listed') + '.'
      : item[KIND] + where(item) + ': ' + item[CAUSE] + ', ' + ms(item[LOST]) + ' lost.') +
      (svg ? '' : ' The time around it is kept for the worst stalls only.');
    el('strip').innerHTML = svg || '';
    for (const row of document.querySelectorAll('table[role=grid] tbody tr')) {
      row.setAttribute('aria-selected', String(row.item === chosen));
    }
    if (scroll) el('moment').scrollIntoView({ block: 'nearest' });
  }

  // A table that can be sorted, and whose rows can be chosen. Columns: name, value, digits.
  function table(id, items, columns, sorted) {
    if (!el(id)) return;
    const head = document.querySelector('#' + id + ' thead tr'), body = document.querySelector('#' + id + ' tbody');
    const more = el('more-' + id);
    let falls = true, all = false;
    function fill() {
      const of = columns[sorted][1], sign = falls ? -1 : 1;
      const rows = [...items].sort((a, b) => (of(a) < of(b) ? -sign : of(a) > of(b) ? sign : a[0] - b[0]));
      body.textContent = '';
      for (const item of all ? rows : rows.slice(0, 25)) {
        const row = body.insertRow();
        row.tabIndex = 0;
        row.item = item;
        row.setAttribute('aria-selected', String(item === chosen));
        for (const [, value, digits] of columns) {
          const cell = row.insertCell(), v = value(item);
          cell.textContent = digits === undefined ? v : v.toFixed(digits);
          if (typeof v === 'string') cell.className = 'words';
        }
        row.addEventListener('click', () => choose(item, true));
        row.addEventListener('keydown', (e) => {
          if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); choose(item, true); }
        });
      }
      more.hidden = all || rows.length <= 25;
      head.querySelectorAll('th').forEach((th, k) => {
        th.setAttribute('aria-sort', k === sorted ? (falls ? 'descending' : 'ascending') : 'none');
        th.firstChild.textContent = columns[k][0] + (k === sorted ? (falls ? ' ▾' : ' ▴') : '');
      });
    }
    columns.forEach(([name, value], k) => {
      const th = document.createElement('th'), button = document.createElement('button');
      th.scope = 'col';
      button.type = 'button';
      button.textContent = name;
      if (typeof value(items[0]) === 'string') th.className = 'words';
      button.addEventListener('click', () => {
        falls = k === sorted ? !falls : typeof value(items[0]) !== 'string';
        sorted = k;
        fill();
      });
      th.append(button);
      head.append(th);
    });
    more.addEventListener('click', () => { all = true; fill(); });
    fill();
  }

  const place = [['x, mm', (s) => s[PLACE][0], 2], ['y, mm', (s) => s[PLACE][1], 2]];
  const layer = [['layer', (s) => s[LAYER]]], z = [['z, mm', (s) => s[PLACE][2], 2]];
  const part = data.bumps.some((b) => b[PART]) ? [['part', (b) => b[PART]]] : [];
  table('bumps', data.bumps, [
    ['height, mm', (b) => b[HEIGHT], 2], ...layer, ...z, ...place, ...part, ['line', (b) => b[LINE]],
    ['lost by', (b) => b[CAUSE]], ['surface', (b) => b[FACES]],
  ], 0);
  table('stalls', data.stalls, [
    ...layer, ['line', (s) => s[LINE]], ['lost, ms', (s) => s[LOST] * 1000, 1],
    ['bump, mm', (s) => s[BUMP], 2], ['kind', (s) => s[KIND]], ['lost by', (s) => s[CAUSE]],
    ['rest, ms', (s) => s[REST] * 1000, 1], ...z, ...place, ['surface', (s) => s[SURFACE]],
  ], 2);

  if (canvas) {
    frame = box();
    const slider = el('slider');
    slider.addEventListener('input', () => show(Number(slider.value)));
    el('down').addEventListener('click', () => show(Number(slider.value) - 1));
    el('up').addEventListener('click', () => show(Number(slider.value) + 1));
    canvas.addEventListener('pointermove', (e) => tell(find(e.offsetX, e.offsetY)));
    canvas.addEventListener('pointerleave', () => tell(null));
    canvas.addEventListener('click', (e) => {
      const found = find(e.offsetX, e.offsetY);
      tell(found);
      if (found && (found.bump || found.stall)) choose(found.bump || found.stall, false);
    });
    window.addEventListener('resize', draw);
    show(Math.max(data.layers.findIndex((l) => l.layer === data.worst_layer), 0));
  }
  const first = data.bumps[0] || data.stalls.find((s) => strips.has(s[STALL])) || data.stalls[0];
  if (first) choose(first, false);
})();
