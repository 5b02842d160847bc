// Fields that know what they began with: what was changed in a form, and what was begun in it, can be told.

import { element } from "./dom.js";

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
