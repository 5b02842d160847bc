// Undo and redo, back to the beginning: buttons, and the list of steps in the side panel.

import { button, byId, element } from "./dom.js";
import { send, sent } from "./outbox.js";
import { attempt, say } from "./say.js";
import { desk, on, takePins, takeState } from "./store.js";

let goal = null; // where quick presses in a row lead, while the first is still on its way

export const goBack = () => goBy(-1);
export const goForward = () => goBy(1);

// A step back from what was done last, even where that is still on its way.
async function goBy(step) {
  if (goal === null) await sent();
  return goTo((goal ?? desk.state.history.done) + step);
}

export async function goTo(count) {
  const { steps } = desk.state.history;
  if (count < 0) return say("Nothing to undo: this is the beginning.");
  if (count > steps.length) return say("Nothing to redo.");
  const isUnderWay = goal !== null;
  goal = count;
  if (isUnderWay) return undefined;
  while (goal !== null) if (!(await goOnce(goal))) goal = null;
  return undefined;
}

// One journey to a step; true if the goal has moved meanwhile.
async function goOnce(count) {
  const { steps, done } = desk.state.history;
  const answer = await attempt(() => send("/api/history", { to: count }));
  if (!answer) return false;
  if (answer.gone) takePins(answer); // only pins changed, and only those came
  else if (!answer.isDone) takeState(answer);
  if (goal !== count) return true;
  if (count !== done) say(count < done ? `Undone: ${steps[count].words}.` : `Redone: ${steps[count - 1].words}.`);
  return false;
}

byId("undo").onclick = goBack;
byId("redo").onclick = goForward;

export function drawHistory() {
  const history = desk.state?.history;
  if (!history) return;
  const { steps, done } = history;
  byId("undo").setAttribute("aria-disabled", String(done === 0)); // not disabled: it would lose the focus at the last step
  byId("redo").setAttribute("aria-disabled", String(done === steps.length));
  byId("undo").title = done ? `Undo: ${steps[done - 1].words} (Ctrl+Z)` : "Nothing to undo";
  byId("redo").title = done < steps.length ? `Redo: ${steps[done].words} (Ctrl+Shift+Z)` : "Nothing to redo";
  const list = byId("history-steps");
  if (!list || byId("panel-history").hidden) return; // drawn when it is opened
  drawSteps(list, steps);
  [...list.children].forEach((line, count) => {
    line.classList.toggle("undone", count > done);
    if (count === done) line.setAttribute("aria-current", "step");
    else line.removeAttribute("aria-current");
  });
}

let listed = []; // the steps that the list shows

// Only the steps from the first that is new: a thousand stay as they are at every edit.
function drawSteps(list, steps) {
  let same = 0;
  while (same < steps.length && listed[same]?.words === steps[same].words && listed[same].at === steps[same].at) same += 1;
  if (!list.children.length) list.append(line(0, "As read"));
  while (list.children.length > same + 1) list.lastElementChild.remove();
  list.append(...steps.slice(same).map((step, index) => line(same + index + 1, `${same + index + 1}. ${step.words}`, step.at)));
  listed = [...steps];
}

const line = (count, words, at) =>
  element("li", {}, button(words, () => goTo(count), { "data-key": `step ${count}`, title: at ? new Date(at).toLocaleString() : null }));

on("state", drawHistory);
on("pins", drawHistory);
