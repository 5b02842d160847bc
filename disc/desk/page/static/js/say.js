// The line at the top in which the desk says what happened; screen readers hear it too.

import { oncePerFrame } from "./dom.js";

const line = document.getElementById("told");
const more = document.getElementById("told-more");
const MOST_SAID = 30;
const said = []; // {at, words, bad}: the latest first

const TOGETHER_MS = 600; // what follows from an act may be known before the act itself is confirmed
let act = "";
let after = "";
let afterAt = -Infinity;

const showMore = oncePerFrame(() => {
  more.hidden = line.scrollWidth <= line.clientWidth;
});

function show(bad) {
  line.textContent = [act, after].filter(Boolean).join(" ");
  line.classList.toggle("bad", bad);
  line.title = line.textContent;
  showMore();
  const now = { at: new Date(), words: line.textContent, bad };
  if (after && said[0]?.words === act) said.shift(); // the same act, with what followed from it
  if (now.words && said[0]?.words !== now.words) said.unshift(now);
  said.length = Math.min(said.length, MOST_SAID);
}

// All that was said lately, in full: the line has room for one sentence.
function openSaid() {
  const list = document.getElementById("said-words");
  list.replaceChildren(...said.map(({ at, words, bad }) => {
    const item = document.createElement("li");
    item.textContent = `${at.toLocaleTimeString()} ${words}`;
    item.className = bad ? "fault" : "";
    return item;
  }));
  document.getElementById("said").showModal();
}
more.onclick = openSaid;
document.getElementById("said-open").onclick = openSaid;

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
