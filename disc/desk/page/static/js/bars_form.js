// What is said of single bars: a line moved, another metre or a new tune from here on; heard at once, from the bar before.

import { button, byId, element } from "./dom.js";
import { send } from "./outbox.js";
import { barAt, playFrom, player } from "./player.js";
import { rebuild } from "./refill.js";
import { attempt, say } from "./say.js";
import { desk, on, takeState } from "./store.js";

const MOVES = [["1", "1 beat"], ["1/2", "½ beat"], ["1/3", "⅓ beat"], ["2", "2 beats"]];
export const barsForm = element("section", { id: "bars" });
let heardFrom = null; // the bar from which the new bars are to be heard, once they are known

// The bar of the pin picked last, else that in which the turn stands.
function barHere() {
  const place = desk.music?.places[desk.primary];
  return Math.max(1, place?.bar ?? barAt(player.at)?.number ?? 1);
}

const barChosen = () => Number(byId("bar-number").value || byId("bar-number").placeholder);

// Say it to the desk; what comes of it is heard from the bar before.
export async function ask(request, bar, where = "/api/bars") {
  const before = desk.state.rev;
  const state = await attempt(() => send(where, request));
  if (!state) return;
  heardFrom = { bar, rev: before + 1 };
  if (!state.isDone) takeState(state);
  hearNew();
  const { steps, done } = desk.state.history;
  say(`Done: ${steps[done - 1].words}.`);
}

// Once the new bars are known: what leads up to the bar, with its beats.
function hearNew() {
  if (!heardFrom || desk.music.rev < heardFrom.rev) return;
  const { bar } = heardFrom;
  heardFrom = null;
  hearBar(bar);
}

function hearBar(bar) {
  const lines = desk.music.bars;
  const before = lines.findLast(([number]) => number < bar) ?? lines[0];
  const after = lines.find(([number]) => number > bar + 1);
  byId("play-ticks").checked = true;
  playFrom(before ? before[1] : 0, after ? after[1] : null);
}

const takeBack = ({ bar, setting, value }) => (setting === "notes" ? ask({ forget: value }, bar ?? barHere(), "/api/notes") : ask({ forget: { setting, value } }, bar));

function said(one) {
  const words = one.bar === null ? one.words : `bar ${one.bar}: ${one.words}`;
  return element("li", {}, `${words} `, button("Take back", () => takeBack(one), { "data-key": `${one.setting} ${one.value}`, "aria-label": `Take back: ${words}` }));
}

function draw() {
  if (!desk.state?.job) return;
  rebuild(barsForm, [desk.music?.bars.length > 0, desk.music?.said], () => (desk.music?.bars.length ? parts() : []));
  showHere();
}

function parts() {
  const bar = element("input", { id: "bar-number", "data-base": "", size: 4, inputmode: "numeric", autocomplete: "off" });
  const beats = element("select", { id: "bar-beats", "aria-label": "By how much" }, ...MOVES.map(([value, words]) => element("option", { value }, words)));
  const metre = element("input", { id: "bar-metre", "data-base": "", size: 5, autocomplete: "off", placeholder: "2/4", "aria-label": "Metre from this bar on" });
  const act = (words, id, request) => button(words, () => ask({ bar: barChosen(), ...request() }, barChosen()), { id });
  return [
    element("h3", {}, "From a bar on"),
    element("div", { class: "row" }, element("label", {}, "Bar ", bar), button("♪ Hear it", () => hearBar(barChosen()), { id: "bar-hear" })),
    element("div", { class: "row" }, element("label", {}, "Its line ", beats),
      act("earlier", "bar-earlier", () => ({ beats: `-${byId("bar-beats").value}` })), act("later", "bar-later", () => ({ beats: byId("bar-beats").value }))),
    element("div", { class: "row" }, element("label", {}, "Metre ", metre), act("From here", "bar-metre-set", () => ({ metre: byId("bar-metre").value }))),
    element("div", { class: "row" }, act("A new tune from here", "bar-tune", () => ({ tune: true }))),
    desk.music.said.length ? element("ul", { class: "evidence" }, ...desk.music.said.map(said)) : null,
  ];
}

function showHere() {
  const bar = byId("bar-number");
  if (bar) bar.placeholder = String(barHere());
}

on("state", draw);
on("music", draw);
on("music", hearNew);
on("selection", showHere);
on("time", showHere);
