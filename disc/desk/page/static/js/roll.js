// The turn unrolled: time across, teeth up, bars and beats behind. What is picked here is picked everywhere.

import { byId, fitCanvas, oncePerFrame } from "./dom.js";
import { attachGestures } from "./gestures.js";
import { extraSounds, silentPins } from "./heard.js";
import { COLOURS } from "./marks.js";
import { SILENT, barAt, isHeard, player, printedAlone, seek, sounding, togglePlay, turnSeconds } from "./player.js";
import { ink, language, type, typePx, whenLookChanges } from "./prefs.js";
import { audio, strike } from "./sound.js";
import { desk, on, select, toothNumbered } from "./store.js";
import { cross, line } from "./strokes.js";
import { spoken, tongue } from "./tongue.js";

const canvas = byId("roll");
const gutter = () => 5.6 * typePx();
const ruler = () => 1.4 * typePx();
const FOOT_PX = 3; // the lowest tooth's name keeps clear of the edge
const PICK_PX = 14;
const MOST_ZOOM = 40;
const TENTHS = { minimumFractionDigits: 1, maximumFractionDigits: 1, useGrouping: false };
let zoom = 1;
let left = 0; // seconds at the left edge
let rows = new Map(); // tooth number -> row from the top
let count = 1;

let drawn = null; // the canvas's size while it is drawn: asked once, not at every strike
const width = () => drawn?.width ?? canvas.clientWidth;
const rowHeight = () => ((drawn?.height ?? canvas.clientHeight) - ruler() - FOOT_PX) / Math.max(1, count);
const perSecond = () => ((width() - gutter()) / turnSeconds()) * zoom;
const xOf = (seconds) => gutter() + (seconds - left) * perSecond();
const secondsAt = (x) => left + (x - gutter()) / perSecond();
const yOf = (tooth) => ruler() + ((rows.get(tooth) ?? 0) + 0.5) * rowHeight();

export const redrawRoll = oncePerFrame(draw);

function order() {
  const teeth = [...(desk.music?.teeth ?? [])].sort((a, b) => b.pitch - a.pitch || a.number - b.number);
  rows = new Map(teeth.map((tooth, row) => [tooth.number, row]));
  count = teeth.length;
  redrawRoll();
}

// Every strike once: those of the pins as they should be, with what the disc plays now. What does not play: of a recorded
// turn, what was not heard in it; else what a tooth without a tone was to play.
function strikes() {
  const music = desk.music;
  if (!music) return [];
  const silent = isHeard() ? silentPins() : new Set();
  const now = new Map(music.now.map((one) => [one[3], one]));
  const sounds = (one) => (isHeard() ? !silent.has(one[3]) : !one[SILENT]);
  const all = music.should.map((one) => ({ strike: now.get(one[3]) ?? one, plays: now.has(one[3]) && sounds(one) }));
  const known = new Set(music.should.map((one) => one[3]));
  const others = music.now.filter((one) => !known.has(one[3]));
  return [...all, ...others.map((one) => ({ strike: one, plays: sounds(one) }))];
}

// Where the mark of a pin's strike is on the canvas, and whether it is drawn as one that plays: for whoever watches the
// page from outside.
export function placeOfStrike(id) {
  const hit = strikes().find((one) => one.strike[3] === id);
  return hit ? [xOf(hit.strike[1]) + 2, yOf(hit.strike[2]), hit.plays] : null;
}

function keepInside() {
  const span = turnSeconds() / zoom;
  left = Math.max(0, Math.min(turnSeconds() - span, left));
}

function draw() {
  const size = fitCanvas(canvas);
  if (!size.width || !size.height || !desk.state?.job) return;
  drawn = size;
  drawAll(size);
  drawn = null;
}

function drawAll({ width: w, height: h, ratio }) {
  const c = canvas.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, w, h);
  keepInside();
  if (!count) return sayNothing(c, w, h);
  drawRows(c, w);
  c.save();
  c.beginPath();
  c.rect(gutter(), 0, w - gutter(), h);
  c.clip();
  drawRest(c, h);
  drawBars(c, h);
  if (player.loop) drawLoop(c, h);
  const rings = new Set(sounding().map(({ strike: one }) => one[3]));
  for (const one of strikes()) drawStrikeMark(c, one, rings.has(one.strike[3]));
  if (isHeard()) drawExtra(c);
  drawPrinted(c);
  drawHead(c, h);
  c.restore();
  drawClock(c);
  return undefined;
}

