// Plate, settings and marks sent to the desk, each as one step that can be undone.

import { post } from "./api.js";
import { attempt, say } from "./say.js";
import { takeState } from "./store.js";

export async function sendSettings(request) {
  const state = await attempt(() => post("/api/set", request));
  if (!state) return null;
  takeState(state);
  const { steps, done } = state.history;
  say(`Done: ${steps[done - 1].words}.`);
  return state;
}
