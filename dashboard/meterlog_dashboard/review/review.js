/* Review: which stretch is shown and which event is chosen are decided here, at once, so that no press is lost while an
   answer of the server is on its way. Presses on rows of tables become values that the page's callbacks listen to. */
import { store, stored } from "../frame/stores.js";
import * as stretch from "./stretch.js";

/* A place on a plot's axis, as local time in words or ms, in s from the session's start. */
function seconds(shown) {
  if (typeof shown === "number") return (shown - stored("review-length").start_ms) / 1000;
  const [year, month, day, hour = 0, minute = 0, second = 0] = shown.split(/[-T: ]/).map(Number);
  return (Date.UTC(year, month - 1, day, hour, minute) - stored("review-length").start_ms) / 1000 + second;
}
/* `byHand`: the plot is there already; else it has to be moved, which its own zoom would otherwise win over. */
function go(next, byHand = false) {
  const old = stored("review-span");
  const moved = !byHand && (next[0] !== old.span[0] || next[1] !== old.span[1]);
  store("review-span", { span: next, moves: old.moves + moved, duration_s: stored("review-length").duration_s });
}
const shown = () => [stored("review-length").whole, stored("review-span").span];
function choose(number) {
  const times = stored("event-times");
  if (!times.length || number === null || number === undefined) return;
  const chosen = Math.min(Math.max(number, 1), times.length);
  if (stored("event-page")) store("event-page", null);
  store("review-chosen", chosen);
  go(stretch.onEvent(...shown(), times[chosen - 1]));
}
/* A plot reports every change of its own size too: only the ends of what a person dragged count. */
const ends = (news, key, first, last) => {
  const range = (news && (news[key] || [news[first], news[last]])) || [];
  return range[0] !== undefined && range[1] !== undefined ? stretch.dragged(range.map(seconds)) : null;
};
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.meterlog = {
  dragged: (news) => {
    const to = ends(news, "xaxis.range", "xaxis.range[0]", "xaxis.range[1]");
    if (to) go(to, true);
  },
  stripDragged: (news) => {
    const to = ends(news, "", "shapes[0].x0", "shapes[0].x1");
    if (to) go(stretch.clipped(stored("review-length").whole, ...to));
  },
  stripPressed: (press) => { if (press) go(stretch.pressed(...shown(), seconds(press.points[0].x))); },
  eventPressed: (press) => { if (press) choose(press.points[0].customdata); },
  grown: (length) => {
    const old = stored("review-span");
    go(stretch.followed(old.span, old.duration_s, length.duration_s));
  },
};
function press(button) {
  const said = button.dataset, now = Date.now(), chosen = stored("review-chosen");
  if (button.id.startsWith("move-")) go(stretch.moved(...shown(), button.id.slice("move-".length)));
  if (button.id === "event-next") choose((chosen || 0) + 1);
  if (button.id === "event-previous") choose((chosen || stored("event-times").length + 1) - 1);
  if (said.event) choose(Number(said.event));
  if (said.page) store("event-page", { first: Number(said.page), now });
  if (said.at) go(stretch.around(stored("review-length").whole, Number(said.at)));
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
}
document.addEventListener("click", ({ target }) => {
  const button = target.closest(".review button");
  if (button) press(button);
});
document.addEventListener("keydown", (key) => {
  if (key.ctrlKey || key.altKey || key.metaKey || /^(INPUT|TEXTAREA|SELECT)$/.test(key.target.tagName)) return;
  const button = document.getElementById({ n: "event-next", p: "event-previous" }[key.key]);
  if (button) button.click();
});
