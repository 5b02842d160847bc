// What a press on the picture does: pick, add, move, box, lasso. Each works by pointer and by the arrow keys' cross.

import { drawCross, drawMark } from "./marks.js";
import { send } from "./outbox.js";
import { attempt, say } from "./say.js";
import { baseSheet, canvas, markSize, mixShare, pinOnScreen, pinUnder, redraw, shownPins, view } from "./stage.js";
import { desk, on, select, setTool, takePins } from "./store.js";

const FINGER_PX = 24;
const MOUSE_PX = 12;

export const TOOLS = [
  ["pick", "Pick", "Pick a pin (P)"],
  ["add", "Add", "Add a pin (A)"],
  ["move", "Carry", "Carry a pin to another place (C)"],
  ["box", "Box", "Pick several with a box (B)"],
  ["lasso", "Ring", "Pick several with a line drawn around them (R)"],
];

export const hand = {
  cross: null, // [u, v] on the sheet: where the keys' cross is
  ghost: null, // {pin, at: [u, v]}: a pin being moved
  path: [], // screen points of a box or lasso being drawn
};

// Other modules' tools, by name: {tap(at uv), draw(context), words}
export const extraTools = new Map();

const reach = (event) => (event?.pointerType === "touch" ? FINGER_PX : MOUSE_PX);
const wantsMore = (event) => event && (event.shiftKey || event.ctrlKey || event.metaKey);

export function sideHere() {
  const sides = baseSheet().sides;
  return sides.length === 1 ? sides[0] : mixShare() >= 0.5 ? "upper" : "lower";
}

export async function edit(request, words) {
  const answer = await attempt(() => send("/api/edit", request));
  if (!answer) return null;
  if (!answer.isDone) takePins(answer);
  if (answer.select) select([answer.select]);
  const { history } = desk.state;
  const done = history.steps[history.done - 1];
  say(`${words ?? (done ? `Done: ${done.words}.` : "Done.")}`);
  return answer;
}

export const addAt = (at) =>
  edit({ do: "add", sheet: baseSheet().name, at, side: sideHere() });

export const moveTo = (pin, at) => edit({ do: "move", pin, sheet: baseSheet().name, at });

export function removePicked() {
  if (!desk.selection.size) return say("No pin is picked.", true);
  return edit({ do: "remove", pins: [...desk.selection] });
}

// ---- pointer

export function press(at, event) {
  const extra = extraTools.get(desk.tool);
  if (extra) return false;
  if (desk.tool === "move") {
    const pin = pinUnder(at, reach(event));
    if (!pin) return false;
    select([pin.id], "only", "stage");
    hand.ghost = { pin: pin.id, at: pin.marks[baseSheet().name][0] };
    return true;
  }
  if (desk.tool === "box" || desk.tool === "lasso") {
    hand.path = [at];
    return true;
  }
  return false;
}

export function drag(at) {
  if (hand.ghost) hand.ghost.at = view().toSheet(at);
  else if (desk.tool === "box") hand.path = [hand.path[0], at];
  else hand.path.push(at);
  redraw();
}

export async function drop(at, event) {
  if (hand.ghost) {
    const { pin } = hand.ghost;
    const place = view().toSheet(at);
    await moveTo(pin, place);
    hand.ghost = null;
  } else if (hand.path.length > 1) {
    const inside = desk.tool === "box" ? inBox : inLasso;
    const found = shownPins().filter((pin) => {
      const place = pinOnScreen(pin);
      return place && inside(hand.path, place.at);
    });
    select(found.map((pin) => pin.id), wantsMore(event) ? "add" : "only", "stage");
    say(`${desk.selection.size} pins picked.`);
  }
  leave();
}

export function leave() {
  hand.ghost = null;
  hand.path = [];
  redraw();
}

