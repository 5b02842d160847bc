// Plate, settings and marks sent to the desk, each as one step that can be undone.

import { send } from "./outbox.js";
import { attempt, say } from "./say.js";
import { desk, takeState } from "./store.js";

export async function sendSettings(request) {
  const state = await attempt(() => send("/api/set", request));
  if (!state) return null;
  if (!state.isDone) takeState(state);
  const { steps, done } = desk.state.history;
  say(state.told ?? `Done: ${steps[done - 1].words}.`); // told: where photographs were read with it, which may be stopped
  return desk.state;
}
