// The page in the person's language. The rooms, the server and these scripts speak English; what stands on the page is
// said anew from the house's catalogues as it appears, as disc/locale/said.py does it on paper: whole sentences first,
// then patterns with values, then part by part. What people wrote themselves (translate="no") stays as it is.

import { get } from "./api.js";
import { language } from "./prefs.js";
import { complain } from "./say.js";

const NAMES = ["title", "aria-label", "placeholder", "alt"];
const JOINTS = ["\n", " · ", ". ", "; ", ", ", ": ", " + ", " ("];
const DEEPEST = 4;
const DEEPEST_PART = 8;
const MOST_KNOWN = 5000; // sentences kept as they were said: a page says some hundreds, but each edit a new one
// No letters; notes, measures and file names have nothing to say.
const NOTHING = /^(?:[^A-Za-zÀ-ÿ]*|[A-G][#b♯♭]?-?\d.*|[a-z]{0,2}\d+|\d+ · [A-G].*|[A-Z](?: [A-Z])*|MIDI|[\d.]+ [A-Za-z]{2,3}\.?|[\d\s.,:/+±°x-]*(?:mm|ms|°|µm|s|h|Hz|%|c)?\.?|\S+\.[a-z0-9]{2,9})$/;
const DECIMAL = /(?<![\w.])(\d+)\.(\d+)(?![\w.]|\d)/g;

let exact = new Map();
let patterns = [];
const known = new Map(); // English -> said
const shown = new WeakMap(); // text node or element -> what was put there, which is not to be said again
export const unsaid = new Set(); // what fitted nothing: for whoever watches the page from outside

const numbers = (words) => words.replace(DECIMAL, "$1,$2");
const capital = (words) => words.slice(0, 1).toUpperCase() + words.slice(1);

function find(words, depth) {
  if (exact.has(words)) return exact.get(words);
  const bare = words.trim();
  if (NOTHING.test(bare)) return numbers(words);
  for (const said of [bare, bare.replace(/\.$/, "")]) {
    if (exact.has(said)) return words.replace(said, () => exact.get(said));
    const lower = said.slice(0, 1).toLowerCase() + said.slice(1);
    if (exact.has(lower)) return words.replace(said, () => capital(exact.get(lower)));
  }
  if (exact.has(`${bare}.`)) return words.replace(bare, () => exact.get(`${bare}.`).slice(0, -1)); // parted from its full stop
  if (depth > DEEPEST) return null;
  for (const { regex, said, piece } of patterns) {
    if (!bare.includes(piece)) continue;
    // As it stands, with one full stop too many, or parted from its own.
    const whole = [bare, bare.replace(/\.$/, ""), `${bare}.`].find((one) => regex.test(one));
    if (whole === undefined) continue;
    const { groups } = regex.exec(whole);
    const now = said.replace(/\{(\w+)\}/g, (_, name) => value(groups[name] ?? "", depth));
    return whole.length > bare.length ? words.replace(bare, () => now.replace(/\.$/, "")) : words.replace(whole, () => now);
  }
  return null;
}

const value = (words, depth) => find(words, depth + 1) ?? byParts(words, depth + 1, false);

function byParts(words, depth, isNoted = true) {
  for (const joint of JOINTS) {
    if (words.trim().includes(joint) && depth < DEEPEST_PART) return words.split(joint).map((part) => partOf(part, depth + 1, isNoted)).join(joint);
  }
  if (isNoted && !NOTHING.test(words.trim())) unsaid.add(words.trim());
  return numbers(words);
}

function partOf(words, depth, isNoted) {
  const found = find(words, depth);
  if (found !== null) return found;
  const inside = words.endsWith(")") ? find(words.slice(0, -1), depth) : null;
  return inside !== null ? `${inside})` : byParts(words, depth, isNoted);
}

// Words in the person's language.
export function tongue(english) {
  if (!exact.size || !english.trim()) return english;
  const words = english.replaceAll("\u00a0", " ");
  if (known.size > MOST_KNOWN) known.clear();
  if (!known.has(words)) known.set(words, find(words, 0) ?? byParts(words, 0));
  return known.get(words);
}

// ---- what stands on the page

const isOwn = (element) => !element || Boolean(element.closest("[translate=no], textarea, script, style, [contenteditable]"));

function sayText(node) {
  if (shown.get(node) === node.data || isOwn(node.parentElement)) return;
  const said = tongue(node.data);
  shown.set(node, said);
  if (said !== node.data) node.data = said;
}

function sayNames(element) {
  if (isOwn(element)) return;
  const before = shown.get(element) ?? {};
  for (const name of NAMES) {
    const words = element.getAttribute(name);
    if (words === null || before[name] === words) continue;
    before[name] = tongue(words);
    if (before[name] !== words) element.setAttribute(name, before[name]);
  }
  shown.set(element, before);
}

function sayAll(root) {
  if (root.nodeType === Node.TEXT_NODE) return sayText(root);
  if (root.nodeType !== Node.ELEMENT_NODE) return undefined;
  const walker = document.createTreeWalker(root, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
  for (let node = root; node; node = walker.nextNode()) {
    if (node.nodeType === Node.TEXT_NODE) sayText(node);
    else sayNames(node);
  }
  return undefined;
}

async function speak() {
  document.documentElement.lang = language;
  if (language === "en") return;
  const words = await get(`/api/words?language=${language}`);
  exact = new Map(Object.entries(words.exact));
  patterns = words.patterns.map(([source, said, piece]) => ({ regex: new RegExp(`^(?:${source})$`, "s"), said, piece }));
  new MutationObserver((changes) => {
    for (const change of changes) {
      if (change.type === "childList") change.addedNodes.forEach(sayAll);
      else if (change.type === "characterData") sayText(change.target);
      else sayNames(change.target);
    }
  }).observe(document.body, { childList: true, characterData: true, attributes: true, attributeFilter: NAMES, subtree: true });
  sayAll(document.body);
  document.body.dataset.tongue = language;
}
// Resolves once the words are there.
export const spoken = speak().catch(complain);
