// "Measure my board": the coupon, its times by stopwatch or by sound, and the board that fits them.
import { button, drops, el, labelled, printed, showSvg, wrongNumber } from './controls.js';
import { save } from './dom.js';
import { mountStopwatch } from './stopwatch.js';

const COUPON_BYTES_MAX = 3 * 1048576, TIMES_BYTES_MAX = 1048576;
// Fewest times that a board is fitted to (as in the command).
const TIMES_MIN = 6;

// The names of a coupon's sections, from its comments.
function sectionsOf(text) {
  const names = [];
  for (const [, k, name] of text.matchAll(/^; section (\d+) of \d+: (.*)$/gm)) names[Number(k) - 1] = name.trim();
  return Array.from(names, (name) => name ?? '');
}

// `app`: board(), question(), jobs(), useBoard({text, file}), api, on. See the page's app.js.
export function mountMeasure(root, app) {
  const state = { coupon: null, name: 'coupon.gcode', sections: [], recording: null, list: null, answer: null };
  const told = el('p', { role: 'status', id: 'fit-told' });
  const watch = mountCoupon(root, app, state, renewed);
  const fitting = mountFit(root, app, state, watch, told);
  function renewed() { fitting.renew(); }
  watch.changed(fitting.enable);
}

// The coupon: what it does and its cautions first, then its download; then the times.
function mountCoupon(root, app, state, renewed) {
  const number = (id, value, min, max) => el('input', { type: 'number', id, value, min, max, step: 'any' });
  const x = number('coupon-x', 80, -2000, 2000), y = number('coupon-y', 80, -2000, 2000), z = number('coupon-z', 20, 5, 2000);
  const speed = number('coupon-speed', 100, 10, 100), arcs = el('input', { type: 'checkbox', id: 'coupon-arcs', checked: true });
  const told = el('p', { role: 'status', id: 'coupon-told' }), text = printed('coupon-text', { hidden: true });
  const download = button('Download coupon.gcode', () => save(state.coupon, 'coupon.gcode', 'text/x-gcode'), { id: 'coupon-save', hidden: true });
  const file = el('input', { type: 'file', id: 'coupon-load', accept: '.gcode,.gco,.g,.nc,text/plain', on: { change: load } });
  const times = el('div', { hidden: true, id: 'times' }), stopwatch = el('div');
  root.append(
    el('p', { text: 'A dry run of some five minutes, without heat and without filament, tells your board’s own numbers. It moves the axes: read the cautions before you run it, and go by the maker’s manual and local rules.' }),
    el('h3', { text: 'The coupon' }),
    el('p', { class: 'note', text: 'It is made for the board that is chosen above: choose the one that is most like yours, with your printer’s own limits under [motion].' }),
    el('div', { class: 'controls' }, labelled('Box from x, mm', x), labelled('from y, mm', y), labelled('Height of the head, mm', z), labelled('Highest speed, mm/s', speed),
      el('label', {}, arcs, ' With arcs (off: for a controller that doesn’t know them)')),
    el('div', { class: 'controls' }, button('Show the cautions and make the coupon', ask, { id: 'coupon-make' }), labelled('Or use one that you saved before', file)),
    told, text, download, times);
  times.append(el('h3', { text: 'The times, by stopwatch' }), stopwatch);
  const watch = mountStopwatch(stopwatch, () => state.sections);

  function use(coupon, name, words) {
    state.coupon = coupon;
    state.name = name;
    state.sections = sectionsOf(coupon);
    told.textContent = words;
    times.hidden = false;
    watch.renew();
    renewed();
  }

  async function ask() {
    const wrong = wrongNumber(x, y, z, speed);
    if (wrong) { told.textContent = wrong; return; }
    told.textContent = 'Making the coupon.';
    try {
      const made = await app.api.post('coupon', {
        board: app.board(), at: [x.valueAsNumber, y.valueAsNumber], z: z.valueAsNumber, speed: speed.valueAsNumber, arcs: arcs.checked,
      });
      text.textContent = made.text;
      text.hidden = download.hidden = false;
      use(made.gcode, 'coupon.gcode', 'The coupon is ready. Read this first; the download stands below it.');
    } catch (e) {
      told.textContent = e.message;
    }
  }

  async function load() {
    const chosen = file.files[0];
    if (!chosen) return;
    file.value = '';
    if (chosen.size > COUPON_BYTES_MAX) { told.textContent = chosen.name + ' is larger than 3 MiB; a coupon has 1 MB.'; return; }
    const coupon = await chosen.text(), n = sectionsOf(coupon).length;
    if (n < TIMES_MIN) { told.textContent = chosen.name + ' is no coupon: it names no sections.'; return; }
    text.hidden = download.hidden = true;
    use(coupon, chosen.name, chosen.name + ' is used: ' + n + ' sections. Its cautions stand at its beginning.');
  }
  return watch;
}

