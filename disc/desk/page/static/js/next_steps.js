// Where the work stands, from the photographs to the plan, and where each part of it is done.

import { button, element } from "./dom.js";
import { desk, select } from "./store.js";
import { openTab } from "./tabs.js";

function steps() {
  const { state, music } = desk;
  const doubtful = [...desk.pins.values()].filter((pin) => pin.doubt);
  const open = state.findings.findings.filter((finding) => !finding.verdict).length;
  return [
    ["Pins", desk.pins.size ? `${desk.pins.size} pins and holes; ${doubtful.length ? `${doubtful.length} in doubt, look at them` : "none in doubt"}.` : "Not read yet.",
      doubtful.length ? ["Next in doubt", () => nextOf(doubtful)] : desk.pins.size ? null : ["Disc", () => openTab("disc")]],
    ["Comb", !state.has_comb ? "Not given yet." : `${music.teeth.length} teeth${state.draft_comb ? ", only a draft" : ""}.`, ["Comb", () => openTab("comb")]],
    ["Tune", music.tune ? `Read as ${music.tune.metre}, ${music.tune.key}.` : music.why, ["Disc", () => openTab("disc")]],
    ["Findings", state.pending ? "Being worked out …" : !state.findings.checked ? "Not checked yet." : `${open} open of ${state.findings.findings.length}.`, ["Findings", () => openTab("findings")]],
    ["Plan", state.plan.made ? `${state.plan.total}.` : "Follows from the findings.", ["Plan", () => openTab("plan")]],
    ["Save", "Sheets, score, MIDI, report.", ["Save", () => openTab("save")]],
  ];
}

// Changes where what is shown changes.
export const stepsKey = () => steps().map(([, words]) => words);

function nextOf(pins) {
  const order = pins.map((pin) => pin.id).sort((a, b) => a - b);
  select([order.find((id) => id > (desk.primary ?? 0)) ?? order[0]], "only", "keys");
}

const opener = ([name, act]) => (name === "Next in doubt" ? button(name, act) : button("Open", act, { "aria-label": `Open ${name}` }));

export function nextSteps() {
  return element("section", { id: "next-steps" },
    element("p", {}, "Pick a pin on the picture, in the unrolled turn, in the score or in the list below. Where the work stands:"),
    element("ol", { class: "steps" }, ...steps().map(([name, words, go]) =>
      element("li", {}, element("strong", {}, name), element("span", {}, words),
        go ? opener(go) : element("span")))));
}
