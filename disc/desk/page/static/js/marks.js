// How a pin is drawn. Each condition has a shape of its own, so that nothing is told by colour alone:
// sound a ring; bent a ring with its lean; stub a square with a bar; missing a broken ring with a cross; extra a triangle;
// not seen an eye struck through. A pin in doubt has dots around it; a picked one is held by four brass corners.

import { type } from "./prefs.js";

export const COLOURS = { sound: "#1f4e79", bent: "#9a4a12", stub: "#6b4a00", missing: "#9b1c31", extra: "#60389a", unseen: "#4a4f55" };
export const WORDS = { sound: "sound", bent: "bent", stub: "stub", missing: "missing", extra: "too many", unseen: "not seen" };
const CASING = "rgba(255, 253, 248, 0.92)";
const BRASS = "#e0b02e";
const INK = "#1f2429";

// at, tip: screen pixels; size: radius of the mark. Marks without a lean are all alike: each is drawn once and stamped, to
// the device's pixel, since three hundred of them are drawn at every edit.
export function drawMark(context, condition, at, tip, size) {
  if (condition === "bent" && tip) traceMark(context, condition, at, tip, size);
  else stamp(context, `${condition} ${size}`, at, size + MARK_MARGIN_PX, (c, middle) => traceMark(c, condition, middle, null, size));
}

const MARK_MARGIN_PX = 5; // the casing and the triangle's corners reach so far beyond the radius
const MOST_STAMPS = 200;
const stamps = new Map(); // what, at which pixels of the device -> its picture

// reach: how far the picture goes from its middle, in CSS pixels
function stamp(context, what, [x, y], reach, paint) {
  const ratio = context.getTransform().a || 1;
  const key = `${what} ${ratio}`;
  const half = Math.ceil(reach * ratio);
  if (!stamps.has(key)) {
    if (stamps.size >= MOST_STAMPS) stamps.clear(); // as while the picture is zoomed
    const small = new OffscreenCanvas(2 * half, 2 * half);
    const c = small.getContext("2d");
    c.scale(ratio, ratio);
    paint(c, [half / ratio, half / ratio]);
    stamps.set(key, small);
  }
  context.drawImage(stamps.get(key), (Math.round(x * ratio) - half) / ratio, (Math.round(y * ratio) - half) / ratio, (2 * half) / ratio, (2 * half) / ratio);
}

