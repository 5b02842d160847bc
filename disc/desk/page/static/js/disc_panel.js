// The plate, its turning, and what is fixed for the reading of the tune.

import { post, upload } from "./api.js";
import { button, byId, element } from "./dom.js";
import { attempt, say } from "./say.js";
import { redraw } from "./stage.js";
import { desk, on, setSheet, setTool, takeState } from "./store.js";
import { runTask } from "./tasks.js";
import { extraTools } from "./tools.js";
import { drawCross } from "./marks.js";

const panel = byId("panel-disc");
const PLATE = [["diameter_mm", "Diameter, mm"], ["revolution_s", "Seconds a turn"], ["rest_arc_deg", "Rest arc, °"],
  ["thickness_mm", "Thickness, mm"], ["bore_mm", "Bore, mm"]];
const TUNE = [["metre", "Metre", "e.g. 6/8"], ["key", "Key", "e.g. D, E minor"], ["upbeat", "Upbeat, part of a whole note", "e.g. 1/8, or 0"], ["title", "Title", ""]];

let isBeingFilled = false; // what a person has begun to fill in is not replaced under the hand
panel.addEventListener("input", () => {
  isBeingFilled = true;
});

function draw() {
  if (!desk.state?.job || isBeingFilled) return;
  panel.replaceChildren(plateForm(), tuneForm(), marksForm(), photosForm());
}

function plateForm() {
  const { plate } = desk.state;
  const turns = element("select", { name: "turns", id: "set-turns" },
    element("option", { value: "clockwise" }, "clockwise"), element("option", { value: "counterclockwise" }, "counter-clockwise"));
  turns.value = plate.turns;
  const form = element("form", {}, element("h2", {}, "The plate"),
    element("div", { class: "fields" }, element("label", {}, "Turning, seen on the upper side ", turns), ...PLATE.map(([name, words]) =>
      element("label", {}, `${words} `, element("input", { name, id: `set-${name}`, size: 6, inputmode: "decimal", autocomplete: "off", value: plate[name] ?? "" })))),
    element("p", {}, element("button", { id: "set-plate" }, "Set")));
  form.onsubmit = (event) => {
    event.preventDefault();
    const asked = {};
    for (const [name, value] of new FormData(form)) if (String(plate[name] ?? "") !== value) asked[name] = value;
    send({ plate: asked });
  };
  return form;
}

function tuneForm() {
  const { settings } = desk.state;
  const tune = desk.music?.tune;
  const form = element("form", {}, element("h2", {}, "The tune"),
    element("p", {}, tune ? `Read as ${tune.metre}, ${tune.key}, upbeat ${tune.upbeat}, ${tune.notes} notes.` : desk.music?.why ?? ""),
    desk.music?.alternatives.length ? element("details", {}, element("summary", {}, "What else it could be"),
      element("ul", { class: "evidence" }, ...desk.music.alternatives.map((words) => element("li", {}, words)))) : null,
    element("div", { class: "fields" }, ...TUNE.map(([name, words, example]) => element("label", {}, `${words} `,
      element("input", { name, id: `set-${name}`, size: name === "title" ? 16 : 10, placeholder: example || null, autocomplete: "off", value: settings[name] ?? "" })))),
    element("p", { class: "hint" }, "Leave a field empty and the program decides."),
    element("button", { id: "set-tune" }, "Set"));
  form.onsubmit = (event) => {
    event.preventDefault();
    const asked = {};
    for (const [name, value] of new FormData(form)) if ((settings[name] ?? "") !== value.trim()) asked[name] = value.trim();
    send({ settings: asked });
  };
  return form;
}

function marksForm() {
  const pictures = (desk.state.sheets ?? []).filter((sheet) => sheet.picture === sheet.name);
  if (!pictures.length) return element("p", { class: "faint" }, "Stop slot and centre are set on a photograph; this job has none.");
  return element("section", {}, element("h2", {}, "Stop slot and centre"),
    element("p", {}, "Mark them on the photograph; every pin's place follows."),
    ...pictures.map((sheet) => element("p", { class: "row" }, `${sheet.title}: `,
      button("Mark the stop slot", () => mark("slot", sheet.name), { "aria-label": `Mark the stop slot, ${sheet.title}` }),
      button("Mark the centre", () => mark("centre", sheet.name), { "aria-label": `Mark the centre, ${sheet.title}` }))));
}

function photosForm() {
  const inputs = ["upper", "lower"].map((side) => element("input", { type: "file", id: `anew-${side}`, "data-side": side, accept: "image/*,.heic,.heif,.tif,.tiff" }));
  const form = element("form", {}, element("h2", {}, "Photographs"),
    element("p", { class: "hint" }, "Read again with what was marked, or bring better photographs first. Corrections are laid over the new reading."),
    ...inputs.map((input) => element("p", {}, element("label", {}, `${input.dataset.side === "upper" ? "Upper" : "Lower"} side `, input))),
    element("button", { id: "read-anew" }, "Read the photographs"));
  form.onsubmit = async (event) => {
    event.preventDefault();
    const request = { do: "read" };
    for (const input of inputs) {
      const brought = input.files[0] && (await attempt(() => upload("photo", input.files[0])));
      if (brought) request[input.dataset.side] = brought.token;
    }
    isBeingFilled = false;
    await runTask(request);
  };
  return form;
}

function mark(what, sheetName) {
  setSheet(sheetName);
  setTool(`mark-${what}`);
  say(`Set the cross on the ${what === "slot" ? "middle of the stop slot" : "arbor's centre"} and press Enter, or point at it.`);
  byId("stage").focus();
}

for (const what of ["slot", "centre"]) {
  extraTools.set(`mark-${what}`, {
    tap: async (at) => {
      setTool("pick");
      await send({ place: { what, sheet: desk.sheet, at } });
    },
    draw: (context, v) => {
      const lines = desk.state.sheets.find((sheet) => sheet.name === desk.sheet)?.lines;
      if (lines) drawCross(context, v.toScreen(what === "slot" ? lines.slot : lines.centre));
    },
  });
}

async function send(request) {
  const state = await attempt(() => post("/api/set", request));
  if (!state) return;
  isBeingFilled = false;
  takeState(state);
  const steps = state.history.steps;
  say(`Done: ${steps[state.history.done - 1].words}.`);
  redraw();
}

on("state", draw);
on("music", draw);
