// "What I see": bumps from photographs or from the unrolled wall, and beside them what `explain` says of them.
import { button, el, labelled, printed, showSvg } from './controls.js';
import { FACES, PLACE, runsOf } from './data.js';
import { mountMarks } from './marks.js';
import { mountPhotographs } from './photographs.js';

// Fewer bumps than this tell nothing (as in the command).
const BUMPS_MIN = 6;
// A list that grows is asked about when no bump was added for so long, ms.
const WAIT_MS = 700;

// `app`: question(), data(), api, on. See the page's app.js. Returns the list of bumps.
export function mountSee(root, app) {
  const none = el('p', { text: 'Choose a job first: its part is what bumps are marked on.' });
  const onPhotos = el('div', { id: 'see-photos' }), onExplain = el('div', { id: 'see-explain' });
  const onWall = el('div'), wallPart = el('section', { class: 'see-wall', hidden: true }, el('h3', { text: 'On the unrolled wall' }), onWall);
  root.append(none, el('div', { class: 'see-beside' }, el('div', {}, onPhotos, wallPart), onExplain));
  const marks = mountMarks(onWall), last = () => marks.marks().at(-1);
  const photos = mountPhotographs(onPhotos, {
    layers: () => {
      const { layers } = app.data();
      layers.forEach(runsOf);
      return layers;
    },
    walls: () => app.data()?.seen ?? null,
    marks: () => marks.marks(),
    predicted: (part) => predicted(app.data(), part),
    add: (mark) => {
      const before = marks.marks().length;
      marks.add(mark);
      const n = marks.marks().length;
      return n > before ? 'bump ' + n + ' at ' + marks.describe(last()) : 'The list is full.';
    },
    undo: () => {
      const n = marks.marks().length, words = n ? 'bump ' + n + ' at ' + marks.describe(last()) + ' is taken back' : 'No bump is marked.';
      marks.undo();
      return words;
    },
  });
  const explain = mountExplain(onExplain, app, marks, photos);
  marks.changed(() => { photos.redraw(); explain.soon(); });
  const renew = () => {
    const has = Boolean(app.data()?.seen);
    none.hidden = has;
    onPhotos.hidden = onExplain.hidden = !has;
    marks.setData(app.data());
    photos.renew();
    explain.soon();
  };
  app.on('replayed', renew);
  renew();
  return marks;
}

// The outer bumps that the replay predicts for a part: height of the layer's middle, and angle.
function predicted(data, part) {
  const { parts, tops } = data.seen, { low, high, middle } = parts[part];
  return data.bumps
    .filter((b) => b[FACES] === 'outer' && b[PLACE].every((v, k) => k > 1 || (v >= low[k] && v <= high[k])))
    .map((b) => ({ z: b[PLACE][2] - tops[0] / 2, angle: Math.atan2(b[PLACE][1] - middle[1], b[PLACE][0] - middle[0]) * 180 / Math.PI }));
}

function mountExplain(root, app, marks, photos) {
  // `value`: the command's own; empty ones are left to the program.
  const number = (id, value, min, max, step) => el('input', { type: 'number', id, value, min, max, step, on: { change: soon } });
  const angleErr = number('see-angle-err', '3', 1, 90, 0.5), zErr = number('see-z-err', '', 0, 20, 0.05);
  const window = [['from, degrees', -360, 720], ['counter-clockwise to, degrees', -360, 720], ['from height, mm', 0, 10000], ['to height, mm', 0, 10000]]
    .map(([words, min, max], k) => [words, number('see-window-' + k, '', min, max, 'any')]);
  const told = el('p', { role: 'status', id: 'see-told' }), text = printed('see-text', { hidden: true });
  const picture = el('img', { id: 'see-picture', class: 'picture', hidden: true, alt: 'The bumps on the unrolled wall, over those predicted, and what they agree with' });
  const now = button('Explain now', ask, { id: 'see-now' });
  root.append(
    el('h3', { text: 'What they agree with' }),
    el('p', { class: 'note', text: 'How exactly can you tell places? From a photograph that fits: heights to a layer or so, angles to 2 or 3 degrees. Left empty, the height’s error is 0.3 mm, or nothing for counted layers.' }),
    el('div', { class: 'controls' }, labelled('Error of angles, degrees', angleErr), labelled('Error of heights, mm', zErr)),
    el('fieldset', { class: 'controls' }, el('legend', { text: 'Where you looked (all four or none)' }), ...window.map(([words, input]) => labelled(words, input)),
      button('As the photographs show', looked, { id: 'see-looked' })),
    el('div', { class: 'controls' }, now), told, text, picture);
  let timer = 0, running = null;

  const count = () => marks.marks().length;
  function looked() {
    const all = photos.looked();
    if (!all) { told.textContent = 'No photograph is laid on the part, or those that are leave gaps: give the window by hand.'; return; }
    window.forEach(([, input], k) => { input.value = all[k]; });
    soon();
  }

  function show(answer) {
    text.hidden = !answer;
    text.textContent = answer?.text ?? '';
    showSvg(picture, answer?.svg);
  }

  // Asks as soon as nothing changes any more; what is asked already is dropped.
  function soon() {
    clearTimeout(timer);
    running?.abort();
    running = null;
    const n = count();
    now.disabled = n < BUMPS_MIN || !app.data();
    if (n < BUMPS_MIN || !app.data()) {
      show(null);
      told.textContent = !app.data() ? 'Choose a job first.' : n ? n + (n === 1 ? ' bump is' : ' bumps are') + ' marked; ' + BUMPS_MIN + ' are needed, and 20 to 50 tell far more.'
        : 'Mark the bumps that you see, on a photograph or on the unrolled wall: ' + BUMPS_MIN + ' at least.';
      return;
    }
    told.textContent = 'The list has changed: asking again.';
    timer = setTimeout(ask, WAIT_MS);
  }

  async function ask() {
    clearTimeout(timer);
    running?.abort();
    const mine = running = new AbortController(), n = count();
    const asked = { ...app.question(), seen: marks.csv() };
    if (angleErr.value !== '') asked.angle_err_deg = angleErr.valueAsNumber;
    if (zErr.value !== '') asked.z_err_mm = zErr.valueAsNumber;
    const looked = window.map(([, input]) => input.value);
    if (looked.some((v) => v !== '')) asked.window = looked.join(',');
    told.textContent = 'Comparing ' + n + ' bumps with each explanation.';
    try {
      const answer = await app.api.stream('explain', asked, { signal: mine.signal });
      if (running !== mine) return;
      show(answer);
      told.textContent = 'What ' + n + ' bumps say, with the job and the board as they are now:';
    } catch (e) {
      if (running !== mine) return;
      show(null);
      told.textContent = e.message;
    } finally {
      if (running === mine) running = null;
    }
  }
  soon();
  return { soon };
}