function sayNothing(c, w, h) {
  c.fillStyle = ink("soft-ink");
  c.font = type();
  c.textAlign = "center";
  const where = desk.state.has_comb ? "" : " Give it at Comb.";
  const words = tongue((desk.music?.why || "Nothing sounds yet.") + where).split(" ");
  const lines = [""];
  for (const word of words) {
    const longer = `${lines.at(-1)} ${word}`.trim();
    if (c.measureText(longer).width > w - 20 && lines.at(-1)) lines.push(word);
    else lines[lines.length - 1] = longer;
  }
  lines.forEach((text, index) => c.fillText(text, w / 2, h / 2 + (index - (lines.length - 1) / 2) * 1.3 * typePx()));
}

function drawRows(c, w) {
  const high = rowHeight();
  c.textBaseline = "middle";
  c.textAlign = "left";
  const picked = new Set([...desk.selection].map((id) => desk.pins.get(id)?.tooth));
  const only = byId("play-tooth").value;
  const strong = (tooth) => picked.has(tooth.number) || String(tooth.number) === only;
  for (const tooth of desk.music.teeth) {
    if (rows.get(tooth.number) % 2) continue;
    c.fillStyle = ink("still");
    c.fillRect(gutter(), yOf(tooth.number) - high / 2, w - gutter(), high);
  }
  // As many names as have room, those of picked pins before all others.
  const named = [];
  const first = [...desk.music.teeth].sort((a, b) => strong(b) - strong(a) || rows.get(a.number) - rows.get(b.number));
  for (const tooth of first) {
    const y = Math.max(ruler() + 0.5 * typePx(), Math.min(canvas.clientHeight - 0.5 * typePx(), yOf(tooth.number)));
    if (named.some((other) => Math.abs(other - y) < 0.95 * typePx())) continue;
    named.push(y);
    c.font = type(strong(tooth) ? 700 : 400);
    c.fillStyle = ink(strong(tooth) ? "steel-ink" : "ink");
    c.fillText(tooth.stand_in ? `${tooth.number} ?` : `${tooth.number} ${tooth.name.split(" ")[0]}`, 4, y);
  }
}

function drawClock(c) {
  c.font = type(600);
  c.fillStyle = ink("ruby");
  c.textAlign = "left";
  c.textBaseline = "middle";
  c.fillText(`${player.at.toLocaleString(language, TENTHS)} s`, 4, ruler() / 2);
}

function drawRest(c, h) {
  const half = ((desk.state.plate.rest_arc_deg / 2) * turnSeconds()) / 360;
  c.fillStyle = "rgba(122, 92, 18, 0.16)";
  c.fillRect(xOf(0), 0, xOf(half) - xOf(0), h);
  c.fillRect(xOf(turnSeconds() - half), 0, xOf(half) - xOf(0), h);
}

function drawBars(c, h) {
  const { bars, beats } = desk.music;
  c.lineWidth = 1;
  if (perSecond() > 9) {
    c.strokeStyle = ink("line");
    for (const beat of beats) line(c, xOf(beat), ruler(), h);
  }
  c.strokeStyle = ink("soft-ink");
  c.fillStyle = ink("ink");
  c.font = type();
  c.textAlign = "left";
  c.textBaseline = "middle";
  let free = -1e9;
  for (const [number, onset] of bars) {
    const x = xOf(onset);
    line(c, x, 0, h);
    if (x < free || onset > turnSeconds() - 0.2) continue;
    c.fillText(String(number), x + 3, ruler() / 2);
    free = x + 2.2 * typePx();
  }
  if (!bars.length) {
    for (let second = 0; second <= turnSeconds(); second += 5) {
      line(c, xOf(second), 0, ruler() / 2);
      c.fillText(`${second} s`, xOf(second) + 3, ruler() / 2);
    }
  }
}

function drawLoop(c, h) {
  c.fillStyle = "rgba(31, 78, 121, 0.13)";
  c.fillRect(xOf(player.loop[0]), 0, xOf(player.loop[1]) - xOf(player.loop[0]), h);
}

