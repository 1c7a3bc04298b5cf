// The verdict, its figures, its causes, and what to try next.
import { button, el, printed } from './controls.js';
import { over } from './state.js';

const NONE = 'Drop a job first, or choose one above: then the answer stands here, and below it every layer, the wall and each stall.';

export function mountAnswer(root, app) {
  const told = el('p', { role: 'status', id: 'answer-told' }), bar = el('progress', { hidden: true, 'aria-label': 'Progress of the replay' });
  // How far it is, for the eye only: it would be read out twenty times a second.
  const far = el('span', { 'aria-hidden': 'true' });
  const stop = button('Stop', () => app.stop(), { id: 'answer-stop', hidden: true }), again = button('Ask again', () => app.renew(), { id: 'answer-again', hidden: true });
  const figures = el('dl', { class: 'figures' }), causes = el('div'), ideas = el('div'), text = printed('answer-text');
  const words = el('details', { id: 'answer-words' }, el('summary', { text: 'In words, as the command replay prints it' }), text);
  const all = el('div', { hidden: true }, figures, causes, ideas, words);
  const verdict = document.getElementById('verdict'), subject = document.getElementById('subject');
  root.append(el('div', { class: 'controls working' }, told, far, bar, stop, again), all);

  function working(is) {
    bar.hidden = stop.hidden = far.hidden = !is;
    far.textContent = '';
    root.setAttribute('aria-busy', String(is));
    if (is) { again.hidden = true; bar.removeAttribute('value'); told.classList.remove('wrong'); }
  }

  const tasks = { replaying: 'Replaying', 'trying other luck': 'Trying other luck', 'working out causes': 'Working out causes', 'tracing a layer': 'Tracing a layer' };
  app.on('asking', () => { working(true); told.textContent = 'Working.'; });
  app.on('at', ({ task, done, of }) => {
    if (of) { bar.max = of; bar.value = Math.min(done, of); }
    far.textContent = (tasks[task] ?? task) + ': ' + done + (of ? ' of ' + of : '') + '.';
  });
  app.on('idle', () => {
    working(false);
    told.textContent = app.shown().answer ? 'From ' + app.shown().answer.summary.runs + (app.shown().answer.summary.runs === 1 ? ' run' : ' runs') + '.' : NONE;
  });
  app.on('failed', (e) => {
    working(false);
    again.hidden = false;
    const isStopped = e.name === 'AbortError';
    told.classList.toggle('wrong', !isStopped);
    told.textContent = isStopped ? 'Stopped. What is shown is the last answer that came.' : e.message;
  });
  app.on('shown', ({ answer, isQuick }) => {
    all.hidden = !answer;
    document.title = answer ? answer.summary.job + ': Headstall' : 'Headstall';
    verdict.textContent = answer ? answer.summary.verdict : 'Headstall';
    subject.textContent = answer ? [answer.summary.job + ' on ' + answer.summary.board, 'seed ' + answer.summary.seed, ...answer.summary.set].join(', ') + (isQuick ? '; from one run so far' : '')
      : 'Does the print stutter, where, why, and what cures it? Everything stays on this computer.';
    if (!answer) return;
    figures.replaceChildren(...answer.figures.map(({ name, value, what }) =>
      el('div', {}, el('dt', { text: name }), el('dd', {}, el('b', { text: value }), el('span', { text: what })))));
    drawCauses(causes, answer.causes);
    drawIdeas(ideas, answer.ideas, app);
    text.textContent = answer.text;
  });
  told.textContent = NONE;
}

function drawCauses(root, causes) {
  if (!causes) { root.replaceChildren(); return; }
  const tinted = (element, style) => Object.assign(element.style, style) && element;
  const parts = causes.rows.filter((r) => r.percent > 0).map((r) =>
    tinted(el('i', { text: r.percent > 12 ? r.name : '' }), { flexBasis: r.percent + '%', background: r.colour, color: r.ink }));
  root.replaceChildren(
    el('h3', { text: 'What it was lost by' }), el('div', { class: 'bar', 'aria-hidden': 'true' }, ...parts),
    el('ul', { class: 'key' }, ...causes.rows.map((r) => el('li', {}, tinted(el('i'), { background: r.colour }), el('b', { text: r.name }), ' ' + r.says))),
    el('p', { class: 'note', text: causes.how }));
}

function drawIdeas(root, ideas, app) {
  const turn = ({ sets, merge_mm }) => {
    const { knobs } = app.state;
    app.change({ knobs: { ...knobs, sets: over(knobs.sets, sets), merge_mm: merge_mm ?? knobs.merge_mm } });
  };
  const trial = (idea) => (idea.sets.length || idea.merge_mm !== null ? [button('Try it', () => turn(idea), { 'aria-label': 'Try it: ' + idea.text })] : []);
  root.replaceChildren(...(ideas.length ? [el('h3', { text: 'Try next' }), el('ul', { class: 'ideas' },
    ...ideas.map((idea) => el('li', {}, idea.text + '. ', ...trial(idea))))] : []));
}
