// A part of the page is drawn anew without taking anything out of a person's hand: neither the focus and the place in the
// words, nor what was begun in a field, unfolded or scrolled to; and what is being pressed stays until it is let go.

const AFTER_PRESS_MS = 400; // a tap becomes a click this much after the finger has left, at the latest
const shown = new WeakMap(); // box -> what it was built from
const waiting = new Map(); // box -> how it is drawn once it is let go
let pressed = null; // {part}: what is under the pointer, under the space bar, or being written letter by letter

// Draws a box anew where what it shows has changed. key: all that it shows, as JSON can say it. build: gives its children.
// done: what follows once it is drawn.
export function rebuild(box, key, build, done = null) {
  const text = JSON.stringify(key);
  waiting.delete(box);
  if (shown.get(box) === text) return;
  if (pressed && box.contains(pressed.part)) {
    waiting.set(box, () => rebuild(box, key, build, done));
    return;
  }
  shown.set(box, text);
  fill(box, ...build());
  done?.();
}

// replaceChildren that leaves out what is not there, and gives back what the person had in hand.
export function fill(box, ...children) {
  const inHand = takenFrom(box);
  box.replaceChildren(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  giveBack(box, inHand);
}

// ---- what the person had in hand

// Parts are known again by what they were called when they were made (dom.js), whatever language they are shown in.
const namesakes = (box, { localName, called }) => [...box.querySelectorAll(localName)].filter((one) => one.called === called);
const nameIn = (box, one) => ({ localName: one.localName, called: one.called, number: namesakes(box, one).indexOf(one) });
const find = (box, name) => namesakes(box, name)[name.number] ?? null;

function takenFrom(box) {
  const here = document.activeElement;
  const named = (selector, keeps) => [...box.querySelectorAll(selector)].filter(keeps).map((one) => [nameIn(box, one), one]);
  return {
    focus: here !== box && box.contains(here) ? { name: nameIn(box, here), range: rangeIn(here), article: articleIn(box, here) } : null,
    begun: named("[data-base]", (one) => one.value !== one.dataset.base),
    folds: named("details", () => true),
    scrolled: named("[tabindex]", (one) => one.scrollTop || one.scrollLeft).map(([name, one]) => [name, [one.scrollLeft, one.scrollTop]]),
  };
}

function giveBack(box, { focus, begun, folds, scrolled }) {
  const each = (kept, act) => kept.forEach(([name, was]) => {
    const one = find(box, name);
    if (one) act(one, was);
  });
  each(folds, (one, was) => (one.open = was.open));
  each(begun, (one, was) => {
    if (one.dataset.base === was.dataset.base) one.value = was.value;
  });
  each(scrolled, (one, [left, top]) => one.scrollTo(left, top));
  if (focus) refocus(box, focus);
}

function refocus(box, { name, range, article }) {
  const one = find(box, name);
  one?.focus({ preventScroll: true });
  if (one && document.activeElement === one) {
    if (range) one.setSelectionRange(...range);
    return;
  }
  // It is gone: what now stands in its place is next, but is not itself what the next press would press.
  const all = box.querySelectorAll("article");
  const instead = all[Math.min(article, all.length - 1)] ?? box;
  if (article >= 0 && instead !== box) {
    instead.tabIndex = -1;
    instead.focus();
  } else (panelOf(box) ?? box.querySelector("button"))?.focus({ preventScroll: true });
}

const panelOf = (part) => part.closest("[role=tabpanel]");
const articleIn = (box, one) => [...box.querySelectorAll("article")].indexOf(one.closest("article"));

function rangeIn(one) {
  const isText = one.matches("textarea, input:not([type]), input[type=text]");
  return isText ? [one.selectionStart, one.selectionEnd, one.selectionDirection] : null;
}

// A part goes away: the focus in it goes to its panel, or to what is named.
export function hide(part, instead = panelOf(part)) {
  const hadFocus = part.contains(document.activeElement);
  part.hidden = true;
  if (hadFocus) instead?.focus({ preventScroll: true });
}

// ---- what is being pressed

// mine: the press that has ended; another that has begun since goes on.
function letGo(mine) {
  if (pressed && pressed !== mine) return;
  pressed = null;
  for (const draw of [...waiting.values()]) draw();
}

function afterClick() {
  pressed = null; // what the click itself changes is shown at once
  setTimeout(letGo, 0, null);
}

const hold = (event) => {
  pressed = { part: event.target };
};
addEventListener("pointerdown", (event) => event.target.closest?.("select") || hold(event), true); // a list's own window takes the rest
addEventListener("click", afterClick, true);
for (const kind of ["pointerup", "pointercancel"]) addEventListener(kind, () => setTimeout(letGo, AFTER_PRESS_MS, pressed), true);
addEventListener("keydown", (event) => event.key === " " && !event.target.matches?.("input, textarea, select") && hold(event), true);
addEventListener("keyup", (event) => event.key === " " && setTimeout(letGo, 0, pressed), true); // its click follows the key
addEventListener("compositionstart", hold, true);
addEventListener("compositionend", afterClick, true);
addEventListener("blur", (event) => event.target === window && letGo(pressed));
