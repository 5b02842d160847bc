// What a person marks on a face's photograph: stop slot, centre, points of the rim, a known length, what is not seen.
// What is in force is drawn whenever the photograph is seen.

import { button, byId, element } from "./dom.js";
import { drawCross } from "./marks.js";
import { fill as refill, hide } from "./refill.js";
import { say } from "./say.js";
import { sendSettings } from "./settings.js";
import { addOverlay, baseSheet, canvas, fit, redraw, view } from "./stage.js";
import { desk, on, setSheet, setTool } from "./store.js";
import { tongue } from "./tongue.js";
import { extraTools } from "./tools.js";

const ONE = { slot: "middle of the stop slot", centre: "arbor's centre" };
// least, most: how many points; fill: whether they enclose something
const SEVERAL = {
  rim: { least: 5, most: 60, ask: "Mark five points of the rim or more, all around; then press Keep.", fill: false },
  scale: { least: 2, most: 2, ask: "Mark both ends of a known length, write how long it is, and press Keep.", fill: false },
  unseen: { least: 3, most: 60, ask: "Mark the corners around what is not seen; then press Keep.", fill: true },
};
const INK = "#60389a";
const CASING = "#fffdf8";

let begun = null; // {what, sheet, points}
const box = element("div", { id: "marks-begun", class: "care", hidden: true });

export function marksForm() {
  const pictures = (desk.state.sheets ?? []).filter((sheet) => sheet.picture === sheet.name);
  if (!pictures.length) return [element("p", { class: "faint" }, "Marks are set on a photograph; this job has none.")];
  return [
    element("h2", {}, "Marks on the photographs"),
    element("p", { class: "hint" }, "Every pin's place follows from slot and centre. Rim and length help the next reading of the photograph. What is not seen counts at once."),
    box,
    ...pictures.map(faceMarks),
  ];
}

function faceMarks({ name, title }) {
  const inForce = desk.state.hand_marks?.[name] ?? {};
  const forget = (what, words) =>
    inForce[what]?.length ? button(`Forget ${words}`, () => sendSettings({ place: { what, sheet: name, points: [] } }), { id: `forget-${what}-${name}`, "aria-label": `Forget ${words}, ${title}` }) : null;
  const start = (what, words) => button(words, () => (ONE[what] ? markOne(what, name) : begin(what, name)), { "aria-label": `${words}, ${title}` });
  return element("section", {},
    element("h3", {}, title),
    element("p", { class: "row" },
      start("slot", "Mark the stop slot"), start("centre", "Mark the centre"), start("rim", "Mark the rim"),
      start("scale", "Mark a known length"), start("unseen", "Mark what is not seen")),
    element("p", { class: "row" },
      forget("rim", "the rim's points"), forget("scale", "the known length"), forget("unseen", "what is not seen")));
}

function markOne(what, sheetName) {
  leave();
  setSheet(sheetName);
  setTool(`mark-${what}`);
  say(`Set the cross on the ${ONE[what]} and press Enter, or point at it.`);
  byId("stage").focus();
}

function begin(what, sheetName) {
  setSheet(sheetName);
  setTool(`mark-${what}`);
  begun = { what, sheet: sheetName, points: [] };
  say(SEVERAL[what].ask);
  showBegun();
  byId("stage").focus();
}

function showBegun() {
  if (!begun) {
    hide(box);
    return box.replaceChildren();
  }
  box.hidden = false;
  const { what, points } = begun;
  const { least, ask } = SEVERAL[what];
  const length = what === "scale" ? element("input", { id: "marks-mm", size: 6, inputmode: "decimal", autocomplete: "off", value: byId("marks-mm")?.value ?? "" }) : null;
  return refill(box,
    element("p", {}, ask),
    element("p", { id: "marks-count" }, `${points.length} marked`),
    element("p", { class: "row" },
      length ? element("label", {}, "Length, mm ", length) : null,
      button("Keep", keep, { id: "marks-keep", class: "chief", disabled: points.length < least }),
      button("Take the last one back", takeBack, { id: "marks-back", disabled: !points.length }),
      button("Leave it", leave, { id: "marks-leave" })));
}

async function keep() {
  const { what, sheet, points } = begun;
  if (!(await sendSettings({ place: { what, sheet, points, mm: byId("marks-mm")?.value } }))) return;
  leave();
}

function takeBack() {
  begun.points.pop();
  showBegun();
  redraw();
}

function leave() {
  begun = null;
  if (desk.tool.startsWith("mark-")) setTool("pick");
  showBegun();
  redraw();
}

