// What a person prefers of the page itself: size of type, look and language. In a cookie, since the desk's port may change from
// one start to the next and a browser keeps other memories by port.

const YEAR_S = 365 * 24 * 3600;

function read(name) {
  return document.cookie.split("; ").find((one) => one.startsWith(`disc_${name}=`))?.split("=")[1] ?? "";
}

function keep(name, value) {
  document.cookie = `disc_${name}=${value}; path=/; samesite=strict; max-age=${YEAR_S}`;
}

let px = 0; // the present size of type; 0: not asked yet
const inks = new Map(); // name -> colour in the present look
const listeners = [];
export const whenLookChanges = (listener) => listeners.push(listener);

function apply() {
  const size = Number(read("type"));
  document.documentElement.style.setProperty("--type", `${size >= 15 && size <= 30 ? size : 15}px`);
  document.documentElement.dataset.look = read("look");
  inks.clear();
  px = 0;
  for (const listener of listeners) listener();
}

for (const [id, name] of [["type-size", "type"], ["look-choice", "look"]]) {
  const choice = document.getElementById(id);
  if ([...choice.options].some((option) => option.value === read(name))) choice.value = read(name);
  choice.onchange = () => {
    keep(name, choice.value);
    apply();
  };
}
// The language: the one chosen, else the browser's, where the house has it. Words that are there change with a reload.
const languages = document.getElementById("language-choice");
const spoken = [...languages.options].map((option) => option.value).filter(Boolean);
languages.value = spoken.includes(read("language")) ? read("language") : "";
languages.onchange = () => {
  keep("language", languages.value);
  location.reload();
};
export const language = languages.value || [...navigator.languages].map((one) => one.slice(0, 2)).find((one) => spoken.includes(one)) || "en";

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => apply());
apply();

// A colour of the style sheet as it is in the present look, for canvases.
const probe = document.createElement("span");
probe.hidden = true;
document.body.append(probe);
export function ink(name) {
  if (!inks.has(name)) {
    probe.style.color = `var(--${name})`;
    inks.set(name, getComputedStyle(probe).color);
  }
  return inks.get(name);
}

// The page's type in pixels, asked of the browser once: it is wanted for each mark that is drawn.
export const typePx = () => (px ||= parseFloat(getComputedStyle(document.documentElement).fontSize));

// A font for canvases, as large as the page's own type. share: of it.
export const type = (weight = 400, share = 1) => `${weight} ${Math.round(typePx() * share)}px system-ui, "DejaVu Sans", sans-serif`;
