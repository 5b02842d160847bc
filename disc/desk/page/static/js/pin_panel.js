// What is known of the picked pins, and how to correct them: condition, tooth, place, lean, notes.

import { ask } from "./bars_form.js";
import { button, byId, chance, element, fact } from "./dom.js";
import { field } from "./forms.js";
import { WORDS } from "./marks.js";
import { doubtList, nextSteps, stepsKey } from "./next_steps.js";
import { rebuild } from "./refill.js";
import { draftOf, keepDraft } from "./remember.js";
import { hear } from "./roll.js";
import { desk, on, toothNumbered } from "./store.js";
import { edit, removePicked } from "./tools.js";
import { keepInSight, pinList, pinListHead } from "./pin_list.js";

const NOTE_IS = [["held", "Fermata"], ["ornament", "Ornament"], ["melody", "Melody"]];
const panel = byId("panel-pin");
const card = element("div");
panel.append(card, element("h3", { id: "list-title" }, "All pins"), pinListHead, pinList);

function draw() {
  if (!desk.state?.job) return;
  const pins = [...desk.selection].map((id) => desk.pins.get(id));
  const places = pins.map((pin) => desk.music?.places[pin.id]);
  rebuild(card, [pins, places, desk.music?.teeth, pins.length ? evidenceOf(pins) : stepsKey()], () => {
    if (!pins.length) return [doubtList(), nextSteps()];
    return pins.length === 1 ? one(pins[0]) : several(pins);
  }, keepInSight);
}

const evidenceOf = (pins) => (desk.state.findings?.findings ?? []).filter((finding) => pins.some((pin) => pin.id === finding.pin));

function one(pin) {
  const facts = element("dl", { class: "facts" });
  const place = desk.music?.places[pin.id];
  const tooth = toothNumbered(pin.tooth);
  fact(facts, "Place", `${pin.side} side, ${pin.r_mm.toFixed(2)} mm, ${pin.theta_deg.toFixed(2)}°`);
  fact(facts, "Condition", WORDS[pin.condition] + (pin.condition_sure && !pin.by_hand ? ` (${pin.condition_sure})` : ""));
  fact(facts, "Tooth", pin.tooth === null ? "none" : `${pin.tooth}${tooth ? ` · ${tooth.name}` : ""}`);
  fact(facts, "Sounds", place ? `bar ${place.bar}, beat ${place.beat}${place.exact ? "" : " (by its time)"}` : "");
  fact(facts, "Confidence", pin.by_hand ? "set by hand" : pin.confidence === null ? "not given" : `${chance(pin.confidence)} that something is here${pin.doubt ? " – in doubt" : ""}`);
  fact(facts, "Measured to", pin.sigma_mm === null ? "" : `± ${pin.sigma_mm} mm`);
  fact(facts, "Wire", [pin.diameter_mm && `${pin.diameter_mm} mm thick`, pin.height_mm !== null && `${pin.height_mm} mm high`].filter(Boolean).join(", "));
  fact(facts, "Lean", pin.lean_mm && pin.condition === "bent" ? `${Math.hypot(...pin.lean_mm).toFixed(2)} mm` : "");
  return [
    element("h2", {}, `Pin ${pin.id}`),
    facts,
    evidence(pin),
    changeForm([pin]),
    scoreForm([pin]),
    placeForm(pin),
    noteForm([pin]),
    ...pin.notes.map((note) => element("p", { class: "care", translate: "no" }, `${note.words} (${note.at.slice(0, 10)})`)),
  ];
}

function several(pins) {
  const tally = new Map();
  for (const pin of pins) tally.set(pin.condition, (tally.get(pin.condition) ?? 0) + 1);
  const words = [...tally].map(([condition, count]) => `${count} ${WORDS[condition]}`).join(", ");
  return [element("h2", {}, `${pins.length} pins`), element("p", {}, words), changeForm(pins), scoreForm(pins), noteForm(pins)];
}

function evidence(pin) {
  const list = element("ul", { class: "evidence" });
  for (const finding of evidenceOf([pin])) {
    list.append(element("li", {}, `${finding.heading}, ${finding.sure}: ${finding.evidence.map((e) => e.words).join("; ")}`));
  }
  return list.children.length ? list : null;
}

