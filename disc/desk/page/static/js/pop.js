// Boxes that open beside a button: one at a time, always wholly inside the window, closed by Escape or a press elsewhere.

import { byId } from "./dom.js";

const ROOM_PX = 8;
let open = null; // {control, box}

// only: the one box that is to be closed; left out, whichever is open
export function close(only = null, returnFocus = false) {
  if (!open || (only && open.box.id !== only)) return;
  const { control, box } = open;
  open = null;
  box.hidden = true;
  control.setAttribute("aria-expanded", "false");
  if (returnFocus) control.focus();
}

function place({ control, box }) {
  const at = control.getBoundingClientRect();
  const [w, h] = [window.innerWidth, window.innerHeight];
  const [below, above] = [h - at.bottom, at.top];
  const high = Math.max(below, above) - 2 * ROOM_PX;
  box.style.maxHeight = `${high}px`;
  const size = box.getBoundingClientRect();
  const top = below >= size.height + 2 * ROOM_PX || below >= above ? at.bottom + 4 : at.top - size.height - 4;
  box.style.top = `${Math.max(ROOM_PX, Math.min(top, h - size.height - ROOM_PX))}px`;
  box.style.left = `${Math.max(ROOM_PX, Math.min(at.left, w - size.width - ROOM_PX))}px`;
}

export function pop(controlId, boxId) {
  const control = byId(controlId);
  const box = byId(boxId);
  control.addEventListener("click", () => {
    const wasOpen = open?.box === box;
    close();
    if (wasOpen) return;
    open = { control, box };
    box.hidden = false;
    control.setAttribute("aria-expanded", "true");
    place(open);
  });
  const leave = (event) => {
    if (event.key !== "Escape" || open?.box !== box) return;
    event.stopPropagation();
    close(null, true);
  };
  box.addEventListener("keydown", leave);
  control.addEventListener("keydown", leave);
}

document.addEventListener("pointerdown", (event) => {
  if (open && !open.box.contains(event.target) && !open.control.contains(event.target)) close();
});
document.addEventListener("focusin", (event) => {
  if (open && !open.box.contains(event.target) && !open.control.contains(event.target)) close();
});
window.addEventListener("resize", () => close());
