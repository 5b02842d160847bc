// Which part of a sheet is seen: screen = sheet * scale + offset. CSS pixels on the screen, picture pixels on the sheet.

const NEAREST = 40; // screen pixels for one picture pixel; nearer shows nothing more
const ROOM = 0.96; // a fitted picture leaves a margin of this share

export class Viewport {
  constructor() {
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.least = 0.01;
  }

  fit(sheetWidth, sheetHeight, width, height) {
    this.fitAround([[0, 0], [sheetWidth, sheetHeight]], width, height);
  }

  // Show the smallest part of the sheet that holds all these points.
  fitAround(points, width, height) {
    const us = points.map(([u]) => u);
    const vs = points.map(([, v]) => v);
    const [left, right, top, bottom] = [Math.min(...us), Math.max(...us), Math.min(...vs), Math.max(...vs)];
    this.scale = ROOM * Math.min(width / (right - left), height / (bottom - top));
    this.least = this.scale / 5;
    this.x = width / 2 - ((left + right) / 2) * this.scale;
    this.y = height / 2 - ((top + bottom) / 2) * this.scale;
  }

  toScreen([u, v]) {
    return [(u + 0.5) * this.scale + this.x, (v + 0.5) * this.scale + this.y];
  }

  toSheet([px, py]) {
    return [(px - this.x) / this.scale - 0.5, (py - this.y) / this.scale - 0.5];
  }

  zoomAt(factor, px, py) {
    const scale = Math.min(NEAREST, Math.max(this.least, this.scale * factor));
    const real = scale / this.scale;
    this.x = px - (px - this.x) * real;
    this.y = py - (py - this.y) * real;
    this.scale = scale;
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
  }

  // Move so that a place of the sheet is seen; margin in screen pixels.
  show([u, v], width, height, margin = 60) {
    const [px, py] = this.toScreen([u, v]);
    if (px < margin || px > width - margin) this.x += width / 2 - px;
    if (py < margin || py > height - margin) this.y += height / 2 - py;
  }
}
