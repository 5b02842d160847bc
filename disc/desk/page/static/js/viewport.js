// Which part of a sheet is seen, and which way up: screen = turned sheet * scale + offset. CSS pixels on the screen,
// picture pixels on the sheet. A disc is shown with its stop slot at the top, however it lay before the camera.

const NEAREST = 40; // screen pixels for one picture pixel; nearer shows nothing more
const ROOM = 0.96; // a fitted picture leaves a margin of this share

export class Viewport {
  constructor(turn = 0) {
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.least = 0.01;
    this.turn = turn; // radians, clockwise on the screen
    this.cos = Math.cos(turn);
    this.sin = Math.sin(turn);
    this.isWhole = true; // nobody has zoomed or moved it
  }

  turned([u, v]) {
    return [u * this.cos - v * this.sin, u * this.sin + v * this.cos];
  }

  fit(sheetWidth, sheetHeight, width, height) {
    this.fitAround([[0, 0], [sheetWidth, 0], [sheetWidth, sheetHeight], [0, sheetHeight]], width, height);
  }

  // Show the smallest part of the sheet that holds all these points.
  fitAround(points, width, height) {
    const places = points.map((point) => this.turned(point));
    const us = places.map(([u]) => u);
    const vs = places.map(([, v]) => v);
    const [left, right, top, bottom] = [Math.min(...us), Math.max(...us), Math.min(...vs), Math.max(...vs)];
    this.scale = ROOM * Math.min(width / (right - left), height / (bottom - top));
    this.least = this.scale / 5;
    this.x = width / 2 - ((left + right) / 2) * this.scale;
    this.y = height / 2 - ((top + bottom) / 2) * this.scale;
    this.isWhole = true;
  }

  toScreen([u, v]) {
    const [a, b] = this.turned([u + 0.5, v + 0.5]);
    return [a * this.scale + this.x, b * this.scale + this.y];
  }

  toSheet([px, py]) {
    const [a, b] = [(px - this.x) / this.scale, (py - this.y) / this.scale];
    return [a * this.cos + b * this.sin - 0.5, b * this.cos - a * this.sin - 0.5];
  }

  // The part of the sheet that a screen of this size may show: {left, top, right, bottom}.
  seen(width, height) {
    const corners = [[0, 0], [width, 0], [width, height], [0, height]].map((at) => this.toSheet(at));
    const us = corners.map(([u]) => u);
    const vs = corners.map(([, v]) => v);
    return { left: Math.min(...us), right: Math.max(...us) + 1, top: Math.min(...vs), bottom: Math.max(...vs) + 1 };
  }

  // The same view with its offset moved: for drawing a larger piece than the screen.
  shifted(dx, dy) {
    const other = Object.assign(new Viewport(this.turn), this);
    other.pan(dx, dy);
    return other;
  }

  zoomAt(factor, px, py) {
    const scale = Math.min(NEAREST, Math.max(this.least, this.scale * factor));
    const real = scale / this.scale;
    this.x = px - (px - this.x) * real;
    this.y = py - (py - this.y) * real;
    this.scale = scale;
    this.isWhole = false;
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.isWhole = false;
  }

  // Put a place of the sheet into the middle of the screen, at this scale.
  centre(place, scale, width, height) {
    this.scale = Math.min(NEAREST, Math.max(this.least, scale));
    const [px, py] = this.toScreen(place);
    this.pan(width / 2 - px, height / 2 - py);
  }

  // Move so that a place of the sheet is seen; margin in screen pixels.
  show([u, v], width, height, margin = 60) {
    const [px, py] = this.toScreen([u, v]);
    if (px < margin || px > width - margin) this.pan(width / 2 - px, 0);
    if (py < margin || py > height - margin) this.pan(0, height / 2 - py);
  }
}
