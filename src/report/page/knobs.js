// Knobs: what may be changed, and what it comes to, before and after side by side.
import { mountCompare } from './compare.js';
import { button, el, labelled } from './controls.js';
import { LAYER } from './data.js';
import { mountMap } from './map.js';
import { selection } from './select.js';
import { atRest, keyOf, over } from './state.js';
import { knobsOf } from './stops.js';

export function mountKnobs(root, app) {
  const none = el('p', { text: 'Drop a job first: then each turn of a knob is answered here.' });
  const seed = el('input', { type: 'number', id: 'knob-seed', min: 0, max: 9007199254740991, step: 1, on: { change: () => luck(Number(seed.value)) } });
  const visible = el('input', { type: 'number', id: 'knob-visible', min: 0, max: 100, step: 0.01, on: { change: () => seen() } });
  const whole = el('input', { type: 'checkbox', id: 'knob-whole', on: { change: () => app.change({ whole: whole.checked }) } });
  const wrong = el('p', { class: 'wrong', role: 'alert', id: 'knobs-wrong', hidden: true });
  const dials = el('div', { class: 'dials' }), costs = el('ul', { class: 'costs' });
  const back = button('All knobs back', () => app.change({ knobs: atRest() }), { id: 'knobs-back' });
  const keep = button('Take these settings as the board', () => app.change({ board: app.board(), knobs: { ...app.state.knobs, sets: [] } }), { id: 'knobs-keep' });
  const all = el('div', {},
    dials,
    el('div', { class: 'controls' }, labelled('Luck: seed of all that varies at random', seed), button('Another seed', () => luck((app.state.knobs.seed ?? 0) + 1), { id: 'knob-luck' }),
      labelled('A bump is visible from, mm', visible), el('label', {}, whole, ' Skirts, purge lines and supports count as part')),
    wrong, costs, el('div', { class: 'controls' }, back, keep), mountBeside(app));
  root.append(none, all);
  mountCompare(all, app);
  let base = '', knobs = [];

  // What is no number of its kind is said, and the field goes back.
  function luck(value) {
    const isOne = seed.value.trim() !== '' && Number.isSafeInteger(value) && value >= 0;
    refuse(isOne ? '' : 'The seed must be a whole number from 0 to 9007199254740991; it stays as it was.');
    if (isOne) app.change({ knobs: { ...app.state.knobs, seed: value } }); else renew();
  }

  function seen() {
    const isOne = visible.validity.valid && visible.value !== '';
    refuse(isOne ? '' : 'The height from which a bump is visible must be a number from 0 to 100 mm; it stays as it was.');
    if (isOne) app.change({ visible_mm: visible.valueAsNumber }); else renew();
  }

  function refuse(words) { wrong.textContent = words; wrong.hidden = !words; }

  // The stop at which a knob stands.
  function standsAt(knob) {
    const { sets, merge_mm } = app.state.knobs;
    const of = (stop) => (stop.merge_mm !== undefined ? stop.merge_mm === merge_mm : stop.sets.length > 0 && stop.sets.every((s) => sets.includes(s)));
    const at = knob.stops.findIndex((stop) => !stop.isRest && of(stop));
    return at >= 0 ? at : knob.stops.findIndex((stop) => stop.isRest);
  }

  function turn(knob, at) {
    const stop = knob.stops[at], { sets, merge_mm, seed: kept } = app.state.knobs;
    const others = sets.filter((s) => !knob.keys.includes(keyOf(s)));
    app.change({ knobs: { sets: stop.isRest || !stop.sets ? others : over(others, stop.sets), merge_mm: knob.merges ? stop.merge_mm ?? null : merge_mm, seed: kept } });
  }

  function dial(knob) {
    const id = 'knob-' + knob.id, said = el('output', { for: id });
    const input = el('input', { type: 'range', id, min: 0, max: knob.stops.length - 1, step: 1, on: { input: () => turn(knob, Number(input.value)) } });
    knob.show = () => {
      const stop = knob.stops[standsAt(knob)];
      input.value = knob.stops.indexOf(stop);
      said.textContent = stop.say + (stop.isRest && stop.say !== 'as it is' ? ' (as it is)' : '');
      said.classList.toggle('changed', !stop.isRest);
      input.setAttribute('aria-valuetext', said.textContent);
    };
    return el('div', { class: 'dial' }, el('label', { for: id, text: knob.name }), input, said);
  }

  async function renew() {
    const { board } = app.state, asked = JSON.stringify(board);
    if (asked !== base) {
      base = asked;
      const { values } = await app.api.post('board', board).catch(() => ({ values: {} }));
      if (asked !== base) return;
      knobs = knobsOf(values);
      dials.replaceChildren(...knobs.map(dial));
    }
    for (const knob of knobs) knob.show();
    const stops = knobs.map((knob) => knob.stops[standsAt(knob)]).filter((stop) => !stop.isRest && stop.cost);
    costs.replaceChildren(...stops.map((stop) => el('li', { text: stop.cost })));
    back.disabled = JSON.stringify(app.state.knobs) === JSON.stringify(atRest());
    keep.disabled = !app.state.knobs.sets.length;
    seed.value = app.state.knobs.seed ?? 0;
    visible.value = app.state.visible_mm;
    whole.checked = app.state.whole;
  }

  const reveal = () => { none.hidden = Boolean(app.state.now); all.hidden = !app.state.now; };
  app.on('board', renew);
  app.on('jobs', reveal);
  reveal();
  renew();
}

