// Cures: every remedy tried and ranked; and the job mended, with its proof.
import { button, el, labelled, printed, wrongNumber } from './controls.js';
import { over } from './state.js';
import { work } from './work.js';

const time = (s) => (s < 60 ? s.toFixed(1) + ' s' : Math.floor(s / 60) + ' min ' + Math.round(s % 60) + ' s');

export function mountCures(root, app) {
  const none = el('p', { text: 'Drop a job first: then what cures it can be tried here.' }), all = el('div');
  root.append(none, all);
  const parts = [mountRemedies(all, app), mountMend(all, app)];
  // An answer belongs to the job, the board and the knobs that it was asked about.
  let about = '';
  const renew = () => {
    const now = JSON.stringify(app.question());
    none.hidden = Boolean(app.state.now);
    all.hidden = !app.state.now;
    if (now !== about) for (const part of parts) part.renew();
    about = now;
  };
  app.on('asking', renew);
  app.on('jobs', renew);
  renew();
}

// Both are worked out for the job as it is: merged chords are left out of the question.
const question = (app) => ({ ...app.question(), merge_mm: null });
const left = (app) => (app.state.knobs.merge_mm === null ? '' : ' For the job as it is: the knob “Chords merged” is left out.');

function mountRemedies(root, app) {
  const verdict = el('p', { class: 'verdict' }), body = el('tbody'), notes = el('ul', { class: 'notes' }), text = printed('cures-text');
  const answer = el('div', { hidden: true }, verdict,
    el('div', { class: 'scroll' }, el('table', { id: 'cures-table' }, el('thead', {}, el('tr', {},
      ...['remedy', 'visible bumps', 'stalls', 'lost', 'print time', 'what it costs', 'try'].map((name) => el('th', { scope: 'col', class: /remedy|costs/.test(name) ? 'words' : '', text: name })))), body)),
    notes, el('details', {}, el('summary', { text: 'In words, as the command remedies prints it' }), text));
  const trying = work({ id: 'cures', start: 'Try all remedies', doing: 'Trying remedies', done: 'All were tried.' }, async (how) => {
    const said = left(app);
    show(await app.api.stream('remedies', question(app), how));
    return 'All were tried, the best first.' + said;
  });
  root.append(el('h3', { text: 'Remedies' }), el('p', { class: 'note', text: 'Each one is tried on this job, with the same luck. Settings come before slicing again, that before something to buy.' }), trying.root, answer);

  function row(cure, settings, name = cure.remedy) {
    const turn = () => app.change({ knobs: { ...app.state.knobs, sets: over(app.state.knobs.sets, settings.sets), merge_mm: settings.merge_mm ?? app.state.knobs.merge_mm } });
    const by = cure.longer_s, longer = Math.abs(by) < 0.05 ? '' : (by > 0 ? ' (+' : ' (−') + time(Math.abs(by)) + ')';
    return el('tr', {}, el('th', { scope: 'row', class: 'words', text: name }), el('td', { text: cure.visible.toFixed(1) }), el('td', { text: cure.stalls.toFixed(1) }),
      el('td', { text: time(cure.lost_s) }), el('td', { text: time(cure.replay_s) + longer }),
      el('td', { class: 'words', text: [cure.cost, cure.shift_mm > 0 ? 'the path moves by at most ' + cure.shift_mm.toFixed(3) + ' mm' : ''].filter(Boolean).join('; ') }),
      el('td', {}, ...(settings ? [button('Try it', turn, { 'aria-label': 'Try it: ' + cure.remedy })] : [])));
  }

  function show({ json, settings, set, notes: said, text: words }) {
    answer.hidden = false;
    verdict.textContent = json.verdict;
    body.replaceChildren(row(json.today, null), ...(json.set ? [row(json.set, set, 'together: ' + json.set.remedy)] : []), ...json.single.map((cure, k) => row(cure, settings[k])));
    notes.replaceChildren(...said.map((note) => el('li', { text: note })));
    text.textContent = words;
  }

  return { renew() { trying.forget(); answer.hidden = true; } };
}

const MEANS = [
  ['merge', 'Merge moves that are shorter than the curve needs', true], ['pace', 'Slow down where the board may lose the pace', true],
  ['strip', 'Take out comments and needless decimals', true], ['arcs', 'Use arcs (the controller must know G2 and G3)', false],
];

function mountMend(root, app) {
  const means = MEANS.map(([name, says, is]) => [name, says, el('input', { type: 'checkbox', id: 'mend-' + name, checked: is })]);
  const within = el('input', { type: 'number', id: 'mend-within', value: 0.02, min: 0.001, max: 1, step: 0.001 });
  const everywhere = el('input', { type: 'checkbox', id: 'mend-everywhere' });
  const save = el('a', { class: 'button', id: 'mend-save' }), text = printed('mend-text');
  // Sent anew as a job of its own: the program keeps only the last that was mended.
  const look = button('Look at the mended job', async () => {
    const { file, name } = mended;
    try {
      const blob = await (await fetch('files/' + file)).blob(), held = await app.api.upload('jobs?name=' + encodeURIComponent(name), blob);
      app.change({ jobs: [...app.jobs(), held], now: held.job, layer: null, line: null });
    } catch (e) {
      text.textContent = e.message;
    }
  }, { id: 'mend-look' });
  const done = el('div', { hidden: true }, el('div', { class: 'controls' }, save, look), text);
  let mended = null;
  const mending = work({ id: 'mend', start: 'Mend the job', doing: 'Mending, readings of the job', done: '' }, async (how) => {
    const allow = means.filter(([, , box]) => box.checked).map(([name]) => name).join(',');
    const wrong = wrongNumber(within);
    if (!allow || wrong) throw new Error(wrong ?? 'Choose at least one of the means.');
    const asked = { ...question(app), runs: 20, allow, within_mm: within.valueAsNumber, everywhere: everywhere.checked };
    const said = left(app);
    mended = await app.api.stream('mend', asked, how);
    done.hidden = false;
    save.parentElement.hidden = !mended.file;
    if (mended.file) {
      save.href = 'files/' + mended.file;
      save.download = mended.name;
      save.textContent = 'Download ' + mended.name;
    }
    text.textContent = mended.text;
    return mended.json.verdict + said;
  });
  root.append(el('h3', { text: 'Mend the job' }),
    el('p', { class: 'note', text: 'Writes the job anew so that this board keeps up, and proves it: the new job is read again and replayed. The shape stays within what you allow. Watch the first layers of a mended job.' }),
    el('div', { class: 'controls' }, ...means.map(([, says, box]) => el('label', {}, box, ' ' + says)), labelled('The path may move by at most, mm', within), el('label', {}, everywhere, ' All over the job, not just where it stutters')),
    mending.root, done);
  return { renew() { mending.forget(); done.hidden = true; mended = null; } };
}
