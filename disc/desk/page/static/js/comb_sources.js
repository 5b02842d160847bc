// Ways to give the comb besides marking its tips: a measured table, a recording of its teeth, a draft from the pins.

import { upload } from "./api.js";
import { button, element } from "./dom.js";
import { bringPlucked } from "./plucked.js";
import { attempt } from "./say.js";
import { runTask } from "./tasks.js";

async function takeTable(file) {
  const brought = file && (await attempt(() => upload("table", file)));
  if (brought) await runTask({ do: "comb", from: "table", token: brought.token });
}

function filePick(id, words, accept, then) {
  const file = element("input", { type: "file", id, class: "unseen", accept });
  file.onchange = () => then(file.files[0]);
  return element("label", { class: "button" }, words, file);
}

export function combSources(hasComb) {
  const plucks = element("select", { id: "comb-plucks" }, ...[1, 2, 3, 4, 5].map((count) => element("option", { value: String(count) }, String(count))));
  plucks.value = "2";
  return element("section", {},
    element("h2", {}, hasComb ? "Another comb" : "Give the comb"),
    element("p", { class: "hint" }, "A table of number, side, tip_r_mm, tip_theta_deg, pitch, as a spreadsheet saves it; or a recording of the teeth plucked one after another; in which order, you say afterwards."),
    element("div", { class: "row" },
      filePick("comb-table", "Table (CSV) …", ".csv,.tsv,.txt", takeTable),
      filePick("comb-plucked", "Plucked recording …", "audio/*,.flac,.opus,.m4a", (file) => bringPlucked(file, plucks.value)),
      element("label", {}, "each plucked ", plucks, " times"),
      hasComb ? null : button("Draft from the pins", () => runTask({ do: "comb", from: "pins" }), { id: "comb-draft" })));
}
