// The live page: what it is about, and how an answer comes to all of its views.
import * as api from './api.js';
import { mountAnswer } from './answer.js';
import { mountBoard } from './board.js';
import { mountCures } from './cures.js';
import { prepared, LINE } from './data.js';
import { el } from './controls.js';
import { mountJobs } from './jobs.js';
import { mountKnobs } from './knobs.js';
import { mountMap } from './map.js';
import { mountMeasure } from './measure.js';
import { mountPart } from './part.js';
import { mountSee } from './see.js';
import { selection } from './select.js';
import { atRest, over, read, written } from './state.js';
import { mountStrip } from './strip.js';
import { mountBumps, mountStalls } from './tables.js';
import { mountTake } from './take.js';
import { mountWall } from './wall.js';

// Runs with other seeds, from which the verdict comes (as in the command); answers that are kept; how long the address waits, and how
// long views wait for each other, so that the browser can draw in between, ms.
const RUNS = 20, KEPT_MAX = 6, WAIT_MS = 300, PAUSE_MS = 20;

const state = read(location.hash), hearers = new Map(), select = selection(), kept = new Map();
const inside = (id) => document.querySelector('#' + id + ' .view') ?? document.getElementById(id);
let running = null, shown = { answer: null, data: null, isQuick: false, before: null }, takeBoard = null, timer = 0;

const app = {
  api, state, about: null, select,
  on(what, hear) { hearers.set(what, [...(hearers.get(what) ?? []), hear]); },
  tell(what, told) { for (const hear of hearers.get(what) ?? []) hear(told); },
  jobs: () => state.jobs,
  // The board with what knobs change in it.
  board: (knobs = state.knobs) => ({ ...state.board, sets: over(state.board.sets, knobs.sets) }),
  // What is asked about the job, with these knobs.
  question(knobs = state.knobs) {
    const { now, visible_mm, whole } = state;
    return { job: now, board: app.board(knobs), seed: knobs.seed ?? 0, visible_mm, whole, merge_mm: knobs.merge_mm };
  },
  data: () => shown.data,
  shown: () => shown,
  isTurned: () => JSON.stringify(app.question()) !== JSON.stringify(app.question(atRest())),
  // Another state: what hangs on it is asked anew.
  change(changes) {
    const before = { ...state };
    Object.assign(state, changes);
    address();
    if (state.jobs !== before.jobs || state.now !== before.now) app.tell('jobs');
    if (state.board !== before.board || state.knobs !== before.knobs) app.tell('board');
    renew();
  },
  // Another board: knobs go back, since they were turned on the one before.
  useBoard(board) { app.change({ board: { ...board, sets: board.sets ?? [] }, knobs: atRest() }); },
  takeBoard: (file) => takeBoard(file),
  stop: () => running?.abort(),
  renew,
};

function address() {
  clearTimeout(timer);
  history.replaceState(null, '', written(state));
}

// A browser slows a page down that changes its address many times a second, as the slider of layers would.
function addressSoon() {
  clearTimeout(timer);
  timer = setTimeout(address, WAIT_MS);
}

// An answer with its data. How far the print reaches is the same as before, where the job is.
function told(answer) {
  const data = prepared(answer.data), before = shown.answer;
  if (before && before.job === state.now && before.merge_mm === state.knobs.merge_mm) data.box = shown.data.box;
  return { answer: Object.assign(answer, { job: state.now, merge_mm: state.knobs.merge_mm }), data };
}

// Answers a question: first quickly, from one run and without causes, then in full.
async function ask(question, signal, onQuick) {
  const key = JSON.stringify(question);
  if (kept.has(key)) return kept.get(key);
  const onAt = (at) => app.tell('at', at);
  if (onQuick) onQuick(await api.stream('replay', { ...question, runs: 1, effort: 'bumps' }, { signal, onAt }));
  const full = await api.stream('replay', { ...question, runs: RUNS }, { signal, onAt });
  kept.set(key, told(full));
  if (kept.size > KEPT_MAX) kept.delete(kept.keys().next().value);
  return kept.get(key);
}

async function renew() {
  running?.abort();
  const mine = running = new AbortController(), { signal } = mine;
  if (!state.now) { show(null, false, null); app.tell('idle'); return; }
  const rest = app.question(atRest()), now = app.question(), isTurned = app.isTurned();
  const known = () => (isTurned ? kept.get(JSON.stringify(rest)) ?? null : null);
  app.tell('asking');
  try {
    const answer = await ask(now, signal, (quick) => { if (running === mine) show(told(quick), true, known()); });
    if (running !== mine) return;
    show(answer, false, known());
    if (isTurned && !known()) {
      await ask(rest, signal);
      if (running !== mine) return;
      show(answer, false, known());
    }
    const isIdle = () => { if (running === mine) app.tell('idle'); };
    if (waiting.length) waiting.push(isIdle); else isIdle();
  } catch (e) {
    if (running !== mine) return;
    if (e.status === 404) { jobs.missing(state.now); return; }
    // The answer about another job is none about this one.
    if (shown.answer && shown.answer.job !== state.now) show(null, false, null);
    app.tell('failed', e);
  }
}

