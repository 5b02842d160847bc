// The picture: which sheet is seen, what is drawn over it, and which pin lies under a finger.

import { byId, fitCanvas, oncePerFrame } from "./dom.js";
import { drawDoubt, drawMark, drawNumber, drawPicked, freshNumbers, keepClear } from "./marks.js";
import { loadPhoto } from "./photo.js";
import { whenLookChanges } from "./prefs.js";
import { complain } from "./say.js";
import { desk, on, setSheet, sheetNamed } from "./store.js";
import { Viewport } from "./viewport.js";

export const canvas = byId("stage");
const views = new Map(); // sheet name -> Viewport
const MARK_MM = 0.3; // a mark is a little wider than a pin
const MARK_LEAST_PX = 6.5;
const SOUND_LEAST_PX = 3.5; // where the whole disc is seen, what is sound steps back behind what is not
const MARK_MOST_PX = 30;
const NEAR_PX_MM = 42; // so large is a millimetre where one pin is to be looked at
const LEAVES_SCORE = new Set(["doubt", "findings", "plan", "earlier"]);
const TRACK = "rgba(31, 78, 121, 0.75)";

// Pictures of other modules: each may replace the picture and add to the drawing on its own sheet.
// {picture(context, view, size, redraw) -> true if drawn, over(context, view, size), base: name of the sheet it stands on}
const layers = new Map();
export const addLayer = (sheetName, layer) => layers.set(sheetName, layer);
const overlays = [];
export const addOverlay = (overlay) => overlays.push(overlay);

let photos = [];
let pointedTooth = null;
let loading = 0;

// The sheet whose coordinates are used: some pictures stand on another one's.
export function baseSheet() {
  const layer = layers.get(desk.sheet);
  return layer?.sheet?.() ?? sheetNamed(layer?.base ?? desk.sheet);
}

export function view() {
  const sheet = baseSheet();
  if (!sheet) return null;
  if (!views.has(desk.sheet)) {
    const fresh = new Viewport(sheet.lines ? slotUp(sheet.lines) : 0);
    views.set(desk.sheet, fresh);
    showWhole();
  }
  return views.get(desk.sheet);
}

// How far the sheet is turned so that the stop slot is at the top: one way up in every picture.
const slotUp = ({ slot, centre }) => -Math.PI / 2 - Math.atan2(slot[1] - centre[1], slot[0] - centre[0]);

function showWhole() {
  const sheet = baseSheet();
  const v = views.get(desk.sheet);
  if (sheet.lines) v.fitAround(sheet.lines.rim, canvas.clientWidth, canvas.clientHeight);
  else v.fit(sheet.width_px, sheet.height_px, canvas.clientWidth, canvas.clientHeight);
}

export function fit() {
  views.delete(desk.sheet);
  redraw();
}

// What is seen of the present picture, and to see it again: for a reload, which loses nothing.
export function seenNow() {
  const v = views.get(desk.sheet);
  return v && !v.isWhole ? { at: v.toSheet([canvas.clientWidth / 2, canvas.clientHeight / 2]), scale: v.scale } : null;
}
export function seeAgain({ at, scale }) {
  view()?.centre(at, scale, canvas.clientWidth, canvas.clientHeight);
  redraw();
}

export function pixelsPerMm() {
  const lines = baseSheet()?.lines;
  if (!lines) return 10;
  const radius = desk.state.plate.diameter_mm / 2;
  return (Math.hypot(lines.slot[0] - lines.centre[0], lines.slot[1] - lines.centre[1]) / radius) * view().scale;
}

export const markSize = (condition) =>
  Math.min(MARK_MOST_PX, Math.max(condition === "sound" ? SOUND_LEAST_PX : MARK_LEAST_PX, MARK_MM * pixelsPerMm()));

// Where a pin is on the screen: {at, tip}, or null if it is not on this sheet.
export function pinOnScreen(pin) {
  const marks = pin.marks[baseSheet()?.name];
  if (!marks) return null;
  const v = view();
  const turned = layers.get(desk.sheet)?.turned ?? ((place) => place);
  return { at: v.toScreen(turned(marks[0])), tip: marks[1] ? v.toScreen(turned(marks[1])) : null };
}

export function shownPins() {
  if (desk.sheet === "comb" || !byId("show-marks").checked) return [];
  const soundToo = byId("show-sound").checked;
  return [...desk.pins.values()].filter((pin) => soundToo || pin.condition !== "sound" || pin.doubt || desk.selection.has(pin.id));
}

