// A recorded turn that was compared with the pins: where the disc stands while it plays, and which strike is heard.
// The server lays the recording over the disc (heard.py); here times are only looked up.

import { attempt } from "./say.js";
import { desk } from "./store.js";

export const heardTurn = () => desk.state?.heard ?? null;
export const canFollow = () => (heardTurn()?.path.length ?? 0) > 1;
const NEAR_TURN = 0.1; // a place this little before the recording's first is taken for it
const revolution = () => desk.state.plate.revolution_s;

// Straight lines through [x, y] rows; from, to: which column is asked for and which is answered.
function along(rows, value, from, to) {
  let high = rows.findIndex((row) => row[from] > value);
  if (high < 0) high = rows.length - 1;
  if (high === 0) high = 1;
  const [a, b] = [rows[high - 1], rows[high]];
  return a[to] + ((value - a[from]) / (b[from] - a[from] || 1)) * (b[to] - a[to]);
}

// Second of the steady turn at which the disc stands at this second of the recording.
export function turnAt(recorded) {
  const turns = along(heardTurn().path, recorded, 0, 1);
  return (turns - Math.floor(turns)) * revolution();
}

// The first second of the recording at which the disc stands there.
export function recordedAt(second) {
  const { path } = heardTurn();
  const [first, last] = [path[0][1], path.at(-1)[1]];
  let turns = second / revolution() + Math.floor(first);
  // Just before the recording begins, or where it has ended in its next turn: from its beginning.
  if (turns < first && (first - turns < NEAR_TURN || turns + 1 >= last)) turns = first;
  if (turns < first) turns += 1;
  return Math.max(0, along(path, turns, 1, 0));
}

// As the page's other strikes: [turn_deg, onset in the turn, tooth, pin, doubtful]
export const heardStrikes = () =>
  (heardTurn()?.sounds ?? []).map(([, second, tooth, pin]) => [(second / revolution()) * 360, second, tooth, pin, false]);

export const silentPins = () => new Set(heardTurn()?.silent ?? []);
export const extraSounds = () => heardTurn()?.extra ?? [];

const BEFORE_S = 0.8; // what leads up to a place, and how long it is heard in all
const LONG_S = 2.8;
let piece = null;

// The second of the recording at which a finding is heard; null where none is about it.
export function placeOf({ kind, pin, theta_deg }) {
  const found = (heardTurn()?.places ?? []).find(([what, whose, degrees]) =>
    what === kind && (pin === null ? whose === null && Math.abs(degrees - theta_deg) < 0.05 : whose === pin));
  return found ? found[3] : null;
}

// The recording about this second.
export const hearAt = (second) => hearPiece("/api/heard-turn", second);

// A piece of any recording of the desk's.
export async function hearPiece(address, second) {
  piece?.pause();
  const mine = new Audio(address);
  piece = mine;
  const end = Math.max(0, second - BEFORE_S) + LONG_S;
  mine.ontimeupdate = () => mine.currentTime >= end && mine.pause();
  mine.currentTime = Math.max(0, second - BEFORE_S);
  await attempt(() => mine.play());
}