const views = {};
let asking = null;

// The time around a stall, as SVG. A quick answer is replaced soon by the full one, which then asks again.
async function strip(stall) {
  asking?.abort();
  asking = new AbortController();
  if (shown.isQuick && !running.signal.aborted) return new Promise(() => {});
  return (await api.post('strip', { ...app.question(), runs: 1, effort: 'bumps', stall }, { signal: asking.signal })).svg;
}

// What waits to be drawn of the answer that is shown.
let waiting = [], drawing = 0;

function drawNext() {
  waiting.shift()?.();
  if (waiting.length) drawing = setTimeout(drawNext, PAUSE_MS);
}

// A choice is made in what is shown, so all of that is drawn first; a row of an answer before is none.
const choose = select.choose.bind(select);
select.choose = (item, from) => {
  clearTimeout(drawing);
  while (waiting.length) waiting.shift()();
  if (!item || shown.data.bumps.includes(item) || shown.data.stalls.includes(item)) choose(item, from);
};

const isInSight = (id) => {
  const { top, bottom } = document.getElementById(id).getBoundingClientRect();
  return bottom > 0 && top < innerHeight;
};

// Gives an answer to all views, one after the other: the verdict and the figures first, then what is in sight. What is looked at
// stays: the layer, and the bump or stall, where it is still there.
function show(next, isQuick, before) {
  const answer = next?.answer ?? null, data = next?.data ?? null, isFresh = answer !== shown.answer;
  const { layer, line } = state;
  shown = { answer, isQuick, before, data };
  if (isFresh) {
    clearTimeout(drawing);
    waiting = [];
    // What was chosen is a row of the answer before.
    select.item = null;
  }
  app.tell('shown', shown);
  if (!isFresh) return;
  const order = Object.keys(views).sort((a, b) => isInSight(b) - isInSight(a));
  waiting = order.map((id) => () => views[id].setData(data));
  waiting.push(() => {
    if (data) chooseSame(data, layer, line);
    if (!isQuick) app.tell('replayed');
  });
  drawing = setTimeout(drawNext, PAUSE_MS);
}

// The bump or stall of this line, on this layer; else the highest bump.
function chooseSame(data, layer, line) {
  const same = (rows) => rows.find((row) => row[LINE] === line);
  const item = line === null ? data.bumps[0] || data.stalls[0] : same(data.bumps) || same(data.stalls);
  select.choose(item ?? null, 'renew');
  const at = data.layers.findIndex((l) => l.layer === layer);
  if (at >= 0) views.map.show(at);
}

// The list of sections, which scrolls without touching what stands behind the #.
function mountSections() {
  const go = (e) => {
    const to = document.getElementById(e.currentTarget.dataset.to);
    e.preventDefault();
    to.scrollIntoView();
    to.tabIndex = -1;
    to.focus({ preventScroll: true });
  };
  const names = { jobs: 'Job', board: 'Board', answer: 'Answer', map: 'Layers', knobs: 'Knobs', cures: 'Cures', see: 'What I see', measure: 'Measure', take: 'Take away' };
  document.getElementById('sections').append(...Object.entries(names).map(([id, name]) =>
    el('li', { hidden: id === 'map' }, el('a', { href: '#' + id, 'data-to': id, text: name, on: { click: go } }))));
  document.querySelector('.skip').addEventListener('click', go);
  const layers = document.querySelector('#sections [data-to=map]').parentElement;
  app.on('shown', ({ data }) => { layers.hidden = !data; });
}

app.about = await api.get('about');
document.getElementById('version').textContent = 'Headstall ' + app.about.version + ', on this computer only.';
const { job, board } = app.about.start;
if (job && !state.jobs.some((j) => j.job === job.job)) { state.jobs = [...state.jobs, job]; state.now ??= job.job; }
if (!new URLSearchParams(location.hash.slice(1)).has('board') && !location.hash.includes('text=')) {
  state.board = board.name ? { name: board.name, sets: board.sets } : { text: board.text, file: board.file, sets: board.sets };
}
address();
addEventListener('hashchange', () => location.reload());
mountSections();
const jobs = mountJobs(inside('jobs'), app);
takeBoard = mountBoard(inside('board'), app);
mountAnswer(inside('answer'), app);
views.map = mountMap(inside('map'), select);
views.wall = mountWall(inside('wall'), select);
views.moment = mountStrip(inside('moment'), select, strip);
views.bumps = mountBumps(inside('bumps'), select);
views.stalls = mountStalls(inside('stalls'), select);
views.part = mountPart(inside('part'), select);
views.map.onShow((at) => {
  state.layer = shown.data.layers[at].layer;
  addressSoon();
});
select.on((item, from) => {
  if (from === 'renew' || !item) return;
  state.line = item[LINE];
  addressSoon();
});
mountKnobs(inside('knobs'), app);
mountCures(inside('cures'), app);
app.wall = mountSee(inside('see'), app);
mountMeasure(inside('measure'), app);
mountTake(inside('take'), app);
api.alive(() => { document.getElementById('ended').hidden = false; });
renew();
