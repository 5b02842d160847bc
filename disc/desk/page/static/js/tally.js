// The legend and the counts in one line outside the picture: each mark with how many there are here; a press goes to the
// next of them.

import { byId, element } from "./dom.js";
import { COLOURS, WORDS, drawDoubt, drawMark } from "./marks.js";
import { nextInDoubt, nextOfCondition } from "./next_steps.js";
import { fill } from "./refill.js";
import { desk } from "./store.js";

const box = byId("tally");
byId("next-doubt").onclick = () => nextInDoubt();
const samples = new Map();
let drawn = "";

function sampleOf(name) {
  if (!samples.has(name)) {
    const sample = element("canvas", { width: 44, height: 44, "aria-hidden": "true" });
    const context = sample.getContext("2d");
    context.scale(2, 2);
    if (name === "doubt") {
      drawMark(context, "sound", [11, 11], null, 4);
      drawDoubt(context, [11, 11], 3.5);
    } else drawMark(context, name, [11, 11], [16, 7], 6);
    samples.set(name, sample);
  }
  return samples.get(name);
}

function one(name, count, words, act) {
  return element("button", { type: "button", class: `tally-one is-${name}`, "data-mark": name, "data-key": `mark ${name}`, onclick: act, title: `Go to the next: ${words}` },
    sampleOf(name), `${count} ${words}`);
}

// pins: those of the picture shown
export function drawTally(pins, isEmpty) {
  const counts = Object.keys(COLOURS).map((name) => [name, pins.filter((pin) => pin.condition === name).length]).filter(([, n]) => n);
  const unsure = pins.filter((pin) => pin.doubt).length;
  const place = document.body.dataset.mode === "wide" ? byId("foot") : byId("shown-box");
  if (box.parentElement !== place) place.append(box);
  const all = [...desk.pins.values()].filter((pin) => pin.doubt).length;
  byId("next-doubt").hidden = !all;
  byId("next-doubt").textContent = `${all} ?`;
  byId("next-doubt").setAttribute("aria-label", `Next in doubt, of ${all}`);
  const key = JSON.stringify([counts, unsure, isEmpty]);
  if (key === drawn) return;
  drawn = key;
  fill(box, ...(isEmpty ? [] : counts.map(([name, count]) => one(name, count, WORDS[name], () => nextOfCondition(name)))),
    !isEmpty && unsure ? one("doubt", unsure, "in doubt", () => nextInDoubt()) : null);
}
