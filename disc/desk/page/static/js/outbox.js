// What a person did, on its way to the desk: it waits where the desk does not answer, and is sent again where it is not
// known whether it arrived, unless the desk's history shows that it did.

import { Lost, isUp, post, up, whenLinkChanges } from "./api.js";
import { byId } from "./dom.js";
import { say } from "./say.js";
import { desk } from "./store.js";

let inLine = 0; // how many are not yet with the desk
let last = Promise.resolve(); // the one before the next

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

// Like post(), but for what changes the job. {isDone: true} where it had arrived before the desk was lost. One at a time, in
// the order in which the person did them: what waits for a lost desk would else be sent all at once when it is back.
export function send(address, content) {
  inLine += 1;
  if (!isUp()) sayKept();
  const mine = last.then(() => deliver(address, content)).finally(() => (inLine -= 1));
  last = mine.catch(() => {}).then(taken);
  return mine;
}

// Resolves when all that was done so far is with the desk.
export const sent = () => last;

// Whoever sent it takes its answer before the next one goes.
const taken = () => new Promise((done) => setTimeout(done));

const sayKept = () => say(`The desk does not answer. Kept, to be sent when it does: ${inLine}.`, true);

async function deliver(address, content) {
  for (;;) {
    await up();
    const before = desk.state?.history?.done;
    try {
      return await post(address, content);
    } catch (error) {
      if (!(error instanceof Lost)) throw error;
      sayKept();
      await up();
      if (desk.state?.history && desk.state.history.done !== before) return { isDone: true };
    }
  }
}
