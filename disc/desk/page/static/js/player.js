// The turn in time: play, pause, slower, one bar over and over, one tooth alone; as it plays, as it should, or recorded.

import { get, upload } from "./api.js";
import { byId, element } from "./dom.js";
import { canFollow, heardStrikes, heardTurn, recordedAt, turnAt } from "./heard.js";
import { attempt, say } from "./say.js";
import { audio, loudnessOf, prepare, setLoudness, silence, strike, tick as tickOnce } from "./sound.js";
import { desk, on, tell, toothNumbered } from "./store.js";
import { runTask } from "./tasks.js";

const AHEAD_S = 0.25; // strikes are handed to the sound card this much before their time
const EVERY_MS = 60;
export const RING_S = 0.45; // what was struck within this is shown as sounding

export const player = { playing: false, at: 0, loop: null };
let until = null; // where it is to stop, of a piece that was asked for
let from = { clock: 0, at: 0 }; // where the turn was at which time of the clock
let handed = 0; // strikes up to this second of the turn are handed over
let timer = null;
let recording = null; // an audio element while a recording is played

const speed = () => Number(byId("play-speed").value);
const what = () => byId("play-what").value;
const onlyTooth = () => byId("play-tooth").value;
export const turnSeconds = () => desk.state.plate.revolution_s;
export const isHeard = () => what() === "heard"; // a recorded turn is played, laid over the disc
const isRecorded = () => isHeard() || what().startsWith("recording:");

export const SILENT = 5; // of a strike's row: its tooth gives no tone, so that it is shown but not sounded
const SWING = 6; // of a strike's row: how far its tooth swings against the loudest; null: not known

export function strikesPlayed() {
  if (isHeard()) return heardStrikes();
  if (what() === "print") return printed?.strikes ?? [];
  const strikes = desk.music?.[what() === "should" ? "should" : "now"] ?? [];
  return strikes.filter((one) => !one[SILENT]);
}

// What sounds at this moment: the same in score, turn and disc. Each with its age in seconds.
export function sounding() {
  if (what().startsWith("recording:")) return []; // its own time is not the turn's
  return strikesPlayed().map((one) => ({ strike: one, age: player.at - one[1] })).filter(({ age }) => age >= 0 && age < RING_S);
}

// ---- as printed: laid over the pins as they are, anew where they change

let printed = null; // as /api/print gives it
export const printedAlone = () => (what() === "print" ? strikesPlayed().filter((one) => one[3] === null) : []);

async function bringPrint() {
  if (what() !== "print" || !desk.music || printed?.rev === desk.music.rev) return;
  printed = await attempt(() => get("/api/print"));
  if (what() !== "print") return; // something else was chosen while it came
  if (printed) sayPrint();
  else byId("play-what").value = "now";
  tell("time");
}

function sayPrint() {
  if (printed.toothless) say(`As printed: ${printed.title}. ${printed.toothless} ${printed.toothless === 1 ? "note is" : "notes are"} left out, since the comb has no tooth for them.`);
  else say(`As printed: ${printed.title}.`);
}

function now() {
  if (recording) return isHeard() ? turnAt(recording.currentTime) : recording.currentTime;
  return from.at + ((performance.now() - from.clock) / 1000) * speed();
}

export function togglePlay() {
  return player.playing ? pause() : play();
}

export async function play() {
  if (!desk.state?.job) return;
  if (isRecorded()) return playRecording();
  if (!desk.music?.now.length && !desk.music?.should.length) return say(desk.music?.why || "Nothing sounds yet.", true);
  audio();
  await prepare(desk.music.teeth);
  if (player.at >= turnSeconds() - 0.05) player.at = 0;
  if (player.loop && (player.at < player.loop[0] || player.at >= player.loop[1])) player.at = player.loop[0];
  start();
  handed = player.at - 1e-6;
  timer = setInterval(handOver, EVERY_MS);
  handOver();
}

// A piece of the turn, from one second to another (null: to its end), whatever was played before.
export async function playFrom(begin, end) {
  pause();
  if (isRecorded()) {
    byId("play-what").value = "now";
    byId("play-what").onchange();
  }
  byId("play-loop").checked = false;
  player.loop = null;
  seek(begin);
  until = end;
  await play();
}

function start() {
  from = { clock: performance.now(), at: player.at };
  player.playing = true;
  showButton();
  requestAnimationFrame(tick);
}

export function pause() {
  until = null;
  if (!player.playing) return;
  player.at = now();
  player.playing = false;
  clearInterval(timer);
  recording?.pause();
  recording = null;
  silence();
  showButton();
  tell("time");
}

