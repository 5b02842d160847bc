// Pictures made of others: both faces through the plate, the turning disc, an earlier reading beside the present one.

import { byId } from "./dom.js";
import { drawMark, drawPicked, drawStrike } from "./marks.js";
import { loadPhoto } from "./photo.js";
import { RING_S, player, sounding, turnSeconds } from "./player.js";
import { addLayer, baseSheet, currentPhotos, drawPlate, drawTips, markSize, mixShare, pinOnScreen, redraw, shownPins, view } from "./stage.js";
import { desk, on } from "./store.js";

// ---- the turning disc: the plate turns under the tips, which stand still

const shareOfTurn = () => (turnSeconds() ? player.at / turnSeconds() : 0);
const screenAngle = () => desk.state.screen_turn * shareOfTurn() * 2 * Math.PI; // the direction was decided by the server

function turned([u, v]) {
  const [cu, cv] = baseSheet().lines.centre;
  const angle = screenAngle();
  const [du, dv] = [u - cu, v - cv];
  return [cu + du * Math.cos(angle) - dv * Math.sin(angle), cv + du * Math.sin(angle) + dv * Math.cos(angle)];
}

addLayer("turning", {
  base: "through",
  turned,
  ownPins: true,
  picture: (context, v, size) => {
    const [cx, cy] = v.toScreen(baseSheet().lines.centre);
    context.save();
    context.translate(cx, cy);
    context.rotate(screenAngle());
    context.translate(-cx, -cy);
    const photos = currentPhotos();
    if (!photos.length) drawPlate(context, v, baseSheet());
    clipToPlate(context, v, [cx, cy]);
    // The corners of the screen reach farther than its edges when turned: draw a larger piece.
    const around = v.shifted(size.width, size.height);
    context.translate(-size.width, -size.height);
    for (const { photo, alpha } of photos) {
      context.globalAlpha = alpha();
      photo.draw(context, around, size.width * 3, size.height * 3, size.ratio);
    }
    context.restore();
    return true;
  },
  over: (context, v) => {
    for (const pin of shownPins()) {
      const place = pinOnScreen(pin);
      if (!place) continue;
      const size = Math.max(3, markSize(pin.condition) * 0.7);
      drawMark(context, pin.condition, place.at, place.tip, size);
      if (desk.selection.has(pin.id)) drawPicked(context, place.at, size, pin.id === desk.primary);
    }
    const lines = baseSheet().lines;
    drawTips(context, v, lines);
    const tips = new Map(lines.tracks.filter((track) => track.tip).map((track) => [track.tooth, track.tip]));
    for (const { strike: [, , tooth], age } of sounding()) {
      if (tips.has(tooth)) drawStrike(context, v.toScreen(tips.get(tooth)), 1 - age / RING_S);
    }
  },
});

// Only the plate turns, not the table it was photographed on.
function clipToPlate(context, v, [cx, cy]) {
  const [rx, ry] = v.toScreen(baseSheet().lines.rim[0]);
  context.beginPath();
  context.arc(cx, cy, Math.hypot(rx - cx, ry - cy) * 1.005, 0, 2 * Math.PI);
  context.clip();
}

// ---- an earlier reading to the left of a line, the present one to the right

let earlierPhoto = null;
on("earlier", async () => {
  earlierPhoto = null;
  if (desk.earlier?.picture) {
    const loaded = await Promise.allSettled(["earlier-lower", "earlier-upper"].map((name) => loadPhoto(`/api/picture/${name}`, redraw)));
    earlierPhoto = loaded.filter((one) => one.status === "fulfilled").map((one) => one.value);
  }
  redraw();
});

addLayer("earlier", {
  base: "through",
  ownPins: true,
  picture: (context, v, size) => {
    const split = (size.width * Number(byId("wipe").value)) / 100;
    half(context, 0, split, size, () => {
      const photos = earlierPhoto?.length ? earlierPhoto.map((photo, index) => ({ photo, alpha: () => (index ? mixShare() : 1) })) : currentPhotos();
      paint(context, v, size, photos);
      for (const pin of desk.earlier?.pins ?? []) mark(context, v, pin);
    });
    half(context, split, size.width, size, () => {
      paint(context, v, size, currentPhotos());
      for (const pin of shownPins()) mark(context, v, pin);
    });
    context.fillStyle = "#1f2429";
    context.fillRect(split - 1, 0, 2, size.height);
    return true;
  },
});

function half(context, from, to, size, drawHalf) {
  context.save();
  context.beginPath();
  context.rect(from, 0, to - from, size.height);
  context.clip();
  drawHalf();
  context.restore();
}

function paint(context, v, size, photos) {
  if (!photos.length) drawPlate(context, v, baseSheet());
  for (const { photo, alpha } of photos) {
    context.globalAlpha = alpha();
    photo.draw(context, v, size.width, size.height, size.ratio);
  }
  context.globalAlpha = 1;
}

function mark(context, v, pin) {
  const place = pin.marks.through;
  if (place) drawMark(context, pin.condition, v.toScreen(place[0]), place[1] ? v.toScreen(place[1]) : null, markSize(pin.condition));
}

byId("mix").oninput = redraw;
byId("wipe").oninput = redraw;
on("time", () => {
  if (desk.sheet === "turning") redraw();
});
on("sheet", () => {
  byId("under-stage").hidden = !["through", "turning", "earlier"].includes(desk.sheet);
  byId("mix-box").hidden = !["through", "turning", "earlier"].includes(desk.sheet);
  byId("wipe-box").hidden = desk.sheet !== "earlier";
  if (desk.sheet === "turning") view();
});
