// Small helpers to build parts of the page. Text goes in as text, never as markup.

export const byId = (id) => document.getElementById(id);

// element("button", {type: "button", class: "chief", onclick: f}, "Words", child)
// What it is called, whatever language it is shown in, stays with it: a part drawn anew is known again by that.
export function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  made.called = attributes["data-key"] ?? attributes.id ?? attributes["aria-label"] ?? attributes.name ??
    children.map((child) => (typeof child === "string" ? child : child?.called ?? "")).find(Boolean) ?? "";
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "value") made.value = value;
    else if (value === true) made.setAttribute(key, "");
    else made.setAttribute(key, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

export function button(words, onclick, attributes = {}) {
  return element("button", { type: "button", onclick, ...attributes }, words);
}

// One of several is chosen: a row of buttons, among which arrow keys move; and, where there is little room, a list.
export function radioGroup(box, choices, chosen, choose) {
  const buttons = choices.map(([name, words, title]) =>
    button(words, () => choose(name), { role: "radio", "data-name": name, title: title ?? null }),
  );
  box.replaceChildren(...buttons);
  box.classList.add("for-wide");
  box.onkeydown = (event) => {
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const now = buttons.findIndex((one) => one.getAttribute("aria-checked") === "true");
    const next = buttons[(now + step + buttons.length) % buttons.length];
    choose(next.dataset.name);
    next.focus();
  };
  box.twin ??= element("select", { class: "for-tight", id: `${box.id}-list`, "aria-label": box.getAttribute("aria-label") });
  box.twin.replaceChildren(...choices.map(([name, words]) => element("option", { value: name }, words)));
  box.twin.onchange = () => choose(box.twin.value);
  if (!box.twin.isConnected) box.after(box.twin);
  markChosen(box, chosen);
}

export function markChosen(box, chosen) {
  for (const one of box.children) {
    const is = one.dataset.name === chosen;
    one.setAttribute("aria-checked", String(is));
    one.tabIndex = is ? 0 : -1;
  }
  if (box.twin) box.twin.value = [...box.twin.options].some((one) => one.value === chosen) ? chosen : "";
}

export function fact(list, name, value) {
  if (value === null || value === undefined || value === "") return;
  list.append(element("dt", {}, name), element("dd", {}, value));
}

// A probability, 0 to 1, as it is told to a person: never certain, never none.
export function chance(probability) {
  const perCent = Math.round(100 * probability);
  if (perCent > 99) return "> 99 %";
  return perCent < 1 ? "< 1 %" : `${perCent} %`;
}

// The size of a canvas in device pixels follows its place on the page. Returns {width, height, ratio} in CSS pixels.
export function fitCanvas(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  return { width, height, ratio };
}

// One drawing a frame, however often it is asked for.
export function oncePerFrame(draw) {
  let asked = false;
  return () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => {
      asked = false;
      draw();
    });
  };
}
