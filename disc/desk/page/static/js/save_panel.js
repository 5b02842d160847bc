// Making and taking away: score, MIDI, sound, sheets, report, tables.

import { button, byId, element } from "./dom.js";
import { rebuild } from "./refill.js";
import { desk, on } from "./store.js";
import { runTask } from "./tasks.js";

const panel = byId("panel-save");
const MAKE = [
  ["transcribe", "Score, MIDI and sound"],
  ["check", "Findings"],
  ["plan", "Work list, drawings and estimate"],
  ["report", "Condition report"],
];

function draw() {
  if (!desk.state?.job) return;
  rebuild(panel, desk.state.files, () => [
    element("h2", {}, "Make"),
    element("div", { class: "row" }, ...MAKE.map(([name, words]) => button(words, () => runTask({ do: name }), { "data-make": name }))),
    care("untouched"),
    element("h2", {}, "Take away"),
    element("p", { class: "hint" }, "All of these also lie in the job's folder. “Older” marks what was made before the pins last changed."),
    element("ul", { class: "files" }, ...desk.state.files.map(line)),
  ]);
}

const care = (key) => element("p", { class: "care" }, desk.state.cautions[key]);

function line(file) {
  const address = `/files/${file.name.split("/").map(encodeURIComponent).join("/")}`;
  const short = file.name.replace(/^out\//, "");
  return element("li", {},
    element("a", { href: `${address}?save=1`, download: short.split("/").at(-1) }, short),
    element("span", { class: "faint" }, ` ${size(file.bytes)}${file.stale ? " · older" : ""}`));
}

const size = (bytes) => (bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${(bytes / 1e6).toFixed(1)} MB`);

on("state", draw);
on("findings", draw);
