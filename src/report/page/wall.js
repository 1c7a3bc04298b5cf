// The outer wall of a part, unrolled: angle across, height up. 0° points right on the bed, 90° to the back.
import { make, drawn, reveal } from './dom.js';
import { PLACE, FACES, HEIGHT } from './data.js';
import { bumpSize } from './select.js';

const LEFT = 64, RIGHT = 12, TOP = 14, FOOT = 34, HIGH = 420;

export const fixed = (v, digits) => String(Number(v.toFixed(digits)));
// An angle as it is noted, degrees: from 0 to below 360.
export const turn = (deg) => Number((((deg % 360) + 360) % 360).toFixed(1)) % 360;
export const angleOf = (part, x, y) => Math.atan2(y - part.middle[1], x - part.middle[0]) * 180 / Math.PI;

// A drawing of it in an SVG element. Heights are those of the layers' middles.
export function unrolled(svg) {
  let walls = null, part = 0;
  const wide = () => Math.max((svg.clientWidth || 320) - LEFT - RIGHT, 60);
  const top = () => walls.parts[part].top;
  const across = (angle) => LEFT + wide() * angle / 360;
  const up = (z) => TOP + HIGH * (1 - Math.min(Math.max(z / top(), 0), 1));
  const add = (name, attributes, text) => svg.append(drawn(name, attributes, text));

  function ground() {
    svg.replaceChildren();
    const right = LEFT + wide(), foot = TOP + HIGH;
    svg.style.height = foot + FOOT + 'px';
    add('rect', { x: LEFT, y: TOP, width: wide(), height: HIGH, class: 'ground' });
    const each = 10 ** Math.floor(Math.log10(top() / 4)), step = [5, 2, 1].map((k) => k * each).find((s) => top() / s >= 4) || each;
    for (let k = 0; k * step <= top() * 1.0001; k++) {
      const y = up(k * step);
      add('line', { x1: LEFT, x2: right, y1: y, y2: y });
      add('text', { x: LEFT - 6, y: y + 5, 'text-anchor': 'end' }, fixed(k * step, 2) + ' mm');
    }
    for (let deg = 0; deg <= 360; deg += wide() < 300 ? 180 : wide() < 600 ? 90 : 45) {
      add('line', { x1: across(deg), x2: across(deg), y1: TOP, y2: foot });
      add('text', { x: across(deg), y: foot + 22, 'text-anchor': deg === 360 ? 'end' : 'middle' }, deg + '°');
    }
  }

  return {
    add,
    show(next, which) { walls = next; part = which; ground(); },
    // Where a place lies on the drawing, px.
    at: (angle, z) => [across(angle), up(z)],
    // The place under a pointer; null beside the wall.
    under(event) {
      const box = svg.getBoundingClientRect(), x = event.clientX - box.left, y = event.clientY - box.top;
      if (x < LEFT || x > LEFT + wide() || y < TOP || y > TOP + HIGH) return null;
      return { x, y, angle: 360 * (x - LEFT) / wide(), z: top() * (1 - (y - TOP) / HIGH) };
    },
    cross(angle, z) {
      add('path', { class: 'cross', d: 'M' + across(angle) + ' ' + TOP + 'V' + (TOP + HIGH) + 'M' + LEFT + ' ' + up(z) + 'H' + (LEFT + wide()) });
    },
    // The predicted bumps on it, with their places.
    bumps(data) {
      const { low, high } = walls.parts[part];
      const inside = ([x, y]) => x >= low[0] && x <= high[0] && y >= low[1] && y <= high[1];
      return data.bumps.filter((b) => b[FACES] === 'outer' && inside(b[PLACE])).map((bump) => {
        const [x, y, z] = bump[PLACE];
        return { bump, x: across(turn(angleOf(walls.parts[part], x, y))), y: up(z - walls.tops[0] / 2) };
      });
    },
  };
}

// A choice of the part, where there are several.
export function partChoice(changed) {
  const choice = make('select', { class: 'part-choice' }), label = make('label', {}, 'Part, counted from the left ', choice);
  choice.addEventListener('change', changed);
  return {
    label,
    index: () => Math.max(choice.selectedIndex, 0),
    setParts(parts) {
      const kept = Math.min(Math.max(choice.selectedIndex, 0), parts.length - 1);
      label.hidden = parts.length < 2;
      choice.replaceChildren(...parts.map((_, k) => make('option', {}, String(k + 1))));
      choice.selectedIndex = kept;
    },
  };
}

// The wall with its predicted bumps, to choose from.
export function mountWall(root, select) {
  const svg = drawn('svg', { class: 'unrolled', role: 'img', 'aria-label': 'Outer wall unrolled, with the predicted visible bumps' });
  const choice = partChoice(draw), wall = unrolled(svg), note = make('p', { class: 'note' });
  let data = null;
  root.append(make('div', { class: 'controls' }, choice.label), make('div', { class: 'paper' }, svg), note);

  function draw() {
    if (!data || !svg.clientWidth) return;
    wall.show(data.seen, choice.index());
    const bumps = wall.bumps(data);
    for (const { bump, x, y } of bumps.reverse()) {
      const r = bumpSize(bump[HEIGHT], data.bumps[0][HEIGHT]) * 0.8;
      wall.add('path', { class: 'bump', d: 'M' + x + ' ' + (y - r) + 'l' + r + ' ' + r + 'l' + -r + ' ' + r + 'l' + -r + ' ' + -r + 'z' });
      if (bump === select.item) wall.add('circle', { class: 'ring', cx: x, cy: y, r: r + 8 });
    }
    note.textContent = bumps.length
      ? '◆ visible bump on the outer wall. 0° points right on the bed, 90° to the back. Click one to see it everywhere.'
      : 'No visible bump is predicted on this wall. 0° points right on the bed, 90° to the back.';
  }

  svg.addEventListener('click', (e) => {
    const at = data && wall.under(e);
    if (!at) return;
    const away = (b) => Math.hypot(b.x - at.x, b.y - at.y);
    const near = wall.bumps(data).reduce((best, b) => (!best || away(b) < away(best) ? b : best), null);
    if (near && away(near) <= 16) select.choose(near.bump, 'wall');
  });
  new ResizeObserver(draw).observe(svg.parentElement);
  select.on(draw);
  return {
    setData(next) {
      data = next && next.seen ? next : null;
      reveal(root, data);
      if (data) { choice.setParts(data.seen.parts); draw(); }
    },
  };
}
