// The steps of this desk, and an earlier reading of the same disc to compare with.

import { get } from "./api.js";
import { byId, button, element } from "./dom.js";
import { drawHistory } from "./history.js";
import { rebuild } from "./refill.js";
import { attempt } from "./say.js";
import { desk, on, select, setSheet, tell } from "./store.js";
import { whenOpened } from "./tabs.js";

const panel = byId("panel-history");
const choice = element("select", { id: "earlier-choice", onchange: () => load(choice.value) });
const differences = element("ul", { class: "evidence", id: "differences" });
const told = element("p", { class: "faint" });
panel.append(
  element("h2", {}, "Steps"),
  element("p", { class: "hint" }, "Choose a step to go back or forward to it. The beginning is the disc as it was read."),
  element("ol", { id: "history-steps", class: "history-list" }),
  element("h2", {}, "An earlier reading"),
  element("p", { class: "row" }, element("label", {}, "Compare with ", choice), button("Lay side by side", () => setSheet("earlier"), { id: "earlier-open" })),
  told,
  differences,
);

export async function load(which) {
  const answer = await attempt(() => get(`/api/earlier?with=${encodeURIComponent(which)}`));
  if (!answer) return;
  desk.earlier = answer;
  choice.replaceChildren(...answer.choices.map((one) => element("option", { value: one.name }, one.words)));
  choice.value = which;
  const found = answer.differences;
  told.textContent = found.length ? `${found.length === 1 ? "1 place differs" : `${found.length} places differ`} from the reading ${answer.words}:` : `Nothing differs from the reading ${answer.words}.`;
  rebuild(differences, found, () => found.map((one) => element("li", {},
    one.pin === null ? one.words : button(one.words, () => select([one.pin], "only", "earlier")))));
  tell("earlier");
}

export const refreshEarlier = () => load(choice.value || "first");

whenOpened("history", () => {
  drawHistory();
  refreshEarlier();
});
on("sheet", () => {
  if (desk.sheet === "earlier" && !desk.earlier) refreshEarlier();
});
on("pins", () => {
  if (!panel.hidden || desk.sheet === "earlier") refreshEarlier();
});
on("state", () => {
  if (desk.state.job && (!panel.hidden || desk.sheet === "earlier")) refreshEarlier();
});