function drawStrikeMark(c, { strike: [, onset, tooth, id, doubtful], plays }, isSounding) {
  const pin = desk.pins.get(id);
  const x = xOf(onset);
  if (x < gutter() - 10 || x > width() + 10) return;
  const y = yOf(tooth);
  const high = Math.min(12, Math.max(5, rowHeight() - 1.5));
  const only = byId("play-tooth").value;
  c.globalAlpha = only && String(tooth) !== only ? 0.25 : 1;
  c.lineWidth = 1.6;
  c.strokeStyle = pin?.condition === "sound" ? ink("steel-ink") : pin?.condition === "missing" ? ink("ruby") : COLOURS[pin?.condition] ?? ink("ink");
  c.fillStyle = isSounding ? "#e0b02e" : plays ? c.strokeStyle : ink("sheet");
  c.beginPath();
  if (plays) c.rect(x - 1.5, y - high / 2, isSounding ? 10 : 7, high);
  else c.arc(x + 2, y, high / 2.2, 0, 2 * Math.PI);
  c.fill();
  c.stroke();
  if (!plays) cross(c, x + 2, y, high / 4);
  if (doubtful) {
    c.fillStyle = ink("ink");
    c.font = type(700);
    c.fillText("?", x + 9, y);
  }
  c.globalAlpha = 1;
  if (desk.selection.has(id)) {
    c.strokeStyle = ink("ink");
    c.lineWidth = id === desk.primary ? 3 : 2;
    c.strokeRect(x - 5.5, y - high / 2 - 4, 15, high + 8);
    c.strokeStyle = "#e0b02e";
    c.lineWidth = 1.4;
    c.strokeRect(x - 5.5, y - high / 2 - 4, 15, high + 8);
  }
}

// Heard where no pin accounts for it: an upright cross on the tooth's line.
function drawExtra(c) {
  for (const [, second, tooth] of extraSounds()) {
    if (!rows.has(tooth)) continue;
    const [x, y] = [xOf(second) + 2, yOf(tooth)];
    for (const [colour, thick] of [["#fffdf8", 6], [COLOURS.extra, 3]]) {
      c.strokeStyle = colour;
      c.lineWidth = thick;
      c.beginPath();
      c.moveTo(x - 6, y);
      c.lineTo(x + 6, y);
      c.moveTo(x, y - 6);
      c.lineTo(x, y + 6);
      c.stroke();
    }
  }
}

// Printed where no pin plays: a hollow lozenge on the tooth's line.
function drawPrinted(c) {
  const rings = new Set(sounding().map(({ strike: one }) => one));
  for (const one of printedAlone()) {
    if (!rows.has(one[2])) continue;
    const [x, y] = [xOf(one[1]) + 2, yOf(one[2])];
    const lozenge = new Path2D(`M${x - 5} ${y}L${x} ${y - 5}L${x + 5} ${y}L${x} ${y + 5}Z`);
    Object.assign(c, { fillStyle: rings.has(one) ? "#e0b02e" : ink("sheet"), strokeStyle: ink("ruby"), lineWidth: 1.6 });
    c.fill(lozenge);
    c.stroke(lozenge);
  }
}

function drawHead(c, h) {
  const x = xOf(player.at);
  c.strokeStyle = ink("ruby");
  c.fillStyle = ink("ruby");
  c.lineWidth = 2;
  line(c, x, 0, h);
  c.beginPath();
  c.moveTo(x - 6, 0);
  c.lineTo(x + 6, 0);
  c.lineTo(x, 8);
  c.fill();
}

// ---- pointer and keys

function strikeUnder([px, py], reach) {
  let best = null;
  let least = reach;
  for (const one of strikes()) {
    const distance = Math.hypot(xOf(one.strike[1]) + 2 - px, yOf(one.strike[2]) - py);
    if (distance < least) [best, least] = [one.strike, distance];
  }
  return best;
}

export function hear(number) {
  const tooth = toothNumbered(number);
  if (!tooth) return;
  audio();
  strike(tooth);
}