export function tap(at, event) {
  const uv = view().toSheet(at);
  const extra = extraTools.get(desk.tool);
  if (extra) return extra.tap(uv);
  if (desk.sheet === "comb") return undefined;
  if (desk.tool === "add") return addAt(uv);
  const pin = pinUnder(at, reach(event));
  leave();
  if (pin) return select([pin.id], wantsMore(event) ? "toggle" : "only", "stage");
  if (!wantsMore(event)) select([], "only", "stage");
  return undefined;
}

// A long press of a finger: one pin more, or one less, of those picked.
export function hold(at) {
  if (extraTools.has(desk.tool) || desk.sheet === "comb") return;
  const pin = pinUnder(at, FINGER_PX);
  if (!pin) return;
  select([pin.id], "toggle", "stage");
  say(`${desk.selection.size} pins picked.`);
}

function inBox([a, b], [x, y]) {
  return x >= Math.min(a[0], b[0]) && x <= Math.max(a[0], b[0]) && y >= Math.min(a[1], b[1]) && y <= Math.max(a[1], b[1]);
}

// Even-odd rule: a line from the point to the right crosses the path an odd number of times.
function inLasso(path, [x, y]) {
  let inside = false;
  path.forEach(([x1, y1], index) => {
    const [x2, y2] = path[(index + 1) % path.length];
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) inside = !inside;
  });
  return inside;
}

// ---- the keys' cross

export const usesCross = () => ["add", "move"].includes(desk.tool) || extraTools.has(desk.tool);

export function startCross() {
  if (hand.cross) return;
  const picked = desk.tool === "move" ? desk.pins.get(desk.primary)?.marks[baseSheet().name] : null;
  hand.cross = picked ? [...picked[0]] : view().toSheet([canvas.clientWidth / 2, canvas.clientHeight / 2]);
}

export function moveCross(dx, dy) {
  startCross();
  const [px, py] = view().toScreen(hand.cross);
  hand.cross = view().toSheet([px + dx, py + dy]);
  if (desk.tool === "move" && desk.primary !== null) hand.ghost = { pin: desk.primary, at: hand.cross };
  view().show(hand.cross, canvas.clientWidth, canvas.clientHeight, 24);
  redraw();
}

export async function setAtCross() {
  startCross();
  const at = hand.cross;
  if (extraTools.has(desk.tool)) extraTools.get(desk.tool).tap(at);
  else if (desk.tool === "add") await addAt(at);
  else if (desk.tool === "move" && desk.primary !== null) {
    await moveTo(desk.primary, at);
    leave();
  } else if (desk.tool === "pick") {
    const pin = pinUnder(view().toScreen(at), MOUSE_PX * 3);
    if (pin) select([pin.id], "only", "stage");
  }
}

export function dropCross() {
  hand.cross = null;
  leave();
}

// ---- drawing

export function drawTools(context, v) {
  const extra = extraTools.get(desk.tool);
  extra?.draw?.(context, v);
  if (hand.ghost) {
    const pin = desk.pins.get(hand.ghost.pin);
    if (pin) drawMark(context, pin.condition, v.toScreen(hand.ghost.at), null, markSize(pin.condition));
    drawCross(context, v.toScreen(hand.ghost.at));
  } else if (hand.cross && usesCross()) drawCross(context, v.toScreen(hand.cross));
  if (hand.path.length > 1) drawPath(context);
}

function drawPath(context) {
  context.beginPath();
  if (desk.tool === "box") {
    const [a, b] = hand.path;
    context.rect(a[0], a[1], b[0] - a[0], b[1] - a[1]);
  } else {
    hand.path.forEach(([x, y], index) => (index ? context.lineTo(x, y) : context.moveTo(x, y)));
    context.closePath();
  }
  context.fillStyle = "rgba(224, 176, 46, 0.18)";
  context.fill();
  context.setLineDash([6, 4]);
  context.lineWidth = 2;
  context.strokeStyle = "#1f2429";
  context.stroke();
  context.setLineDash([]);
}

on("tool", () => {
  hand.cross = null;
  leave();
  canvas.classList.toggle("cross", desk.tool !== "pick");
});
on("sheet", () => {
  hand.cross = null;
  if (extraTools.has(desk.tool)) setTool("pick");
});