export function pinUnder([px, py], reach) {
  let best = null;
  let least = Math.max(reach, markSize() + 4);
  for (const pin of shownPins()) {
    const place = pinOnScreen(pin);
    if (!place) continue;
    const distance = Math.hypot(place.at[0] - px, place.at[1] - py);
    if (distance < least) [best, least] = [pin, distance];
  }
  return best;
}

export const redraw = oncePerFrame(draw);

function draw() {
  const sheet = baseSheet();
  const { width, height, ratio } = fitCanvas(canvas);
  if (!width || !height) return;
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  if (!sheet || !view()) return;
  freshNumbers();
  const v = view();
  const layer = layers.get(desk.sheet);
  const size = { width, height, ratio };
  if (!layer?.picture?.(context, v, size)) drawPictures(context, v, size, sheet);
  if (byId("show-tracks").checked && sheet.lines) drawTracks(context, v, sheet.lines);
  if (pointedTooth !== null && sheet.lines) drawTracks(context, v, { ...sheet.lines, tracks: sheet.lines.tracks.filter((track) => track.tooth === pointedTooth) });
  if (!layer?.ownPins) drawPins(context);
  layer?.over?.(context, v, size);
  for (const overlay of overlays) overlay(context, v, size);
}

// The photographs as they were last drawn: an edit changes only what is drawn over them.
const backdrop = document.createElement("canvas");
let backdropOf = "";

function drawPictures(context, v, { width, height, ratio }, sheet) {
  if (!photos.length) {
    drawPlate(context, v, sheet);
    return;
  }
  const key = JSON.stringify([canvas.width, canvas.height, v.scale, v.x, v.y, v.turn, photos.map(({ photo, alpha }) => [photo.number, photo.levels.length, alpha()])]);
  if (key !== backdropOf) {
    backdropOf = key;
    backdrop.width = canvas.width;
    backdrop.height = canvas.height;
    const under = backdrop.getContext("2d");
    under.scale(ratio, ratio);
    for (const { photo, alpha } of photos) {
      under.globalAlpha = alpha();
      photo.draw(under, v, width, height, ratio);
    }
  }
  context.save();
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.drawImage(backdrop, 0, 0);
  context.restore();
}

export function drawPlate(context, v, sheet) {
  if (!sheet.lines) return;
  trace(context, v, sheet.lines.rim);
  context.fillStyle = "#dcc98f";
  context.fill();
  context.strokeStyle = "#7a5c12";
  context.lineWidth = 2;
  context.stroke();
  const [x, y] = v.toScreen(sheet.lines.slot);
  context.fillStyle = "#1f2429";
  context.beginPath();
  context.arc(x, y, Math.max(4, 0.5 * pixelsPerMm()), 0, 2 * Math.PI);
  context.fill();
  const [cx, cy] = v.toScreen(sheet.lines.centre);
  context.beginPath();
  context.arc(cx, cy, Math.max(3, ((desk.state.plate.bore_mm ?? 1.5) / 2) * pixelsPerMm()), 0, 2 * Math.PI);
  context.fillStyle = "#8a8472";
  context.fill();
}

function trace(context, v, points) {
  context.beginPath();
  points.forEach((point, index) => {
    const [x, y] = v.toScreen(point);
    if (index) context.lineTo(x, y);
    else context.moveTo(x, y);
  });
}

function drawTracks(context, v, lines) {
  context.setLineDash([]);
  context.lineWidth = 1;
  context.strokeStyle = "rgba(255, 253, 248, 0.9)";
  trace(context, v, lines.rim);
  context.lineWidth = 3;
  context.stroke();
  for (const track of lines.tracks) {
    trace(context, v, track.circle);
    context.strokeStyle = "rgba(255, 253, 248, 0.55)";
    context.lineWidth = 2.6;
    context.stroke();
    context.strokeStyle = TRACK;
    context.lineWidth = 1.1;
    context.stroke();
  }
  drawTips(context, v, lines);
}

export function drawTips(context, v, lines) {
  context.lineWidth = 2;
  for (const track of lines.tracks) {
    if (!track.tip) continue;
    const [x, y] = v.toScreen(track.tip);
    context.fillStyle = "#fffdf8";
    context.strokeStyle = "#1f2429";
    context.beginPath();
    context.moveTo(x, y - 6);
    context.lineTo(x + 6, y);
    context.lineTo(x, y + 6);
    context.lineTo(x - 6, y);
    context.closePath();
    context.fill();
    context.stroke();
    if (byId("show-numbers").checked) drawNumber(context, String(track.tooth), [x, y], 4);
  }
}

