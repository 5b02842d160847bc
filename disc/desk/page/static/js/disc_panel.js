// The photographs, the plate, its turning, and the marks on its faces.

import { upload } from "./api.js";
import { button, byId, element } from "./dom.js";
import { changed, field, rebuild } from "./forms.js";
import { attempt, say } from "./say.js";
import { sendSettings } from "./settings.js";
import { redraw } from "./stage.js";
import { desk, on, setSheet, setTool } from "./store.js";
import { runTask } from "./tasks.js";
import { extraTools } from "./tools.js";
import { drawCross } from "./marks.js";

const panel = byId("panel-disc");
const PLATE = [["diameter_mm", "Diameter, mm"], ["revolution_s", "Seconds a turn"], ["rest_arc_deg", "Rest arc, °"],
  ["thickness_mm", "Thickness, mm"], ["bore_mm", "Bore, mm"]];

const photos = element("form");
const plateBox = element("form");
const marks = element("section");
panel.append(photos, plateBox, marks);

function draw() {
  if (!desk.state?.job) return;
  const { plate, sheets } = desk.state;
  rebuild(photos, desk.state.picture_stamp, photosForm);
  rebuild(plateBox, plate, () => plateForm(plate));
  rebuild(marks, sheets.map((sheet) => sheet.picture), marksForm);
}

function plateForm(plate) {
  // What nobody gave stays an empty field with the value assumed in it, so that it can be given, be it the same.
  const given = (name) => (plate.assumed.includes(name) ? "" : plate[name]);
  const usual = (name) => (plate.assumed.includes(name) ? { placeholder: `${plate[name]} assumed` } : {});
  const turns = element("select", { name: "turns", id: "set-turns", "data-base": given("turns") },
    given("turns") ? null : element("option", { value: "" }, `${plate.turns} assumed`),
    element("option", { value: "clockwise" }, "clockwise"), element("option", { value: "counterclockwise" }, "counter-clockwise"));
  turns.value = given("turns");
  return [
    element("h2", {}, "The plate"),
    element("div", { class: "fields" }, element("label", {}, "Turning, seen on the upper side ", turns), ...PLATE.map(([name, words]) =>
      element("label", {}, `${words} `, field(name, `set-${name}`, given(name), { size: plate.assumed.includes(name) ? 10 : 6, inputmode: "decimal", ...usual(name) })))),
    element("p", {}, element("button", { id: "set-plate" }, "Set")),
  ];
}

plateBox.onsubmit = (event) => {
  event.preventDefault();
  sendSettings({ plate: changed(plateBox) });
};

function marksForm() {
  const pictures = (desk.state.sheets ?? []).filter((sheet) => sheet.picture === sheet.name);
  if (!pictures.length) return [element("p", { class: "faint" }, "Stop slot and centre are set on a photograph; this job has none.")];
  return [element("h2", {}, "Stop slot and centre"),
    element("p", {}, "Mark them on the photograph; every pin's place follows."),
    ...pictures.map((sheet) => element("p", { class: "row" }, `${sheet.title}: `,
      button("Mark the stop slot", () => mark("slot", sheet.name), { "aria-label": `Mark the stop slot, ${sheet.title}` }),
      button("Mark the centre", () => mark("centre", sheet.name), { "aria-label": `Mark the centre, ${sheet.title}` })))];
}

function photosForm() {
  const line = (side) => element("p", {}, element("label", {}, `${side === "upper" ? "Upper" : "Lower"} side `,
    element("input", { type: "file", id: `anew-${side}`, "data-side": side, accept: "image/*,.heic,.heif,.tif,.tiff" })));
  return [
    element("h2", {}, "Photographs"),
    element("p", { class: "hint" }, "Read again with what was marked, or bring better photographs first. Corrections are laid over the new reading."),
    line("upper"), line("lower"),
    element("button", { id: "read-anew" }, "Read the photographs"),
  ];
}

photos.onsubmit = async (event) => {
  event.preventDefault();
  const request = { do: "read" };
  for (const input of photos.querySelectorAll("input")) {
    const brought = input.files[0] && (await attempt(() => upload("photo", input.files[0])));
    if (input.files[0] && !brought) return; // why, was said
    if (brought) request[input.dataset.side] = brought.token;
  }
  await runTask(request);
};

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
      await sendSettings({ place: { what, sheet: desk.sheet, at } });
      redraw();
    },
    draw: (context, v) => {
      const lines = desk.state.sheets.find((sheet) => sheet.name === desk.sheet)?.lines;
      if (lines) drawCross(context, v.toScreen(what === "slot" ? lines.slot : lines.centre));
    },
  });
}

on("state", draw);
on("music", draw);
