// What the page knows, and who wants to hear of changes. No drawing, no requests.

const listeners = new Map();

export const desk = {
  state: null, // as /api/state gives it
  pins: new Map(), // by id
  music: null,
  selection: new Set(), // pin ids
  primary: null, // the pin picked last
  sheet: "upper",
  tool: "pick",
  earlier: null, // a comparison, while one is shown
};

export function on(topic, listener) {
  if (!listeners.has(topic)) listeners.set(topic, []);
  listeners.get(topic).push(listener);
}

export function tell(topic, detail) {
  for (const listener of listeners.get(topic) ?? []) listener(detail);
}

// What followed from the pins may be known before the answer that was put together meanwhile: the latest of each kind is
// kept, and laid over a state of the same pins that lacks it.
const latest = { music: null, findings: null };

export function forgetNews() {
  latest.music = latest.findings = null;
}

export function takeState(state) {
  desk.state = state;
  if (state.job) {
    const { music, findings } = latest;
    if (findings?.rev === state.rev) layFindings(findings);
    if (music?.rev === state.rev && state.music.rev !== state.rev) layMusic(music);
    else desk.music = state.music;
    desk.pins = new Map(state.pins.map((pin) => [pin.id, pin]));
    dropLostSelection();
  }
  tell("state");
}

// What changed with one revision; of the history only the steps from the first that is new. A page that has missed the
// revision before asks for everything.
export function takePins(change) {
  if (!desk.state?.job || change.rev <= desk.state.rev) return; // known already, or overtaken by a later one
  if (change.rev > desk.state.rev + 1) {
    tell("missed");
    return;
  }
  for (const pin of change.pins) desk.pins.set(pin.id, pin);
  for (const id of change.gone) desk.pins.delete(id);
  const { history } = desk.state;
  history.steps.splice(change.history.from, Infinity, ...change.history.steps);
  history.done = change.history.done;
  desk.state.rev = change.rev;
  dropLostSelection();
  tell("pins", change);
}

function layMusic(music) {
  desk.music = music;
  desk.state.doubts = music.doubts; // what is in doubt about the whole disc follows the pins too
  if ("heard" in music) desk.state.heard = music.heard; // and what of a recorded turn is heard of them
}

function layFindings({ findings, plan, files, rev }) {
  Object.assign(desk.state, { pending: false, findings, plan, files, checked_rev: rev });
}

export function takeMusic(music) {
  latest.music = music;
  if (!desk.state?.job) return;
  layMusic(music);
  tell("music", music);
}

export function takeFindings(found) {
  latest.findings = found;
  if (!desk.state?.job) return;
  layFindings(found);
  tell("findings");
}

function dropLostSelection() {
  for (const id of desk.selection) if (!desk.pins.has(id)) desk.selection.delete(id);
  if (!desk.pins.has(desk.primary)) desk.primary = [...desk.selection].at(-1) ?? null;
}

// how: "only" replaces the selection, "toggle" adds or takes away one, "add" joins several
export function select(ids, how = "only", from = "") {
  const list = [...ids].filter((id) => desk.pins.has(id));
  if (how === "only") desk.selection = new Set(list);
  else for (const id of list) {
    if (how === "toggle" && desk.selection.has(id)) desk.selection.delete(id);
    else desk.selection.add(id);
  }
  desk.primary = list.length && desk.selection.has(list.at(-1)) ? list.at(-1) : ([...desk.selection].at(-1) ?? null);
  tell("selection", from);
}

export function setSheet(name) {
  if (desk.sheet === name) return;
  desk.sheet = name;
  tell("sheet");
}

export function setTool(name) {
  desk.tool = name;
  tell("tool");
}

export function sheetNamed(name) {
  return desk.state?.sheets?.find((sheet) => sheet.name === name) ?? null;
}

export function toothNumbered(number) {
  return desk.music?.teeth.find((tooth) => tooth.number === number) ?? null;
}
