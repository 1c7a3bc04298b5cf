// A photograph of the part with the part's outline laid over it: handles, turn, distance, fit to its edges, and clicks that
// become places of the wall. The photograph stays in this page: nothing here sends anything.
import { firstCamera, guessedNear, handlesOf, resized, through } from './camera.js';
import { fitted, outline, roughly } from './edges.js';
import { lines, pick, place, view } from './sight.js';
import { solid } from './solid.js';

// Longest side of a photograph as it is kept, and as its edges are looked at, px.
const KEPT_PX = 2400, EDGES_PX = 1200;
const RAD = Math.PI / 180;
const NAMES = { left: 'Left end of the foot', right: 'Right end of the foot', top: 'Top' };
// A fit of which less of the outline lies on edges than this is none.
const SHARE_MIN = 0.5;
// A click beside the part counts for the outline within so many px of the screen.
const BESIDE_PX = 14;
const turned = (deg) => ((deg % 360) + 360) % 360;
const pause = () => new Promise((done) => setTimeout(done, 0));

// Reads a photograph: turned as its file says, and no larger than is kept.
export async function opened(file) {
  const whole = await createImageBitmap(file, { imageOrientation: 'from-image' });
  const by = Math.min(1, KEPT_PX / Math.max(whole.width, whole.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.max(1, Math.round(whole.width * by));
  canvas.height = Math.max(1, Math.round(whole.height * by));
  const pen = canvas.getContext('2d');
  pen.imageSmoothingQuality = 'high';
  pen.drawImage(whole, 0, 0, canvas.width, canvas.height);
  whole.close();
  return { name: file.name, canvas, part: 0, cam: null, isGuess: true };
}

// Its brightness, 0 to 255, and how many times as large as the photograph.
function greyOf(photo) {
  const by = Math.min(1, EDGES_PX / Math.max(photo.canvas.width, photo.canvas.height));
  const small = document.createElement('canvas');
  small.width = Math.round(photo.canvas.width * by);
  small.height = Math.round(photo.canvas.height * by);
  const pen = small.getContext('2d', { willReadFrequently: true });
  pen.drawImage(photo.canvas, 0, 0, small.width, small.height);
  const { data } = pen.getImageData(0, 0, small.width, small.height), values = new Uint8Array(data.length / 4);
  for (let k = 0; k < values.length; k++) values[k] = 0.299 * data[4 * k] + 0.587 * data[4 * k + 1] + 0.114 * data[4 * k + 2];
  return { by, wide: small.width, high: small.height, values };
}

// One photograph and the part in it, without any drawing.
export class Laid {
  constructor(photo, layers, walls) {
    this.photo = photo;
    this.reshape(layers, walls);
  }

  // The job's layers and walls, again when they change.
  reshape(layers, walls) {
    const wall = walls.parts[Math.min(this.photo.part, walls.parts.length - 1)];
    this.shape = solid(layers, walls.tops, wall);
    this.coarse = solid(layers, walls.tops, wall, 360, 150);
    if (!this.photo.cam) this.start();
    this.look();
  }

  start() {
    this.photo.cam = firstCamera(this.shape, this.photo.canvas.width, this.photo.canvas.height);
    this.photo.isGuess = true;
    this.handles = null;
  }

  get cam() { return this.photo.cam; }

  look() {
    this.view = view(this.shape, this.cam);
    this.handles = handlesOf(this.shape, this.cam);
  }

  // Lays the outline through the handles as they are.
  lay(handles, cam = this.cam) {
    let laid = through(this.shape, cam, handles);
    if (laid && this.photo.isGuess) {
      laid = through(this.shape, { ...laid, near: guessedNear(this.shape, laid) }, handles) || laid;
    }
    if (laid) { this.photo.cam = laid; this.view = view(this.shape, laid); }
    this.handles = handles;
    return Boolean(laid);
  }

  // Turns it, in place.
  turn(changes) {
    return this.lay(this.handles, { ...this.cam, ...changes });
  }

  #found(found, by) {
    if (!found || found.share < SHARE_MIN) return false;
    this.photo.cam = resized(found.cam, 1 / by);
    this.photo.isGuess = false;
    this.look();
    return true;
  }

  // To the picture's edges, from where it is.
  fit() {
    const grey = greyOf(this.photo), cam = resized(this.cam, grey.by);
    const found = fitted(this.coarse, cam, grey, 0.07 * this.coarse.high * cam.scale);
    return this.#found(found, grey.by) ? found.off_px / grey.by : null;
  }

  // The same from all sides. Tells the sides that look alike, degrees; the first is taken. null: none.
  async fitAll(tell) {
    const grey = greyOf(this.photo), tried = [];
    for (let deg = 0; deg < 360; deg += 12) {
      const cam = through(this.coarse, { ...this.cam, yaw: deg * RAD }, this.handles);
      const small = cam && resized(cam, grey.by);
      const rough = small && roughly(this.coarse, small, grey, 0.07 * this.coarse.high * small.scale);
      if (rough) tried.push(rough);
      tell(deg / 360);
      await pause();
    }
    tried.sort((a, b) => a.cost - b.cost);
    const all = [];
    for (const rough of tried.slice(0, 3)) {
      const found = fitted(this.coarse, rough.cam, grey, 0.03 * this.coarse.high * rough.cam.scale);
      if (found) all.push(found);
      await pause();
    }
    all.sort((a, b) => a.cost - b.cost);
    if (!this.#found(all[0], grey.by)) return null;
    const sides = [];
    for (const f of all) {
      const deg = turned(f.cam.yaw / RAD);
      if (f.cost > 1.5 * all[0].cost + 0.05 || sides.some((s) => Math.abs(turned(s - deg + 180) - 180) < 8)) continue;
      sides.push(deg);
    }
    return sides;
  }

  // The place of the wall that a point of the photograph shows, and how far its angle moves in two px; null: none.
  at(x, y, reach) {
    const found = pick(this.view, x, y, reach);
    if (!found) return null;
    const near = [-1, 1].map((d) => pick(this.view, x + d, y, 0)).filter(Boolean);
    const by = near.length === 2 ? Math.abs(turned(near[1].angle - near[0].angle + 180) - 180) : 0;
    return { ...found, angle_by: by };
  }
}

const SVG = 'http://www.w3.org/2000/svg';

function path(points) {
  return points.map(([x, y], k) => (k ? 'L' : 'M') + x.toFixed(1) + ' ' + y.toFixed(1)).join('');
}

// The outline as lines: places that follow each other.
function outlinePath(laid) {
  const all = outline(laid.coarse, laid.cam, 160), far = 3 * Math.max(laid.shape.high, laid.shape.wide) * laid.cam.scale / 160;
  let text = '';
  all.forEach((s, k) => {
    const last = all[k - 1];
    const joins = last && last.side === s.side && Math.hypot(s.at[0] - last.at[0], s.at[1] - last.at[1]) < far;
    text += (joins ? 'L' : 'M') + s.at[0].toFixed(1) + ' ' + s.at[1].toFixed(1);
  });
  return text;
}

// The drawing over a photograph: `svg` gets the outline, layer lines, folds, marks ({x, y, text, kind}) and a cross-hair.
export function drawOver(svg, laid, marks, cross) {
  svg.textContent = '';
  const { width, height } = laid.photo.canvas;
  svg.setAttribute('viewBox', '0 0 ' + width + ' ' + height);
  const add = (name, attributes) => {
    const made = document.createElementNS(SVG, name);
    for (const key in attributes) made.setAttribute(key, attributes[key]);
    svg.append(made);
  };
  const { rings, upright } = lines(laid.view, Math.max(1, Math.round(laid.shape.rows / 12)));
  const traces = [['rings', rings.map(path).join('')], ['folds', upright.map(path).join('')], ['outline', outlinePath(laid)]];
  for (const [name, d] of traces) for (const layer of ['under ' + name, name]) add('path', { class: layer, d });
  const px = width / (svg.clientWidth || width);
  for (const m of marks) {
    add('circle', { class: 'under ' + m.kind, cx: m.x, cy: m.y, r: (m.kind === 'mark' ? 8 : 4) * px });
    add('circle', { class: m.kind, cx: m.x, cy: m.y, r: (m.kind === 'mark' ? 8 : 4) * px });
  }
  if (cross) {
    const d = 'M' + cross[0] + ' 0V' + height + 'M0 ' + cross[1] + 'H' + width;
    for (const name of ['under cross', 'cross']) add('path', { class: name, d });
  }
}

// Where marks and predicted bumps of the part lie in the photograph; those that it does not show are left out.
export function marksOn(laid, places, kind) {
  return places.map((p) => ({ ...place(laid.view, p.z, p.angle), kind })).filter((p) => p.seen);
}

export { BESIDE_PX, NAMES, RAD, turned };
