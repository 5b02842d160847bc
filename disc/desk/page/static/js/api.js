// Questions to the server, and its news. A refusal becomes an Error with the server's own words.

async function ask(method, address, body, headings = {}) {
  let answer;
  try {
    answer = await fetch(address, { method, body, headers: { "X-Desk": "1", ...headings } });
  } catch {
    throw new Error("The desk does not answer. Is disc desk still running in the terminal?");
  }
  const kind = answer.headers.get("Content-Type") ?? "";
  const content = kind.startsWith("application/json") ? await answer.json() : await answer.blob();
  if (!answer.ok) throw new Error(content.error ?? `The desk refused (${answer.status}).`);
  return content;
}

export const get = (address) => ask("GET", address);
export const post = (address, content) =>
  ask("POST", address, JSON.stringify(content), { "Content-Type": "application/json" });
export const upload = (kind, file) =>
  ask("PUT", `/api/upload/${kind}`, file, { "X-Name": encodeURIComponent(file.name) });

export function listen(handlers) {
  const stream = new EventSource("/api/news");
  for (const [kind, handler] of Object.entries(handlers)) {
    stream.addEventListener(kind, (event) => handler(JSON.parse(event.data)));
  }
  // The state is asked for once the stream is open, so that no news falls between; and again after a break.
  stream.onopen = () => handlers.opened();
  return stream;
}
