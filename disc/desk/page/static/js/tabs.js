// The strip at the top: the six steps of the work and how each stands; a press opens its panel, a second folds it away.
// Arrow keys move among them, as the ARIA practices for tabs say.

import { button, byId, element } from "./dom.js";
import { fold, isShown } from "./layout.js";
import { close as closePop } from "./pop.js";

const TABS = [
  ["pin", "Pins"], ["comb", "Comb"], ["tune", "Tune"], ["findings", "Findings"], ["plan", "Plan"], ["save", "Save"],
  ["disc", "Disc", "for-wide"], ["history", "History", "for-wide"],
];
const SIGNS = { done: "✓", todo: "○", later: "–" };
const SAID = { done: "done", todo: "to do now", later: "not yet" };
const box = byId("tabs");
const opened = new Map();
let current = "pin";

export const whenOpened = (name, action) => opened.set(name, action);
export const currentTab = () => current;
export const isOpen = (name) => current === name && isShown("side");

export function openTab(name, unfold = true) {
  const wasInside = byId("side").contains(document.activeElement); // what led here goes away with its panel
  current = name;
  if (unfold) fold("side", true);
  for (const tab of box.children) {
    const is = tab.id === `tab-${name}`;
    tab.setAttribute("aria-selected", String(is));
    tab.tabIndex = is ? 0 : -1;
    byId(tab.getAttribute("aria-controls")).hidden = !is;
  }
  byId("side-title").textContent = TABS.find(([one]) => one === name)[1];
  if (wasInside && !document.activeElement.checkVisibility?.()) byId(`panel-${name}`).focus({ preventScroll: true });
  opened.get(name)?.();
}

// state: done, todo, later or doubt; count: how many things are in doubt or open there
export function showStep(name, { state, count, isNext, words }) {
  const tab = byId(`tab-${name}`);
  const sign = state === "doubt" ? `${count} ?` : SIGNS[state];
  if (tab.dataset.sign === `${sign}${isNext}`) return;
  tab.dataset.sign = `${sign}${isNext}`;
  tab.dataset.state = state;
  if (isNext) tab.dataset.next = "";
  else delete tab.dataset.next;
  tab.querySelector(".count").textContent = sign;
  tab.querySelector(".unseen").textContent = `: ${state === "doubt" ? `${count} in doubt` : SAID[state]}${isNext ? ", next" : ""}`;
  tab.title = words;
}

for (const [name, words, kind] of TABS) {
  const tab = button(words, () => (isOpen(name) ? fold("side", false) : openTab(name)),
    { role: "tab", id: `tab-${name}`, "aria-controls": `panel-${name}`, class: kind });
  if (!kind) tab.append(element("span", { class: "unseen" }), element("span", { class: "count", "aria-hidden": "true" }));
  box.append(tab);
}
box.addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  const tabs = [...box.children].filter((tab) => tab.offsetParent);
  const next = tabs[(tabs.indexOf(document.activeElement) + step + tabs.length) % tabs.length];
  openTab(next.id.slice(4));
  next.focus();
});
for (const opener of document.querySelectorAll("[data-open]")) {
  opener.onclick = () => {
    closePop();
    openTab(opener.dataset.open);
    byId(`panel-${opener.dataset.open}`).focus({ preventScroll: true });
  };
}
openTab("pin", false);
