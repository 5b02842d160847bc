// What is fixed by hand for the reading of the tune, and what else it could be.

import { barsForm } from "./bars_form.js";
import { byId, element } from "./dom.js";
import { changed, field } from "./forms.js";
import { rebuild } from "./refill.js";
import { sendSettings } from "./settings.js";
import { desk, on } from "./store.js";

const panel = byId("panel-tune");
const FIELDS = [["metre", "Metre", "e.g. 6/8"], ["key", "Key", "e.g. D, E minor"], ["upbeat", "Upbeat, part of a whole note", "e.g. 1/8, or 0"], ["title", "Title", ""]];
const told = element("section");
const form = element("form");
panel.append(told, form, barsForm);

function draw() {
  if (!desk.state?.job) return;
  const { settings } = desk.state;
  const { music } = desk;
  rebuild(told, [music?.tune, music?.why, music?.alternatives], () => [
    element("p", {}, music?.tune ? `Read as ${music.tune.metre}, ${music.tune.key}, upbeat ${music.tune.upbeat}, ${music.tune.notes} notes.` : music?.why ?? ""),
    music?.alternatives.length ? element("details", {}, element("summary", {}, "What else it could be"),
      element("ul", { class: "evidence" }, ...music.alternatives.map((words) => element("li", {}, words)))) : null,
  ]);
  rebuild(form, settings, () => [
    element("h3", {}, "Set by hand"),
    element("div", { class: "fields" }, ...FIELDS.map(([name, words, example]) => element("label", {}, `${words} `,
      field(name, `set-${name}`, settings[name], { size: name === "title" ? 16 : 10, placeholder: example || null })))),
    element("p", { class: "hint" }, "Leave a field empty and the program decides."),
    element("button", { id: "set-tune" }, "Set"),
  ]);
}

form.onsubmit = (event) => {
  event.preventDefault();
  sendSettings({ settings: changed(form) });
};

on("state", draw);
on("music", draw);
