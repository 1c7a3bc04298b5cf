// The board: from a few questions, from a list, from a file; and every key of it, explained.
import { button, el, labelled } from './controls.js';
import { save } from './dom.js';
import { keyOf, over } from './state.js';

const BYTES_MAX = 1048576;

export function mountBoard(root, app) {
  const told = el('p', { role: 'status', id: 'board-told' });
  const keys = mountKeys(app, tell);
  let shown = null;
  root.append(
    el('p', { id: 'board-now' }), mountQuestions(app, tell), mountChoice(app, tell), told, keys.root,
    el('div', { class: 'controls' },
      button('Download the board file', () => save(shown.text, (shown.name.replace(/[^\w.-]+/g, '-') || 'board') + '.toml', 'application/toml'), { id: 'board-save' }),
      button('Undo all changed keys', () => app.useBoard({ ...app.state.board, sets: [] }), { id: 'board-undo' })));
  const now = root.querySelector('#board-now'), undo = root.querySelector('#board-undo');

  function tell(text, isWrong) {
    told.textContent = text;
    told.classList.toggle('wrong', Boolean(isWrong));
  }

  // Shows the board as it is now: its file with all that is changed in it.
  async function renew() {
    const { board, knobs } = app.state, asked = app.board();
    try {
      const answer = await app.api.post('board', asked);
      if (JSON.stringify(asked) !== JSON.stringify(app.board())) return;
      shown = answer;
    } catch (e) {
      tell(e.message, true);
      return;
    }
    const changed = [...board.sets, ...knobs.sets];
    now.replaceChildren(el('b', { text: board.name ?? board.file }), ' ' + (app.about.boards.find((b) => b.name === board.name)?.what ?? '') +
      (changed.length ? ' Changed: ' + changed.join(', ') + '.' : ''));
    undo.hidden = !board.sets.length;
    keys.show(shown.values, board.sets, knobs.sets);
    app.tell('values', shown.values);
  }

  app.on('board', renew);
  renew();

  // A file from the disk; a wrong one leaves the board as it was.
  return async (file) => {
    if (file.size > BYTES_MAX) { tell(file.name + ' is not used: it is larger than 1 MiB; a board file is a page or two of text.', true); return; }
    const board = { text: await file.text(), file: file.name, sets: [] };
    try {
      await app.api.post('board', board);
    } catch (e) {
      tell(file.name + ' is not used, the board stays as it was. ' + e.message, true);
      return;
    }
    app.useBoard(board);
    tell(file.name + ' is in use.');
  };
}

// A few questions, which lead to the nearest board.
function mountQuestions(app, tell) {
  const choices = app.about.questions.map(({ id, ask, choices }) => {
    const select = el('select', { name: id, on: { change: answer } }, ...choices.map((c) => el('option', { value: c.id, text: c.say })));
    return [id, ask, select];
  });
  const why = el('p', { class: 'note', role: 'status', id: 'board-why' });

  async function answer() {
    try {
      const nearest = await app.api.post('nearest', Object.fromEntries(choices.map(([id, , select]) => [id, select.value])));
      app.useBoard({ name: nearest.name, sets: nearest.sets });
      why.textContent = 'The nearest board is ' + nearest.name + (nearest.sets.length ? ' with ' + nearest.sets.join(', ') : '') + '. ' + nearest.why;
      tell('');
    } catch (e) {
      tell(e.message, true);
    }
  }

  return el('details', { id: 'board-questions', open: true }, el('summary', { text: 'A few questions find the nearest board' }),
    ...choices.map(([, ask, select]) => el('label', { class: 'question' }, el('span', { text: ask }), select)),
    el('p', { class: 'note', text: 'Its numbers are typical ones. “Measure my board”, below, finds your own.' }), why);
}

