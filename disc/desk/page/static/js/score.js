// The engraved score. A note carries the numbers of its pins in its id ("pin-12"), so what is picked is picked here too.

import { get } from "./api.js";
import { byId, element } from "./dom.js";
import { playOther, sounding, togglePlay } from "./player.js";
import { attempt } from "./say.js";
import { desk, on, select } from "./store.js";

const box = byId("score-box");
let shownRev = null;
let asking = null;
let notes = new Map(); // pin id -> elements
const LEAST_ZOOM = 0.25;
const MOST_ZOOM = 4;

// Larger or smaller; what was in the middle stays there.
export function zoomScore(factor) {
  const seen = [box.scrollLeft + box.clientWidth / 2, box.scrollTop + box.clientHeight / 2];
  const svg = box.querySelector(":scope > svg");
  if (!svg) return;
  const before = svg.clientWidth;
  const zoom = Number(box.style.getPropertyValue("--zoom") || 1) * factor;
  box.style.setProperty("--zoom", Math.max(LEAST_ZOOM, Math.min(MOST_ZOOM, zoom)));
  const real = svg.clientWidth / before;
  box.scrollTo(seen[0] * real - box.clientWidth / 2, seen[1] * real - box.clientHeight / 2);
}

// As wide as the window's part for it, whatever its size.
export function showWholeScore() {
  const svg = box.querySelector(":scope > svg");
  if (!svg) return;
  box.style.setProperty("--zoom", 1);
  const { paddingLeft, paddingRight } = getComputedStyle(box);
  zoomScore((box.clientWidth - parseFloat(paddingLeft) - parseFloat(paddingRight)) / svg.clientWidth);
  box.scrollTo(0, 0);
}

export async function showScore() {
  if (desk.sheet !== "score" || shownRev === desk.music?.rev) return;
  const rev = desk.music?.rev;
  if (asking === rev) return;
  asking = rev;
  if (!box.children.length) box.replaceChildren(element("p", {}, "Engraving …"));
  const answer = await attempt(() => get("/api/score"));
  asking = null;
  if (!answer) return;
  shownRev = rev;
  box.replaceChildren(...answer.pages.map(page));
  if (!answer.pages.length) box.replaceChildren(element("p", {}, answer.why || "There is no score yet."));
  for (const svg of box.querySelectorAll(":scope > svg")) cropToMusic(svg);
  notes = new Map();
  for (const note of box.querySelectorAll("[id*='pin-']")) {
    for (const pin of pinsOf(note)) {
      if (!notes.has(pin)) notes.set(pin, []);
      notes.get(pin).push(note);
    }
  }
  showPicked();
}

// Only shapes are taken over; styles of the engraving stand in the page's own sheet, scripts have no place in it.
function page(text) {
  const svg = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  for (const unwanted of svg.querySelectorAll("script, style, foreignObject")) unwanted.remove();
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", "Page of the score");
  return document.importNode(svg, true);
}

// A page made for paper has empty space below the last system; a screen need not show it.
function cropToMusic(svg) {
  const systems = [...svg.querySelectorAll(".system")].map((one) => one.getBoundingClientRect());
  const whole = svg.getBoundingClientRect();
  const [, , width, height] = (svg.getAttribute("viewBox") ?? "").split(/\s+/).map(Number);
  if (!systems.length || !whole.height || !height) return;
  const margin = 0.04 * whole.width;
  const top = Math.max(0, Math.min(...systems.map((one) => one.top)) - whole.top - margin);
  const bottom = Math.min(whole.height, Math.max(...systems.map((one) => one.bottom)) - whole.top + margin);
  const unit = height / whole.height;
  for (const inner of svg.querySelectorAll(":scope > svg")) {
    inner.setAttribute("width", width); // it would otherwise shrink with its frame
    inner.setAttribute("height", height);
  }
  svg.setAttribute("viewBox", `0 ${top * unit} ${width} ${(bottom - top) * unit}`);
}

function pinsOf(note) {
  const match = /^pin-([\d-]+?)(?:-held)?$/.exec(note.id);
  return match ? match[1].split("-").filter(Boolean).map(Number) : [];
}

function showPicked() {
  for (const note of box.querySelectorAll(".picked")) note.classList.remove("picked");
  for (const id of desk.selection) for (const note of notes.get(id) ?? []) note.classList.add("picked");
  const first = notes.get(desk.primary)?.[0] ?? barOf(desk.primary);
  for (const bar of box.querySelectorAll(".near")) bar.classList.remove("near");
  if (first?.matches(".measure")) first.classList.add("near");
  if (first && desk.sheet === "score") first.scrollIntoView({ block: "nearest", inline: "nearest" });
}

// A pin that does not sound has no note: the bar in which it would sound is shown.
function barOf(pin) {
  const places = desk.music?.places ?? {};
  const bar = places[pin]?.bar;
  const other = [...notes.keys()].find((id) => bar !== undefined && places[id]?.bar === bar && places[id].exact);
  return other === undefined ? null : notes.get(other)[0].closest(".measure");
}

box.addEventListener("click", (event) => {
  const note = event.target.closest("[id^='pin-']");
  if (note) select(pinsOf(note), event.shiftKey || event.ctrlKey ? "toggle" : "only", "score");
});
box.addEventListener("keydown", (event) => {
  const act = { "+": () => zoomScore(1.25), "=": () => zoomScore(1.25), "-": () => zoomScore(0.8), 0: showWholeScore, " ": togglePlay, s: playOther }[event.key];
  if (act && !event.ctrlKey && !event.metaKey) {
    event.preventDefault();
    act();
    return;
  }
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  const order = [...box.querySelectorAll(".note[id^='pin-']")];
  const at = order.findIndex((note) => pinsOf(note).includes(desk.primary));
  const next = order[Math.max(0, Math.min(order.length - 1, at + step))];
  if (next) select(pinsOf(next), "only", "score");
});

function showSounding() {
  if (desk.sheet !== "score") return;
  for (const note of box.querySelectorAll(".sounding")) note.classList.remove("sounding");
  for (const { strike: [, , , pin] } of sounding()) for (const note of notes.get(pin) ?? []) note.classList.add("sounding");
}

on("selection", showPicked);
on("sheet", showScore);
on("music", showScore);
on("state", showScore);
on("time", showSounding);
