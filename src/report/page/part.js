// The part from a corner: its walls, and its visible bumps. It turns with the mouse and with the arrow keys.
import { make, reveal } from './dom.js';
import { PLACE, HEIGHT, runsOf, boxOf } from './data.js';
import { bumpSize, diamond, ring, penOf } from './select.js';

// Strokes at rest, and while it turns; shades; slices from the far to the near side.
const STROKES = [60000, 15000], SHADES = 6, SLICES = 24;
const GREYS = Array.from({ length: SHADES }, (_, k) => {
  const grey = Math.round(150 + 80 * k / (SHADES - 1));
  return 'rgb(' + grey + ',' + (grey + 4) + ',' + (grey + 10) + ')';
});

export function mountPart(root, select) {
  const canvas = make('canvas', { role: 'application', tabindex: 0, class: 'turned', 'aria-label': 'The part seen from a corner. Arrow keys turn it.' });
  const note = make('p', { class: 'note' }, '◆ visible bump; ◇ on the far side. Drag, or use the arrow keys, to turn the part; click a bump to see it everywhere.');
  let data = null, frame = null, yaw = 30, tilt = 25, shown = [], drag = null;
  root.append(make('div', { class: 'paper' }, canvas), note);

  // From mm to the canvas: right, up, and toward the viewer.
  function view() {
    const a = yaw * Math.PI / 180, b = tilt * Math.PI / 180;
    const [cx, cy, cz] = frame.middle, [sa, ca, sb, cb] = [Math.sin(a), Math.cos(a), Math.sin(b), Math.cos(b)];
    return (x, y, z) => {
      const u = (x - cx) * ca + (y - cy) * sa, v = -(x - cx) * sa + (y - cy) * ca, w = z - cz;
      return [u, v * sb + w * cb, -v * cb + w * sb];
    };
  }

  function draw() {
    if (!data || !canvas.clientWidth) return;
    const wide = canvas.clientWidth, b = tilt * Math.PI / 180, pad = 24;
    // As large as fits whichever way it is turned; lower windows for flat parts.
    const tall = frame.round * Math.sin(b) + frame.top * Math.cos(b);
    const scale = Math.min((wide - 2 * pad) / frame.round, (Math.min(wide, 560) - 2 * pad) / tall), high = tall * scale + 2 * pad;
    const pen = penOf(canvas, wide, high), project = view();
    const px = ([u, v]) => [wide / 2 + u * scale, high / 2 - v * scale];
    strokes(pen, project, px, scale);
    shown = data.bumps.map((bump) => {
      const [x, y, z] = bump[PLACE], at = project(x, y, z), [cx, cy] = frame.nearest(x, y), axis = project(cx, cy, z);
      const [left, top] = px(at);
      return { bump, x: left, y: top, near: at[2] >= axis[2], r: bumpSize(bump[HEIGHT], data.bumps[0][HEIGHT]) * 0.7 };
    }).sort((a, b) => a.near - b.near || a.bump[HEIGHT] - b.bump[HEIGHT]);
    for (const { bump, x, y, near, r } of shown) {
      diamond(pen, x, y, near ? r : r * 0.7, near);
      if (bump === select.item) ring(pen, x, y, r + 8);
    }
  }

  // The path of all layers, the far side first, each stroke as thick as the layers drawn are apart, so that the near
  // wall hides the far one; its shade goes by which way it faces.
  function strokes(pen, project, px, scale) {
    const every = Math.max(1, Math.ceil(frame.knots / STROKES[drag ? 1 : 0])), bins = new Map();
    const light = (yaw + 60) * Math.PI / 180;
    for (let l = 0; l < data.layers.length; l += every) {
      const layer = data.layers[l];
      for (const run of runsOf(layer)) {
        if (run.level < 0) continue;
        for (let k = 1; k < run.x.length; k++) {
          const [x0, y0, x1, y1] = [run.x[k - 1], run.y[k - 1], run.x[k], run.y[k]];
          const a = project(x0, y0, layer.z), b = project(x1, y1, layer.z);
          const slice = Math.min(SLICES - 1, Math.max(0, Math.floor(((a[2] + b[2]) / 2 / frame.across + 0.5) * SLICES)));
          const shade = Math.min(SHADES - 1, Math.floor(Math.abs(Math.cos(Math.atan2(y1 - y0, x1 - x0) - light)) * SHADES));
          const key = slice * SHADES + shade;
          if (!bins.has(key)) bins.set(key, []);
          bins.get(key).push(px(a), px(b));
        }
      }
    }
    pen.lineCap = 'butt';
    pen.lineWidth = Math.max(1, every * frame.rise * scale * Math.cos(tilt * Math.PI / 180) * 1.15);
    for (const key of [...bins.keys()].sort((a, b) => a - b)) {
      const ends = bins.get(key);
      pen.beginPath();
      for (let k = 0; k < ends.length; k += 2) { pen.moveTo(...ends[k]); pen.lineTo(...ends[k + 1]); }
      pen.strokeStyle = GREYS[key % SHADES];
      pen.stroke();
    }
  }

  function turn(byYaw, byTilt) {
    yaw = (yaw + byYaw + 360) % 360;
    tilt = Math.min(Math.max(tilt + byTilt, 0), 90);
    draw();
  }

  canvas.addEventListener('pointerdown', (e) => {
    drag = { x: e.clientX, y: e.clientY, moved: 0 };
    canvas.setPointerCapture(e.pointerId);
  });
  canvas.addEventListener('pointermove', (e) => {
    if (!drag) return;
    const [dx, dy] = [e.clientX - drag.x, e.clientY - drag.y];
    drag = { x: e.clientX, y: e.clientY, moved: drag.moved + Math.abs(dx) + Math.abs(dy) };
    if (drag.moved > 4) turn(-dx * 0.5, dy * 0.4);
  });
  canvas.addEventListener('pointerup', (e) => {
    const was = drag;
    drag = null;
    if (was && was.moved <= 4) {
      const away = (s) => Math.hypot(s.x - e.offsetX, s.y - e.offsetY);
      const near = shown.filter((s) => away(s) <= 14).reduce((best, s) => (!best || away(s) < away(best) ? s : best), null);
      if (near) select.choose(near.bump, 'part');
    } else if (was) draw();
  });
  canvas.addEventListener('pointercancel', () => { drag = null; });
  canvas.addEventListener('keydown', (e) => {
    const by = { ArrowLeft: [10, 0], ArrowRight: [-10, 0], ArrowUp: [0, -5], ArrowDown: [0, 5] }[e.key];
    if (!by || e.ctrlKey || e.altKey || e.metaKey) return;
    e.preventDefault();
    turn(...by);
  });
  new ResizeObserver(draw).observe(canvas.parentElement);
  select.on(draw);

  return {
    turn,
    setData(next) {
      data = next && next.layers.length && next.seen ? next : null;
      reveal(root, data);
      if (!data) return;
      const { low, high } = boxOf(data), tops = data.layers.map((l) => l.z), top = Math.max(...tops);
      const [w, d] = [high[0] - low[0], high[1] - low[1]];
      const printed = (l) => runsOf(l).reduce((n, r) => n + (r.level < 0 ? 0 : r.x.length), 0);
      const middles = data.seen.parts.map((p) => p.middle);
      frame = {
        middle: [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, top / 2],
        across: Math.max(Math.hypot(w, d, top), 0.001),
        round: Math.max(Math.hypot(w, d), 0.001),
        top: Math.max(top, 0.001),
        knots: data.layers.reduce((n, l) => n + printed(l), 0),
        rise: top / data.layers.length,
        // The middle of the part that a bump is on.
        nearest: (x, y) => middles.reduce((best, m) => (Math.hypot(m[0] - x, m[1] - y) < Math.hypot(best[0] - x, best[1] - y) ? m : best)),
      };
      draw();
    },
  };
}
