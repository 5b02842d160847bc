// The comb: its table, and its tips marked on a photograph of it in place.

import { post, upload } from "./api.js";
import { button, byId, element } from "./dom.js";
import { combTable } from "./comb_table.js";
import { pluckedSection } from "./plucked.js";
import { combSources } from "./comb_sources.js";
import { drawCross, drawNumber } from "./marks.js";
import { loadPhoto } from "./photo.js";
import { rebuild } from "./refill.js";
import { attempt, say } from "./say.js";
import { addLayer, redraw } from "./stage.js";
import { desk, on, setSheet, setTool, takeState, tell } from "./store.js";
import { extraTools } from "./tools.js";

const panel = byId("panel-comb");
const STEPS = [
  ["centre", "Mark the arbor's centre."],
  ["slot", "Mark the middle of the stop slot, with the disc at rest; if it is not seen, any point on the line from the centre towards it."],
  ["from", "Mark one end of a known length (the rim, a ruler)."],
  ["to", "Mark the other end of the known length."],
  ["tips", "Mark the tip of every tooth."],
];
let marks = fresh();
let picture = null; // {token, name, width_px, height_px, photo}

function fresh() {
  return { centre: null, slot: null, from: null, to: null, tips: [], measured: [] };
}

const nextStep = () => STEPS.find(([name]) => name === "tips" || !marks[name]);

const about = element("section");
const heard = element("section");
const tableBox = element("section");
const sources = element("section");
const photograph = element("section");
panel.append(about, heard, tableBox, sources, photograph);

function draw() {
  if (!desk.state?.job) return;
  const { state, music } = desk;
  rebuild(about, [state.has_comb, state.draft_comb, music?.teeth.length], aboutComb);
  rebuild(heard, [state.plucked, redrawn], () => [pluckedSection(drawHeard)]);
  rebuild(tableBox, music?.teeth ?? [], () => (state.has_comb ? [element("details", { open: true, id: "comb-table-fold" }, element("summary", {}, "The table"), combTable(music.teeth))] : [combTable([])]));
  rebuild(sources, state.has_comb, () => [combSources(state.has_comb)]);
  rebuild(photograph, [picture?.token, marks], () => [onPhotograph()]);
}

let redrawn = 0; // what was heard is drawn anew where only the page's own choice changed
function drawHeard() {
  redrawn += 1;
  draw();
}

function aboutComb() {
  if (!desk.state.has_comb) {
    return [element("p", {}, "There is no comb yet, so no pin has a tooth and nothing sounds. Pluck its teeth into a recording, give its table or write it here, or mark its tips on a photograph. With none at hand a draft from the tracks of the pins shows where teeth must be; it does not know their pitches.")];
  }
  return [desk.state.draft_comb ? element("p", { class: "care" }, "A draft made from the pins alone: tip angles are not measured.") : null];
}

function onPhotograph() {
  const file = element("input", { type: "file", id: "comb-photo", accept: "image/*,.heic,.heif,.tif,.tiff" });
  file.onchange = () => bring(file.files[0]);
  const section = element("section", {}, element("h2", {}, "Tips on a photograph"),
    element("p", { class: "hint" }, "A photograph of the comb in place, taken squarely over the disc, with the disc at rest."),
    element("p", {}, element("label", {}, "Photograph ", file)));
  if (!picture) return section;
  const [step, words] = nextStep();
  const side = element("select", { id: "comb-side", onchange: (e) => { marks.side = e.target.value; measure(); } },
    element("option", { value: "upper" }, "upper"), element("option", { value: "lower" }, "lower"));
  side.value = marks.side ?? "upper";
  const length = element("input", { id: "comb-length", type: "text", size: 6, inputmode: "decimal", autocomplete: "off", value: marks.length ?? "", oninput: (e) => { marks.length = e.target.value.replace(",", "."); }, onchange: measure });
  section.append(
    element("p", { id: "comb-step" }, element("strong", {}, words), ` ${step === "tips" ? `${marks.tips.length} marked.` : ""}`),
    element("div", { class: "row" }, element("label", {}, "It looks at the side ", side), element("label", {}, "Known length, mm ", length)),
    element("div", { class: "row" },
      button("Mark", () => { setSheet("comb"); setTool("mark-comb"); byId("stage").focus(); }, { id: "comb-mark" }),
      button("Take back the last mark", takeBack, { id: "comb-back" }),
      button("Mark all again", () => { marks = { ...fresh(), side: marks.side, length: marks.length }; draw(); redraw(); }, { id: "comb-again" })),
    element("ol", { class: "evidence" }, ...marks.measured.map(([r, theta]) => element("li", {}, `${r.toFixed(2)} mm, ${theta.toFixed(1)}°`))),
    button("Make this the comb", keep, { id: "comb-keep", class: "chief" }),
  );
  return section;
}

async function bring(chosen) {
  if (!chosen) return;
  await attempt(async () => {
    const told = await upload("comb", chosen);
    picture = { ...told, photo: await loadPhoto(`/api/uploaded/${told.token}`, redraw) };
    marks = fresh();
    tell("pictures");
    setSheet("comb");
    setTool("mark-comb");
    draw();
    say(nextStep()[1]);
  });
}

extraTools.set("mark-comb", {
  tap: (at) => {
    if (desk.sheet !== "comb") return;
    const [step] = nextStep();
    if (step === "tips") marks.tips.push(at);
    else marks[step] = at;
    say(nextStep()[0] === "tips" ? `${marks.tips.length} ${marks.tips.length === 1 ? "tip" : "tips"} marked.` : nextStep()[1]);
    measure();
    draw();
    redraw();
  },
});

function takeBack() {
  if (marks.tips.length) marks.tips.pop();
  else {
    const last = [...STEPS].reverse().find(([name]) => name !== "tips" && marks[name]);
    if (last) marks[last[0]] = null;
  }
  measure();
  draw();
  redraw();
}

function request() {
  return { side: marks.side ?? "upper", centre: marks.centre, slot: marks.slot, length: [marks.from, marks.to], length_mm: Number(marks.length), tips: marks.tips };
}

async function measure() {
  const ready = marks.centre && marks.slot && marks.from && marks.to && Number(marks.length) > 0 && marks.tips.length;
  marks.measured = ready ? ((await attempt(() => post("/api/comb-marks", { ...request(), try: true })))?.tips ?? []) : [];
  draw();
}

async function keep() {
  const state = await attempt(() => post("/api/comb-marks", request()));
  if (!state) return;
  takeState(state);
  say(`The comb now has ${state.music.teeth.length} teeth; ${marks.tips.length} tips are as marked.`);
}

addLayer("comb", {
  sheet: () => (picture ? { name: "comb", width_px: picture.width_px, height_px: picture.height_px, sides: ["upper"], picture: "comb" } : null),
  ownPins: true,
  picture: (context, v, { width, height, ratio }) => {
    picture.photo.draw(context, v, width, height, ratio);
    return true;
  },
  over: (context, v) => {
    for (const [name, words] of [["centre", "centre"], ["slot", "slot"], ["from", "length"], ["to", "length"]]) {
      if (!marks[name]) continue;
      drawCross(context, v.toScreen(marks[name]));
      drawNumber(context, words, v.toScreen(marks[name]), 5);
    }
    marks.tips.forEach((tip, index) => {
      drawCross(context, v.toScreen(tip));
      drawNumber(context, String(index + 1), v.toScreen(tip), 4);
    });
  },
});

export const hasCombPhoto = () => picture !== null;
on("state", draw);
on("music", draw);
