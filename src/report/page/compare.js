// Boards side by side, as the command `compare` does it.
import { el, printed, showSvg } from './controls.js';
import { work } from './work.js';

export function mountCompare(root, app) {
  const boxes = app.about.boards.map(({ name, what }) => [name, what, el('input', { type: 'checkbox', value: name })]);
  const picture = el('img', { class: 'picture', hidden: true, alt: 'Visible bumps of each board, with the range of its runs' });
  const text = printed('compare-text', { hidden: true });
  const comparing = work({ id: 'compare', start: 'Compare', doing: 'Comparing', done: 'Compared, with the same luck for each.' }, async (how) => {
    const others = boxes.filter(([, , box]) => box.checked).map(([name]) => ({ name, sets: [] }));
    if (!others.length) throw new Error('Choose at least one board to compare with.');
    const { now, visible_mm, knobs } = app.state;
    const answer = await app.api.stream('compare', { job: now, boards: [app.board(), ...others], seed: knobs.seed ?? 0, visible_mm }, how);
    text.textContent = answer.text;
    text.hidden = false;
    showSvg(picture, answer.svg);
  });
  root.append(el('h3', { text: 'Other boards beside this one' }), el('p', { class: 'note', text: 'The board as it is now, knobs included, is compared with those that you choose. Merged chords are left out.' }),
    el('div', { class: 'controls' }, ...boxes.map(([name, what, box]) => el('label', { title: what }, box, ' ' + name))), comparing.root, picture, text);
  const forget = () => { comparing.forget(); text.hidden = true; showSvg(picture, null); };
  app.on('board', forget);
  app.on('jobs', forget);
}
