// The photographs, the plate, its turning, and the marks on its faces.

import { upload } from "./api.js";
import { byId, element } from "./dom.js";
import { changed, field } from "./forms.js";
import { marksForm } from "./hand_marks.js";
import { rebuild } from "./refill.js";
import { attempt } from "./say.js";
import { sendSettings } from "./settings.js";
import { desk, on } from "./store.js";
import { runTask } from "./tasks.js";

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
  rebuild(marks, [sheets.map((sheet) => sheet.picture), desk.state.hand_marks], marksForm);
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

function photosForm() {
  const line = (side) => element("p", {}, element("label", {}, `${side === "upper" ? "Upper" : "Lower"} side `,
    element("input", { type: "file", id: `anew-${side}`, "data-side": side, accept: "image/*,.heic,.heif,.tif,.tiff" })));
  const closer = (side) => element("p", {}, element("label", {}, `Close-ups of the ${side} side `,
    element("input", { type: "file", id: `closer-${side}`, "data-closer": side, multiple: true, accept: "image/*,.heic,.heif,.tif,.tiff" })));
  return [
    element("h2", {}, "Photographs"),
    element("p", { class: "hint" }, "Read again with what was marked, or bring better photographs first. Corrections are laid over the new reading."),
    line("upper"), line("lower"), closer("upper"), closer("lower"),
    element("button", { id: "read-anew" }, "Read the photographs"),
  ];
}

photos.onsubmit = async (event) => {
  event.preventDefault();
  const request = { do: "read", closer: {} };
  for (const input of photos.querySelectorAll("input")) {
    for (const file of input.files) {
      const brought = await attempt(() => upload("photo", file));
      if (!brought) return; // why, was said
      if (input.dataset.side) request[input.dataset.side] = brought.token;
      else (request.closer[input.dataset.closer] ??= []).push(brought.token);
    }
  }
  await runTask(request);
};

on("state", draw);
on("music", draw);
