// The teeth's sounds: each tooth's pluck is made by the server once and kept; a tooth struck again is damped first.

import { complain } from "./say.js";

const DAMP_S = 0.03;
let context = null;
let out = null;
const buffers = new Map(); // address -> promise of an AudioBuffer
const ringing = new Map(); // tooth -> {source, gain}
const loudness = new Map(); // tooth number -> factor, where it is not 1: for hearing a voice out, or a loud tooth down

export const loudnessOf = (number) => loudness.get(number) ?? 1;
export function setLoudness(number, factor) {
  if (factor === 1) loudness.delete(number);
  else loudness.set(number, factor);
  const now = ringing.get(number);
  if (now) now.gain.gain.setTargetAtTime(factor, context.currentTime, DAMP_S);
}

export function audio() {
  if (!context) {
    context = new AudioContext();
    out = context.createDynamicsCompressor(); // many teeth at once must not clip
    out.connect(context.destination);
  }
  if (context.state === "suspended") context.resume();
  return context;
}

function bufferOf(tooth) {
  const address = `/api/tooth/${tooth.number}?pitch=${tooth.pitch}`;
  if (!buffers.has(address)) {
    buffers.set(
      address,
      fetch(address)
        .then((answer) => answer.arrayBuffer())
        .then((data) => audio().decodeAudioData(data)),
    );
  }
  return buffers.get(address);
}

export const prepare = (teeth) => Promise.all(teeth.map(bufferOf)).catch(complain);

// Sound a tooth `delay` seconds from now, as loud as it swings.
export async function strike(tooth, delay = 0, swing = 1) {
  const playing = audio();
  const at = playing.currentTime + delay;
  const buffer = await bufferOf(tooth);
  const when = Math.max(at, playing.currentTime);
  const before = ringing.get(tooth.number);
  if (before) {
    before.gain.gain.setTargetAtTime(0, when, DAMP_S / 3);
    before.source.stop(when + DAMP_S * 2);
  }
  const source = playing.createBufferSource();
  const gain = playing.createGain();
  source.buffer = buffer;
  gain.gain.value = loudnessOf(tooth.number) * swing;
  source.connect(gain).connect(out);
  source.start(when);
  ringing.set(tooth.number, { source, gain });
  window.struck = (window.struck ?? 0) + 1; // counted for whoever watches the page from outside
  window.struckAt = gain.gain.value;
}

const TICK_S = 0.03;
const TICK_HZ = { true: 1760, false: 1175 }; // of a bar's line, of a beat within it: high and short, no tooth sounds so

// A dry tick `delay` seconds from now. isLine: of a bar's line, higher and louder than that of a beat.
export function tick(delay, isLine) {
  const playing = audio();
  const at = playing.currentTime + delay;
  const source = playing.createOscillator();
  const gain = playing.createGain();
  source.type = "square";
  source.frequency.value = TICK_HZ[isLine];
  gain.gain.setValueAtTime(isLine ? 0.12 : 0.05, at);
  gain.gain.exponentialRampToValueAtTime(1e-4, at + TICK_S);
  source.connect(gain).connect(out);
  source.start(at);
  source.stop(at + TICK_S);
  window.ticked = (window.ticked ?? 0) + 1; // counted for whoever watches the page from outside
}

export function silence() {
  for (const { source, gain } of ringing.values()) {
    gain.gain.setTargetAtTime(0, context.currentTime, DAMP_S / 3);
    source.stop(context.currentTime + DAMP_S * 2);
  }
  ringing.clear();
}
