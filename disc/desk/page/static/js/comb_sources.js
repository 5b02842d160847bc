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

// One tooth after another, each in its own recording: heard and put in at once, and the next number stands ready.
function oneTooth(plucks) {
  const number = element("input", { type: "number", id: "comb-one-number", min: "1", max: "200", value: "1", "aria-label": "Number of the tooth plucked alone" });
  const bring = async (file) => {
    const brought = file && (await attempt(() => upload("recording", file)));
    if (!brought) return;
    const tooth = Number(number.value);
    const state = await runTask({ do: "pluck", token: brought.token, plucks: plucks.value, tooth });
    if (state?.told?.startsWith(`Tooth ${tooth}, alone`)) number.value = String(tooth + 1);
  };
  return element("div", { class: "row" },
    element("label", {}, "One tooth alone, number ", number), filePick("comb-one", "Its recording …", "audio/*,.flac,.opus,.m4a", bring));
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
      hasComb ? null : button("Draft from the pins", () => runTask({ do: "comb", from: "pins" }), { id: "comb-draft" })),
    hasComb ? oneTooth(plucks) : null);
}
