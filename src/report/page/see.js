// "What I see": bumps from photographs or from the unrolled wall, and beside them what `explain` says of them.
import { FACES, PLACE, unpack } from './data.js';
import { button, labelled, make } from './dom.js';
import { mountPhotographs } from './photographs.js';

// Fewer bumps than this tell nothing (as in the command).
const BUMPS_MIN = 6;
// A list that grows is asked about when no bump was added for so long, ms.
const WAIT_MS = 700;

// `app`: question(), data(), wall, api, on. See the page's app.js.
export function mountSee(root, app) {
  const photos = mountPhotographs(root.appendChild(make('div', { id: 'see-photos' })), {
    layers: () => {
      const { layers } = app.data();
      for (const layer of layers) layer.runs ??= unpack(layer.path);
      return layers;
    },
    walls: () => app.data()?.seen ?? null,
    marks: () => app.wall.marks(),
    predicted: (part) => predicted(app.data(), part),
    add: (mark) => app.wall.add(mark),
    undo: () => app.wall.undo(),
  });
  const explain = mountExplain(root.appendChild(make('div', { id: 'see-explain' })), app);
  app.wall.changed(() => { photos.redraw(); explain.soon(); });
  app.on('replayed', () => { photos.renew(); explain.soon(); });
}

// The outer bumps that the replay predicts for a part: height of the layer's middle, and angle.
function predicted(data, part) {
  const { parts, tops } = data.seen, { low, high, middle } = parts[part];
  return data.bumps
    .filter((b) => b[FACES] === 'outer' && b[PLACE].every((v, k) => k > 1 || (v >= low[k] && v <= high[k])))
    .map((b) => ({ z: b[PLACE][2] - tops[0] / 2, angle: Math.atan2(b[PLACE][1] - middle[1], b[PLACE][0] - middle[0]) * 180 / Math.PI }));
}

function mountExplain(root, app) {
  const number = (id, value, min, max, step) => make('input', { type: 'number', id, value, min, max, step, on: { change: soon } });
  const angleErr = number('see-angle-err', '3', 1, 90, 0.5), zErr = number('see-z-err', '', 0, 20, 0.05);
  const told = make('p', { role: 'status', id: 'see-told' }), text = make('pre', { id: 'see-text', hidden: true });
  const picture = make('img', { id: 'see-picture', class: 'picture', hidden: true, alt: 'The bumps on the unrolled wall, over those predicted, and what they agree with' });
  const now = button('Explain now', ask, { id: 'see-now' });
  root.append(
    make('h3', { text: 'What they agree with' }),
    make('p', { class: 'note', text: 'How exactly can you tell places? From a photograph that fits: heights to a layer or so, angles to 2 or 3 degrees. Left empty, the height’s error is 0.3 mm, or nothing for counted layers.' }),
    make('div', { class: 'controls' }, labelled('Error of angles, degrees', angleErr), labelled('Error of heights, mm', zErr), now), told, text, picture);
  let timer = 0, running = null, url = null;

  const count = () => app.wall.marks().length;
  function show(answer) {
    text.hidden = picture.hidden = !answer;
    if (!answer) return;
    text.textContent = answer.text;
    if (url) URL.revokeObjectURL(url);
    url = URL.createObjectURL(new Blob([answer.svg], { type: 'image/svg+xml' }));
    picture.src = url;
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
    const asked = { ...app.question(), seen: app.wall.csv() };
    if (angleErr.value !== '') asked.angle_err_deg = angleErr.valueAsNumber;
    if (zErr.value !== '') asked.z_err_mm = zErr.valueAsNumber;
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
