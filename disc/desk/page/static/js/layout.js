// How the room is shared out: the picture first. Everything else gets what the picture leaves, and folds.
//
// Three ways: "wide" has the panel beside the picture and the turn below it; where that would leave the picture too
// small there is one drawer at a time, beside it ("land") or below it ("port").

import { byId } from "./dom.js";
import { close as closePop, pop } from "./pop.js";
import { whenLookChanges } from "./prefs.js";
import { tell } from "./store.js";

const SHARE = 0.46; // of the window that is always the picture's; the promise is 0.45
const LEAST_PX = 304; // and each way; the promise is 300
const TIGHT_REM = 46; // narrower than this, choices become lists
const body = document.body;
const open = { side: true, turn: true };

const rem = () => parseFloat(getComputedStyle(document.documentElement).fontSize);
const clamp = (least, value, most) => Math.max(least, Math.min(most, value));

function setMode(mode) {
  if (body.dataset.mode === mode) return;
  body.dataset.mode = mode;
  // In a small window the choice of picture goes into the line at the top, so that the picture keeps the height.
  const home = mode === "wide" ? byId("look") : byId("top");
  if (byId("picture-tools").parentElement !== home) home.prepend(byId("picture-tools"));
  const sliders = mode === "land" ? byId("shown-box") : byId("look"); // a low window has no line for them
  if (byId("under-stage").parentElement !== sliders) sliders.append(byId("under-stage"));
  const inline = mode === "wide";
  closePop("play-box");
  byId("play-box").classList.toggle("inline", inline);
  byId("play-box").classList.toggle("pop", !inline);
  byId("play-box").hidden = !inline;
  byId("play-more").hidden = inline;
  closePop("loud-box");
  byId("loud-box").classList.toggle("pop", inline);
  byId("loud-box").hidden = inline;
  byId("loud-open").hidden = !inline;
  if (!inline && open.side && open.turn) open.turn = false;
}

function show() {
  const toggle = (name, on) => {
    if (on) body.dataset[name] = "";
    else delete body.dataset[name];
  };
  toggle("side", open.side);
  toggle("turn", open.turn);
  byId("turn-open").setAttribute("aria-expanded", String(open.turn));
}

// What stands around picture and drawer, up and down: measured with the drawer away.
function around(H, name) {
  body.style.setProperty(name, "0px");
  return H - byId("stage-box").offsetHeight;
}

// The height of the turn in a wide window; null if that leaves the picture too little.
function wideTurn(W, H) {
  const side = open.side ? clamp(19 * rem(), W * 0.25, 27 * rem()) : 0;
  body.style.setProperty("--side-px", `${side}px`);
  const picture = Math.max(LEAST_PX, (SHARE * W * H) / (W - side - 1));
  const left = H - around(H, "--turn-px") - picture;
  if (left < (open.turn ? 9.5 * rem() : 0)) return null;
  return open.turn ? Math.min(H * 0.28, left) : 0;
}

// The size of the one drawer.
function drawer(mode, W, H) {
  const tall = H - around(H, "--side-px");
  if (mode === "port") return clamp(0, tall - Math.max(LEAST_PX, SHARE * H), H * 0.5);
  const strip = W - byId("stage-box").offsetWidth;
  return clamp(0, W - strip - Math.max(LEAST_PX, (SHARE * W * H) / tall), 26 * rem());
}

function arrange() {
  if (byId("bench").hidden) return;
  const [W, H] = [window.innerWidth, window.innerHeight];
  const small = W > 1.15 * H ? "land" : "port";
  if (W >= 66 * rem() && H >= 40 * rem()) {
    body.classList.remove("tight");
    setMode("wide");
    show();
    const turn = wideTurn(W, H);
    if (turn !== null) {
      body.style.setProperty("--turn-px", `${turn}px`);
      return;
    }
  }
  body.classList.toggle("tight", small === "land" || W < TIGHT_REM * rem());
  setMode(small);
  show();
  body.style.setProperty("--side-px", `${drawer(small, W, H)}px`);
}

export function isShown(name) {
  return open[name] && !("full" in body.dataset);
}

export function fold(name, isOpen) {
  if (isOpen && "full" in body.dataset) setFull(false);
  open[name] = isOpen;
  const other = name === "side" ? "turn" : "side";
  if (isOpen && body.dataset.mode !== "wide") open[other] = false;
  arrange();
  tell("layout");
}

export const folds = () => ({ ...open });
export function takeFolds(kept) {
  Object.assign(open, kept);
  if (body.dataset.mode !== "wide" && open.side && open.turn) open.turn = false;
  arrange();
}

export function setFull(isFull) {
  if (isFull) body.dataset.full = "";
  else delete body.dataset.full;
  byId("full").setAttribute("aria-pressed", String(isFull));
  arrange();
}
export const isFull = () => "full" in body.dataset;

// On a small screen the picture alone is shown first; what else there is, is one press away.
export function firstLook() {
  arrange();
  if (body.dataset.mode !== "wide") open.side = open.turn = false;
  arrange();
}

byId("full").onclick = () => setFull(!isFull());
byId("full-too").onclick = () => setFull(!isFull());
byId("turn-open").onclick = () => fold("turn", !isShown("turn"));
byId("side-fold").onclick = () => {
  fold("side", false);
  byId("tabs").querySelector("[aria-selected=true]").focus();
};
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && isFull() && !event.defaultPrevented) setFull(false);
});
pop("shown", "shown-box");
pop("more", "more-box");
pop("play-more", "play-box");
pop("loud-open", "loud-box");
whenLookChanges(arrange);
window.addEventListener("resize", arrange);
for (const id of ["top", "foot", "picture-tools", "hand-tools", "under-stage"]) new ResizeObserver(arrange).observe(byId(id));
export { arrange };
