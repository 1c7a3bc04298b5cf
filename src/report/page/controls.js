// Controls, made in one call each.
import { make } from './dom.js';

// An element: attributes (true and false switch one on and off), `text` for its words, `on` for what it hears, and what is in it.
export function el(name, { text, on = {}, ...attributes } = {}, ...inside) {
  const made = make(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (typeof value === 'boolean') made.toggleAttribute(key, value); else made.setAttribute(key, value);
  }
  if (text !== undefined) made.textContent = text;
  for (const [what, hear] of Object.entries(on)) made.addEventListener(what, hear);
  made.append(...inside);
  return made;
}

// A button.
export const button = (text, click, attributes = {}) => el('button', { type: 'button', text, on: { click }, ...attributes });

// What the command prints, in its columns: where they are wider than the window they scroll, also by keyboard.
export const printed = (id, attributes = {}) => el('pre', { id, class: 'printed', tabindex: 0, role: 'group', 'aria-label': 'As the command prints it', ...attributes });

// What is wrong with the first of these numbers that is no number or beyond its limits; null: nothing.
export function wrongNumber(...inputs) {
  const wrong = inputs.find((input) => input.value.trim() === '' || !input.validity.valid);
  if (!wrong) return null;
  wrong.focus();
  return wrong.closest('label').textContent.trim() + ': must be a number from ' + wrong.min + ' to ' + wrong.max + '.';
}

// An input with its label's words before it.
export const labelled = (words, input) => el('label', {}, words + ' ', input);

// Shows an SVG of the program in an `img`, which runs nothing of it; null: hides it.
export function showSvg(picture, svg) {
  if (picture.src) URL.revokeObjectURL(picture.src);
  picture.hidden = !svg;
  if (svg) picture.src = URL.createObjectURL(new Blob([svg], { type: 'image/svg+xml' })); else picture.removeAttribute('src');
}

// Hands on files that are dropped here.
export function drops(root, take) {
  root.addEventListener('dragover', (e) => { if (e.dataTransfer.types.includes('Files')) e.preventDefault(); });
  root.addEventListener('drop', (e) => {
    if (!e.dataTransfer.files.length) return;
    e.preventDefault();
    e.stopPropagation();
    take([...e.dataTransfer.files]);
  });
}
