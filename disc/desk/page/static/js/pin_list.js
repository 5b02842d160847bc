// All pins as a list that the keyboard walks through: the picture's counterpart for those who do not see or point.

import { element, oncePerFrame } from "./dom.js";
import { WORDS } from "./marks.js";
import { desk, on, select } from "./store.js";

export const pinList = element("div", {
  class: "pin-list", role: "listbox", "aria-labelledby": "list-title", "aria-multiselectable": "true", tabindex: 0, id: "pin-list",
});
// What stands in the columns; each row says it again to those who hear it.
export const pinListHead = element("p", { class: "list-head", "aria-hidden": "true" }, ...["No.", "side", "mm", "angle", "condition", "tooth"].map((words) => element("span", {}, words)));
const rows = new Map(); // pin id -> {row, text}

function order() {
  return [...desk.pins.values()].sort((a, b) => b.side.localeCompare(a.side) || a.theta_deg - b.theta_deg || a.r_mm - b.r_mm);
}

function cells(pin) {
  return [
    `${pin.id}${pin.doubt ? "?" : ""}`, pin.side, pin.r_mm.toFixed(1), `${pin.theta_deg.toFixed(1)}°`,
    WORDS[pin.condition], pin.tooth === null ? "–" : String(pin.tooth),
  ];
}

const said = (pin) =>
  `pin ${pin.id}, ${pin.side}, ${pin.r_mm.toFixed(2)} mm, ${pin.theta_deg.toFixed(1)} degrees, ${WORDS[pin.condition]}, ${pin.tooth === null ? "no tooth" : `tooth ${pin.tooth}`}${pin.doubt ? ", in doubt" : ""}`;

function build() {
  rows.clear();
  pinList.replaceChildren(...order().map(rowOf));
  showSelection();
}

function rowOf(pin) {
  const row = element("div", { role: "option", id: `pin-row-${pin.id}`, "aria-selected": "false", "aria-label": said(pin) }, ...cells(pin).map((text) => element("span", {}, text)));
  row.onclick = (event) => select([pin.id], event.ctrlKey || event.metaKey || event.shiftKey ? "toggle" : "only", "list");
  rows.set(pin.id, row);
  return row;
}

function change({ pins, gone }) {
  for (const id of gone) {
    rows.get(id)?.remove();
    rows.delete(id);
  }
  for (const pin of pins) {
    const fresh = rows.get(pin.id);
    if (!fresh) return build();
    fresh.replaceChildren(...cells(pin).map((text) => element("span", {}, text)));
    fresh.setAttribute("aria-label", said(pin));
  }
  return showSelection();
}

let marked = new Set();
function showSelection() {
  for (const id of marked) if (!desk.selection.has(id)) rows.get(id)?.setAttribute("aria-selected", "false");
  for (const id of desk.selection) rows.get(id)?.setAttribute("aria-selected", "true");
  marked = new Set(desk.selection);
  pinList.querySelector(".at")?.classList.remove("at");
  const here = rows.get(desk.primary);
  if (!here) return pinList.removeAttribute("aria-activedescendant");
  here.classList.add("at");
  pinList.setAttribute("aria-activedescendant", here.id);
  return keepInSight();
}

// The row of the pin picked last is seen, also after the list has grown or shrunk.
export const keepInSight = oncePerFrame(bringInSight);

function bringInSight() {
  const here = rows.get(desk.primary);
  if (!here) return;
  const top = here.offsetTop - pinList.offsetTop;
  if (top < pinList.scrollTop) pinList.scrollTop = top - 20;
  else if (top + here.offsetHeight > pinList.scrollTop + pinList.clientHeight) pinList.scrollTop = top - pinList.clientHeight + here.offsetHeight + 20;
}

pinList.addEventListener("keydown", (event) => {
  const ids = order().map((pin) => pin.id);
  const at = ids.indexOf(desk.primary);
  const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: ids.length - 1, PageDown: at + 10, PageUp: at - 10 }[event.key];
  if (event.key === "a" && (event.ctrlKey || event.metaKey)) select(ids, "only", "list");
  else if (to !== undefined) {
    const id = ids[Math.max(0, Math.min(ids.length - 1, to))];
    select([id], event.shiftKey ? "add" : "only", "keys");
  } else return;
  event.preventDefault();
});

on("state", build);
on("pins", change);
on("selection", showSelection);
