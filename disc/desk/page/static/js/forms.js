// Forms that follow the job without taking anything out of a person's hand: a section is built anew only where what it
// shows has changed, and what was begun in a field whose own value is the same stays in it.

import { byId, element } from "./dom.js";

export function rebuild(section, key, build) {
  const text = JSON.stringify(key);
  if (section.dataset.key === text) return;
  const begun = [...section.querySelectorAll("[data-base]")]
    .filter((one) => one.value !== one.dataset.base)
    .map((one) => [one.id, one.value, one.dataset.base]);
  const focused = section.contains(document.activeElement) ? document.activeElement.id : null;
  section.dataset.key = text;
  section.replaceChildren(...build().filter(Boolean));
  for (const [id, value, base] of begun) {
    const here = byId(id);
    if (here?.dataset.base === base) here.value = value;
  }
  if (focused) byId(focused)?.focus();
}

// A field that knows what it began with.
export function field(name, id, value, attributes = {}) {
  const base = String(value ?? "");
  return element("input", { name, id, "data-base": base, autocomplete: "off", value: base, ...attributes });
}

// The fields of a form that were changed, by name.
export function changed(form) {
  const asked = {};
  for (const one of form.querySelectorAll("[data-base]")) if (one.value.trim() !== one.dataset.base) asked[one.name] = one.value.trim();
  return asked;
}
