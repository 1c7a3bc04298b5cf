// Jobs: dropped or chosen, sent to the program, one of them looked at.
import { button, drops, el, labelled } from './controls.js';

const size = (bytes) => (bytes < 1e6 ? (bytes / 1e3).toFixed(0) + ' kB' : (bytes / 1e6).toFixed(1) + ' MB');

// Where a file belongs that is no job; '' for what may be one.
function belongs({ name, type }) {
  if (type.startsWith('image/') || /\.(jpe?g|png|heic|heif|webp|gif|bmp|tiff?|svg)$/i.test(name)) return '“What I see”; it stays on this page';
  if (type.startsWith('audio/') || /\.(wav|mp3|m4a|ogg|flac)$/i.test(name)) return '“Measure my board”';
  return /\.csv$/i.test(name) ? '“What I see” (bumps) or “Measure my board” (times)' : '';
}

export function mountJobs(root, app) {
  const input = el('input', { type: 'file', id: 'jobs-add', multiple: true, accept: '.gcode,.gco,.g,.nc,text/plain', on: { change: () => { take([...input.files]); input.value = ''; } } });
  const told = el('p', { role: 'status', id: 'jobs-told' }), bar = el('progress', { hidden: true, 'aria-label': 'Progress of reading the job' });
  const stop = button('Stop', () => running?.abort(), { hidden: true }), list = el('ul', { class: 'jobs' });
  root.append(
    el('p', { class: 'drop', text: 'Drop a job (G-code) anywhere on this page, or several; or choose it here. It goes to the program on this computer, and nowhere else.' }),
    el('div', { class: 'controls' }, labelled('Job', input), stop), bar, told, list);
  let running = null, queue = Promise.resolve();

  function take(files) { for (const file of files) queue = queue.then(() => send(file)); }

  async function send(file) {
    const most = app.about.limits.job_bytes;
    if (file.size > most) { told.textContent = file.name + ' is not read: it has ' + size(file.size) + '; the most is ' + size(most) + '.'; return; }
    running = new AbortController();
    bar.hidden = stop.hidden = false;
    bar.max = Math.max(file.size, 1);
    bar.value = 0;
    told.textContent = 'Reading ' + file.name + ' (' + size(file.size) + ').';
    try {
      const held = await app.api.upload('jobs?name=' + encodeURIComponent(file.name), file, { signal: running.signal, onAt: ({ done }) => { bar.value = done; } });
      told.textContent = held.name + ' is here.';
      app.change({ jobs: [...app.jobs(), held], now: held.job, layer: null, line: null });
    } catch (e) {
      told.textContent = e.name === 'AbortError' ? file.name + ' was not read: stopped.' : file.name + ' was not read: ' + e.message;
    } finally {
      bar.hidden = stop.hidden = true;
      running = null;
    }
  }

  // `missing`: it was not there when it was asked about.
  async function drop({ job, name }, missing) {
    const jobs = app.jobs().filter((j) => j.job !== job), now = app.state.now === job ? jobs[0]?.job ?? null : app.state.now;
    app.change({ jobs, now, layer: null, line: null });
    if (missing) told.textContent = name + ' is not here any more (the program was started anew, or it was taken off in another tab). Drop it again.';
    else { told.textContent = name + ' is taken off.'; await app.api.remove('jobs/' + job).catch(() => {}); }
    input.focus();
  }

  function draw() {
    list.hidden = !app.jobs().length;
    list.replaceChildren(...app.jobs().map((held) => {
      const choose = el('input', { type: 'radio', name: 'job', checked: held.job === app.state.now, on: { change: () => app.change({ now: held.job, layer: null, line: null }) } });
      return el('li', {}, el('label', {}, choose, held.name + ', ' + size(held.bytes)), button('Take off', () => drop(held), { 'aria-label': 'Take off ' + held.name }));
    }));
  }

  app.on('jobs', draw);
  draw();
  drops(document.body, (files) => {
    const boards = files.filter((f) => /\.toml$/i.test(f.name));
    for (const board of boards) app.takeBoard(board);
    const others = files.filter((f) => !boards.includes(f)), strange = others.filter(belongs);
    // A photograph must not leave the page: what is plainly no job is not sent.
    if (strange.length) told.textContent = strange.map((f) => f.name + ' is no job: drop it at ' + belongs(f) + '.').join(' ');
    take(others.filter((f) => !strange.includes(f)));
  });
  return { missing: (job) => { const held = app.jobs().find((j) => j.job === job); if (held) drop(held, true); } };
}
