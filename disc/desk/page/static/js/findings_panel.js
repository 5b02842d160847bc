// Findings beside the photograph: each with its evidence, to accept, to reject with a reason, or to leave in doubt.

import { upload } from "./api.js";
import { button, byId, element } from "./dom.js";
import { hearAt, placeOf } from "./heard.js";
import { send } from "./outbox.js";
import { rebuild } from "./refill.js";
import { draftOf, keepDraft } from "./remember.js";
import { attempt, say } from "./say.js";
import { desk, on, select, takeState } from "./store.js";
import { runTask } from "./tasks.js";

const panel = byId("panel-findings");
const VERDICTS = { accepted: "accepted", rejected: "rejected", doubt: "left in doubt" };
const WEIGHTS = { seen: "seen", heard: "heard", known: "known", mechanical: "mechanical" };
let filter = "open";

function draw() {
  if (!desk.state?.job) return;
  const { findings, pending, has_comb, heard } = desk.state;
  rebuild(panel, [findings, filter, pending, has_comb, heard?.places], () => parts(findings));
}

function parts(told) {
  if (told.trouble) return [element("p", { class: "fault" }, told.trouble), checkButton("Check again")];
  if (desk.state.pending) return [element("p", {}, "The findings are being worked out …")];
  if (!told.checked) {
    if (!desk.state.has_comb) return [element("p", {}, "The check needs pins and a comb, by which it knows what each pin sounds. Give the comb first (tab Comb).")];
    return [
      element("p", {}, "The disc has not been checked yet. The check looks at every pin and hole, and says what is missing, bent, left over or set wrong, each with its evidence."),
      checkButton("Check the disc"),
      withScore(),
    ];
  }
  const all = told.findings;
  const shown = all.filter((finding) => filter === "all" || (filter === "open" ? !finding.verdict : finding.verdict === filter));
  return [
    element("div", { class: "row" }, element("label", {}, "Show ", chooser(all)), checkButton("Check again")),
    withScore(),
    shown.length ? null : element("p", { class: "faint" }, all.length ? "None of these." : "The check found nothing to say."),
    ...shown.map(card),
  ];
}

const checkButton = (words) => button(words, () => runTask({ do: "check" }), { id: "check" });

function withScore() {
  const file = element("input", { type: "file", id: "check-score", class: "unseen", accept: ".mid,.midi,.musicxml,.xml,.mxl,.abc,.krn" });
  file.onchange = async () => {
    const [chosen] = file.files;
    const brought = chosen && (await attempt(() => upload("score", chosen)));
    if (brought) await runTask({ do: "check", score: brought.token });
  };
  return element("p", {}, element("label", { class: "button" }, "Check against a score …", file));
}

function chooser(all) {
  const count = (verdict) => all.filter((finding) => (verdict === "open" ? !finding.verdict : finding.verdict === verdict)).length;
  const choices = [["open", `open (${count("open")})`], ["accepted", `accepted (${count("accepted")})`],
    ["rejected", `rejected (${count("rejected")})`], ["doubt", `in doubt (${count("doubt")})`], ["all", `all (${all.length})`]];
  const made = element("select", { id: "finding-filter", onchange: (event) => {
    filter = event.target.value;
    draw();
  } }, ...choices.map(([name, words]) => element("option", { value: name }, words)));
  made.value = filter;
  return made;
}

function card(finding) {
  const at = [`${finding.side} ${finding.r_mm.toFixed(2)} mm ${finding.theta_deg.toFixed(1)}°`,
    finding.tooth !== null ? `tooth ${finding.tooth}` : null, finding.bar !== null ? `bar ${finding.bar}, beat ${finding.beat}`.replaceAll(" ", "\u00a0") : null];
  const name = `${finding.heading}${finding.pin !== null ? `, pin ${finding.pin}` : ""}`;
  const reason = element("input", { "aria-label": `Reason, ${name}`, placeholder: "reason", size: 14, maxlength: 1000, value: draftOf(draftName(finding)) || finding.reason, oninput: (event) => keepDraft(draftName(finding), event.target.value) });
  const say_ = (words, verdict) => button(words, () => decide(finding, verdict, reason.value), { "aria-label": `${words}: ${name}`, "data-verdict": verdict });
  return element(
    "article",
    { class: `card${finding.pin !== null && finding.pin === desk.primary ? " picked" : ""}`, "data-kind": finding.kind, "data-pin": String(finding.pin) },
    element("header", {}, element("strong", {}, name), element("span", { class: `verdict ${finding.verdict ?? ""}` }, VERDICTS[finding.verdict] ?? finding.sure)),
    element("p", { class: "faint" }, at.filter(Boolean).join(" · ")),
    element("ul", { class: "evidence" }, ...finding.evidence.map((one) => element("li", {}, evidenceWords(one)))),
    element("div", { class: "row" },
      finding.pin !== null ? button("Show", () => select([finding.pin], "only", "findings"), { "aria-label": `Show ${name}` }) : null,
      placeOf(finding) !== null ? button("Hear", () => hearAt(placeOf(finding)), { "aria-label": `Hear ${name}`, "data-hear": String(placeOf(finding)) }) : null,
      say_("Accept", "accepted"), say_("Doubt", "doubt"), finding.verdict ? say_("Reopen", "open") : null,
      reason, say_("Reject", "rejected")),
  );
}

// What kind of evidence it is, unless its words begin with that.
function evidenceWords({ kind, words }) {
  const name = WEIGHTS[kind] ?? kind;
  return words.startsWith(name) ? words : `${name}: ${words}`;
}

const draftName = ({ kind, side, r_mm, theta_deg }) => `reason ${kind} ${side} ${r_mm} ${theta_deg}`;

async function decide(finding, verdict, reason) {
  const { kind, side, r_mm, theta_deg } = finding;
  const before = desk.state.plan?.total;
  const state = await attempt(() => send("/api/decide", { finding: { kind, side, r_mm, theta_deg }, verdict, reason }));
  if (!state) return;
  keepDraft(draftName(finding), "");
  if (!state.isDone) takeState(state);
  const after = desk.state.plan?.total;
  say(`${finding.heading}: ${VERDICTS[verdict] ?? "open again"}.${after && after !== before ? ` The estimate is now ${after}.` : ""}`);
}

on("state", draw);
on("findings", draw);
on("selection", () => {
  for (const one of panel.querySelectorAll("article")) one.classList.toggle("picked", desk.primary !== null && one.dataset.pin === String(desk.primary));
});
