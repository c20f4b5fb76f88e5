/* Review: what is shown, which event is chosen and where the cursors stand is decided here, at once, so that no press is
   lost while an answer of the server is on its way. Presses on rows of tables become values that its callbacks hear. */
import { store, stored } from "../frame/stores.js";
import * as address from "./address.js";
import * as cursors from "./cursors.js";
import * as gestures from "./gestures.js";
import * as stretch from "./stretch.js";

const TIMES = "meterlog-times", OPEN_EVERY_MS = 250;
let node = null, previewed = null, before = null, heldCursors = null;

const opened = () => document.querySelector(".review") && stored("review-span") !== undefined;
const whole = () => stored("review-length").whole;
const span = () => previewed || stored("review-span").span;
const cursorsAt = () => heldCursors || stored("review-cursors") || null;
/* A place on a plot's axis, as local time in words or ms, in s from the session's start. */
function seconds(shown) {
  const startMs = stored("strip-times") === "start" ? 0 : stored("review-length").start_ms;
  if (typeof shown === "number") return (shown - startMs) / 1000;
  const [year, month, day, hour = 0, minute = 0, second = 0] = shown.split(/[-T: ]/).map(Number);
  return (Date.UTC(year, month - 1, day, hour, minute) - startMs) / 1000 + second;
}
function keep(jump = false) {
  const { span: shown, fitted } = stored("review-span");
  address.write({ span: shown, whole: whole(), event: stored("review-chosen"), fitted, cursors: cursorsAt() }, jump);
  showSwitches();
}
/* Shows a stretch; `jump`: a step that Back undoes. The server draws what the store says. */
function go(next, { jump = false, ...more } = {}) {
  previewed = null;
  const old = stored("review-span");
  store("review-span", { ...old, ...more, span: next, moves: old.moves + 1, duration_s: stored("review-length").duration_s });
  cursors.place(cursorsAt(), next);
  keep(jump);
}
function preview(next) {
  previewed = next;
  const graph = document.querySelector("#detail .js-plotly-plot");
  const startMs = stored("strip-times") === "start" ? 0 : stored("review-length").start_ms;
  window.Plotly.relayout(graph, { "xaxis.range": next.map((s) => startMs + 1000 * s) });
  cursors.place(cursorsAt(), next);
}
function choose(number) {
  const times = stored("event-times");
  if (!times.length || number === null || number === undefined) return;
  const chosen = Math.min(Math.max(number, 1), times.length);
  if (stored("event-page")) store("event-page", null);
  store("review-chosen", chosen);
  go(stretch.onEvent(whole(), span(), times[chosen - 1]), { jump: true });
}
function showAll() {
  const all = span()[0] <= whole()[0] && span()[1] >= whole()[1];
  const next = all && before ? before : whole();
  before = all ? null : span();
  go(next, { jump: true });
}
/* On a phone the curve is below the findings: what was pressed there is brought into sight. */
function bringCurve(button) {
  const frame = document.getElementById("detail-frame");
  if (!button.closest(".verdicts, #review-events, #marker-list") || !frame) return;
  const { top, bottom } = frame.getBoundingClientRect();
  const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  if (top < 0 || bottom > window.innerHeight) frame.scrollIntoView({ block: "center", behavior: calm ? "instant" : "smooth" });
}
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.meterlog = {
  /* A plot reports every change of its own size too: only the ends of what a person dragged count. */
  stripDragged: (news) => {
    const ends = [news?.["shapes[0].x0"], news?.["shapes[0].x1"]];
    if (ends[0] !== undefined && ends[1] !== undefined) go(stretch.clipped(whole(), ...stretch.dragged(ends.map(seconds))));
  },
  stripPressed: (press) => { if (press) go(stretch.pressed(whole(), span(), seconds(press.points[0].x)), { jump: true }); },
  eventPressed: (press) => { if (press) choose(press.points[0].customdata); },
  grown: (length) => {
    const old = stored("review-span");
    go(stretch.followed(old.span, old.duration_s, length.duration_s));
  },
};

