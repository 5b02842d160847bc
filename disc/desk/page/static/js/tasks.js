// Longer steps: started here, their progress shown at the top, their result taken into the page.

import { post } from "./api.js";
import { byId } from "./dom.js";
import { attempt, say } from "./say.js";
import { takeState } from "./store.js";

export function showProgress({ doing, share, ended }) {
  byId("work").hidden = Boolean(ended);
  byId("work-words").textContent = doing ?? "Working";
  if (share === null || share === undefined) byId("work-bar").removeAttribute("value");
  else byId("work-bar").value = share;
}

export async function runTask(request) {
  showProgress({ doing: "Working", share: null });
  const state = await attempt(() => post("/api/task", request));
  showProgress({ ended: true });
  if (!state) return null;
  takeState(state);
  if (state.told) say(state.told);
  return state;
}
