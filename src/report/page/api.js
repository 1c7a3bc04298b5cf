// Asks the program on this computer, and nobody else.

// The message of an answer that is none.
async function refused(response) {
  const text = await response.text();
  let why = text;
  try { why = JSON.parse(text).error; } catch { /* no JSON: told as it is */ }
  // The command names its options; here there are none.
  why = why.replace(/^--(set )?/, '');
  return Object.assign(new Error(why || 'The program answers with status ' + response.status + '.'), { status: response.status });
}

const ended = (e) => { throw e.name === 'AbortError' ? e : new Error('The program does not answer any more. Start headstall open again.'); };

async function ask(path, options) {
  const response = await fetch(path, options).catch(ended);
  if (!response.ok) throw await refused(response);
  return response;
}

const asking = (body, signal) => ({ method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body), signal });

export const get = async (path) => (await ask(path)).json();
export const post = async (path, body, { signal } = {}) => (await ask(path, asking(body, signal))).json();
export const remove = (path) => ask(path, { method: 'DELETE' });

// An answer in one piece: what it is, and the name to save it under.
export async function file(path, body, { signal } = {}) {
  const response = await ask(path, asking(body, signal));
  const name = /filename="([^"]+)"/.exec(response.headers.get('Content-Disposition') || '');
  return { blob: await response.blob(), name: name ? name[1] : body.what };
}

// An answer that takes a while: `onAt({task, done, of})` hears how far it is. The end of `signal` cancels the work.
export async function stream(path, body, { signal, onAt = () => {} } = {}) {
  const response = await ask(path, asking(body, signal));
  const reader = response.body.getReader(), decoder = new TextDecoder();
  let pieces = [], last = null;
  const line = (text) => {
    if (!text) return;
    const said = JSON.parse(text);
    if (said.at) onAt(said.at); else last = said;
  };
  for (;;) {
    const { done, value } = await reader.read();
    let text = done ? decoder.decode() : decoder.decode(value, { stream: true });
    for (let end = text.indexOf('\n'); end >= 0; end = text.indexOf('\n')) {
      line(pieces.join('') + text.slice(0, end));
      pieces = [];
      text = text.slice(end + 1);
    }
    if (text) pieces.push(text);
    if (done) break;
  }
  line(pieces.join(''));
  if (!last) throw new Error('The answer broke off. Ask again.');
  if (last.error) throw new Error(last.error);
  return last.answer;
}

// Sends a file; `onAt({done, of})` hears how many bytes have gone. XMLHttpRequest, since fetch tells nothing of that.
export function upload(path, blob, { signal, onAt = () => {} } = {}) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open('POST', path);
    request.setRequestHeader('Content-Type', 'application/octet-stream');
    request.upload.addEventListener('progress', (e) => onAt({ done: e.loaded, of: e.total }));
    request.addEventListener('load', () => {
      let said = {};
      try { said = JSON.parse(request.responseText); } catch { /* no JSON: the status tells */ }
      if (request.status === 200) resolve(said); else reject(new Error(said.error || 'The program answers with status ' + request.status + '.'));
    });
    request.addEventListener('error', () => reject(new Error('The file could not be sent. Does the program still run, and is the file as it was?')));
    request.addEventListener('abort', () => reject(new DOMException('given up', 'AbortError')));
    signal?.addEventListener('abort', () => request.abort());
    request.send(blob);
  });
}

// Tells the program that a page is open, as long as one is. Of several only one does: a browser opens few connections.
export function alive(onEnd) {
  const hold = async () => {
    for (let failed = 0; failed < 3;) {
      try {
        const reader = (await ask('alive')).body.getReader();
        failed = 0;
        while (!(await reader.read()).done);
      } catch {
        failed += 1;
      }
      await new Promise((go) => { setTimeout(go, 1000); });
    }
    onEnd();
  };
  navigator.locks.request('alive', hold);
}
