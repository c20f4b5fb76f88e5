/* The live page: asks the server what is new, one question after the other, and shows it; markers, Stop, the band. */
import { showUnread } from "../cautions/cautions.js";
import { byId, make, put } from "../frame/dom.js";
import { chartUpdate, emptyChart } from "./chart.js";
import { endS, withNews } from "./points.js";
import { showAges, showReadings } from "./readings.js";
import { allowSound, beep, showSound, switchSound } from "./sound.js";
import { ASK_AGAIN_MS, stopPress } from "./stop_press.js";
import { SORT_WORDS, calmBand, clockWords } from "./words.js";

const PAUSE_MS = 100, PAUSE_LOST_MS = 600, PAUSE_HIDDEN_MS = 1000; // between an answer and the next question
const ANSWER_TIMEOUT_MS = 3000, DRAW_EVERY_MS = 250, LOOK_EVERY_MS = 250;
const WINDOW_S = window.innerWidth < 700 ? 30 : 60; // what the chart shows
const MOST_EVENTS = 50, MOST_LISTED = 8;
let shown = null; // the state of the live page that is open

const colourOf = (place) => { const all = byId("live").dataset.colours.split(" "); return all[place % all.length]; };
const look = () => ({ colourOf, grid: byId("live").dataset.grid, marker: byId("live").dataset.marker });
const stateOf = (live) => ({ ...live, heardS: (performance.now() - live.heardMs) / 1000 });

/* ---- the band ---- */
function showBand(sort, word, text, keep) {
  const node = byId("band");
  if (!node) return;
  const name = "band " + sort;
  if (node.className !== name) node.className = name;
  put(byId("band-word"), [SORT_WORDS[sort], word].filter(Boolean).join(": "));
  put(byId("band-text"), text);
  byId("band-seen").hidden = !keep;
}
function showCalm(live) { if (!live.alarm) showBand(...calmBand(stateOf(live)), false); }
function showAlarm(live, sort, word, text) {
  live.alarm = true;
  showBand(sort, word, text, true);
  beep(sort);
}

/* ---- the chart: painted after the figures, because it costs more, and not at every answer ---- */
function drawSoon(live) {
  if (live.updating || live.drawDue) return;
  live.drawDue = true;
  const wait = Math.max(0, DRAW_EVERY_MS - (performance.now() - live.drawnMs));
  setTimeout(() => requestAnimationFrame(() => setTimeout(() => {
    live.drawDue = false;
    live.drawnMs = performance.now();
    if (shown === live) draw(live);
  }, 0)), wait);
}
function draw(live) {
  const graph = document.querySelector("#strip-chart .js-plotly-plot");
  if (!graph || !window.Plotly || document.hidden || !live.channels.length) return;
  const key = live.channels.map((one) => one.number).join(" ");
  if (live.drawn !== key) {
    const { layout, traces } = emptyChart(live.channels, WINDOW_S, look());
    live.drawn = key;
    window.Plotly.react(graph, traces, layout, { staticPlot: true, responsive: true });
    byId("strip-chart").style.height = layout.height + "px";
  }
  const { data, change, which } = chartUpdate(live, WINDOW_S, look(), graph.clientWidth);
  live.updating = true;
  window.Plotly.update(graph, data, change, which).finally(() => { live.updating = false; });
}

/* ---- events and markers ---- */
function takeEvents(live, told, first) {
  live.events = [...live.events, ...told.events].slice(-MOST_EVENTS);
  live.count += told.events.length;
  for (const one of told.events) {
    const item = make("li", "event " + one.sort), at = one.label + " at " + clockWords(one.start_s);
    item.append(make("strong", "", SORT_WORDS[one.sort] + ": " + one.kind), make("span", "", at + ". " + one.detail));
    byId("live-events").prepend(item);
    while (byId("live-events").children.length > MOST_LISTED) byId("live-events").lastChild.remove();
    if (!first) showAlarm(live, one.sort, one.kind + " on " + one.label, one.detail);
  }
  byId("live-none").hidden = live.count > 0;
  const fired = told.markers.filter((one) => one[3] && one[1] === "triggered");
  if (!first && fired.length > live.fired) showAlarm(live, "caught", "the condition was met", fired[fired.length - 1][2]);
  live.fired = fired.length;
  live.markers = told.markers;
}
async function send(path, body) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body) });
  const said = await answer.json();
  if (!answer.ok) throw new Error(said.error);
  return said;
}
async function mark(name) {
  if (!shown || !name.trim()) return;
  try {
    const said = await send(shown.path + "/marker", { name: name.trim() });
    put(byId("live-said"), "Marker " + said.name + " at " + clockWords(said.time_s));
    const field = byId("mark-text");
    if (field && name === field.value) window.dash_clientside.set_props("mark-text", { value: "" });
  } catch (error) { put(byId("live-said"), "The marker was not set: " + error.message); }
}

