// Work that takes a while: a button that starts it, one that stops it, how far it is, and what came of it.
import { button, el } from './controls.js';

// `run({signal, onAt})` does it. `words`: {id, start, doing, done}.
export function work(words, run) {
  const told = el('p', { role: 'status', id: words.id + '-told' }), bar = el('progress', { hidden: true, 'aria-label': words.doing });
  // How far it is, for the eye only: it would be read out twenty times a second.
  const far = el('span', { 'aria-hidden': 'true' });
  const stop = button('Stop', () => running?.abort(), { id: words.id + '-stop', hidden: true });
  const start = button(words.start, begin, { id: words.id + '-start' });
  let running = null;

  async function begin() {
    running?.abort();
    const mine = running = new AbortController();
    stop.hidden = bar.hidden = false;
    bar.removeAttribute('value');
    told.textContent = words.doing + '.';
    told.classList.remove('wrong');
    const onAt = ({ done, of }) => {
      if (running !== mine) return;
      if (of) { bar.max = of; bar.value = Math.min(done, of); }
      far.textContent = done + (of ? ' of ' + of : '') + '.';
    };
    try {
      const said = await run({ signal: mine.signal, onAt });
      if (running === mine) told.textContent = said ?? words.done;
    } catch (e) {
      if (running !== mine) return;
      told.textContent = e.name === 'AbortError' ? 'Stopped.' : e.message;
      told.classList.toggle('wrong', e.name !== 'AbortError');
    } finally {
      if (running === mine) { running = null; far.textContent = ''; stop.hidden = bar.hidden = true; }
    }
  }

  return {
    root: el('div', {}, el('div', { class: 'controls' }, start, stop, far), bar, told),
    enable(is) { start.disabled = !is; },
    // What it was about is no more.
    forget() { running?.abort(); running = null; far.textContent = ''; stop.hidden = bar.hidden = true; told.textContent = ''; },
  };
}
