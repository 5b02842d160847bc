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
  rebuild(photos, [desk.state.picture_stamp, advised()], photosForm);
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

// What asks for one more photograph of a face stands where it is brought.
const advised = () => (desk.state.doubts ?? []).filter(({ about, side, advice }) => about === "sharp" && side && advice);

function photosForm() {
  const line = (side) => element("p", {}, element("label", {}, `${side === "upper" ? "Upper" : "Lower"} side `,
    element("input", { type: "file", id: `anew-${side}`, "data-side": side, accept: "image/*,.heic,.heif,.tif,.tiff" })));
  const several = (what, words, side) => element("p", {}, element("label", {}, words,
    element("input", { type: "file", id: `${what}-${side}`, [`data-${what}`]: side, multiple: true, accept: "image/*,.heic,.heif,.tif,.tiff" })));
  const asks = (side) => advised().filter((doubt) => doubt.side === side).map(({ advice }) => element("p", { class: "hint", "data-asks": side }, advice));
  return [
    element("h2", {}, "Photographs"),
    element("p", { class: "hint" }, "Read again with what was marked, or bring better photographs first. Corrections are laid over the new reading."),
    line("upper"), several("more", "One more of the upper side ", "upper"), ...asks("upper"),
    line("lower"), several("more", "One more of the lower side ", "lower"), ...asks("lower"),
    several("closer", "Close-ups of the upper side ", "upper"), several("closer", "Close-ups of the lower side ", "lower"),
    element("button", { id: "read-anew" }, "Read the photographs"),
  ];
}

photos.onsubmit = async (event) => {
  event.preventDefault();
  const request = { do: "read", more: {}, closer: {} };
  for (const input of photos.querySelectorAll("input")) {
    for (const file of input.files) {
      const brought = await attempt(() => upload("photo", file));
      if (!brought) return; // why, was said
      const { side, more, closer } = input.dataset;
      if (side) request[side] = brought.token;
      else if (more) (request.more[more] ??= []).push(brought.token);
      else (request.closer[closer] ??= []).push(brought.token);
    }
  }
  await runTask(request);
};

on("state", draw);
on("music", draw);