export function seek(at) {
  player.at = Math.max(0, Math.min(turnSeconds(), at));
  from = { clock: performance.now(), at: player.at };
  handed = player.at - 1e-6;
  if (recording) recording.currentTime = isHeard() ? recordedAt(player.at) : player.at;
  showLoop();
  tell("time");
}

const endNow = () => (player.loop ? player.loop[1] : (until ?? turnSeconds()));

function handOver() {
  const at = now();
  const end = endNow();
  const ready = Math.min(at + AHEAD_S * speed(), end);
  const only = onlyTooth();
  for (const one of strikesPlayed()) {
    const [, onset, number] = one;
    if (onset <= handed || onset > ready || (only && String(number) !== only)) continue;
    const tooth = toothNumbered(number);
    if (tooth) strike(tooth, Math.max(0, (onset - at) / speed()), one[SWING] ?? 1);
  }
  if (byId("play-ticks").checked && !only) handOverTicks(at, ready);
  handed = Math.max(handed, ready);
}

// Bars and beats to be heard with the music: where a line stands can be judged by ear.
function handOverTicks(at, ready) {
  const { bars, beats } = desk.music;
  const all = [...bars.map(([, onset]) => [onset, true]), ...beats.map((onset) => [onset, false])];
  for (const [onset, isLine] of all) if (onset > handed && onset <= ready) tickOnce(Math.max(0, (onset - at) / speed()), isLine);
}

function tick() {
  if (!player.playing) return;
  player.at = now();
  const end = endNow();
  if (recording) {
    if (player.loop && isHeard() && (player.at >= end || player.at < player.loop[0] - 0.5)) seek(player.loop[0]);
  } else if (player.at >= end) {
    if (player.loop) {
      player.at = player.loop[0];
      from = { clock: performance.now(), at: player.at };
      handed = player.at - 1e-6;
    } else {
      const isPiece = until !== null;
      pause();
      if (!isPiece) player.at = 0;
    }
  }
  tell("time");
  if (player.playing) requestAnimationFrame(tick);
}

async function playRecording() {
  const heard = isHeard();
  if (heard && !canFollow()) return say(heardTurn()?.why || "No recorded turn was compared with the pins yet.", true);
  recording = new Audio(heard ? "/api/heard-turn" : `/api/recording/${encodeURIComponent(what().slice(10))}`);
  recording.preservesPitch = true;
  recording.playbackRate = speed();
  recording.onended = pause;
  recording.currentTime = heard ? recordedAt(player.loop ? player.loop[0] : player.at) : player.at;
  await attempt(() => recording.play());
  if (recording) start();
  return undefined;
}

// ---- one bar over and over

export function barAt(seconds) {
  const bars = desk.music?.bars ?? [];
  const index = bars.findLastIndex(([, onset]) => onset <= seconds + 1e-3);
  if (index < 0) return bars.length ? { number: bars[0][0] - 1, span: [0, bars[0][1]] } : null;
  const next = bars[index + 1];
  return { number: bars[index][0], span: [bars[index][1], next ? next[1] : turnSeconds()] };
}

function chosenSeconds() {
  const hit = strikesPlayed().find((one) => one[3] === desk.primary && desk.primary !== null);
  return player.playing || !hit ? player.at : hit[1];
}

function showLoop() {
  const box = byId("play-loop");
  const bar = barAt(chosenSeconds());
  box.disabled = !bar || what().startsWith("recording:");
  const named = (number) => (number < 1 ? "the start" : `bar ${number}`);
  byId("loop-words").textContent = player.loop ? named(player.loop[2]) : bar ? named(bar.number) : "a bar";
}

byId("play-loop").onchange = (event) => {
  const bar = barAt(chosenSeconds());
  player.loop = event.target.checked && bar ? [...bar.span, bar.number] : null;
  if (player.loop && (player.at < player.loop[0] || player.at >= player.loop[1])) seek(player.loop[0]);
  showLoop();
  tell("time");
};

// ---- the controls

function showButton() {
  const control = byId("play");
  control.setAttribute("aria-pressed", String(player.playing));
  control.replaceChildren(element("span", { "aria-hidden": "true" }, player.playing ? "❚❚" : "▶"), player.playing ? " Pause" : " Play");
}

