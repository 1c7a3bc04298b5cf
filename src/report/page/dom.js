// Makes an element: its tag, its attributes (`on` for what it hears, `text` for its words), what is in it.
export function make(tag, attributes = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === 'text') made.textContent = value;
    else if (key === 'on') for (const [what, hear] of Object.entries(value)) made.addEventListener(what, hear);
    else if (typeof value === 'boolean') made.toggleAttribute(key, value);
    else made.setAttribute(key, value);
  }
  made.append(...inside.filter((part) => part !== null));
  return made;
}

// A button.
export const button = (text, click, attributes = {}) => make('button', { type: 'button', text, on: { click }, ...attributes });

// An input with its label's words before it.
export const labelled = (words, input) => make('label', {}, words + ' ', input);

// Offers text as a file to save.
export function save(text, name, type = 'text/plain') {
  const url = URL.createObjectURL(new Blob([text], { type }));
  make('a', { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}
