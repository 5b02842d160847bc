// The keyboard: on the picture, and undo everywhere. Letters act only while the picture has the focus.

import { byId } from "./dom.js";
import { goBack, goForward } from "./history.js";
import { fold, isFull, isShown, setFull } from "./layout.js";
import { nextInDoubt } from "./next_steps.js";
import { playOther, togglePlay } from "./player.js";
import { showWholeScore, zoomScore } from "./score.js";
import { canvas, fit, redraw, view } from "./stage.js";
import { desk, select, setTool } from "./store.js";
import { dropCross, hand, moveCross, removePicked, setAtCross, usesCross } from "./tools.js";

const STEP_PX = 40;
const CROSS_PX = 1;
const CROSS_FAST_PX = 12;
const ZOOM = 1.25;

export const KEY_HELP = [
  ["Everywhere", [["Ctrl+Z", "undo"], ["Ctrl+Shift+Z or Ctrl+Y", "redo"], ["Tab", "next part of the page"]]],
  ["On the picture", [
    ["Arrows", "move the picture; with Add, Carry or a marking tool, move the cross (Shift: faster)"],
    ["+ − 0", "zoom in, out, whole picture"],
    ["N, Shift+N", "next, previous pin"], ["D, Shift+D", "next, previous in doubt"], ["Enter", "pick, add, set down what is moved"],
    ["Escape", "leave what was begun"], ["Delete", "remove the picked pins"],
    ["P A C B R", "pick, add, carry, box, ring"], ["1 2 3 4 5 6", "picked pins are sound, bent, stub, missing, too many, not seen"],
    ["F", "nothing but the picture, and back"], ["T", "the unrolled turn, open or folded"], ["S", "sound as it is now, repaired, or as printed"],
    ["Ctrl+A", "pick all pins of this picture"], ["Space", "play, pause"],
  ]],
  ["With fingers", [
    ["One finger", "moves the picture; with Add, Carry, Box or Ring, uses the tool"], ["Two fingers", "zoom and move"],
    ["Tap", "pick a pin"], ["Long press", "one pin more, or one less, of those picked"],
  ]],
  ["On the unrolled turn", [
    ["Left, right", "strike before, after"], ["Up, down", "tooth above, below"], ["Enter", "hear the tooth"],
    ["+ −", "show less or more of the turn"], ["Space", "play, pause"],
  ]],
];

export function zoomBy(factor) {
  if (desk.sheet === "score") {
    zoomScore(factor);
    return;
  }
  view()?.zoomAt(factor, canvas.clientWidth / 2, canvas.clientHeight / 2);
  redraw();
}

export function stepPin(step) {
  const order = [...desk.pins.values()].filter((pin) => desk.sheet === "through" || pin.side === desk.sheet || !["upper", "lower"].includes(desk.sheet));
  order.sort((a, b) => a.side.localeCompare(b.side) * -1 || a.theta_deg - b.theta_deg || a.r_mm - b.r_mm);
  if (!order.length) return;
  const now = order.findIndex((pin) => pin.id === desk.primary);
  const next = now < 0 ? (step > 0 ? 0 : order.length - 1) : (now + step + order.length) % order.length;
  select([order[next].id], "only", "keys");
}

canvas.addEventListener("keydown", async (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) {
    if (event.key === "a" && !event.altKey) {
      event.preventDefault();
      select([...desk.pins.values()].filter((pin) => pin.marks[desk.sheet]).map((pin) => pin.id), "only", "stage");
    }
    return;
  }
  const action = actionFor(event);
  if (!action) return;
  event.preventDefault();
  await action();
});

// On the score the keys that go from pin to pin act as on the picture; where they lead to the picture, the focus goes too.
byId("score-box").addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const action = goingKeys(event)[event.key.toLowerCase()];
  if (!action) return;
  event.preventDefault();
  action();
  if (desk.sheet !== "score") canvas.focus();
});

const goingKeys = ({ shiftKey }) => ({
  n: () => stepPin(shiftKey ? -1 : 1),
  d: () => nextInDoubt(shiftKey ? -1 : 1),
  f: () => setFull(!isFull()),
  t: () => fold("turn", !isShown("turn")),
});

function actionFor(event) {
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (arrows) {
    const [dx, dy] = arrows;
    if (usesCross()) {
      const step = event.shiftKey ? CROSS_FAST_PX : CROSS_PX;
      return () => moveCross(dx * step, dy * step);
    }
    return () => {
      view()?.pan(-dx * STEP_PX, -dy * STEP_PX);
      redraw();
    };
  }
  const letters = { p: "pick", a: "add", c: "move", b: "box", r: "lasso" };
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (letters[key]) return () => setTool(letters[key]);
  if (/^[1-6]$/.test(key) && desk.selection.size) return () => changeCondition(Number(key) - 1);
  return {
    "+": () => zoomBy(ZOOM),
    "=": () => zoomBy(ZOOM),
    "-": () => zoomBy(1 / ZOOM),
    0: fit,
    ...goingKeys(event),
    s: playOther,
    Enter: setAtCross,
    Delete: removePicked,
    Backspace: removePicked,
    Escape: leaveOne,
    " ": togglePlay,
  }[key];
}

// What was begun last is left first.
function leaveOne() {
  if (hand.cross || hand.ghost || hand.path.length) dropCross();
  else if (desk.tool !== "pick") setTool("pick");
  else if (isFull()) setFull(false);
  else select([], "only", "stage");
}

async function changeCondition(index) {
  const { edit } = await import("./tools.js");
  await edit({ do: "change", pins: [...desk.selection], changes: { condition: desk.state.conditions[index] } });
}

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || !desk.state?.job) return;
  if (event.target.matches("input:not([type=checkbox]):not([type=range]):not([type=radio]), textarea")) return;
  const key = event.key.toLowerCase();
  const step = key === "z" ? (event.shiftKey ? 1 : -1) : key === "y" ? 1 : 0;
  if (!step) return;
  event.preventDefault();
  if (step < 0) goBack();
  else goForward();
});

byId("zoom-in").onclick = () => zoomBy(ZOOM);
byId("zoom-out").onclick = () => zoomBy(1 / ZOOM);
byId("zoom-fit").onclick = () => (desk.sheet === "score" ? showWholeScore() : fit());
