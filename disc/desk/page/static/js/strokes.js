// Strokes on a canvas, c: its context. Places in CSS pixels.

// Upright, on the middle of a pixel, so that it is one pixel wide.
export function line(c, x, from, to) {
  c.beginPath();
  c.moveTo(Math.round(x) + 0.5, from);
  c.lineTo(Math.round(x) + 0.5, to);
  c.stroke();
}

export function cross(c, x, y, r) {
  c.beginPath();
  c.moveTo(x - r, y - r);
  c.lineTo(x + r, y + r);
  c.moveTo(x - r, y + r);
  c.lineTo(x + r, y - r);
  c.stroke();
}