/* ---- the end ---- */
let stopAskedMs = 0;
async function stop() {
  const button = byId("stop"), meaning = stopPress(Date.now() - stopAskedMs);
  if (meaning === "ignore") return;
  if (meaning === "ask") {
    stopAskedMs = Date.now();
    put(button, "Press again to stop");
    setTimeout(() => { if (stopAskedMs && shown && !shown.ended) put(byId("stop"), "Stop"); }, ASK_AGAIN_MS);
    return;
  }
  stopAskedMs = 0;
  try { await send(shown.path + "/stop", {}); put(button, "Stopping …"); } catch (error) { put(byId("live-said"), error.message); }
}
function end(live, words) {
  live.ended = words;
  live.alarm = false;
  put(byId("stop"), "Stopped");
  for (const button of document.querySelectorAll("#live [data-mark], #mark-typed, #stop")) button.disabled = true;
}

/* ---- asking ---- */
async function ask(live) {
  const url = live.path + "?epoch=" + live.epoch + "&after=" + live.sequence;
  const answer = await fetch(url, { signal: AbortSignal.timeout(ANSWER_TIMEOUT_MS), cache: "no-store" });
  return { status: answer.status, told: await answer.json() };
}
function show(live, { status, told }) {
  if (status === 404) return end(live, "Ended; no file is left. " + told.error);
  if (status === 403 || status === 421) return window.location.reload(); // not paired any more: the page says so
  if (status !== 200) return put(byId("live-said"), told.error);
  live.heardMs = performance.now();
  live.lost = false;
  Object.assign(live, { channels: told.channels, waitsFor: told.waits_for });
  if (told.reset) { Object.assign(live, { events: [], count: 0 }); byId("live-events").replaceChildren(); }
  live.points = withNews(live.points, told, WINDOW_S);
  live.endS = endS(live.points, told);
  takeEvents(live, told, !live.epoch);
  live.epoch = told.epoch;
  live.sequence = told.sequence;
  if (told.state !== "growing") end(live, told.state === "clean" ? "Ended; everything is kept" :
    "The recorder was ended from outside; what it had saved is kept");
  put(byId("live-state"), (live.ended ? "ended" : live.waitsFor ? "armed" : "recording") + " · " + clockWords(told.elapsed_s));
  showReadings(live, colourOf);
  showState(live);
  byId("live-take").hidden = !live.channels.some((one) => one.count); // without readings there is nothing to take away
  showUnread(live.channels.map((one) => one.quantity));
  drawSoon(live);
}
function showState(live) {
  showAges(live, stateOf(live));
  showCalm(live);
}
async function follow(live) {
  while (shown === live && !live.ended) {
    let news = null;
    try { news = await ask(live); } catch (_) { live.lost = true; }
    if (shown !== live) return;
    if (news) show(live, news); else showState(live);
    const pause = document.hidden ? PAUSE_HIDDEN_MS : news ? PAUSE_MS : PAUSE_LOST_MS;
    await new Promise((go) => setTimeout(go, pause));
  }
  if (shown === live) showState(live);
}
function open() {
  const node = byId("live");
  if (!node) { shown = null; return; }
  if (shown && shown.node === node) return;
  shown = { node, path: "/live/" + encodeURIComponent(node.dataset.name), epoch: "", sequence: 0, channels: [], points: {},
    events: [], markers: [], cards: {}, count: 0, fired: 0, heardMs: performance.now(), lost: false, ended: "",
    alarm: false, endS: 0, waitsFor: "", drawn: "", drawnMs: 0, drawDue: false, updating: false };
  byId("readouts").replaceChildren();
  showSound();
  follow(shown);
}
setInterval(() => {
  open();
  if (shown && !shown.ended) showAges(shown, stateOf(shown));
  if (shown && shown.ended && !shown.drawn) draw(shown); // it had ended before the plots were loaded
}, LOOK_EVERY_MS);

/* ---- presses ---- */
document.addEventListener("click", ({ target }) => {
  const button = target.closest("#live button");
  if (!button) return;
  if (button.id === "sound") return switchSound();
  if (button.id === "band-seen" && shown) { shown.alarm = false; showCalm(shown); }
  else if (button.id === "stop") stop();
  else if (button.id === "mark-typed") mark(byId("mark-text").value);
  else if (button.dataset.mark) mark(button.dataset.mark);
  allowSound();
}, true);
document.addEventListener("keydown", (key) => {
  if (key.target.id === "mark-text" && key.key === "Enter") mark(key.target.value);
});
