// What can be taken away: pictures, tables, the whole page in a file, the text for a forum, the board.
import { button, el, labelled } from './controls.js';
import { save } from './dom.js';
import { work } from './work.js';

const FILES = [
  ['report.html', 'the whole answer in one file, which opens without this program'],
  ['map.svg', 'the layer that is shown above, from above'], ['map.png', 'the same for places that take no SVG'],
  ['wall.svg', 'the outer wall unrolled, to hold beside the print'], ['wall.png', 'the same'],
  ['part.svg', 'the part from a corner'], ['part.png', 'the same'],
  ['queue.svg', 'the time around the worst stall'], ['queue.png', 'the same'],
  ['speed.svg', 'the speed of the head around it'], ['speed.png', 'the same'],
  ['summary.json', 'the answer in numbers'], ['stalls.csv', 'every stall'], ['bumps.csv', 'every bump'], ['post.txt', 'a short text for a forum'],
];

export function mountTake(root, app) {
  const none = el('p', { text: 'Drop a job first: then its pictures and tables can be taken from here.' });
  const what = el('select', { id: 'take-what' }, ...FILES.map(([name, says]) => el('option', { value: name, text: name + ': ' + says })));
  const by = el('select', { id: 'take-by' }, el('option', { value: 'angle', text: 'the angle around the part' }), el('option', { value: 'length', text: 'the length along its wall' }));
  const post = el('textarea', { id: 'take-post', rows: 14, readonly: true, 'aria-label': 'The text for a forum' });
  const preview = el('div', { hidden: true }, el('p', { class: 'note', text: 'Copy this:' }), post);
  const fetching = work({ id: 'take', start: 'Make and save it', doing: 'Making the file', done: 'Saved.' }, async ({ signal }) => {
    const asked = { ...app.question(), what: what.value, by: by.value, layer: app.state.layer };
    const { blob, name } = await app.api.file('take', asked, { signal });
    save(blob, name, blob.type);
    preview.hidden = what.value !== 'post.txt';
    if (!preview.hidden) post.value = await blob.text();
    return name + ' is saved (' + (blob.size < 1e6 ? Math.ceil(blob.size / 1e3) + ' kB' : (blob.size / 1e6).toFixed(1) + ' MB') + ').';
  });
  const all = el('div', {}, el('div', { class: 'controls' }, labelled('What', what), labelled('Across the unrolled wall', by)), fetching.root, preview);
  root.append(none, all, el('div', { class: 'controls' },
    button('Save the board file', () => document.getElementById('board-save').click(), { id: 'take-board' })));
  const renew = () => { const has = Boolean(app.data()); none.hidden = has; all.hidden = !has; preview.hidden = true; };
  app.on('shown', renew);
  renew();
}
