// The side panel's tabs: arrow keys move among them, as the ARIA practices for tabs say.

import { button, byId } from "./dom.js";

const TABS = [
  ["pin", "Pin"], ["findings", "Findings"], ["plan", "Plan"], ["disc", "Disc"],
  ["comb", "Comb"], ["history", "History"], ["save", "Save"],
];
const box = byId("tabs");
const opened = new Map();

export const whenOpened = (name, action) => opened.set(name, action);

export function openTab(name) {
  for (const tab of box.children) {
    const is = tab.id === `tab-${name}`;
    tab.setAttribute("aria-selected", String(is));
    tab.tabIndex = is ? 0 : -1;
    byId(tab.getAttribute("aria-controls")).hidden = !is;
  }
  opened.get(name)?.();
}

export const isOpen = (name) => !byId(`panel-${name}`).hidden;

for (const [name, words] of TABS) {
  box.append(button(words, () => openTab(name), { role: "tab", id: `tab-${name}`, "aria-controls": `panel-${name}` }));
}
box.addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step) return;
  const tabs = [...box.children];
  const next = tabs[(tabs.indexOf(document.activeElement) + step + tabs.length) % tabs.length];
  next.focus();
  next.click();
});
openTab("pin");
