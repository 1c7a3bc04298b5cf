// The photographs of the part: added, laid on the part, clicked. What is clicked goes to the one list of bumps.
import { button, drops, el, labelled } from './controls.js';
import { rounded } from './dom.js';
import { BESIDE_PX, Laid, NAMES, RAD, drawOver, marksOn, opened, turned } from './photo.js';
import { arc, joined } from './sight.js';

const PHOTOS_MAX = 12;
const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

// `host`: layers() with their runs, walls(), marks(), predicted(part) as [{z, angle}], add({part, z, angle}) that returns its words, undo().
// Returns redraw() for when marks change, and renew() for when the job does.
export function mountPhotographs(root, host) {
  const all = [];
  let laid = null, cross = null, isLaying = true;
  // What happened stands above the photograph, or where it would be.
  const told = el('p', { role: 'status', id: 'photo-told' }), empty = el('p', { role: 'status', text: 'No photograph yet.' });
  const tell = (text) => { (laid ? told : empty).textContent = text; };

  const canvas = el('canvas', { 'aria-hidden': 'true' });
  const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
  const keys = el('p', { class: 'note', id: 'photo-keys' });
  const stage = el('div', { class: 'photo-stage' }, canvas, svg);
  const frame = el('div', { class: 'photo-frame paper' }, stage);
  for (const [name, value] of Object.entries({ id: 'photo-picture', role: 'application', tabindex: '0', 'aria-label': 'Photograph with the outline of the part', 'aria-describedby': 'photo-keys' })) svg.setAttribute(name, value);

  const handles = Object.entries(NAMES).map(([name, words]) => {
    const made = el('button', { type: 'button', class: 'photo-handle', 'data-handle': name, title: words, 'aria-label': words + ': drag it, or move it with the arrow keys' });
    stage.append(made);
    return [name, made];
  });

  const which = el('select', { id: 'photo-which', on: { change: () => choose(all[which.selectedIndex]) } });
  const part = el('select', { id: 'photo-part', on: { change: () => { laid.photo.part = part.selectedIndex; laid.photo.cam = null; renew(); } } });
  const partLabel = labelled('Part in it, counted from the left', part);
  const input = el('input', { type: 'file', id: 'photo-add', accept: 'image/*', multiple: true, on: { change: (e) => { take([...e.target.files]); e.target.value = ''; } } });
  const mode = (id, words, isFirst) => el('label', {}, el('input', { type: 'radio', name: 'photo-mode', id, checked: isFirst, on: { change: () => { isLaying = isFirst; cross = null; redraw(); } } }), ' ' + words);
  const modes = el('fieldset', { class: 'controls' }, el('legend', { text: 'What a click does' }),
    mode('photo-lay', '1. Lay the outline', true), mode('photo-mark', '2. Mark bumps', false));
  const number = (id, min, max, step, hear) => el('input', { type: 'number', id, min, max, step, on: { change: (e) => { if (e.target.value !== '' && Number.isFinite(e.target.valueAsNumber)) hear(e.target.valueAsNumber); fill(); } } });
  const turn = (changes) => {
    const can = laid.turn(changes);
    redraw();
    tell(can ? 'The outline was turned.' : 'No camera like this puts the outline through the three handles: move them, or turn it less.');
  };
  const slider = el('input', { type: 'range', id: 'photo-side', min: 0, max: 360, step: 1, on: { input: () => turn({ yaw: slider.valueAsNumber * RAD }) } });
  const side = number('photo-side-deg', 0, 360, 0.1, (deg) => turn({ yaw: turned(deg) * RAD }));
  const above = number('photo-above', -40, 60, 0.5, (deg) => turn({ pitch: Math.min(Math.max(deg, -40), 60) * RAD }));
  const far = number('photo-far', 50, 100000, 1, (mm) => { laid.photo.isGuess = false; turn({ near: 1 / Math.max(mm, 50) }); });
  const fit = button('Fit to the picture', fitNow, { id: 'photo-fit' });
  const fitAll = button('Try all sides', fitAllNow, { id: 'photo-fit-all' });
  const turning = el('div', { class: 'controls photo-turning' },
    labelled('Side that faces you, degrees', side), el('label', { class: 'photo-slider' }, el('span', { text: 'Turn it' }), slider), labelled('Camera looks down by, degrees', above),
    labelled('Camera to part, mm', far), fit, fitAll);
  const zoom = el('select', { id: 'photo-zoom', on: { change: redraw } }, ...[1, 2, 4, 8].map((k) => el('option', { value: k, text: k + ' ×' })));
  const predicted = el('input', { type: 'checkbox', id: 'photo-predicted', on: { change: redraw } });
  const work = el('div', { class: 'photo-work', hidden: true },
    el('div', { class: 'controls' }, labelled('Photograph', which), partLabel, labelled('Enlarge', zoom),
      button('Remove this photograph', remove, { id: 'photo-remove' }),
      el('label', {}, predicted, ' Show predicted bumps (they bias the eye: mark first)')),
    modes, turning, keys, told, frame);
  root.append(
    el('h3', { text: 'From photographs' }),
    el('p', { text: 'Take the part from the side, about level with its middle, from half a metre and with zoom rather than from near; light from one side shows bumps best. The photograph stays in this page and is sent nowhere. Don’t crop it: its middle is where the camera looked.' }),
    el('div', { class: 'controls' }, labelled('Add photographs, or drop them here', input)), empty, work);

  function choose(photo) {
    cross = null;
    laid = null;
    if (photo) laid = new Laid(photo, host.layers(), host.walls());
    work.hidden = !laid;
    empty.hidden = Boolean(laid);
    if (!laid) return;
    which.replaceChildren(...all.map((p, k) => el('option', { text: k + 1 + '. ' + p.name })));
    which.selectedIndex = all.indexOf(photo);
    part.replaceChildren(...host.walls().parts.map((_, k) => el('option', { text: String(k + 1) })));
    part.selectedIndex = photo.part;
    partLabel.hidden = host.walls().parts.length < 2;
    canvas.width = photo.canvas.width;
    canvas.height = photo.canvas.height;
    canvas.getContext('2d').drawImage(photo.canvas, 0, 0);
    redraw();
  }

  async function take(files) {
    for (const file of files) {
      if (all.length === PHOTOS_MAX) { tell('There are ' + PHOTOS_MAX + ' photographs at most: remove one first.'); break; }
      try {
        const photo = await opened(file);
        if (!host.walls()) { tell('The part must be known first: choose a job that prints something.'); return; }
        all.push(photo);
        choose(photo);
        tell(file.name + ' is added. Drag the two ends of the foot and the top to where they are in the photograph, turn the outline, then fit it.');
      } catch {
        tell(file.name + ' cannot be read as a picture by this browser. JPEG, PNG and WebP can; a telephone can be told to take JPEG.');
      }
    }
  }

  function remove() {
    all.splice(all.indexOf(laid.photo), 1);
    choose(all[all.length - 1]);
    tell('The photograph is removed; its bumps stay in the list.');
    input.focus();
  }

  function fill() {
    if (!laid) return;
    const deg = turned(laid.cam.yaw / RAD);
    side.value = deg.toFixed(1);
    slider.value = deg;
    above.value = rounded(laid.cam.pitch / RAD, 1);
    far.value = laid.cam.near > 1e-5 ? (1 / laid.cam.near).toFixed(0) : 100000;
  }

  // Everything again as it is.
  function redraw() {
    if (!laid) return;
    const { width, height } = laid.photo.canvas;
    stage.style.width = Number(zoom.value) * Math.min(frame.clientWidth, (0.8 * window.innerHeight * width) / height) + 'px';
    svg.setAttribute('class', isLaying ? 'laying' : 'marking');
    const mine = host.marks().filter((m) => m.part === laid.photo.part);
    const guessed = predicted.checked ? marksOn(laid, host.predicted(laid.photo.part), 'predicted') : [];
    drawOver(svg, laid, [...guessed, ...marksOn(laid, mine, 'mark')], cross);
    for (const [name, made] of handles) {
      made.hidden = !isLaying;
      made.style.left = (100 * laid.handles[name][0]) / width + '%';
      made.style.top = (100 * laid.handles[name][1]) / height + '%';
    }
    turning.hidden = !isLaying;
    keys.textContent = isLaying
      ? 'Each handle moves with the mouse, or with the arrow keys by a pixel (with Shift by ten). 0° faces right on the bed, 270° the front.'
      : 'Click each bump, the faint ones too. By keyboard: arrow keys move the cross-hair (with Shift ten times as far), Enter marks, Backspace takes the last one back.';
    fill();
  }

  // A place of the window, in the photograph.
  function within(e) {
    const box = stage.getBoundingClientRect();
    return [((e.clientX - box.left) * canvas.width) / box.width, ((e.clientY - box.top) * canvas.height) / box.height];
  }

  function moveHandle(name, to) {
    const { width, height } = laid.photo.canvas;
    const at = [Math.min(Math.max(to[0], 0), width), Math.min(Math.max(to[1], 0), height)];
    const can = laid.lay({ ...laid.handles, [name]: at });
    redraw();
    const stretch = laid.cam.stretch, off = Math.round(100 * Math.abs(stretch - 1));
    tell(!can ? 'No camera puts the outline through these three points.' : off > 3
      ? NAMES[name] + ' moved. The outline is ' + off + ' % too ' + (stretch > 1 ? 'flat' : 'high') + ' for these points: is a handle off, or does the camera look down more or less?'
      : NAMES[name] + ' moved; the outline follows.');
  }

  for (const [name, made] of handles) {
    made.addEventListener('pointerdown', (e) => {
      made.setPointerCapture(e.pointerId);
      const at = within(e), from = laid.handles[name], off = [from[0] - at[0], from[1] - at[1]];
      made.onpointermove = (to) => { const p = within(to); moveHandle(name, [p[0] + off[0], p[1] + off[1]]); };
      made.onpointerup = made.onpointercancel = () => { made.onpointermove = null; };
    });
    made.addEventListener('keydown', (e) => {
      const by = KEYS[e.key], far = e.shiftKey ? 10 : 1;
      if (!by || e.ctrlKey || e.altKey || e.metaKey) return;
      e.preventDefault();
      const at = laid.handles[name];
      moveHandle(name, [at[0] + far * by[0], at[1] + far * by[1]]);
    });
  }

  // Marks what a point of the photograph shows.
  function mark([x, y]) {
    const reach = (BESIDE_PX * canvas.width) / (stage.clientWidth || canvas.width), at = laid.at(x, y, reach);
    if (!at) { tell('Here is no outer wall of the part: click on it, or on its outline.'); return; }
    const said = host.add({ part: laid.photo.part, z: at.z, angle: at.angle });
    tell(said + (at.beside ? ', on the outline' : '') +
      (at.angle_by > 4 ? '. The wall is seen from its edge here: the angle may be off by ' + Math.round(at.angle_by) + '°, another photograph tells it better' : ''));
  }

  svg.addEventListener('click', (e) => {
    if (isLaying) { tell('Handles are moved now. Choose “Mark bumps” to click bumps.'); return; }
    cross = null;
    mark(within(e));
  });
  svg.addEventListener('keydown', (e) => {
    const by = KEYS[e.key];
    if (isLaying || e.ctrlKey || e.altKey || e.metaKey || !(by || e.key === 'Enter' || e.key === 'Backspace')) return;
    e.preventDefault();
    if (e.key === 'Backspace') { tell(host.undo()); return; }
    const { width, height } = laid.photo.canvas, far = e.shiftKey ? 10 : 1;
    cross ??= [Math.round(width / 2), Math.round(height / 2)];
    if (e.key === 'Enter') { mark(cross); return; }
    cross = [Math.min(Math.max(cross[0] + far * by[0], 0), width), Math.min(Math.max(cross[1] + far * by[1], 0), height)];
    redraw();
    const at = laid.at(cross[0], cross[1], 0);
    tell(at ? 'Cross-hair at ' + rounded(at.z, 2) + ' mm, ' + at.angle.toFixed(1) + '°' : 'The cross-hair is beside the wall.');
  });
  svg.addEventListener('blur', () => { cross = null; redraw(); });

  // `work` takes a while: nothing else is done meanwhile.
  async function busy(words, work) {
    tell(words);
    fit.disabled = fitAll.disabled = true;
    await new Promise((done) => setTimeout(done, 30));
    try { tell(await work()); } finally { fit.disabled = fitAll.disabled = false; redraw(); }
  }

  const NO_EDGES = 'Too few edges of the picture lie near the outline: move the handles closer, or take the photograph before a plain ground.';
  function fitNow() {
    const laidNow = laid;
    busy('Fitting the outline to the picture.', () => {
      const off = laidNow.fit();
      if (off === null) return NO_EDGES;
      return 'Fitted: half of the outline lies within ' + Math.max(off, 0.1).toFixed(1) + ' px (' + Math.max(off / laidNow.cam.scale, 0.01).toFixed(2) + ' mm) of the picture’s edges. Does it lie on the part all around?';
    });
  }

  function fitAllNow() {
    const laidNow = laid;
    busy('Trying all sides.', async () => {
      const sides = await laidNow.fitAll((share) => tell('Trying all sides: ' + Math.round(100 * share) + ' %'));
      if (!sides) return NO_EDGES;
      if (sides.length === 1) return 'Fitted: the side at ' + sides[0].toFixed(1) + '° faces you. Does the outline lie on the part all around?';
      return 'The outline looks alike from ' + sides.map((s) => s.toFixed(0) + '°').join(', ') + '; the first is shown. Turn it to the right one by what you know of the print, then fit again.';
    });
  }

  drops(root, take);
  new ResizeObserver(() => redraw()).observe(frame);

  function renew() {
    if (!laid) return;
    if (!host.walls()) { laid = null; work.hidden = true; return; }
    laid.photo.part = Math.min(laid.photo.part, host.walls().parts.length - 1);
    choose(laid.photo);
  }
  // Where the photographs of the first one's part show its wall: [from, to], degrees, and height, mm; null: nowhere in one piece.
  function looked() {
    if (!all.length) return null;
    const own = all.filter((p) => p.part === all[0].part).map((p) => new Laid(p, host.layers(), host.walls()));
    const arcs = own.map((l) => arc(l.view)).filter(Boolean), whole = joined(arcs);
    return whole && [...whole, 0, Math.ceil(own[0].shape.high)];
  }
  return { redraw, renew, looked };
}
