// Elements, made without markup: texts of a job are never more than texts.

// An element with these attributes and children; a child is an element or a text.
export function make(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const key in attributes) made.setAttribute(key, attributes[key]);
  made.append(...children);
  return made;
}

// The same for a drawing.
export function drawn(name, attributes, text) {
  const made = document.createElementNS('http://www.w3.org/2000/svg', name);
  for (const key in attributes) made.setAttribute(key, attributes[key]);
  if (text !== undefined) made.textContent = text;
  return made;
}

// An SVG that the program made, as an element.
export const picture = (svg) => document.importNode(new DOMParser().parseFromString(svg, 'image/svg+xml').documentElement, true);

// Shows the section around a view, or hides it.
export const reveal = (root, is) => { (root.closest('section') || root).hidden = !is; };

// A number with so many decimals; rounded to nothing it has no sign.
export const rounded = (v, digits) => v.toFixed(digits).replace(/^-(0(\.0*)?)$/, '$1');
export const ms = (s) => (s < 1 ? Math.round(s * 1000) + ' ms' : s.toFixed(1) + ' s');
export const count = (n, noun) => n + ' ' + noun + (n === 1 ? '' : 's');

// Offers a text, or a blob, as a file to save.
export function save(content, name, type = 'text/plain') {
  const url = URL.createObjectURL(new Blob([content], { type }));
  make('a', { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
}