for (const what of Object.keys(ONE)) {
  extraTools.set(`mark-${what}`, {
    tap: async (at) => {
      setTool("pick");
      await sendSettings({ place: { what, sheet: desk.sheet, at } });
      redraw();
    },
    draw: (context, v) => {
      const lines = desk.state.sheets.find((sheet) => sheet.name === desk.sheet)?.lines;
      if (lines) drawCross(context, v.toScreen(what === "slot" ? lines.slot : lines.centre));
    },
  });
}
for (const [what, { most, fill }] of Object.entries(SEVERAL)) {
  extraTools.set(`mark-${what}`, {
    tap: (at) => {
      if (!begun) return;
      if (begun.points.length === most) begun.points.pop();
      begun.points.push(at);
      say(`${begun.points.length} marked.`);
      showBegun();
      redraw();
    },
    draw: (context, v) => {
      if (begun) drawPoints(context, v, begun.points, { isShut: fill && begun.points.length > 2, isLine: what !== "rim" });
    },
  });
}
// What is to be marked is in sight: where the picture was near something else, it is shown whole.
const SOUGHT = { "mark-slot": ({ slot }) => [slot], "mark-centre": ({ centre }) => [centre], "mark-rim": ({ rim }) => rim };
on("tool", () => {
  const lines = baseSheet()?.lines;
  if (!lines || !SOUGHT[desk.tool] || !canvas.clientWidth) return;
  const isSeen = (place) => {
    const [x, y] = view().toScreen(place);
    return x > 0 && y > 0 && x < canvas.clientWidth && y < canvas.clientHeight;
  };
  if (!SOUGHT[desk.tool](lines).every(isSeen)) fit();
});
// Another tool, or another picture: what was begun is left.
on("tool", () => {
  if (begun && desk.tool !== `mark-${begun.what}`) leave();
});

// ---- what is in force

addOverlay((context, v) => {
  if (!byId("show-hand").checked || !["upper", "lower"].includes(desk.sheet)) return;
  const sheet = baseSheet();
  const { rim = [], scale, unseen = [] } = desk.state.hand_marks?.[desk.sheet] ?? {};
  if (sheet.picture === sheet.name) drawDatum(context, v, sheet.lines);
  drawPoints(context, v, rim, {});
  if (scale) drawPoints(context, v, [scale.slice(0, 2), scale.slice(2, 4)], { isLine: true, words: `${scale[4]} mm` });
  for (const outline of unseen) drawPoints(context, v, outline, { isShut: true, isLine: true, words: tongue("not seen") });
  for (const { outline, name, doubt } of desk.state.close_ups?.[desk.sheet] ?? []) {
    drawPoints(context, v, outline, { isShut: true, isLine: true, dots: false, words: doubt ? `${name}?` : name });
  }
});

function drawDatum(context, v, { slot, centre }) {
  const [x, y] = v.toScreen(centre);
  const [sx, sy] = v.toScreen(slot);
  const far = Math.hypot(sx - x, sy - y);
  const [dx, dy] = [(sx - x) / far, (sy - y) / far];
  twice(context, () => {
    context.beginPath();
    context.moveTo(x - 6, y);
    context.lineTo(x + 6, y);
    context.moveTo(x, y - 6);
    context.lineTo(x, y + 6);
    context.moveTo(sx + dx * 3, sy + dy * 3);
    context.lineTo(sx + dx * 16, sy + dy * 16);
  });
}

function drawPoints(context, v, points, { isShut = false, isLine = false, dots = true, words = "" }) {
  if (!points.length) return;
  const at = points.map((point) => v.toScreen(point));
  if (isLine) {
    context.setLineDash([5, 4]);
    twice(context, () => {
      context.beginPath();
      at.forEach(([x, y], index) => (index ? context.lineTo(x, y) : context.moveTo(x, y)));
      if (isShut) context.closePath();
    });
    context.setLineDash([]);
  }
  if (dots) twice(context, () => {
    context.beginPath();
    for (const [x, y] of at) {
      context.moveTo(x + 4, y);
      context.arc(x, y, 4, 0, 2 * Math.PI);
    }
  });
  if (!words) return;
  context.font = "600 14px sans-serif";
  context.lineWidth = 4;
  context.strokeStyle = CASING;
  context.fillStyle = INK;
  context.strokeText(words, at[0][0] + 8, at[0][1] - 8);
  context.fillText(words, at[0][0] + 8, at[0][1] - 8);
}

// A dark line in a light casing reads on any photograph.
function twice(context, path) {
  for (const [width, colour] of [[4, CASING], [1.8, INK]]) {
    context.lineWidth = width;
    context.strokeStyle = colour;
    path();
    context.stroke();
  }
}
