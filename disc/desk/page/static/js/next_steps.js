// Where the work stands, from the photographs to what is taken away: the strip at the top, what is in doubt about the
// whole disc, and where each part of it is done.

import { button, byId, chance, element } from "./dom.js";
import { desk, on, select, setSheet, setTool } from "./store.js";
import { openTab, showStep } from "./tabs.js";

const doubtful = () => [...desk.pins.values()].filter((pin) => pin.doubt);

function steps() {
  const { state, music } = desk;
  const unsure = doubtful().length;
  const all = state.findings.findings;
  const open = all.filter((finding) => !finding.verdict).length;
  const mute = (music?.teeth ?? []).filter((tooth) => tooth.stand_in).length;
  const has = (name) => state.files.some((file) => file.name === name && !file.stale);
  return [
    ["pin", "Pins", desk.pins.size ? (unsure ? "doubt" : "done") : "todo", unsure,
      desk.pins.size ? `${desk.pins.size} pins and holes; ${unsure ? `${unsure} in doubt, look at them` : "none in doubt"}.` : "Not read yet."],
    ["comb", "Comb", !state.has_comb ? "todo" : state.draft_comb ? "doubt" : "done", mute || 1,
      !state.has_comb ? "Not given yet." : `${music.teeth.length} teeth${state.draft_comb ? ", only a draft" : ""}${mute ? `; ${mute} without a pitch` : ""}.`],
    ["tune", "Tune", music?.tune ? "done" : "later", 0, music?.tune ? `Read as ${music.tune.metre}, ${music.tune.key}.` : music?.why ?? ""],
    ["findings", "Findings", !state.has_comb || !desk.pins.size ? "later" : !state.findings.checked ? "todo" : open ? "doubt" : "done", open,
      state.pending ? "Being worked out …" : !state.findings.checked ? "Not checked yet." : `${open} open of ${all.length}.`],
    ["plan", "Plan", state.plan.made ? (has("out/work-list.pdf") ? "done" : "todo") : "later", 0, state.plan.made ? `${state.plan.total}.` : "Follows from the findings."],
    ["save", "Save", state.files?.some(({ name }) => /^out\/report.*\.pdf$/.test(name)) ? "done" : desk.pins.size ? "todo" : "later", 0, "Sheets, score, MIDI, report."],
  ];
}

function showStrip() {
  if (!desk.state?.job) return;
  const all = steps();
  const next = all.find(([, , state]) => state === "todo") ?? all.find(([, , state]) => state === "doubt");
  for (const one of all) showStep(one[0], { state: one[2], count: one[3], isNext: one === next, words: `${one[1]}: ${one[4]}` });
}

// Changes where what is shown changes.
export const stepsKey = () => [...steps().map(([, , state, count, words]) => [state, count, words]), desk.state.doubts];

// The pins in doubt in the order of the turn, one after the other; the picture goes there.
export function nextInDoubt(step = 1) {
  const order = doubtful().sort((a, b) => b.side.localeCompare(a.side) || a.theta_deg - b.theta_deg || a.r_mm - b.r_mm);
  if (!order.length) return;
  const here = order.findIndex((pin) => pin.id === desk.primary);
  const next = here < 0 ? (step > 0 ? 0 : order.length - 1) : (here + step + order.length) % order.length;
  select([order[next].id], "only", "doubt");
}

export function nextOfCondition(condition) {
  const order = [...desk.pins.values()].filter((pin) => pin.condition === condition)
    .sort((a, b) => b.side.localeCompare(a.side) || a.theta_deg - b.theta_deg);
  if (!order.length) return;
  const here = order.findIndex((pin) => pin.id === desk.primary);
  select([order[(here + 1) % order.length].id], "only", "doubt");
}

// ---- what is in doubt about the whole disc, each with what settles it

const marking = (what) => ({ side }) => {
  setSheet(side ?? (["upper", "lower"].includes(desk.sheet) ? desk.sheet : "upper"));
  setTool(`mark-${what}`);
  byId("stage").focus();
};
const SETTLE = {
  faces: ["See the photographs", () => openTab("disc")],
  direction: ["Set which way it turns", () => openTab("disc")],
  diameter: ["Set the diameter", () => openTab("disc")],
  disc: ["Bring other photographs", () => openTab("disc")],
  comb: ["Look at the comb", () => openTab("comb")],
  tune: ["Look at the tune", () => openTab("tune")],
  face: ["Bring a photograph", () => openTab("disc")],
  covered: ["Show that face", ({ side }) => setSheet(side ?? "upper")],
  slot: ["Mark the stop slot", marking("slot")],
  sharp: ["Bring a better photograph", () => openTab("disc")],
  stale: ["Make it again", () => openTab("save")],
  assumed: ["Give it", () => openTab("disc")],
};

const sentence = (words) => words.slice(0, 1).toUpperCase() + words.slice(1);

// The face it is about, and how likely it is where it is no plain fact.
function howSure({ side, probability }) {
  const told = [side && `${side} side`, probability < 1 && chance(probability)].filter(Boolean).join(", ");
  return told ? `(${told})` : "";
}

// How many there are stands at the top in every window, whatever panel is open; a press shows them.
const opener = byId("doubts-open");
opener.onclick = () => {
  select([]);
  openTab("pin");
  byId("doubts")?.scrollIntoView({ block: "nearest" });
};

function showDoubts() {
  const doubts = desk.state?.doubts ?? [];
  opener.hidden = !doubts.length;
  if (!doubts.length) return;
  opener.querySelector(".count").textContent = doubts.length;
  opener.title = `Look first: ${doubts.map((doubt) => [doubt.say, howSure(doubt)].filter(Boolean).join(" ")).join(" ")}`;
}

export function doubtList() {
  const doubts = desk.state.doubts ?? [];
  if (!doubts.length) return null;
  return element("section", { id: "doubts" }, element("h3", {}, "Look first"),
    element("ul", { class: "doubts" }, ...doubts.map((doubt) => {
      const settle = SETTLE[doubt.about];
      return element("li", { "data-about": doubt.about },
        element("span", {}, element("strong", {}, sentence(doubt.say)), ` ${howSure(doubt)}`),
        doubt.advice ? element("span", {}, sentence(doubt.advice)) : null,
        settle ? button(settle[0], () => settle[1](doubt), { "data-key": `${doubt.about} ${doubt.side}` }) : null);
    })));
}

export function nextSteps() {
  const list = steps();
  return element("section", { id: "next-steps" },
    element("p", {}, "Pick a pin on the picture, in the unrolled turn, in the score or in the list below. Where the work stands:"),
    element("ol", { class: "steps" }, ...list.map(([name, title, state, , words]) =>
      element("li", {}, element("strong", {}, title), element("span", {}, words),
        name !== "pin" ? button("Open", () => openTab(name), { "aria-label": `Open ${title}` })
          : state === "doubt" ? button("Next in doubt", () => nextInDoubt())
            : desk.pins.size ? element("span") : button("Open", () => openTab("disc"), { "aria-label": "Open Disc" })))));
}

for (const topic of ["state", "pins", "music", "findings"]) on(topic, showStrip);
for (const topic of ["state", "music"]) on(topic, showDoubts);
