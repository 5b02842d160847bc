// Longer steps: started here; a line tells what runs and how far until its result stands; some can be stopped. What is
// asked meanwhile waits behind it.

import { post } from "./api.js";
import { byId } from "./dom.js";
import { language } from "./prefs.js";
import { attempt, complain, say } from "./say.js";
import { takeState } from "./store.js";

let running = 0; // asked for by this page, the one that runs and those behind it

export function showProgress({ doing, share, ended, last, stop }) {
  byId("work").hidden = Boolean(ended) && !running;
  if (ended) return;
  const behind = running > 1 ? ` (${running - 1} more waiting)` : "";
  byId("work-words").textContent = `${doing ?? "Working"}${behind}`;
  byId("work-stop").hidden = !stop || Boolean(last);
  if (share === null || share === undefined) byId("work-bar").removeAttribute("value");
  else byId("work-bar").value = share;
}

byId("work-stop").onclick = () => {
  byId("work-stop").hidden = true;
  post("/api/stop", {}).catch(complain);
};

export async function runTask(request) {
  running += 1;
  if (running === 1) showProgress({ doing: "Working", share: null });
  else say("That follows when what runs now has ended.");
  const state = await attempt(() => post("/api/task", { language, ...request }));
  if (state) takeState(state);
  running -= 1;
  showProgress({ ended: true });
  if (state?.told) say(state.told);
  return state ?? null;
}
