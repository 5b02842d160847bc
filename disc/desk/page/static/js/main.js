// Puts the page together: loads the state, listens for news, and wires the choices at the top of the picture.

import { get, listen } from "./api.js";
import { byId, element, markChosen, radioGroup } from "./dom.js";
import { attachGestures } from "./gestures.js";
import { hasCombPhoto } from "./comb_panel.js";
import "./disc_panel.js";
import "./findings_panel.js";
import "./history_panel.js";
import { KEY_HELP } from "./keys.js";
import "./layers.js";
import { arrange, firstLook } from "./layout.js";
import { WORDS } from "./marks.js";
import "./pin_panel.js";
import "./plan_panel.js";
import "./roll.js";
import "./save_panel.js";
import { complain, say, sayAfter } from "./say.js";
import "./score.js";
import { type } from "./prefs.js";
import { addOverlay, baseSheet, canvas, redraw, view } from "./stage.js";
import "./start.js";
import "./tune_panel.js";
import { remember, restore } from "./remember.js";
import { desk, forgetNews, on, setSheet, setTool, takeFindings, takeMusic, takePins, takeState } from "./store.js";
import "./tongue.js";
import { drawTally } from "./tally.js";
import { showProgress } from "./tasks.js";
import * as tools from "./tools.js";

const PICTURES = [["upper", "Upper"], ["lower", "Lower"], ["through", "Through"], ["turning", "Turning"], ["score", "Score"]];
const NAMES = { upper: "Upper side", lower: "Lower side", through: "Both faces, from above", turning: "The turning disc", score: "The score", comb: "Photograph of the comb", earlier: "Earlier and now" };

async function reload() {
  takeState(await get("/api/state"));
  showProgress(desk.state.busy ? { doing: desk.state.busy, share: null } : { ended: true });
}

function showChoices() {
  const pictures = [...PICTURES, ...(hasCombPhoto() ? [["comb", "Comb"]] : []), ["earlier", "Earlier"]];
  radioGroup(byId("sheet-choice"), pictures.map(([name, words]) => [name, words, NAMES[name]]), desk.sheet, setSheet);
  radioGroup(byId("tool-choice"), tools.TOOLS, desk.tool, setTool);
}

let isLaidOut = false;

function showState() {
  const { state } = desk;
  byId("start").hidden = state.job;
  byId("bench").hidden = !state.job;
  for (const id of ["undo", "redo", "tabs", "turn-open", "full", "picture-tools"]) byId(id).hidden = !state.job;
  byId("job-name").textContent = state.job ? state.folder : `New job ${state.folder}`;
  document.title = `${state.folder} – desk`;
  for (const part of document.querySelectorAll("[data-open]")) part.hidden = !state.job;
  if (!state.job) return;
  if (!isLaidOut) {
    isLaidOut = true;
    firstLook();
    restore();
  } else arrange();
  byId("stage-empty").textContent = "No pins yet. Bring a photograph of each side (Disc, Photographs), or add pins by hand.";
  showPins();
  showSheet();
}

// After an edit the room is shared out as before: nothing is measured anew.
function showPins() {
  byId("stage-empty").hidden = desk.pins.size > 0;
  showCounts();
}

function showSheet() {
  markChosen(byId("sheet-choice"), desk.sheet);
  byId("score-box").hidden = desk.sheet !== "score";
  canvas.hidden = desk.sheet === "score";
  canvas.setAttribute("aria-label", `${NAMES[desk.sheet]} with pins`);
  showCounts();
}

function showCounts() {
  if (!desk.state?.job) return;
  const here = [...desk.pins.values()].filter((pin) => baseSheet()?.sides?.includes(pin.side));
  drawTally(here, ["score", "comb"].includes(desk.sheet));
  const tally = desk.state.conditions.map((name) => [name, here.filter((pin) => pin.condition === name).length]).filter(([, n]) => n);
  const doubt = here.filter((pin) => pin.doubt).length;
  const words = tally.map(([name, n]) => `${n} ${WORDS[name]}`).join(", ");
  byId("stage-state").textContent = ["comb", "score"].includes(desk.sheet) ? "" : desk.sheet === "earlier" ? "Earlier reading to the left of the line, now to its right." : `${NAMES[desk.sheet]}: ${words || "no pins"}${doubt ? `; ${doubt} in doubt` : ""}${desk.selection.size ? `. ${desk.selection.size} picked` : ""}.${desk.sheet === "turning" ? " Diamonds: the teeth's tips." : ""}`;
}

function drawFindings(context, v) {
  if (!byId("show-findings").checked) return;
  for (const finding of desk.state.findings?.findings ?? []) {
    const pin = desk.pins.get(finding.pin);
    const marks = pin?.marks[baseSheet()?.name];
    if (!marks || finding.verdict === "rejected") continue;
    const [x, y] = v.toScreen(marks[0]);
    context.font = type(700, 1.15);
    context.lineWidth = 4;
    context.strokeStyle = "#fffdf8";
    context.fillStyle = "#9b1c31";
    context.strokeText("!", x - 16, y - 8);
    context.fillText("!", x - 16, y - 8);
  }
}

function fillHelp() {
  byId("help-words").replaceChildren(
    ...KEY_HELP.flatMap(([title, keys]) => {
      const list = element("dl", { class: "facts" });
      for (const [key, words] of keys) list.append(element("dt", {}, key), element("dd", {}, words));
      return [element("h3", {}, title), list];
    }),
    element("h3", {}, "Before you handle the object"),
    element("ul", { class: "evidence" }, ...Object.values(desk.state.cautions).map((words) => element("li", {}, words))),
  );
}

attachGestures(canvas, {
  press: tools.press,
  drag: tools.drag,
  drop: tools.drop,
  leave: tools.leave,
  tap: tools.tap,
  hold: tools.hold,
  pan: (dx, dy) => {
    view()?.pan(dx, dy);
    redraw();
  },
  zoom: (factor, at) => {
    view()?.zoomAt(factor, ...at);
    redraw();
  },
});
addOverlay(drawFindings);
addOverlay(tools.drawTools);
for (const id of ["show-marks", "show-sound", "show-numbers", "show-tracks", "show-findings", "show-hand"]) byId(id).onchange = redraw;
byId("help-open").onclick = () => {
  fillHelp();
  byId("help").showModal();
};
on("state", showState);
on("sheet", showSheet);
on("pins", showPins);
on("selection", showCounts);
on("tool", () => markChosen(byId("tool-choice"), desk.tool));
on("pictures", showChoices);
on("missed", () => reload().catch(complain));

// Which state is shown and which music and findings belong to it: for whoever watches the page from outside.
function showRevisions() {
  document.body.dataset.rev = desk.state?.rev ?? "";
  document.body.dataset.music = desk.music?.rev ?? "";
  document.body.dataset.findings = desk.state?.checked_rev ?? "";
}
for (const topic of ["state", "pins", "music", "findings"]) on(topic, showRevisions);

showChoices();
addEventListener("pagehide", remember);
listen({
  pins: takePins,
  music: (music) => {
    takeMusic(music);
    if (desk.state?.job && music.told.length) sayAfter(`${music.told.join("; ")}.`);
  },
  findings: (found) => {
    takeFindings(found);
    if (desk.state?.job && found.told.length) sayAfter(`${found.told.join("; ")}.`);
  },
  progress: showProgress,
  reload: () => reload().catch(complain),
  trouble: ({ words }) => say(words, true),
  // A desk that was started again counts anew: what the one before told is none of its news.
  opened: () => (forgetNews(), reload()).then(() => true, (error) => complain(error)),
});
