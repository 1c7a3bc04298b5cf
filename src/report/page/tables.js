// The visible bumps and the stalls, as tables that can be sorted and whose rows can be chosen.
import { make, reveal, rounded } from './dom.js';
import { CAUSE, LINE, LAYER, PLACE, KIND, REST, LOST, BUMP, SURFACE, HEIGHT, FACES, PART } from './data.js';

const ROWS = 25;

// A table. Columns: name, value, digits.
function table(root, select, name) {
  const head = make('tr'), body = make('tbody'), note = make('p', { class: 'note' });
  const more = make('button', { type: 'button', class: 'more' }, 'Show all');
  root.append(note, make('div', { class: 'scroll' }, make('table', { role: 'grid', class: name }, make('thead', {}, head), body)), more);
  let items = [], columns = [], sorted = 0, falls = true, all = false;

  function fill() {
    const of = columns[sorted][1], sign = falls ? -1 : 1;
    const rows = [...items].sort((a, b) => (of(a) < of(b) ? -sign : of(a) > of(b) ? sign : a[0] - b[0]));
    body.replaceChildren(...(all ? rows : rows.slice(0, ROWS)).map((item) => {
      const row = make('tr', { tabindex: 0 });
      row.item = item;
      for (const [, value, digits] of columns) {
        const v = value(item);
        row.append(make('td', typeof v === 'string' ? { class: 'words' } : {}, digits === undefined ? String(v) : rounded(v, digits)));
      }
      row.addEventListener('click', () => select.choose(item, 'table'));
      row.addEventListener('keydown', (e) => {
        if (e.key === 'Enter' || e.key === ' ') { e.preventDefault(); select.choose(item, 'table'); }
      });
      return row;
    }));
    more.hidden = all || rows.length <= ROWS;
    head.querySelectorAll('th').forEach((th, k) => {
      th.setAttribute('aria-sort', k === sorted ? (falls ? 'descending' : 'ascending') : 'none');
      th.firstChild.textContent = columns[k][0] + (k === sorted ? (falls ? ' ▾' : ' ▴') : '');
    });
    tint(select.item);
  }

  function heading([name, value], k) {
    const button = make('button', { type: 'button' }, name), isWords = typeof value(items[0]) === 'string';
    button.addEventListener('click', () => {
      falls = k === sorted ? !falls : !isWords;
      sorted = k;
      fill();
    });
    return make('th', { scope: 'col', ...(isWords ? { class: 'words' } : {}) }, button);
  }

  const tint = (item) => { for (const row of body.rows) row.setAttribute('aria-selected', String(row.item === item)); };
  more.addEventListener('click', () => { all = true; fill(); });
  select.on(tint);
  return (rows, named, by, text) => {
    [items, columns, sorted, falls, all] = [rows, named, by, true, false];
    reveal(root, items.length);
    note.textContent = text;
    if (items.length) { head.replaceChildren(...columns.map(heading)); fill(); }
  };
}

const z = ['z, mm', (s) => s[PLACE][2], 2], layer = ['layer', (s) => s[LAYER]], line = ['line', (s) => s[LINE]];
const place = [['x, mm', (s) => s[PLACE][0], 2], ['y, mm', (s) => s[PLACE][1], 2]];
const these = (shown, total, which) => (total === 1 ? 'The only one.' : shown < total ? 'The ' + shown + ' that ' + which + ' of ' + total + '.' : 'All ' + total + '.');

export function mountBumps(root, select) {
  const fill = table(root, select, 'bumps');
  return {
    setData(data) {
      const bumps = data ? data.bumps : [], part = bumps.some((b) => b[PART]) ? [['part', (b) => b[PART]]] : [];
      fill(bumps, [
        ['height, mm', (b) => b[HEIGHT], 2], layer, z, ...place, ...part, line, ['lost by', (b) => b[CAUSE]], ['surface', (b) => b[FACES]],
      ], 0, data && these(bumps.length, data.visible_bumps, 'are highest') + ' These are the bumps of the run that is shown (seed ' + data.seed +
        '), the highest first. Choose one to see it everywhere. Click a heading to sort.');
    },
  };
}

export function mountStalls(root, select) {
  const fill = table(root, select, 'stalls');
  return {
    setData(data) {
      fill(data ? data.stalls : [], [
        layer, line, ['lost, ms', (s) => s[LOST] * 1000, 1], ['bump, mm', (s) => s[BUMP], 2], ['kind', (s) => s[KIND]],
        ['lost by', (s) => s[CAUSE]], ['rest, ms', (s) => s[REST] * 1000, 1], z, ...place, ['surface', (s) => s[SURFACE]],
      ], 2, data && these(data.stalls.length, data.stall_count, 'lose most') + ' Choose one to see the time around it. Click a heading to sort.');
    },
  };
}
