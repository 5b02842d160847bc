// A photograph in several sizes, so that drawing any part of it costs no more than the screen's pixels.

const SMALLEST_PX = 900;
const kept = new Map(); // address -> promise of a Photo; a few at most
const MOST_KEPT = 6;
let count = 0;

export class Photo {
  constructor(full) {
    count += 1;
    this.number = count; // by which one is told from another
    this.width = full.width;
    this.height = full.height;
    this.levels = [full]; // each half the size of the one before
  }

  async addSmaller() {
    let last = this.levels[0];
    while (Math.max(last.width, last.height) > SMALLEST_PX * 2) {
      last = await createImageBitmap(last, {
        resizeWidth: Math.max(1, Math.round(last.width / 2)),
        resizeHeight: Math.max(1, Math.round(last.height / 2)),
        resizeQuality: "medium",
      });
      this.levels.push(last);
    }
  }

  // scale: screen pixels (device) for one picture pixel
  levelFor(scale) {
    let index = 0;
    while (index + 1 < this.levels.length && this.levels[index + 1].width >= this.width * scale) index += 1;
    return this.levels[index];
  }

  // Draw the part that is seen of a viewport of width x height CSS pixels. The context is scaled to CSS pixels.
  draw(context, viewport, width, height, ratio) {
    const level = this.levelFor(viewport.scale * ratio);
    const shrink = level.width / this.width;
    const seen = viewport.seen(width, height);
    const left = Math.max(0, Math.floor(seen.left * shrink));
    const top = Math.max(0, Math.floor(seen.top * shrink));
    const right = Math.min(level.width, Math.ceil(seen.right * shrink));
    const bottom = Math.min(level.height, Math.ceil(seen.bottom * shrink));
    if (right <= left || bottom <= top) return;
    const grow = viewport.scale / shrink;
    context.save();
    context.imageSmoothingEnabled = grow * ratio < 3; // near enough to see the picture's own pixels: show them
    context.translate(viewport.x, viewport.y);
    context.rotate(viewport.turn);
    context.drawImage(
      level, left, top, right - left, bottom - top,
      left * grow, top * grow, (right - left) * grow, (bottom - top) * grow,
    );
    context.restore();
  }
}

// The photo behind an address; onMore is called when it can be drawn faster.
export function loadPhoto(address, onMore) {
  if (!kept.has(address)) {
    kept.set(address, fetchPhoto(address, onMore));
    while (kept.size > MOST_KEPT) kept.delete(kept.keys().next().value);
  }
  return kept.get(address);
}

async function fetchPhoto(address, onMore) {
  const answer = await fetch(address);
  if (!answer.ok) {
    kept.delete(address);
    throw new Error((await answer.json()).error ?? "The photograph cannot be loaded.");
  }
  const photo = new Photo(await createImageBitmap(await answer.blob()));
  photo.addSmaller().then(() => onMore?.());
  return photo;
}