function drawPins(context) {
  const numbers = byId("show-numbers").checked;
  const placed = shownPins().map((pin) => ({ pin, place: pinOnScreen(pin), size: markSize(pin.condition) })).filter(({ place }) => place);
  // What is sound lies underneath, so that it never hides what is not.
  placed.sort((a, b) => (b.pin.condition === "sound") - (a.pin.condition === "sound"));
  for (const { pin, place, size } of placed) {
    drawMark(context, pin.condition, place.at, place.tip, size);
    if (pin.doubt) drawDoubt(context, place.at, size);
  }
  for (const { pin, place, size } of placed) {
    if (desk.selection.has(pin.id)) drawPicked(context, place.at, size, pin.id === desk.primary);
  }
  if (!numbers) return;
  keepClear(placed.map(({ place, size }) => [place.at, size]));
  placed.sort((a, b) => desk.selection.has(b.pin.id) - desk.selection.has(a.pin.id));
  for (const { pin, place, size } of placed) if (pin.tooth !== null) drawNumber(context, String(pin.tooth), place.at, size);
}

// ---- loading the pictures of the sheet

async function loadPictures() {
  const sheet = baseSheet();
  const mine = (loading += 1);
  photos = [];
  if (!sheet?.picture || desk.sheet === "comb") {
    canvas.dataset.ready = desk.sheet;
    return redraw();
  }
  redraw(); // what is not yet loaded is drawn as a plain plate: never the old picture under new places
  const stamp = desk.state.picture_stamp ?? "";
  const names = sheet.picture === "flat" ? [["flat-lower", () => 1], ["flat-upper", mixShare]] : [[sheet.picture, () => 1]];
  const loaded = [];
  for (const [name, alpha] of names) {
    try {
      const photo = await loadPhoto(`/api/picture/${name}?v=${encodeURIComponent(stamp)}`, redraw);
      if (mine !== loading) return undefined;
      loaded.push({ photo, alpha: loaded.length ? alpha : () => 1 });
    } catch (error) {
      if (sheet.picture !== "flat") complain(error);
    }
  }
  photos = loaded;
  canvas.dataset.ready = desk.sheet;
  return redraw();
}

export const mixShare = () => Number(byId("mix").value) / 100;
export const currentPhotos = () => photos;

// Bring the picked pin into view, unless the person picked it here: the picture turns to its face, and goes near where
// one pin is to be looked at.
function showPicked(from) {
  const pin = desk.pins.get(desk.primary);
  if (pin && from !== "stage") {
    const away = desk.sheet === "score" ? LEAVES_SCORE.has(from) : !pin.marks[baseSheet()?.name];
    if (away) setSheet(pin.side);
    const marks = pin.marks[baseSheet()?.name];
    const turned = layers.get(desk.sheet)?.turned ?? ((place) => place);
    if (marks && view() && desk.sheet !== "score") {
      const [w, h] = [canvas.clientWidth, canvas.clientHeight];
      if (LEAVES_SCORE.has(from) && pixelsPerMm() < 0.7 * NEAR_PX_MM) {
        view().centre(turned(marks[0]), (view().scale * NEAR_PX_MM) / pixelsPerMm(), w, h);
      } else view().show(turned(marks[0]), w, h);
    }
  }
  redraw();
}

let lastStamp = null;
on("sheet", loadPictures);
on("state", () => {
  const stamp = JSON.stringify([desk.state.picture_stamp, desk.state.sheets?.map((s) => [s.picture, s.width_px])]);
  if (stamp !== lastStamp) {
    lastStamp = stamp;
    loadPictures();
  } else redraw();
});
on("pins", redraw);
on("findings", redraw);
on("selection", showPicked);
on("tool", redraw);
on("redraw", redraw);
// The tooth that a table speaks of is shown by its track and tip.
on("tooth", (number) => {
  pointedTooth = number;
  const tooth = desk.music?.teeth.find((one) => one.number === number);
  if (tooth && ["upper", "lower"].includes(desk.sheet)) setSheet(tooth.side);
  redraw();
});
whenLookChanges(redraw);

// When the room for the picture changes, what was whole stays whole, and what was in the middle stays there.
let room = null;
new ResizeObserver(() => {
  const now = [canvas.clientWidth, canvas.clientHeight];
  if (!now[0] || !now[1]) return; // another view has the place
  for (const name of [...views.keys()]) if (name !== desk.sheet && views.get(name).isWhole) views.delete(name);
  const v = views.get(desk.sheet);
  if (v?.isWhole) showWhole();
  else if (v && room) v.pan((now[0] - room[0]) / 2, (now[1] - room[1]) / 2);
  room = now;
  redraw();
}).observe(canvas);
