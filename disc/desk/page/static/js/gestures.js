// Mouse, pen and fingers on a canvas, as a few plain events. Two fingers pinch; a wheel zooms; one pointer drags.
// handlers: press(at, event) -> true if the press is used (else it drags the picture), drag(at), drop(at), leave(),
// pan(dx, dy), zoom(factor, at), tap(at, event), hold(at), hover(at). at: [x, y] in CSS pixels from the canvas's corner.
// hold: a finger rests where it was set down; the touch screen's counterpart of a click with Shift.

const TAP_PX = 6; // a press that moves less is a tap; fingers are less steady
const TAP_FINGER_PX = 12;
const HOLD_MS = 550; // as long as touch screens usually take a press for a long one; common practice, no source
const WHEEL_STEP = 0.0016; // zoom by pixel of wheel travel: a notch of 100 is about 17 %

export function attachGestures(canvas, handlers) {
  const pointers = new Map();
  let used = false; // the press belongs to a tool
  let moved = false;
  let start = null;
  let pinch = null;
  let resting = null; // timer of a finger that has not moved yet

  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };

  canvas.addEventListener("pointerdown", (event) => {
    if (event.button > 1) return;
    canvas.focus({ preventScroll: true });
    canvas.setPointerCapture(event.pointerId);
    pointers.set(event.pointerId, place(event));
    if (pointers.size === 1) {
      start = place(event);
      moved = false;
      used = event.button === 0 && handlers.press?.(start, event) === true;
      if (!used && event.pointerType === "touch" && handlers.hold) resting = setTimeout(holdNow, HOLD_MS);
    } else if (pointers.size === 2) {
      clearTimeout(resting);
      if (used) handlers.leave?.();
      used = false;
      moved = true;
      pinch = spread(pointers);
    }
    event.preventDefault();
  });

  canvas.addEventListener("pointermove", (event) => {
    const at = place(event);
    if (!pointers.has(event.pointerId)) {
      handlers.hover?.(at);
      return;
    }
    const before = pointers.get(event.pointerId);
    pointers.set(event.pointerId, at);
    if (pointers.size === 2) {
      const now = spread(pointers);
      handlers.pan?.(now.middle[0] - pinch.middle[0], now.middle[1] - pinch.middle[1]);
      if (pinch.length > 0) handlers.zoom?.(now.length / pinch.length, now.middle);
      pinch = now;
      return;
    }
    const slack = event.pointerType === "touch" ? TAP_FINGER_PX : TAP_PX;
    if (!moved && Math.hypot(at[0] - start[0], at[1] - start[1]) < slack) return;
    clearTimeout(resting);
    if (!moved && !used) handlers.pan?.(at[0] - start[0], at[1] - start[1]);
    else if (!used) handlers.pan?.(at[0] - before[0], at[1] - before[1]);
    moved = true;
    if (used) handlers.drag?.(at, event);
  });

  function holdNow() {
    if (moved || pointers.size !== 1) return;
    moved = true; // what follows is no tap
    handlers.hold(start);
  }

  const end = (event) => {
    clearTimeout(resting);
    if (!pointers.has(event.pointerId)) return;
    const at = place(event);
    pointers.delete(event.pointerId);
    if (pointers.size > 0) return;
    if (event.type === "pointercancel") handlers.leave?.();
    else if (!moved) handlers.tap?.(at, event);
    else if (used) handlers.drop?.(at, event);
    used = false;
  };
  // The browser makes no gesture of its own of these touches; else it takes the tap after a flick for "stop".
  canvas.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
  canvas.addEventListener("contextmenu", (event) => event.preventDefault()); // a long press is ours
  canvas.addEventListener("pointerup", end);
  canvas.addEventListener("pointercancel", end);

  canvas.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      const travel = event.deltaMode === 1 ? event.deltaY * 33 : event.deltaY;
      handlers.zoom?.(Math.exp(-travel * WHEEL_STEP), place(event));
    },
    { passive: false },
  );
}

function spread(pointers) {
  const [a, b] = [...pointers.values()];
  return { middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], length: Math.hypot(a[0] - b[0], a[1] - b[1]) };
}
