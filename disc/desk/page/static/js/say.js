// The line at the top in which the desk says what happened; screen readers hear it too.

const line = document.getElementById("told");

const TOGETHER_MS = 600; // what follows from an act may be known before the act itself is confirmed
let act = "";
let after = "";
let afterAt = -Infinity;

function show(bad) {
  line.textContent = [act, after].filter(Boolean).join(" ");
  line.title = line.textContent;
  line.classList.toggle("bad", bad);
}

// What was done.
export function say(words, bad = false) {
  act = words;
  if (performance.now() - afterAt > TOGETHER_MS) after = "";
  show(bad);
}

// What follows from it: added, not put in its place.
export function sayAfter(words) {
  const isFresh = performance.now() - afterAt < TOGETHER_MS;
  after = isFresh && after ? `${after} ${words}` : words;
  afterAt = performance.now();
  show(line.classList.contains("bad"));
}

export function complain(error) {
  say(error.message ?? String(error), true);
}

// Run an action of the person; a refusal is said, not thrown.
export async function attempt(action) {
  try {
    return await action();
  } catch (error) {
    complain(error);
    return undefined;
  }
}
