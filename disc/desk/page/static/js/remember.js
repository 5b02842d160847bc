// What a reload gives back: picture, zoom, selection, panel. Kept by the browser for this window only.

import { folds, takeFolds } from "./layout.js";
import { seeAgain, seenNow } from "./stage.js";
import { desk, select, setSheet } from "./store.js";
import { currentTab, openTab } from "./tabs.js";

const KEY = "desk-view";

export function remember() {
  if (!desk.state?.job) return;
  const kept = { folder: desk.state.folder, sheet: desk.sheet, seen: seenNow(), picked: [...desk.selection], tab: currentTab(), folds: folds() };
  sessionStorage.setItem(KEY, JSON.stringify(kept));
}

export function restore() {
  let kept = null;
  try {
    kept = JSON.parse(sessionStorage.getItem(KEY));
  } catch {
    return; // not ours, or cut off: begin as usual
  }
  if (kept?.folder !== desk.state.folder) return;
  takeFolds(kept.folds);
  openTab(kept.tab, false);
  if (kept.sheet !== "comb") setSheet(kept.sheet);
  select(kept.picked ?? [], "only", "stage");
  if (kept.seen) seeAgain(kept.seen);
}

// ---- what a person has begun to write, until it is kept by the desk

const draftKey = (name) => `desk-draft-${desk.state.folder}-${name}`;
export const draftOf = (name) => sessionStorage.getItem(draftKey(name)) ?? "";
export function keepDraft(name, words) {
  if (words) sessionStorage.setItem(draftKey(name), words);
  else sessionStorage.removeItem(draftKey(name));
}