const seconds = (s) => (Math.abs(s) < 1 ? (s * 1000).toFixed(0) + ' ms' : Math.abs(s) < 60 ? s.toFixed(1) + ' s' : Math.trunc(s / 60) + ' min ' + Math.abs(Math.round(s % 60)) + ' s');
// Rows: name, value of a summary (null: not known yet), how it is written; a text has no difference.
const ROWS = [
  ['Visible bumps, this run', (s) => s.visible_bumps, (v) => String(v)],
  ['Visible bumps, median of the runs', (s) => (s.runs > 1 ? s.expected_bumps : null), (v) => v.toFixed(0)],
  ['in 9 of 10 runs', (s) => s.expected_bumps_range?.map((v) => v.toFixed(0)).join(' to '), String],
  ['Highest bump', (s) => s.largest_bump_mm, (v) => v.toFixed(2) + ' mm'],
  ['Stalls', (s) => s.stalls, (v) => String(v)],
  ['Lost time', (s) => s.lost_s, seconds],
  ['Print time', (s) => s.replay_s, seconds],
];

// Before and after: figures in a table, and two layers on one slider.
function mountBeside(app) {
  const told = el('p', { role: 'status', id: 'knobs-told' });
  const body = el('tbody'), heads = [el('th', { scope: 'col', text: 'before' }), el('th', { scope: 'col', text: 'after' })];
  const table = el('div', { class: 'scroll', tabindex: 0, role: 'group', 'aria-label': 'Figures before and after' }, el('table', { id: 'knobs-table' }, el('thead', {}, el('tr', {}, el('td'), ...heads, el('th', { scope: 'col', text: 'difference' }))), body));
  const roots = ['before', 'after'].map((name) => el('section', { class: 'half ' + name, 'aria-label': 'Layer, ' + name }, el('h3', { text: name === 'before' ? 'Before' : 'After' })));
  const maps = roots.map((half, k) => mountMap(half, k ? app.select : selection()));
  const beside = el('div', { class: 'beside' }, ...roots), root = el('div', { id: 'knobs-beside' }, told, table, beside);
  const drawn = [null, null];

  // One slider moves both, by layer: one of them may leave layers out.
  const index = (data, layer) => data.layers.reduce((best, l, k) => (Math.abs(l.layer - layer) < Math.abs(data.layers[best].layer - layer) ? k : best), 0);
  const follow = (to, from) => maps[from].onShow((at) => {
    if (!drawn[0] || !drawn[1]) return;
    const place = index(drawn[to], drawn[from].layers[at].layer);
    if (maps[to].index() !== place) maps[to].show(place);
  });
  follow(0, 1);
  follow(1, 0);
  app.select.on((item) => { if (item && drawn[0]) maps[0].show(index(drawn[0], item[LAYER])); });

  function fill(before, after) {
    heads.forEach((head, k) => { head.textContent = ['before', 'after'][k] + ', seed ' + [before, after][k].seed; });
    body.replaceChildren(...ROWS.map(([name, of, written]) => {
      const [was, is] = [of(before), of(after)], isKnown = (v) => v !== null && v !== undefined;
      const say = (v) => (isKnown(v) ? written(v) : '…');
      const by = isKnown(was) && isKnown(is) ? is - was : null;
      return el('tr', {}, el('th', { scope: 'row', text: name }), el('td', { text: say(was) }), el('td', { text: say(is) }),
        el('td', { text: by === null ? '…' : Number.isNaN(by) ? '' : by > 0 ? '+' + written(by) : by < 0 ? '−' + written(-by) : 'none' }));
    }));
  }

  app.on('shown', ({ answer, before, data, isQuick }) => {
    const both = answer && before;
    table.hidden = beside.hidden = !both;
    told.textContent = !answer ? '' : !app.isTurned() ? 'No knob is turned: before and after are the same.'
      : !before ? 'Working out what it was before.' : isQuick ? 'After, from one run so far: ' + answer.summary.verdict : 'After, from ' + answer.summary.runs + ' runs: ' + answer.summary.verdict;
    if (!both) { drawn[0] = drawn[1] = null; return; }
    fill(before.answer.summary, answer.summary);
    [before.data, data].forEach((next, k) => {
      if (drawn[k] === next) return;
      drawn[k] = next;
      maps[k].setData(next);
    });
    maps[0].show(index(drawn[0], drawn[1].layers[maps[1].index()].layer));
  });
  return root;
}