function changeForm(pins) {
  const ids = pins.map((pin) => pin.id);
  const same = (key) => (pins.every((pin) => pin[key] === pins[0][key]) ? pins[0][key] : undefined);
  const condition = element(
    "select",
    { id: "pin-condition", onchange: (e) => e.target.value && edit({ do: "change", pins: ids, changes: { condition: e.target.value } }) },
    same("condition") === undefined ? element("option", { value: "" }, "several") : null,
    ...desk.state.conditions.map((name) => element("option", { value: name }, WORDS[name])),
  );
  condition.value = same("condition") ?? "";
  const tooth = element(
    "select",
    { id: "pin-tooth", onchange: (e) => e.target.value !== "several" && edit({ do: "change", pins: ids, changes: { tooth: e.target.value === "" ? null : Number(e.target.value) } }) },
    same("tooth") === undefined ? element("option", { value: "several" }, "several") : null,
    element("option", { value: "" }, "by its track"),
    ...(desk.music?.teeth ?? []).map(({ number, name }) => element("option", { value: String(number) }, `${number} · ${name}`)),
  );
  tooth.value = same("tooth") === undefined ? "several" : String(same("tooth") ?? "");
  return element(
    "div",
    { class: "row" },
    element("label", {}, "Condition ", condition),
    element("label", {}, "Tooth ", tooth),
    pins.length === 1 && pins[0].tooth !== null ? button("Hear", () => hear(pins[0].tooth), { id: "pin-hear" }) : null,
    button(pins.length === 1 ? "Remove" : `Remove ${pins.length}`, removePicked, { class: "danger", id: "pin-remove" }),
  );
}

// What the notes of the picked pins are in the score; pressed again it is taken back, or denied.
function scoreForm(pins) {
  const played = pins.filter((pin) => desk.music?.places[pin.id]?.note);
  if (!played.length) return null;
  const is = (word) => played.every((pin) => desk.music.places[pin.id].note.includes(word));
  const turn = (word) => ask({ pins: played.map((pin) => pin.id), word, is: !is(word) }, Math.max(1, desk.music.places[played[0].id].bar), "/api/notes");
  return element("fieldset", { class: "row", id: "note-is" },
    element("legend", {}, "In the score"),
    ...NOTE_IS.map(([word, words]) => button(words, () => turn(word), { id: `note-${word}`, "aria-pressed": String(is(word)) })));
}

function placeForm(pin) {
  const number = (name, value, size) => field(name, name, value.toFixed(3), { "data-key": `${name} ${pin.id}`, size, inputmode: "decimal" });
  const r = number("pin-r", pin.r_mm, 6);
  const theta = number("pin-theta", pin.theta_deg, 7);
  const form = element(
    "form",
    { class: "row" },
    element("label", {}, "Radius, mm ", r),
    element("label", {}, "Angle, ° ", theta),
    element("button", { id: "pin-place" }, "Move there"),
  );
  form.onsubmit = (event) => {
    event.preventDefault();
    edit({ do: "move", pin: pin.id, r_mm: r.value.replace(",", "."), theta_deg: theta.value.replace(",", ".") });
  };
  return form;
}

function noteForm(pins) {
  const name = `note ${pins.map((pin) => pin.id).join(" ")}`;
  const words = element("textarea", { id: "pin-note", rows: 2, maxlength: 2000, "aria-label": "Note", value: draftOf(name) });
  words.oninput = () => keepDraft(name, words.value);
  const form = element("form", {}, words, element("button", { id: "pin-note-keep" }, pins.length === 1 ? "Keep note" : `Keep note on ${pins.length} pins`));
  // What was written stays in the field, and is found again after a reload, until the desk says that it has it.
  form.onsubmit = async (event) => {
    event.preventDefault();
    const note = words.value;
    if (!(await edit({ do: "note", pins: pins.map((pin) => pin.id), note }))) return;
    keepDraft(name, "");
    const here = byId("pin-note"); // it may have been drawn anew
    if (here?.value === note) here.value = "";
  };
  return element("details", { "data-key": name, open: Boolean(words.value) || pins.some((pin) => pin.notes?.length) }, element("summary", {}, "Write a note"), form);
}

on("state", draw);
on("findings", draw);
on("pins", draw);
on("music", draw);
on("selection", (from) => {
  draw();
  // What is known of it is seen at once, but a person who goes along the list stays at the list.
  if (!["list", "keys"].includes(from)) byId("panel-pin").scrollTop = 0;
});
