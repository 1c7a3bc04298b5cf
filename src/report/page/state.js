// What the page is about. All of it stands in the address behind the #, so that a reload, a bookmark and a second tab show the same.

// Jobs are those that were sent: {job, name, bytes}; `now` is the one that is looked at. `board`: {name} or {text, file}, and what is
// changed in it; `knobs` are changes to try. `layer` and `line`: what is looked at.
export const atRest = () => ({ sets: [], merge_mm: null, seed: null });
const fresh = () => ({
  jobs: [], now: null, board: { name: '8bit-card-saves', sets: [] }, knobs: atRest(), visible_mm: 0.1, whole: false, layer: null, line: null,
});

const number = (text, low, high) => (text !== null && text.trim() !== '' && Number(text) >= low && Number(text) <= high ? Number(text) : null);

export function read(hash) {
  const given = new URLSearchParams(hash.replace(/^#/, '')), state = fresh();
  state.jobs = given.getAll('job').map((text) => /^([0-9a-zA-Z_-]+)\/(\d+)\/(.*)$/s.exec(text)).filter(Boolean)
    .map(([, job, bytes, name]) => ({ job, name, bytes: Number(bytes) }));
  state.now = state.jobs.find((j) => j.job === given.get('now'))?.job ?? state.jobs[0]?.job ?? null;
  const sets = given.getAll('set');
  if (given.has('text')) state.board = { text: given.get('text'), file: given.get('file') || 'board.toml', sets };
  else if (given.has('board')) state.board = { name: given.get('board'), sets };
  state.knobs = { sets: given.getAll('knob'), merge_mm: number(given.get('merge'), 0, 1), seed: number(given.get('seed'), 0, Number.MAX_SAFE_INTEGER) };
  state.visible_mm = number(given.get('visible'), 0, 100) ?? 0.1;
  state.whole = given.get('whole') === '1';
  state.layer = number(given.get('layer'), 0, 1e9);
  state.line = number(given.get('line'), 0, 1e15);
  return state;
}

export function written(state) {
  const all = new URLSearchParams();
  for (const { job, name, bytes } of state.jobs) all.append('job', job + '/' + bytes + '/' + name);
  if (state.jobs.length > 1 && state.now) all.set('now', state.now);
  if (state.board.name) all.set('board', state.board.name);
  else { all.set('file', state.board.file); all.set('text', state.board.text); }
  for (const set of state.board.sets) all.append('set', set);
  for (const set of state.knobs.sets) all.append('knob', set);
  if (state.knobs.merge_mm !== null) all.set('merge', state.knobs.merge_mm);
  if (state.knobs.seed !== null) all.set('seed', state.knobs.seed);
  if (state.visible_mm !== fresh().visible_mm) all.set('visible', state.visible_mm);
  if (state.whole) all.set('whole', '1');
  for (const key of ['layer', 'line']) if (state[key] !== null) all.set(key, state[key]);
  return '#' + all;
}

export const keyOf = (set) => set.slice(0, set.indexOf('='));

// Changes with others put over them: of two of the same key the later counts.
export function over(sets, more) {
  const keys = new Set(more.map(keyOf));
  return [...sets.filter((set) => !keys.has(keyOf(set))), ...more];
}