// The list of times or the recording, and the board that fits.
function mountFit(root, app, state, watch, told) {
  const file = el('input', { type: 'file', id: 'fit-load', accept: '.csv,.wav,text/csv,audio/wav,audio/x-wav', on: { change: () => { take(file.files[0]); file.value = ''; } } });
  const given = el('p', { class: 'note', id: 'fit-given' });
  const sigma = el('input', { type: 'number', id: 'fit-sigma', value: 0.15, min: 0.001, max: 60, step: 'any' });
  const start = button('Fit the board', ask, { id: 'fit-start' }), cancel = button('Stop', () => running?.abort(), { id: 'fit-stop', hidden: true });
  const bar = el('progress', { id: 'fit-bar', hidden: true, 'aria-label': 'Progress of the fit' });
  const text = printed('fit-text', { hidden: true }), picture = el('img', { class: 'picture', id: 'fit-picture', hidden: true, alt: 'Loudness of the recording, with the sections that were heard' });
  const board = button('Download the board', () => save(state.answer.board_text, 'my-board.toml'), { id: 'fit-board' });
  const times = button('Download the times', () => save(state.answer?.times_csv || list(), 'times.csv', 'text/csv'), { id: 'fit-times' });
  const before = button('Back to the board before', () => { app.useBoard(state.before); told.textContent = 'The board from before is in use again.'; before.hidden = true; }, { id: 'fit-undo', hidden: true });
  const own = button('Use the stopwatch again', () => use({ recording: null, list: null }), { id: 'fit-own', hidden: true });
  const part = el('div', { id: 'fit', hidden: true },
    el('h3', { text: 'Or from a recording' }),
    el('p', { text: 'Lay a telephone on the printer’s frame, switch fans off, record from before the start to 5 s after the end, and save it as WAV. Drop the recording here, or a list of times that you saved. It goes to the program on this computer and nowhere else.' }),
    el('div', { class: 'controls' }, labelled('Recording (WAV) or times (CSV)', file), own), given,
    el('h3', { text: 'The board that fits' }),
    el('div', { class: 'controls' }, labelled('Error of a time by stopwatch, s', sigma), start, cancel, times, before), bar, told, text, picture,
    el('div', { class: 'controls', id: 'fit-done', hidden: true }, board));
  root.append(part);
  let running = null;

  const list = () => state.list ?? watch.csv();
  const enough = () => Boolean(state.coupon) && Boolean(state.recording || state.list || watch.count() >= TIMES_MIN);

  // Takes other times; a recording that they replace need not be kept.
  function use(times) {
    if (state.recording) app.api.remove('files/' + state.recording).catch(() => {});
    Object.assign(state, times);
    enable();
  }

  function enable() {
    own.hidden = !(state.recording || state.list);
    start.disabled = !enough() || Boolean(running);
    times.hidden = !(state.answer?.times_csv || watch.count());
    if (!state.recording && !state.list) {
      const n = watch.count();
      given.textContent = n ? n + ' of ' + state.sections.length + ' sections have a time by stopwatch' + (n < TIMES_MIN ? '; ' + TIMES_MIN + ' are needed.' : '.') : 'No times yet.';
    }
  }

  async function take(chosen) {
    if (!chosen) return;
    try {
      const start = new TextDecoder('latin1').decode(await chosen.slice(0, 12).arrayBuffer());
      if (start.startsWith('RIFF') && start.endsWith('WAVE')) {
        given.textContent = 'Reading ' + chosen.name + '.';
        const { recording } = await app.api.upload('recordings?name=' + encodeURIComponent(chosen.name), chosen);
        use({ recording, list: null });
      } else if (chosen.size > TIMES_BYTES_MAX) {
        throw new Error('it is neither a WAV file nor a list of times (larger than 1 MiB)');
      } else {
        const list = await chosen.text(), head = list.replace(/^\uFEFF/, '').split(/\r\n?|\n/).find((line) => line.trim() && !line.startsWith('#')) ?? '';
        if (!/section/i.test(head) || !/second/i.test(head)) throw new Error('it is no list of times: its first line must be section,seconds');
        use({ recording: null, list });
      }
      given.textContent = chosen.name + ' is used in place of the stopwatch.';
    } catch (e) {
      given.textContent = chosen.name + ' is not used: ' + e.message;
    }
    enable();
  }

  async function ask() {
    const wrong = wrongNumber(sigma);
    if (wrong) { told.textContent = wrong; return; }
    const asked = { board: app.board(), seed: 0, sigma: sigma.valueAsNumber, coupon: state.coupon, coupon_name: state.name, jobs: app.jobs().map((j) => j.job) };
    if (state.recording) asked.recording = state.recording; else asked.times = list();
    running = new AbortController();
    enable();
    cancel.hidden = bar.hidden = false;
    bar.removeAttribute('value');
    told.textContent = 'Fitting: some 1000 replays of the coupon, up to a minute.';
    try {
      const answer = await app.api.stream('fit', asked, {
        signal: running.signal,
        onAt: ({ done, of }) => { if (of) { bar.max = of; bar.value = Math.min(done, of); } },
      });
      state.answer = answer;
      state.before = app.board();
      app.useBoard({ text: answer.board_text, file: 'my-board.toml' });
      told.textContent = 'The fitted board is in use now, in all that stands above.';
      before.hidden = false;
      show(answer);
    } catch (e) {
      told.textContent = e.name === 'AbortError' ? 'The fit was stopped.' : e.message;
      state.answer = null;
      show(null);
    }
    running = null;
    cancel.hidden = bar.hidden = true;
    enable();
  }

  function show(answer) {
    text.hidden = root.querySelector('#fit-done').hidden = !answer;
    text.textContent = answer?.text ?? '';
    showSvg(picture, answer?.svg);
  }

  drops(root, ([first]) => take(first));
  return {
    enable,
    renew: () => { Object.assign(state, { recording: null, list: null, answer: null }); part.hidden = !state.coupon; show(null); enable(); },
  };
}
