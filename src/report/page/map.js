// The path of one layer from above, by speed, with its stalls and bumps.
import { make, ms, count, reveal, rounded } from './dom.js';
import { CAUSE, LINE, LAYER, PLACE, KIND, LOST, HEIGHT, runsOf, boxOf } from './data.js';
import { MARK, INK, bumpSize, diamond, ring, penOf } from './select.js';

export function mountMap(root, select) {
  const canvas = make('canvas', { role: 'img', 'aria-label': 'Path of the layer seen from above' });
  const slider = make('input', { type: 'range', class: 'slider', min: 0, step: 1, 'aria-label': 'Layer' });
  const down = make('button', { type: 'button', class: 'down', 'aria-label': 'Layer below' }, '−');
  const up = make('button', { type: 'button', class: 'up', 'aria-label': 'Layer above' }, '+');
  const which = make('output', { class: 'which' }), tip = make('div', { class: 'tip', role: 'status' });
  const key = make('p', { class: 'scale' }), note = make('p', { class: 'note' });
  const views = [];
  let data = null, frame = null, runs = [], stalls = [], bumps = [], at = 0;
  root.append(make('div', { class: 'controls' }, down, slider, up, which), make('div', { class: 'paper map' }, canvas, tip), key, note);

  function draw() {
    if (!data || !canvas.clientWidth) return;
    const wide = canvas.clientWidth, pad = 18;
    const [w, h] = [0, 1].map((k) => Math.max(frame.high[k] - frame.low[k], 0.001));
    const scale = Math.min((wide - 2 * pad) / w, (Math.min(wide, 820) - 2 * pad) / h);
    const high = h * scale + 2 * pad + 26, left = (wide - w * scale) / 2;
    const pen = penOf(canvas, wide, high);
    frame.at = ([x, y]) => [left + (x - frame.low[0]) * scale, pad + (frame.high[1] - y) * scale];
    const order = [...data.colours.keys()].reverse();
    for (const level of [-1, ...order]) {
      pen.beginPath();
      for (const run of runs) {
        if (run.level !== level) continue;
        for (let k = 0; k < run.x.length; k++) {
          const [x, y] = frame.at([run.x[k], run.y[k]]);
          if (k) pen.lineTo(x, y); else pen.moveTo(x, y);
        }
      }
      pen.strokeStyle = level < 0 ? '#c3c9d1' : data.colours[level];
      const bead = Math.min(Math.max(0.4 * scale, 1.5), 6);
      pen.lineWidth = level < 0 ? 1 : bead * (1.4 - 0.4 * level / (order.length - 1));
      pen.stroke();
    }
    for (const stall of [...stalls].reverse()) drawStall(pen, stall);
    for (const bump of [...bumps].reverse()) {
      const [x, y] = frame.at(bump[PLACE]), r = sizeOf(bump);
      diamond(pen, x, y, r, true);
      if (bump === select.item) ring(pen, x, y, r + 8);
    }
    // A scale bar.
    const power = 10 ** Math.floor(Math.log10(wide * 0.3 / scale));
    const mm = [5, 2, 1].map((k) => k * power).find((v) => v * scale <= wide * 0.3) || power;
    pen.strokeStyle = pen.fillStyle = INK; pen.lineWidth = 2;
    pen.strokeRect(wide - pad - mm * scale, high - 14, mm * scale, 0.5);
    pen.font = '14px system-ui, sans-serif'; pen.textAlign = 'right';
    pen.fillText(mm + ' mm', wide - pad - mm * scale - 8, high - 9);
  }

  const sizeOf = (bump) => bumpSize(bump[HEIGHT], data.bumps[0][HEIGHT]);

  function drawStall(pen, stall) {
    const [x, y] = frame.at(stall[PLACE]), r = Math.min(Math.max(22 * Math.sqrt(stall[LOST]), 4), 20);
    pen.lineWidth = 3; pen.strokeStyle = pen.fillStyle = INK;
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
    if (stall === select.item) ring(pen, x, y, r + 7);
  }

  // What lies under the pointer: a mark first, else the path.
  function find(px, py) {
    for (const bump of bumps) {
      const [x, y] = frame.at(bump[PLACE]);
      if (Math.hypot(x - px, y - py) <= sizeOf(bump)) return { bump, x, y };
    }
    for (const stall of stalls) {
      const [x, y] = frame.at(stall[PLACE]);
      if (Math.hypot(x - px, y - py) <= Math.min(Math.max(22 * Math.sqrt(stall[LOST]), 9), 20)) return { stall, x, y };
    }
    let best = null, near = 8;
    for (const run of runs) {
      if (run.level < 0) continue;
      for (let k = 1; k < run.x.length; k++) {
        const [ax, ay] = frame.at([run.x[k - 1], run.y[k - 1]]), [bx, by] = frame.at([run.x[k], run.y[k]]);
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
    tip.style.visibility = found ? 'visible' : 'hidden';
    if (!found) return;
    const s = found.stall, b = found.bump;
    tip.textContent = b ? 'bump of ' + b[HEIGHT].toFixed(2) + ' mm, line ' + b[LINE] + ', lost by ' + b[CAUSE]
      : s ? s[KIND] + ', line ' + s[LINE] + ': ' + s[CAUSE] + ', ' + ms(s[LOST]) + ' lost'
      : 'about line ' + found.line + ', ' + Math.round(100 * found.level / (data.colours.length - 1)) + ' % of full speed';
    const wide = tip.offsetWidth;
    tip.style.left = Math.min(Math.max(found.x - wide / 2, 4), canvas.clientWidth - wide - 4) + 'px';
    tip.style.top = (found.y > 60 ? found.y - tip.offsetHeight - 14 : found.y + 18) + 'px';
  }

  // Shows the layer of this place in the list.
  function show(index) {
    if (!data) return;
    at = Math.min(Math.max(index, 0), data.layers.length - 1);
    const layer = data.layers[at];
    runs = runsOf(layer);
    stalls = data.stalls.filter((s) => s[LAYER] === layer.layer).sort((a, b) => b[LOST] - a[LOST]).slice(0, 400);
    bumps = data.bumps.filter((b) => b[LAYER] === layer.layer).slice(0, 400);
    which.textContent = 'layer ' + layer.layer + ', z ' + rounded(layer.z, 2) + ' mm, ' + count(layer.bumps, 'visible bump') + ', ' +
      count(layer.stalls, 'stall') + ', ' + ms(Math.max(layer.lost, 0)) + ' lost';
    slider.value = at;
    slider.setAttribute('aria-valuetext', which.textContent);
    tell(null);
    draw();
    for (const hear of views) hear(at);
  }

  function setData(next) {
    const layer = data && data.layers[at] ? data.layers[at].layer : null;
    data = next && next.layers.length ? next : null;
    reveal(root, data);
    if (!data) return;
    frame = boxOf(data);
    slider.max = data.layers.length - 1;
    key.replaceChildren(make('span', {}, 'stopped'), ...data.colours.map((colour) => {
      const i = make('i');
      i.style.background = colour;
      return i;
    }), make('span', {}, 'full speed'));
    note.textContent = '◆ visible bump. ● dwell: the head stood still and oozed. ▽ dip: below half speed. ▬ drag: only slower. ' +
      'Point at a mark or at the path for its line. The path is drawn within ' + Math.max(data.within_mm, 0.01) + ' mm; grey: moves without printing.' +
      (data.layers_left_out ? ' Layers are left out to keep the page small.' : '');
    const kept = data.layers.findIndex((l) => l.layer === (layer ?? data.worst_layer));
    show(Math.max(kept, 0));
  }

  slider.addEventListener('input', () => show(Number(slider.value)));
  down.addEventListener('click', () => show(at - 1));
  up.addEventListener('click', () => show(at + 1));
  canvas.addEventListener('pointermove', (e) => data && tell(find(e.offsetX, e.offsetY)));
  canvas.addEventListener('pointerleave', () => tell(null));
  canvas.addEventListener('click', (e) => {
    const found = data && find(e.offsetX, e.offsetY);
    tell(found);
    if (found && (found.bump || found.stall)) select.choose(found.bump || found.stall, 'map');
  });
  new ResizeObserver(draw).observe(canvas.parentElement);
  select.on((item) => {
    const place = item && data ? data.layers.findIndex((l) => l.layer === item[LAYER]) : -1;
    if (place >= 0) show(place); else draw();
  });
  return { setData, show, index: () => at, onShow: (hear) => views.push(hear) };
}
