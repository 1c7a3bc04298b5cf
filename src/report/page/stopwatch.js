// A stopwatch for the sections of a coupon, and their times.
import { button, labelled, el } from './controls.js';

// `sections()`: their names. Returns csv(), count(), fill(text), renew(), changed(fn).
export function mountStopwatch(root, sections) {
  let times = [], next = 0, since = null, ticking = 0, wasPressed = false, heard = () => {};
  const face = el('output', { class: 'watch-face', id: 'watch-face', text: '0.0 s' });
  const told = el('p', { role: 'status', id: 'watch-told' });
  const key = el('button', { type: 'button', id: 'watch-key', class: 'watch-key' });
  const back = button('Take the last time back', takeBack, { id: 'watch-back' });
  const which = el('select', { id: 'watch-next', on: { change: () => { next = which.selectedIndex; stop(); draw(); } } });
  const body = el('tbody');
  root.append(
    el('p', { text: 'Press the space bar when the head begins to move, and again when it stands still after the section’s last move. Then the next section waits. A section that you miss may stay empty: choose the next one by hand.' }),
    el('div', { class: 'controls' }, key, face, labelled('Next section', which), back), told,
    el('div', { class: 'scroll' }, el('table', { class: 'watch-times' },
      el('caption', { text: 'Times, seconds; they can be corrected here' }),
      el('thead', {}, el('tr', {}, ...['Section', 'What it is', 'Seconds'].map((text) => el('th', { scope: 'col', text, class: text === 'What it is' ? 'words' : '' })))), body)));

  const names = () => sections();
  const shown = (s) => s.toFixed(1) + ' s';

  function stop() {
    since = null;
    clearInterval(ticking);
  }

  // The key went down at this time of the page's clock, ms.
  function pressed(at) {
    if (next >= names().length) { told.textContent = 'All sections have a time. Choose a section to time it again.'; return; }
    if (since === null) {
      since = at;
      ticking = setInterval(() => { face.textContent = shown((performance.now() - since) / 1000); }, 100);
      told.textContent = 'Section ' + (next + 1) + ' runs.';
    } else {
      const took = Math.round(at - since) / 1000;
      stop();
      times[next] = took;
      face.textContent = shown(took);
      told.textContent = 'Section ' + (next + 1) + ': ' + took.toFixed(2) + ' s.';
      next++;
      heard();
    }
    draw();
  }

  function takeBack() {
    if (since !== null) {
      stop();
      told.textContent = 'Section ' + (next + 1) + ' is not timed; it waits again.';
    } else if (next > 0) {
      next--;
      times[next] = undefined;
      told.textContent = 'The time of section ' + (next + 1) + ' is taken back; it waits again.';
      heard();
    }
    face.textContent = '0.0 s';
    draw();
  }

  function draw() {
    const all = names(), done = next >= all.length;
    key.textContent = done ? 'All sections are timed' : (since === null ? 'Start section ' : 'Stop section ') + (next + 1) + ' (space bar)';
    key.classList.toggle('running', since !== null);
    back.disabled = since === null && next === 0;
    if (which.length !== all.length + 1) {
      which.replaceChildren(...all.map((_, k) => el('option', { text: String(k + 1) })), el('option', { text: 'none left' }));
    }
    which.selectedIndex = Math.min(next, all.length);
    if (body.rows.length !== all.length) {
      body.replaceChildren(...all.map((name, k) => {
        const input = el('input', { type: 'number', min: 0, max: 100000, step: 'any', 'aria-label': 'Seconds of section ' + (k + 1) });
        input.addEventListener('change', () => { times[k] = input.value === '' ? undefined : input.valueAsNumber; heard(); draw(); });
        return el('tr', {}, el('td', { text: String(k + 1) }), el('td', { class: 'words', text: name }), el('td', {}, input));
      }));
    }
    all.forEach((_, k) => {
      const row = body.rows[k], input = row.querySelector('input');
      row.classList.toggle('now', k === next);
      input.value = times[k] ?? '';
    });
  }

  key.addEventListener('keydown', (e) => {
    if (e.key !== ' ' && e.key !== 'Enter') return;
    e.preventDefault();
    if (!e.repeat) pressed(e.timeStamp);
  });
  // Where a button answers when the key comes up: it has answered already.
  key.addEventListener('keyup', (e) => { if (e.key === ' ') e.preventDefault(); });
  key.addEventListener('pointerdown', (e) => { if (e.button === 0) { wasPressed = true; pressed(e.timeStamp); } });
  key.addEventListener('click', (e) => { if (!wasPressed) pressed(e.timeStamp); wasPressed = false; });

  return {
    // The list as `fit` reads it; empty without a time.
    csv: () => 'section,seconds\n' + names().map((_, k) => (times[k] === undefined ? '' : k + 1 + ',' + times[k] + '\n')).join(''),
    count: () => names().filter((_, k) => times[k] !== undefined).length,
    renew: () => { stop(); times = []; next = 0; face.textContent = '0.0 s'; draw(); },
    changed: (fn) => { heard = fn; },
  };
}
