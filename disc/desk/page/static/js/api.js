// Questions to the server, and its news. A refusal becomes an Error with the server's own words; a desk that does not
// answer is noticed at once, looked for every second, and what was asked of it meanwhile waits.

const AGAIN_MS = 1000;
const SILENT_MS = 4000; // the desk's pulse comes every second
const LOOK_MS = 500;

export class Lost extends Error {}

const link = { isUp: true, since: null, stream: null, heardAt: performance.now() };
const whenChanged = [];
let waiting = []; // who waits until the desk answers again

export const isUp = () => link.isUp;
export const whenLinkChanges = (listener) => whenChanged.push(listener);

// Resolves when the desk answers and the page shows its state.
export const up = () => (link.isUp ? Promise.resolve() : new Promise((done) => waiting.push(done)));

function setLink(isNowUp) {
  if (link.isUp === isNowUp) return;
  link.isUp = isNowUp;
  link.since = isNowUp ? null : new Date();
  document.body.dataset.link = isNowUp ? "up" : "lost";
  for (const listener of whenChanged) listener(link);
  if (!isNowUp) return;
  const all = waiting;
  waiting = [];
  for (const done of all) done();
}

async function ask(method, address, body, headings = {}) {
  let answer;
  try {
    answer = await fetch(address, { method, body, headers: { "X-Desk": "1", ...headings } });
  } catch {
    link.fail?.();
    throw new Lost("The desk does not answer. Is disc desk still running in the terminal?");
  }
  const kind = answer.headers.get("Content-Type") ?? "";
  const content = await (kind.startsWith("application/json") ? answer.json() : answer.blob()).catch(() => {
    throw new Lost("The desk's answer broke off.");
  });
  if (!answer.ok) throw new Error(content.error ?? `The desk refused (${answer.status}).`);
  return content;
}

export const get = (address) => ask("GET", address);
export const post = (address, content) =>
  ask("POST", address, JSON.stringify(content), { "Content-Type": "application/json" });
export const upload = (kind, file) =>
  ask("PUT", `/api/upload/${kind}`, file, { "X-Name": encodeURIComponent(file.name) });

// handlers: by kind of news; opened() is called, and awaited, each time the desk answers: at first and after a break.
export function listen(handlers) {
  let again = null;

  function fail() {
    if (again) return;
    link.stream?.close();
    again = setTimeout(connect, AGAIN_MS);
    setLink(false);
  }

  function connect() {
    again = null;
    const stream = new EventSource("/api/news");
    link.stream = stream;
    const heard = () => {
      link.heardAt = performance.now();
    };
    heard();
    stream.addEventListener("pulse", heard);
    for (const [kind, handler] of Object.entries(handlers)) {
      stream.addEventListener(kind, (event) => {
        heard();
        handler(JSON.parse(event.data));
      });
    }
    stream.onerror = fail;
    // The state is asked for once the stream is open, so that no news falls between.
    stream.onopen = async () => {
      heard();
      if (await handlers.opened()) setLink(true);
      else if (stream === link.stream) fail();
    };
  }

  link.fail = fail;
  setInterval(() => {
    if (link.isUp && !again && performance.now() - link.heardAt > SILENT_MS && !document.hidden) fail();
  }, LOOK_MS);
  document.addEventListener("visibilitychange", () => {
    link.heardAt = performance.now(); // a hidden page may not have been told the time
  });
  connect();
}
