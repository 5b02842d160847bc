// The work plan and its estimate, with the cautions that belong to the work.

import { button, byId, element } from "./dom.js";
import { rebuild } from "./refill.js";
import { desk, on, select } from "./store.js";
import { runTask } from "./tasks.js";

const panel = byId("panel-plan");

function draw() {
  if (!desk.state?.job) return;
  const { plan, pending } = desk.state;
  rebuild(panel, [plan, pending, plan.lines?.map((one) => desk.pins.has(one.pin))], () => parts(plan, pending));
}

function parts(plan, pending) {
  const cautions = element("details", {}, element("summary", {}, "Before you handle the object"),
    element("ul", { class: "evidence" }, ...Object.values(desk.state.cautions).map((words) => element("li", {}, words))));
  const make = button("Make the work list and drawings", () => runTask({ do: "plan" }), { id: "plan" });
  if (plan.trouble) return [element("p", { class: "fault" }, plan.trouble), make, cautions];
  if (pending) return [element("p", {}, "The plan is being worked out …"), cautions];
  if (!plan.made) {
    return [element("p", {}, "There is no plan yet. It follows from the findings: what to set, straighten, pull or leave, with drawings, settings and an estimate. Check the disc first (Findings)."), make, cautions];
  }
  return [
    element("p", { class: "care" }, desk.state.cautions.train),
    plan.total ? element("p", {}, element("strong", { id: "plan-total" }, `Estimate: ${plan.total}`)) : null,
    ...(plan.notes ?? []).map((words) => element("p", { class: "hint" }, words)),
    table(plan.lines),
    make,
    cautions,
  ];
}

function table(lines) {
  return element("table", { class: "plain" },
    element("caption", { class: "unseen" }, "Work list"),
    element("thead", {}, element("tr", {}, element("th", { scope: "col", class: "number" }, "No."), element("th", { scope: "col" }, "Where, and what is done"))),
    element("tbody", {}, ...lines.map((one, index) => element("tr", {}, element("td", { class: "number" }, String(index + 1)), work(one)))));
}

function work(one) {
  const place = one.pin !== null && desk.pins.has(one.pin) ? button(one.where, () => select([one.pin], "only", "plan")) : one.where;
  return element("td", { class: "where" }, place, element("span", { class: "faint" }, ` ${one.music}`),
    element("div", {}, element("strong", {}, one.work)), element("div", { class: "faint" }, one.why));
}

on("state", draw);
on("findings", draw);
