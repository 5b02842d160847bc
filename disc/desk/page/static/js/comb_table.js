// The comb's table to read and to write: pitches as note names, hertz or numbers, whatever a person has; a tooth that is
// dead, broken or missing keeps its place without a tone, and the tune goes on.

import { button, byId, element } from "./dom.js";
import { send } from "./outbox.js";
import { hear } from "./roll.js";
import { attempt, say } from "./say.js";
import { desk, takeState, tell } from "./store.js";

const CONDITIONS = ["", "sound", "dead", "broken", "missing", "replaced", "buzzing", "doubled"];
const HEADINGS = ["No.", "Side", "Tip, mm", "Tip, °", "Pitch", "Condition", ""];
let fresh = 0;
let added = []; // names of rows added and not yet kept
let out = new Set(); // numbers of the teeth to be left out

const cell = (row, name, value, size) =>
  element("input", { size, "data-column": name, "data-base": value, value, autocomplete: "off", "aria-label": `${name.replaceAll("_", " ")}, ${row}` });

function rowOf(tooth, newName) {
  const row = tooth ? `tooth ${tooth.number}` : newName;
  const pick = (name, choices, value) => {
    const made = element("select", { "data-column": name, "data-base": value, "aria-label": `${name}, ${row}` }, ...choices.map((one) => element("option", { value: one }, one || "–")));
    made.value = value;
    return made;
  };
  const pitch = tooth && !tooth.stand_in ? tooth.name : "";
  const isOut = Boolean(tooth) && out.has(tooth.number);
  return element("tr", { "data-was": tooth ? String(tooth.number) : null, class: isOut ? "out" : null, onfocusin: () => tell("tooth", tooth?.number ?? null) },
    element("td", {}, cell(row, "number", tooth ? String(tooth.number) : "", 3)),
    element("td", {}, pick("side", ["upper", "lower"], tooth?.side ?? "upper")),
    element("td", {}, cell(row, "tip_r_mm", tooth ? tooth.r_mm.toFixed(3) : "", 6)),
    element("td", {}, cell(row, "tip_theta_deg", tooth && tooth.tip_theta_deg !== null ? tooth.tip_theta_deg.toFixed(2) : "", 6)),
    element("td", {}, cell(row, "pitch", pitch, 8)),
    element("td", {}, pick("condition", CONDITIONS, tooth?.condition ?? "")),
    element("td", { class: "row" },
      tooth ? button("♪", () => hear(tooth.number), { "aria-label": `Hear ${row}` }) : null,
      button("✕", (event) => leaveOut(event.target.closest("tr"), row), { "aria-label": `Leave out ${row}`, "aria-pressed": String(isOut) })));
}

// A row to be left out stays to be seen until the table is kept; a fresh one just goes.
function leaveOut(row, name) {
  if (!row.dataset.was) {
    added = added.filter((one) => one !== name);
    byId("comb-table-more").focus();
    return row.remove();
  }
  const mark = row.querySelector("[aria-pressed]");
  const isOut = mark.getAttribute("aria-pressed") !== "true";
  mark.setAttribute("aria-pressed", String(isOut));
  row.classList.toggle("out", isOut);
  if (isOut) out.add(Number(row.dataset.was));
  else out.delete(Number(row.dataset.was));
  return undefined;
}

async function keep(body) {
  const rows = [];
  const drop = [];
  for (const row of body.rows) {
    const was = row.dataset.was ? Number(row.dataset.was) : null;
    if (row.classList.contains("out")) {
      drop.push(was);
      continue;
    }
    const changed = [...row.querySelectorAll("[data-column]")].filter((one) => was === null || one.value.trim() !== one.dataset.base);
    if (changed.length) rows.push(Object.fromEntries([["was", was], ...changed.map((one) => [one.dataset.column, one.value.trim()])]));
  }
  if (!rows.length && !drop.length) return say("Nothing in the table was changed.");
  const state = await attempt(() => send("/api/comb-table", { rows, drop }));
  if (!state) return undefined;
  added = [];
  out = new Set();
  if (!state.isDone) takeState(state);
  return say(`The comb's table is kept: ${desk.music.teeth.length} teeth.`);
}

export function combTable(teeth) {
  const body = element("tbody", {}, ...teeth.map((tooth) => rowOf(tooth)), ...added.map((name) => rowOf(null, name)));
  return element("section", {},
    element("p", { class: "hint" }, "Pitches as you have them: A4, A4-14 (cents), 440 Hz, 69. A dead, broken or missing tooth stays here without a pitch."),
    element("div", { class: "comb-table", role: "region", "aria-label": "Table of the comb", tabindex: 0 },
      element("table", { class: "plain" },
        element("thead", {}, element("tr", {}, ...HEADINGS.map((words) => element("th", { scope: "col" }, words || element("span", { class: "unseen" }, "Hear, leave out"))))),
        body)),
    element("div", { class: "row" },
      button("Keep the table", () => keep(body), { id: "comb-table-keep", class: "chief" }),
      button("One tooth more", () => {
        fresh += 1;
        added.push(`new tooth ${fresh}`);
        body.append(rowOf(null, added.at(-1)));
        body.lastElementChild.querySelector("input").focus();
      }, { id: "comb-table-more" })));
}
