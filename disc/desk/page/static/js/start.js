// Starting a job from the page: two photographs, a diameter given or measured on one of them, and the reading.

import { upload } from "./api.js";
import { attachGestures } from "./gestures.js";
import { drawCross } from "./marks.js";
import { byId, fitCanvas, oncePerFrame } from "./dom.js";
import { loadPhoto } from "./photo.js";
import { attempt, say } from "./say.js";
import { desk, on } from "./store.js";
import { runTask } from "./tasks.js";
import { Viewport } from "./viewport.js";

const form = byId("start-form");
const brought = {}; // side -> {token, photo}
const ASK = ["Mark the first end of a known length (a ruler beside the disc).", "Mark the second end of the known length.",
  "Mark the rim of the disc.", "Mark the rim straight opposite, across the centre."];

for (const box of document.querySelectorAll(".drop")) {
  const input = box.querySelector("input");
  input.onchange = () => bring(box, input.files[0]);
  box.ondragover = (event) => {
    event.preventDefault();
    box.classList.add("over");
  };
  box.ondragleave = () => box.classList.remove("over");
  box.ondrop = (event) => {
    event.preventDefault();
    box.classList.remove("over");
    bring(box, event.dataTransfer.files[0]);
  };
}

async function bring(box, file) {
  if (!file) return;
  const state = box.querySelector(".drop-state");
  state.textContent = `Bringing ${file.name} …`;
  try {
    const told = await upload("photo", file);
    const { side } = box.dataset;
    brought[side] = { ...told, photo: await loadPhoto(`/api/uploaded/${told.token}`) };
    state.textContent = `${file.name}, ${told.width_px} × ${told.height_px} pixels.`;
    const image = box.querySelector("img");
    image.src = `/api/uploaded/${told.token}`;
    image.alt = `The photograph of the ${side} side`;
    image.hidden = false;
    byId("measure-open").disabled = false;
  } catch (error) {
    state.textContent = error.message;
  }
}

form.onsubmit = async (event) => {
  event.preventDefault();
  const values = Object.fromEntries(new FormData(form));
  const fault = byId("start-fault");
  fault.textContent = "";
  if (!brought.upper || !brought.lower) {
    fault.textContent = "Bring a photograph of each side.";
    return;
  }
  const submit = form.querySelector("[type=submit]");
  const words = submit.textContent;
  submit.disabled = true;
  submit.textContent = "Reading the photographs …";
  const state = await runTask({ do: "start", ...values, upper: brought.upper.token, lower: brought.lower.token });
  submit.disabled = false;
  submit.textContent = words;
  if (state) return;
  fault.textContent = byId("told").textContent;
  if (!values.diameter_mm.trim()) byId("start-diameter").focus();
};

// ---- measuring on a photograph: two ends of a known length, two opposite points of the rim

const canvas = byId("measure-canvas");
const viewport = new Viewport();
let points = [];
let cross = null;
let photo = null;

byId("measure-open").onclick = () => {
  photo = (brought.upper ?? brought.lower).photo;
  byId("measure").hidden = false;
  again();
  viewport.fit(photo.width, photo.height, canvas.clientWidth, canvas.clientHeight);
  redraw();
  canvas.focus();
};
byId("measure-again").onclick = again;
byId("measure-length").oninput = work;

function again() {
  points = [];
  cross = null;
  byId("measure-ask").textContent = ASK[0];
  redraw();
}

function set(at) {
  if (points.length < 4) points.push(at);
  byId("measure-ask").textContent = ASK[points.length] ?? "Give the known length; the diameter follows.";
  work();
  redraw();
}

function work() {
  const known = Number(byId("measure-length").value.replace(",", "."));
  if (points.length < 4 || !(known > 0)) return;
  const length = Math.hypot(points[1][0] - points[0][0], points[1][1] - points[0][1]);
  const across = Math.hypot(points[3][0] - points[2][0], points[3][1] - points[2][1]);
  if (!length) return;
  byId("start-diameter").value = ((across / length) * known).toFixed(2);
  say(`The diameter measures ${((across / length) * known).toFixed(2)} mm.`);
}

const redraw = oncePerFrame(() => {
  const { width, height, ratio } = fitCanvas(canvas);
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  if (!photo) return;
  photo.draw(context, viewport, width, height, ratio);
  for (const point of points) drawCross(context, viewport.toScreen(point));
  if (cross) drawCross(context, viewport.toScreen(cross));
});

attachGestures(canvas, {
  pan: (dx, dy) => {
    viewport.pan(dx, dy);
    redraw();
  },
  zoom: (factor, at) => {
    viewport.zoomAt(factor, ...at);
    redraw();
  },
  tap: (at) => set(viewport.toSheet(at)),
});

canvas.addEventListener("keydown", (event) => {
  const arrow = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  const middle = [canvas.clientWidth / 2, canvas.clientHeight / 2];
  if (arrow) {
    const step = (event.shiftKey ? 16 : 2) / viewport.scale;
    cross ??= viewport.toSheet(middle);
    cross = [cross[0] + arrow[0] * step, cross[1] + arrow[1] * step];
  } else if (event.key === "Enter") set(cross ?? viewport.toSheet(middle));
  else if (event.key === "+" || event.key === "=") viewport.zoomAt(1.3, ...middle);
  else if (event.key === "-") viewport.zoomAt(1 / 1.3, ...middle);
  else return;
  event.preventDefault();
  redraw();
});

on("state", () => {
  if (!desk.state.job) byId("start-care").textContent = desk.state.cautions.untouched;
});
export { attempt };
