// One selection, a stall or a bump, that all views hear.
export function selection() {
  const hearers = [];
  return {
    item: null,
    // `from`: the view in which it was chosen, so that this one need not move.
    choose(item, from) {
      this.item = item;
      for (const hear of hearers) hear(item, from);
    },
    on(hear) { hearers.push(hear); },
  };
}

// How views draw a bump: a diamond, as large as the bump is high against the highest.
export const bumpSize = (height, highest) => 5 + 6 * Math.sqrt(height / highest);
export const MARK = '#1f5fa8', INK = '#1d2430';

// A diamond on a canvas.
export function diamond(pen, x, y, r, filled) {
  pen.beginPath();
  pen.moveTo(x, y - r); pen.lineTo(x + r, y); pen.lineTo(x, y + r); pen.lineTo(x - r, y); pen.closePath();
  pen.fillStyle = filled ? MARK : '#fff'; pen.fill();
  pen.strokeStyle = filled ? '#fff' : MARK; pen.lineWidth = 2; pen.stroke();
}

// The ring around what is chosen.
export function ring(pen, x, y, r) {
  pen.beginPath(); pen.arc(x, y, r, 0, 7); pen.strokeStyle = MARK; pen.lineWidth = 4; pen.stroke();
}

// A canvas made ready: as dense as the screen, white.
export function penOf(canvas, wide, high) {
  const dense = window.devicePixelRatio || 1, pen = canvas.getContext('2d');
  canvas.width = wide * dense; canvas.height = high * dense;
  canvas.style.height = high + 'px';
  pen.scale(dense, dense);
  pen.fillStyle = '#fff'; pen.fillRect(0, 0, wide, high);
  pen.lineJoin = pen.lineCap = 'round';
  return pen;
}