// Those that come with the program, or a file.
function mountChoice(app, tell) {
  const select = el('select', { id: 'board-name', on: { change: () => { tell(''); app.useBoard({ name: select.value, sets: [] }); } } },
    ...app.about.boards.map(({ name, what }) => el('option', { value: name, text: name + ': ' + what })));
  const own = el('option', { value: '', text: 'a file' });
  const file = el('input', { type: 'file', id: 'board-file', accept: '.toml', on: { change: () => { app.takeBoard(file.files[0]); file.value = ''; } } });
  const renew = () => {
    const { name } = app.state.board;
    if (name) own.remove(); else select.append(own);
    select.value = name ?? '';
  };
  app.on('board', renew);
  renew();
  return el('div', { class: 'controls' }, labelled('Or choose a board', select), labelled('Or a board file (TOML; drop it anywhere)', file));
}

// Every key with its value, its explanation, and what it may be.
function mountKeys(app, tell) {
  const body = el('div'), root = el('details', { id: 'board-keys' }, el('summary', { text: 'All keys, each explained' }), body);
  const rows = new Map();
  const notes = new Map(app.about.keys.map((note) => [note.key, note]));

  async function change(key, input) {
    const value = input.value.trim(), before = app.state.board;
    const board = { ...before, sets: value === '' ? before.sets.filter((s) => keyOf(s) !== key) : over(before.sets, [key + '=' + value]) };
    const row = rows.get(key);
    try {
      await app.api.post('board', board);
    } catch (e) {
      row.wrong.textContent = e.message;
      row.wrong.hidden = false;
      input.setAttribute('aria-invalid', 'true');
      return;
    }
    tell('');
    app.change({ board, knobs: { ...app.state.knobs, sets: app.state.knobs.sets.filter((s) => keyOf(s) !== key) } });
  }

  function rowOf(key, note) {
    const id = 'key-' + key.replace(/[^\w]+/g, '-');
    const input = el('input', { type: 'text', id, spellcheck: 'false', autocomplete: 'off', 'aria-describedby': id + '-says', on: { change: () => change(key, input) } });
    const wrong = el('span', { class: 'wrong', role: 'alert', hidden: true });
    rows.set(key, { input, wrong });
    return el('div', { class: 'key-row' }, el('label', { for: id }, el('code', { text: key })), el('span', { class: 'value' }, input, ' ' + note.unit),
      el('span', { class: 'says', id: id + '-says' }, note.says.replace(/^\w/, (c) => c.toUpperCase()) + '. Allowed: ' + note.allowed + '.'), wrong);
  }

  // All keys: the file's own, those of its chores, and those that it leaves out.
  function build(values) {
    rows.clear();
    const keys = [];
    for (const key of notes.keys()) {
      if (!key.startsWith('chore.*.')) keys.push([key, notes.get(key)]);
      else if (key === 'chore.*.name') {
        for (const own of Object.keys(values).filter((v) => v.startsWith('chore.'))) {
          const note = notes.get(own.replace(/^chore\.\d+\.(\w+).*/, 'chore.*.$1'));
          if (note) keys.push([own, note]);
        }
      }
    }
    // A draw that a file writes as a table comes as a key for each of its numbers.
    for (const own of Object.keys(values)) {
      const whole = notes.get(own.slice(0, own.lastIndexOf('.')));
      if (!notes.has(own) && whole && !own.startsWith('chore.')) keys.push([own, whole]);
    }
    const tables = new Map();
    for (const [key, note] of keys) {
      const table = key.includes('.') ? key.split('.')[0] : 'board';
      tables.set(table, [...(tables.get(table) ?? []), rowOf(key, note)]);
    }
    body.replaceChildren(...[...tables].map(([name, all]) => el('fieldset', {}, el('legend', { text: '[' + name + ']' }), ...all)));
  }

  let built = '';
  return {
    root,
    show(values, sets, knobs) {
      const names = Object.keys(values).join();
      if (names !== built) { built = names; build(values); }
      const changed = new Set([...sets, ...knobs].map(keyOf));
      for (const [key, { input, wrong }] of rows) {
        if (document.activeElement !== input || !wrong.hidden) input.value = values[key] ?? '';
        input.removeAttribute('aria-invalid');
        wrong.hidden = true;
        input.classList.toggle('changed', changed.has(key));
      }
    },
  };
}
