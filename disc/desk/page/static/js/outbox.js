// What a person did, on its way to the desk: it waits where the desk does not answer, and is sent again where it is not
// known whether it arrived, unless the desk's history shows that it did.

import { Lost, isUp, post, up, whenLinkChanges } from "./api.js";
import { byId } from "./dom.js";
import { say } from "./say.js";
import { desk } from "./store.js";

let kept = 0; // how many wait

function showLink(link) {
  const line = byId("link");
  line.hidden = link.isUp;
  if (link.isUp) {
    say("The desk answers again; nothing was lost.");
    return;
  }
  line.textContent = `The desk has not answered since ${link.since.toLocaleTimeString()}; the page looks for it every second. What you write here is kept. If it was ended, start it again: disc desk ${desk.state?.folder ?? ""}`;
}
whenLinkChanges(showLink);

// Like post(), but for what changes the job. {isDone: true} where it had arrived before the desk was lost.
export async function send(address, content) {
  for (;;) {
    if (!isUp()) {
      kept += 1;
      say(`The desk does not answer. Kept, to be sent when it does: ${kept}.`, true);
      await up();
      kept -= 1;
    }
    const before = desk.state?.history?.done;
    try {
      return await post(address, content);
    } catch (error) {
      if (!(error instanceof Lost)) throw error;
      await up();
      if (desk.state?.history && desk.state.history.done !== before) return { isDone: true };
    }
  }
}