/* ---- switches ---- */
function showSwitches() {
  const { fitted, times } = stored("review-span");
  const on = { "switch-fitted": fitted, "switch-times": times === "start", "switch-cursors": !!cursorsAt() };
  for (const [id, pressed] of Object.entries(on)) document.getElementById(id)?.setAttribute("aria-pressed", String(!!pressed));
}
function putCursors(at) {
  heldCursors = null;
  store("review-cursors", at);
  cursors.place(at, span());
  keep();
}
const SWITCHES = {
  "switch-fitted": () => go(span(), { fitted: !stored("review-span").fitted }),
  "switch-times": () => {
    const times = stored("review-span").times === "start" ? "day" : "start";
    localStorage.setItem(TIMES, times);
    go(span(), { times });
  },
  "switch-cursors": () => putCursors(cursorsAt() ? null : cursors.called(span())),
};

/* ---- presses and keys ---- */
function press(button) {
  const said = button.dataset, now = Date.now(), chosen = stored("review-chosen");
  if (button.id === "move-all") go(whole(), { jump: true });
  else if (button.id.startsWith("move-")) go(stretch.moved(whole(), span(), button.id.slice("move-".length)));
  if (SWITCHES[button.id]) SWITCHES[button.id]();
  if (button.id === "event-next") choose((chosen || 0) + 1);
  if (button.id === "event-previous") choose((chosen || stored("event-times").length + 1) - 1);
  if (said.event) choose(Number(said.event));
  if (said.start) go(stretch.onEvent(whole(), span(), [Number(said.start), Number(said.end)]), { jump: true });
  if (said.page) store("event-page", { first: Number(said.page), now });
  if (said.at) go(stretch.around(whole(), Number(said.at)), { jump: true });
  if (said.role) store("role-chosen", { channel: Number(said.channel), role: said.role, now });
  if (button.id === "texts-save") {
    const fields = [...document.querySelectorAll("#texts input")];
    store("texts-entered", Object.fromEntries(fields.map((one) => [one.id.slice("text-".length), one.value])));
  }
  if (said.marker) {
    store("marker-row", { number: Number(said.marker), now });
    const field = document.getElementById("marker-name");
    if (field) field.focus();
  }
  if (said.event || said.start || said.at) bringCurve(button);
}
document.addEventListener("click", ({ target }) => {
  const button = target.closest(".review button");
  if (button) press(button);
});
const KEYS = { n: "event-next", p: "event-previous", ArrowLeft: "move-earlier", ArrowRight: "move-later", "+": "move-closer", "=": "move-closer",
  "-": "move-wider", 0: "move-all", f: "switch-fitted", t: "switch-times", m: "switch-cursors" };
document.addEventListener("keydown", (key) => {
  if (key.ctrlKey || key.altKey || key.metaKey || /^(INPUT|TEXTAREA|SELECT)$/.test(key.target.tagName)) return;
  if (key.key.startsWith("Arrow") && key.target.closest(".scroll, [role=slider], [role=combobox]")) return; // those have their own use
  const button = document.getElementById(KEYS[key.key]);
  if (!button) return;
  key.preventDefault();
  button.click();
});
const hand = { whole, span, preview, settle: (next, jump) => go(next, { jump }), all: showAll };
gestures.listen(hand);
cursors.listen({ span, cursors: cursorsAt, hold: (at) => { heldCursors = at; }, putCursors });

/* ---- the address, and what was remembered ---- */
function open() {
  const found = document.querySelector(".review");
  if (found === node || (found && !opened())) return;
  node = found;
  [previewed, before, heldCursors] = [null, null, null];
  if (!node) return;
  const asked = address.asked(window.location.search);
  if (asked.cursors) store("review-cursors", asked.cursors);
  if (localStorage.getItem(TIMES) === "start") go(span(), { times: "start" });
  showSwitches();
}
setInterval(() => { // the plot comes later, and moves with the page's width
  open();
  if (node && cursorsAt()) cursors.place(cursorsAt(), span());
}, OPEN_EVERY_MS);
/* Back and forward within one Review: the view stays, what it shows changes. */
window.addEventListener("popstate", (event) => {
  if (!node || !document.contains(node) || !window.location.pathname.endsWith("/" + encodeURIComponent(stored("review-name")))) return;
  event.stopImmediatePropagation();
  const asked = address.asked(window.location.search), old = stored("review-span");
  store("review-chosen", asked.event);
  store("review-cursors", asked.cursors);
  [previewed, heldCursors] = [null, null];
  store("review-span", { ...old, span: asked.span || whole(), fitted: asked.fitted, moves: old.moves + 1 });
  showSwitches();
}, true);
