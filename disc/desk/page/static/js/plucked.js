// A recording of the comb plucked tooth by tooth: what was heard on one side, which tooth it was on the other. The order
// is a person's to say; where the numbers differ, each pitch is put to its tooth by ear.

import { get, upload } from "./api.js";
import { button, element } from "./dom.js";
import { send } from "./outbox.js";
import { hearPiece } from "./heard.js";
import { attempt, say } from "./say.js";
import { desk, takeState, tell } from "./store.js";
import { runTask } from "./tasks.js";

const ORDERS = [
  ["", "choose …"], ["number", "by the numbers of the table"], ["outwards", "from the arbor outwards"], ["inwards", "from the rim inwards"],
];
let order = "";
let teeth = []; // [number, side, radius in mm], also where there is no comb yet

export async function bringPlucked(file, plucks) {
  const brought = file && (await attempt(() => upload("recording", file)));
  if (!brought) return;
  teeth = (await attempt(() => get("/api/comb-table")))?.teeth ?? [];
  order = desk.state.has_comb && !desk.state.draft_comb ? "number" : "";
  await runTask({ do: "pluck", token: brought.token, plucks });
}

function inOrder() {
  const sorted = [...teeth];
  if (order === "number") sorted.sort((a, b) => a[0] - b[0]);
  if (order === "outwards") sorted.sort((a, b) => a[2] - b[2]);
  if (order === "inwards") sorted.sort((a, b) => b[2] - a[2]);
  return order ? sorted.map(([number]) => number) : [];
}

// redraw: draws the panel anew
export function pluckedSection(redraw) {
  const heard = desk.state.plucked;
  if (!heard) return null;
  if (!teeth.length) { // after a reload of the page
    get("/api/comb-table").then((answer) => {
      teeth = answer.teeth;
      redraw();
    }, () => {});
    return null;
  }
  const numbers = inOrder();
  const choice = element("select", { id: "plucked-order", onchange: (event) => {
    order = event.target.value;
    redraw();
  } }, ...ORDERS.map(([name, words]) => element("option", { value: name }, words)));
  choice.value = order;
  const selects = heard.teeth.map((one, index) => {
    const made = element("select", { "aria-label": `Which tooth the ${index + 1}. pluck was`, "data-pluck": String(index), onfocus: () => tell("tooth", Number(made.value) || null), onchange: () => {
      tell("tooth", Number(made.value) || null);
      count();
    } },
      element("option", { value: "" }, "no tooth"), ...teeth.map(([number, side, r]) => element("option", { value: String(number) }, `${number} · ${side} ${r} mm`)));
    made.value = String(numbers[index] ?? "");
    return made;
  });
  const told = element("p", { class: "care", id: "plucked-told" });
  function count() {
    const said = selects.map((one) => one.value).filter(Boolean);
    const twice = said.filter((one, index) => said.indexOf(one) !== index);
    told.textContent = `${heard.teeth.length} heard, ${teeth.length} teeth in the ${desk.state.has_comb ? "table" : "tracks of the pins"}. ${
      twice.length ? `Tooth ${[...new Set(twice)].join(", ")} is said more than once.` : heard.teeth.length === teeth.length ? "" : "They differ: listen to each, and move what follows a missed pluck by one."}`;
  }
  // All that follow go one tooth on, or back: a pluck missed, or heard twice.
  function shift(from, step) {
    const sorted = inOrder();
    for (let index = from; index < selects.length; index += 1) {
      const at = sorted.indexOf(Number(selects[index].value));
      selects[index].value = at < 0 ? "" : String(sorted[at + step] ?? "");
    }
    count();
  }
  count();
  return element("section", { id: "plucked" }, element("h3", {}, `Heard in ${heard.name}`),
    ...heard.remarks.map((words) => element("p", { class: "hint" }, `${words}.`)),
    element("p", {}, element("label", {}, "Plucked ", choice)),
    told,
    element("table", { class: "plain" },
      element("thead", {}, element("tr", {}, ...["", "Heard", "Which tooth", ""].map((words) => element("th", { scope: "col" }, words)))),
      element("tbody", {}, ...heard.teeth.map((one, index) => element("tr", {},
        element("td", { class: "number" }, `${index + 1}.`),
        element("td", {}, button(`♪ ${one.name}`, () => hearPiece(`/api/uploaded-sound/${heard.token}`, one.at_s[0] ?? 0), { "aria-label": `Hear the ${index + 1}. pluck, ${one.name}` }), one.words ? element("div", { class: "faint" }, one.words) : null),
        element("td", {}, selects[index]),
        element("td", { class: "row" }, button("+1", () => shift(index, 1), { "aria-label": `From the ${index + 1}. on, one tooth later` }), button("−1", () => shift(index, -1), { "aria-label": `From the ${index + 1}. on, one tooth earlier` })))))),
    element("div", { class: "row" },
      button("Keep these pitches", () => keep(heard, selects), { id: "plucked-keep", class: "chief" }),
      button("Forget them", async () => {
        const state = await attempt(() => send("/api/comb-table", { forget: true }));
        if (state && !state.isDone) takeState(state);
      })));
}

async function keep(heard, selects) {
  const rows = selects.map((one, index) => [one.value, heard.teeth[index]]).filter(([number]) => number)
    .map(([number, { pitch, condition }]) => [Number(number), pitch, condition]);
  if (!rows.length) return say("Say in which order the teeth were plucked, or which tooth each was.", true);
  const state = await attempt(() => send("/api/comb-table", { teeth: rows }));
  if (!state) return undefined;
  if (!state.isDone) takeState(state);
  return say(`${rows.length} teeth have the pitches of ${heard.name}.`);
}