function traceMark(context, condition, at, tip, size) {
  context.lineCap = "round";
  context.setLineDash([]);
  for (const [colour, width] of [[CASING, 4.2], [COLOURS[condition] ?? INK, 2]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    SHAPES[condition]?.(context, at, size);
    if (condition === "bent" && tip) lean(context, at, tip, size);
    context.stroke();
  }
}

const SHAPES = {
  sound: (c, [x, y], r) => c.arc(x, y, r, 0, 2 * Math.PI),
  bent: (c, [x, y], r) => c.arc(x, y, r, 0, 2 * Math.PI),
  stub: (c, [x, y], r) => {
    c.rect(x - r * 0.85, y - r * 0.85, r * 1.7, r * 1.7);
    c.moveTo(x - r * 0.4, y);
    c.lineTo(x + r * 0.4, y);
  },
  missing: (c, [x, y], r) => {
    for (let quarter = 0; quarter < 4; quarter += 1) {
      const from = (quarter * Math.PI) / 2 + 0.25;
      c.moveTo(x + r * Math.cos(from), y + r * Math.sin(from));
      c.arc(x, y, r, from, from + Math.PI / 2 - 0.5);
    }
    const d = r * 0.45;
    c.moveTo(x - d, y - d);
    c.lineTo(x + d, y + d);
    c.moveTo(x - d, y + d);
    c.lineTo(x + d, y - d);
  },
  extra: (c, [x, y], r) => {
    c.moveTo(x, y - r * 1.15);
    c.lineTo(x + r, y + r * 0.75);
    c.lineTo(x - r, y + r * 0.75);
    c.closePath();
  },
  unseen: (c, [x, y], r) => {
    c.moveTo(x - r, y);
    c.bezierCurveTo(x - r * 0.5, y - r * 0.6, x + r * 0.5, y - r * 0.6, x + r, y);
    c.bezierCurveTo(x + r * 0.5, y + r * 0.6, x - r * 0.5, y + r * 0.6, x - r, y);
    c.moveTo(x - r, y + r);
    c.lineTo(x + r, y - r);
  },
};

// The lean is drawn longer than it is where it would vanish in the ring.
function lean(c, [x, y], tip, r) {
  const dx = tip[0] - x;
  const dy = tip[1] - y;
  const length = Math.hypot(dx, dy) || 1;
  const reach = Math.max(length, r * 1.9);
  c.moveTo(x, y);
  c.lineTo(x + (dx / length) * reach, y + (dy / length) * reach);
}

export function drawDoubt(context, [x, y], size) {
  context.lineCap = "round";
  context.setLineDash([0.1, 5]);
  for (const [colour, width] of [[CASING, 5], [INK, 2.6]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    context.arc(x, y, size + 5, 0, 2 * Math.PI);
    context.stroke();
  }
  context.setLineDash([]);
}

export function drawPicked(context, [x, y], size, isPrimary) {
  const r = size + 7;
  const arm = r * 0.55;
  for (const [colour, width] of [[INK, isPrimary ? 6.5 : 4.5], [BRASS, isPrimary ? 4 : 2.4]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    for (const [sx, sy] of [[-1, -1], [1, -1], [1, 1], [-1, 1]]) {
      context.moveTo(x + sx * r, y + sy * (r - arm));
      context.lineTo(x + sx * r, y + sy * r);
      context.lineTo(x + sx * (r - arm), y + sy * r);
    }
    context.stroke();
  }
}

// Numbers keep clear of each other and of the marks; freshNumbers begins a drawing, keepClear says where marks are.
let taken = [];
export const freshNumbers = () => {
  taken = [];
};
export const keepClear = (marks) => taken.push(...marks.map(([[x, y], size]) => [x - size, y - size, x + size, y + size]));

const isFree = ([l, t, r, b]) => taken.every(([ll, tt, rr, bb]) => r < ll || l > rr || b < tt || t > bb);

// Beside its mark, where there is room; left out where there is none, until the picture is nearer.
export function drawNumber(context, text, [x, y], size) {
  context.font = type(600);
  const wide = context.measureText(text).width;
  const high = parseFloat(context.font.match(/(\d+)px/)[1]);
  const reach = size + 3;
  const spots = [[reach, -high], [reach, 0], [-reach - wide, -high], [-reach - wide, 0], [-wide / 2, -reach - high], [-wide / 2, reach]];
  const spot = spots.map(([dx, dy]) => [x + dx, y + dy]).find(([l, t]) => isFree([l, t, l + wide, t + high]));
  if (!spot) return;
  taken.push([spot[0], spot[1], spot[0] + wide, spot[1] + high]);
  context.textAlign = "left";
  context.textBaseline = "top";
  context.lineJoin = "round";
  context.lineWidth = 3.5;
  context.strokeStyle = CASING;
  context.strokeText(text, ...spot);
  context.fillStyle = INK;
  context.fillText(text, ...spot);
}

// Light at a tip while its tooth sounds. glow: 1 just struck, 0 gone.
export function drawStrike(context, [x, y], glow) {
  context.globalAlpha = Math.max(0, Math.min(1, glow));
  context.fillStyle = BRASS;
  context.strokeStyle = INK;
  context.lineWidth = 1.5;
  context.beginPath();
  context.arc(x, y, 7 + 8 * (1 - glow), 0, 2 * Math.PI);
  context.fill();
  context.stroke();
  context.globalAlpha = 1;
}

export function drawCross(context, [x, y]) {
  for (const [colour, width] of [[CASING, 4], [INK, 1.6]]) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    context.moveTo(x - 16, y);
    context.lineTo(x - 4, y);
    context.moveTo(x + 4, y);
    context.lineTo(x + 16, y);
    context.moveTo(x, y - 16);
    context.lineTo(x, y - 4);
    context.moveTo(x, y + 4);
    context.lineTo(x, y + 16);
    context.stroke();
  }
}