attachGestures(canvas, {
  pan: (dx) => {
    left -= dx / perSecond();
    redrawRoll();
  },
  zoom: (factor, [px]) => zoomBy(factor, px),
  hold: (at) => {
    const hit = strikeUnder(at, PICK_PX * 1.7);
    if (hit) select([hit[3]], "toggle", "roll");
  },
  tap: ([px, py], event) => {
    if (!count) return;
    if (px < gutter()) {
      const row = Math.floor((py - ruler()) / rowHeight());
      const number = [...rows].find(([, at]) => at === row)?.[0];
      if (number !== undefined) hear(number);
    } else if (py < ruler()) seek(secondsAt(px));
    else {
      const hit = strikeUnder([px, py], event.pointerType === "touch" ? PICK_PX * 1.7 : PICK_PX);
      if (hit) {
        select([hit[3]], event.shiftKey || event.ctrlKey ? "toggle" : "only", "roll");
        hear(hit[2]);
      } else seek(secondsAt(px));
    }
  },
});

function zoomBy(factor, px = (width() + gutter()) / 2) {
  const at = secondsAt(px);
  zoom = Math.max(1, Math.min(MOST_ZOOM, zoom * factor));
  left = at - (px - gutter()) / perSecond();
  redrawRoll();
}

canvas.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const action = {
    ArrowRight: () => stepStrike(1),
    ArrowLeft: () => stepStrike(-1),
    ArrowUp: () => stepTooth(-1),
    ArrowDown: () => stepTooth(1),
    "+": () => zoomBy(1.4),
    "=": () => zoomBy(1.4),
    "-": () => zoomBy(1 / 1.4),
    Enter: () => hear(desk.pins.get(desk.primary)?.tooth),
    " ": togglePlay,
    Home: () => seek(0),
  }[event.key];
  if (!action) return;
  event.preventDefault();
  action();
});

function stepStrike(step) {
  const inTime = strikes().map((one) => one.strike).sort((a, b) => a[1] - b[1]);
  if (!inTime.length) return;
  const now = inTime.findIndex((one) => one[3] === desk.primary);
  const next = now < 0 ? 0 : Math.max(0, Math.min(inTime.length - 1, now + step));
  select([inTime[next][3]], "only", "keys");
}

function stepTooth(step) {
  const all = strikes().map((one) => one.strike);
  const here = all.find((one) => one[3] === desk.primary);
  if (!here) return stepStrike(0);
  for (let row = rows.get(here[2]) + step; row >= 0 && row < count; row += step) {
    const near = all.filter((one) => rows.get(one[2]) === row).sort((a, b) => Math.abs(a[1] - here[1]) - Math.abs(b[1] - here[1]))[0];
    if (near) return select([near[3]], "only", "keys");
  }
  return undefined;
}

byId("roll-in").onclick = () => zoomBy(1.6);
byId("roll-out").onclick = () => zoomBy(1 / 1.6);
byId("roll-fit").onclick = () => {
  zoom = 1;
  redrawRoll();
};

function showPicked(from) {
  const hit = strikes().find((one) => one.strike[3] === desk.primary)?.strike;
  if (hit && from !== "roll" && (xOf(hit[1]) < gutter() + 20 || xOf(hit[1]) > width() - 20)) {
    left = hit[1] - turnSeconds() / zoom / 2;
  }
  redrawRoll();
}

function follow() {
  if (player.playing && zoom > 1 && (xOf(player.at) > width() - 30 || xOf(player.at) < gutter())) left = player.at - 0.1;
  redrawRoll();
}

function explain() {
  const words = isHeard()
    ? ["Filled: heard.", "Ring with a cross: not heard, or its pin is missing."]
    : ["Filled: sounds.", "Ring with a cross: silent, its pin is missing or broken, or its tooth gives no tone."];
  if (isHeard() && extraSounds().length) words.push("Upright cross: heard, but no pin is there.");
  if (printedAlone().length) words.push("Hollow lozenge: printed, but no pin plays it.");
  if (strikes().some((one) => one.strike[4])) words.push("“?”: in doubt.");
  byId("roll-words").textContent = count ? words.join(" ") : "";
}

export const barWords = () => barAt(player.at)?.number;
on("state", order);
on("music", order);
on("state", explain);
on("music", explain);
on("pins", () => requestAnimationFrame(redrawRoll)); // after the picture, in which the edit was made
on("selection", showPicked);
on("time", follow);
whenLookChanges(redrawRoll);
spoken.then(redrawRoll);
new ResizeObserver(redrawRoll).observe(canvas);