function showChoices() {
  const teeth = byId("play-tooth");
  const chosen = teeth.value;
  const sorted = [...(desk.music?.teeth ?? [])].sort((a, b) => a.pitch - b.pitch);
  teeth.replaceChildren(
    element("option", { value: "" }, "all"),
    ...sorted.map((tooth) => element("option", { value: String(tooth.number) }, `${tooth.number} · ${tooth.name}`)),
  );
  teeth.value = sorted.some((tooth) => String(tooth.number) === chosen) ? chosen : "";
  showLoudTeeth(sorted);
  const choice = byId("play-what");
  const was = choice.value;
  const recordings = desk.state?.recordings ?? [];
  choice.replaceChildren(
    element("option", { value: "now" }, "as it plays now"),
    element("option", { value: "should" }, "as it should play"),
    ...(desk.state?.print ? [element("option", { value: "print" }, `as printed: ${desk.state.print}`)] : []),
    ...(desk.state?.heard ? [element("option", { value: "heard" }, `as recorded, on the pins: ${desk.state.heard.name}`)] : []),
    ...recordings.map((name) => element("option", { value: `recording:${name}` }, `recording ${name}`)),
  );
  choice.value = [...choice.options].some((option) => option.value === was) ? was : "now";
  showWhat();
}

// What goes with the choice: a plain recording can be compared, and it has no teeth and no bars of its own.
function showWhat() {
  byId("listen").hidden = !what().startsWith("recording:");
  byId("recording-remove").hidden = !isRecorded();
  byId("play-tooth").disabled = isRecorded();
  showLoop();
}

byId("listen").onclick = async () => {
  pause();
  const done = await runTask({ do: "listen", recording: what().slice(10) });
  if (!done) return;
  byId("play-what").value = "heard";
  showWhat();
  tell("music", desk.music);
};

byId("play").onclick = togglePlay;
// As it plays now, or as it should: the same place goes on, so that the two can be compared by ear.
const ON_TEETH = ["now", "should", "print"];
let heardLast = "now";
byId("play-what").onchange = async () => {
  if (player.playing && ON_TEETH.includes(what()) && ON_TEETH.includes(heardLast)) silence();
  else pause();
  heardLast = what();
  showWhat();
  if (what().startsWith("recording:")) say("Not compared yet: the line shows the recording's own time. “Compare with the pins” finds silent and extra strikes.");
  tell("music", desk.music);
  if (what() === "print" && printed && printed.rev === desk.music?.rev) sayPrint();
  else await bringPrint();
};
// The next of what there is: as it plays now, as it should, as printed.
export function playOther() {
  const all = ON_TEETH.filter((name) => name !== "print" || desk.state.print);
  byId("play-what").value = all[(all.indexOf(what()) + 1) % all.length];
  if (what() === "now") say("As it plays now.");
  if (what() === "should") say("As it should play, repaired.");
  byId("play-what").onchange();
}
byId("play-other").onclick = playOther;

// ---- how loud each tooth is

function showLoudTeeth(sorted) {
  const list = byId("loud-tooth");
  const chosen = list.value;
  list.replaceChildren(...sorted.map((tooth) => element("option", { value: String(tooth.number) }, `${tooth.number} · ${tooth.name}`)));
  if (sorted.some((tooth) => String(tooth.number) === chosen)) list.value = chosen;
  byId("loud").disabled = !sorted.length;
  showLoudness();
}

function showLoudness() {
  const percent = Math.round(loudnessOf(Number(byId("loud-tooth").value)) * 100);
  byId("loud").value = String(percent);
  byId("loud-words").textContent = `${percent} %`;
}

byId("loud-tooth").onchange = showLoudness;
byId("loud").oninput = () => {
  setLoudness(Number(byId("loud-tooth").value), Number(byId("loud").value) / 100);
  showLoudness();
};

byId("play-speed").onchange = () => {
  from = { clock: performance.now(), at: player.at };
  if (recording) recording.playbackRate = speed();
};
byId("play-tooth").onchange = () => tell("time");
byId("recording-add").onchange = async (event) => {
  const [file] = event.target.files;
  event.target.value = "";
  if (!file) return;
  const brought = await attempt(() => upload("recording", file));
  const before = new Set(desk.state.recordings);
  const state = brought && (await runTask({ do: "recording", token: brought.token }));
  const added = state?.recordings.find((name) => !before.has(name));
  if (!added) return;
  byId("play-what").value = `recording:${added}`;
  showWhat();
  say(`${added} now belongs to the job. “Compare with the pins” finds silent and extra strikes.`);
};
byId("recording-remove").onclick = () => {
  pause();
  runTask({ do: "recording-out", recording: isHeard() ? desk.state.heard.name : what().slice(10) });
};

on("state", showChoices);
on("music", showChoices);
on("music", bringPrint);
on("selection", showLoop);
on("time", () => {
  byId("clock").textContent = `${player.at.toFixed(1)} s of ${turnSeconds()} s`;
});
