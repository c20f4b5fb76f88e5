/* The live page: asks the server what is new, one question after the other, and shows it; markers and Stop. */
import { showUnread } from "../cautions/cautions.js";
import { byId, make, put } from "../frame/dom.js";
import { allowAlerts, call, keepScreen, showAlerts, switchAlert } from "./alerts.js";
import { chartUpdate, emptyChart } from "./chart.js";
import { endS, withNews } from "./points.js";
import { addPress, sendPresses, waitingOf } from "./presses.js";
import { showAges, showReadings } from "./readings.js";
import { ASK_AGAIN_MS, stopPress } from "./stop_press.js";
import { SORT_WORDS, bandNow, begun, clockWords, limitWords, linkNow, unseenWords } from "./words.js";

const PAUSE_MS = 100, PAUSE_LOST_MS = 600, PAUSE_HIDDEN_MS = 1000; // between an answer and the next question
const ANSWER_TIMEOUT_MS = 3000, DRAW_EVERY_MS = 250, LOOK_EVERY_MS = 250;
const WINDOW_S = window.innerWidth < 700 ? 30 : 60; // what the chart shows
const MOST_EVENTS = 50, MOST_LISTED = 8, MOST_UNSEEN = 99, TICK_MS = 1500, SAME_S = 2;
const ENDED = { clean: "Ended; everything is kept", hard: "Ended without being closed; what was saved is kept" };
const CAUSES = { clean: "", hard: "The recorder was ended from outside, or the computer lost its power. Review opens what is there." };
const NOT_STOPPED = "No answer came to Stop: the recording goes on. Press it again when this page reaches the computer.";
let shown = null; // the state of the live page that is open

const colourOf = (place) => { const all = byId("live").dataset.colours.split(" "); return all[place % all.length]; };
const look = () => ({ colourOf, grid: byId("live").dataset.grid, marker: byId("live").dataset.marker });
const stateOf = (live) => ({ ...live, heardS: (performance.now() - live.heardMs) / 1000 });

/* ---- what is so now, the link, what was not seen: three places ---- */
function showNow(live) {
  const state = stateOf(live), [sort, word, text] = bandNow(state), [linkSort, linkWords] = linkNow(state);
  const band = byId("band"), link = byId("link-now");
  if (!band) return;
  if (band.className !== "band " + sort) band.className = "band " + sort;
  put(byId("band-word"), word);
  put(byId("band-text"), text);
  if (link.className !== "link-now " + linkSort) link.className = "link-now " + linkSort;
  put(link, linkWords);
  showUnseen(live);
}
function showUnseen(live) {
  byId("unseen").hidden = !live.unseen.length;
  const worst = live.unseen.some((one) => one.sort === "trouble") ? "trouble" : "caught";
  byId("unseen").className = "unseen " + worst;
  put(byId("unseen-words"), unseenWords(live.unseen));
}
/* Sounds what has just begun; a page that cannot reach the computer is one of those things. */
function soundNow(live) {
  if (live.ended) return;
  if (live.lost && !live.lostTold) call("lost", live.refused || "this page cannot reach the computer");
  live.lostTold = live.lost;
  if (live.lost) return;
  for (const one of begun(live.channels, live.known)) {
    if (one.sort !== "calm") live.rangFromS[one.number] = live.endS;
    call(one.sort, one.spoken);
    put(byId("begun"), one.spoken);
  }
}
function happened(live, sort, words, rang) {
  live.unseen = [...live.unseen, { sort, words }].slice(-MOST_UNSEEN);
  if (!rang) call(sort, words);
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
    // Its state rang at its beginning: it is not rung once more for being decided.
    const rang = one.sort === "trouble" && live.rangFromS[one.channel] >= one.start_s - SAME_S;
    if (!first) happened(live, one.sort, one.kind + " on " + one.label + " at " + clockWords(one.start_s), rang);
  }
  put(byId("live-none"), limitWords(live.channels, live.count));
  const fired = told.markers.filter((one) => one[3] && one[1] === "triggered");
  if (!first && fired.length > live.fired) happened(live, "caught", "the condition was met: " + fired[fired.length - 1][2], false);
  live.fired = fired.length;
  live.markers = [...told.markers, ...waitingOf(live.path).map((one) => [live.endS - (Date.now() - one.atMs) / 1000, one.name, "", false])];
}
async function send(path, body) {
  const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body), signal: AbortSignal.timeout(ANSWER_TIMEOUT_MS) });
  const said = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(said.error), { refused: true });
  return said;
}
/* A marker has the time of its press: it is ticked and drawn at once, and sent when there is a line. */
function mark(live, name, button) {
  if (!name.trim() || live.ended) return;
  const press = addPress(live.path, name.trim(), Date.now());
  live.lastMark = press.name;
  const nowS = live.elapsedS + (performance.now() - live.heardMs) / 1000;
  live.markers = [...live.markers, [nowS, press.name, "", false]];
  put(byId("live-said"), "Marker " + press.name + " at " + clockWords(nowS) + (live.lost ? ", waits for the line" : ""));
  if (navigator.vibrate) navigator.vibrate(30);
  if (button) {
    button.classList.add("ticked");
    setTimeout(() => button.classList.remove("ticked"), TICK_MS);
  }
  drawSoon(live);
  sendMarkers(live);
}
async function sendMarkers(live) {
  if (live.sending || !waitingOf(live.path).length) return;
  live.sending = true;
  for (const [press, said] of await sendPresses(live.path, send, Date.now)) {
    put(byId("live-said"), said instanceof Error ? "The marker " + press.name + " was not set: " + said.message :
      "Marker " + said.name + " at " + clockWords(said.time_s));
  }
  live.sending = false;
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
  put(button, "Stopping …");
  try { await send(shown.path + "/stop", {}); } catch (error) {
    put(button, "Stop");
    put(byId("live-said"), error.refused ? error.message : NOT_STOPPED);
  }
}
function end(live, words, cause) {
  if (cause && Object.keys(live.known).length) call("doubt", words); // it ended while this page looked on
  Object.assign(live, { ended: words, cause, lost: false });
  keepScreen(false);
  put(byId("stop"), "Stopped");
  live.node.classList.add("ended");
  for (const button of document.querySelectorAll("#live [data-mark], #mark-typed, #stop")) button.disabled = true;
}

/* ---- asking ---- */
async function ask(live) {
  const url = live.path + "?epoch=" + live.epoch + "&after=" + live.sequence;
  const answer = await fetch(url, { signal: AbortSignal.timeout(ANSWER_TIMEOUT_MS), cache: "no-store" });
  return { status: answer.status, told: await answer.json().catch(() => ({})) };
}
function show(live, { status, told }) {
  if (status === 404) return end(live, "Ended; no file is left", told.error);
  if (status === 403 || status === 421) return window.location.reload(); // not paired any more: the page says so
  if (status !== 200) return refuse(live, told.error || "The computer could not answer (" + status + ")");
  live.heardMs = performance.now();
  live.elapsedS = told.elapsed_s;
  Object.assign(live, { lost: false, refused: "" });
  sendMarkers(live);
  Object.assign(live, { channels: told.channels, waitsFor: told.waits_for });
  if (told.reset) { Object.assign(live, { events: [], count: 0 }); byId("live-events").replaceChildren(); }
  live.points = withNews(live.points, told, WINDOW_S);
  live.endS = endS(live.points, told);
  takeEvents(live, told, !live.epoch);
  live.epoch = told.epoch;
  live.sequence = told.sequence;
  if (told.state !== "growing") end(live, ENDED[told.state], told.cause || CAUSES[told.state]);
  put(byId("live-state"), (live.ended ? "ended" : live.waitsFor ? "armed" : "recording") + " · " + clockWords(told.elapsed_s));
  showReadings(live, colourOf);
  showState(live);
  byId("live-take").hidden = !live.channels.some((one) => one.count); // without readings there is nothing to take away
  showUnread(live.channels.map((one) => one.quantity));
  drawSoon(live);
}
/* An answer that says why there is none: the file is damaged, or cannot be read just now. */
function refuse(live, words) {
  Object.assign(live, { lost: true, refused: words });
  showState(live);
}
function showState(live) {
  showAges(live, stateOf(live));
  soundNow(live);
  showNow(live);
}
async function follow(live) {
  while (shown === live && !live.ended) {
    let news = null;
    try { news = await ask(live); } catch (_) { Object.assign(live, { lost: true, refused: "" }); }
    if (shown !== live) return;
    if (news) show(live, news); else showState(live);
    const pause = document.hidden ? PAUSE_HIDDEN_MS : news ? PAUSE_MS : PAUSE_LOST_MS;
    await new Promise((go) => setTimeout(go, pause));
  }
  if (shown !== live) return;
  showState(live);
  byId("readouts").querySelector(":scope > .skeleton")?.remove();
}
function open() {
  const node = byId("live");
  if (!node) { shown = null; return; }
  if (shown && shown.node === node) return;
  shown = { node, path: "/live/" + encodeURIComponent(node.dataset.name), epoch: "", sequence: 0, channels: [], points: {},
    events: [], markers: [], cards: {}, count: 0, fired: 0, heardMs: performance.now(), lost: false, refused: "", ended: "", cause: "",
    unseen: [], known: {}, rangFromS: {}, lostTold: false, elapsedS: 0, lastMark: "mark", sending: false, endS: 0, waitsFor: "", drawn: "", drawnMs: 0, drawDue: false, updating: false };
  showAlerts();
  follow(shown);
}
setInterval(() => {
  open();
  if (shown && !shown.ended) { showAges(shown, stateOf(shown)); showNow(shown); }
  keepScreen(!!shown && !shown.ended && !document.hidden);
  if (shown && shown.ended && !shown.drawn) draw(shown); // it had ended before the plots were loaded
}, LOOK_EVERY_MS);

/* ---- presses ---- */
document.addEventListener("click", ({ target }) => {
  const button = target.closest("#live button");
  if (!button || !shown) return;
  if (button.dataset.alert) return switchAlert(button.dataset.alert);
  if (button.id === "unseen-seen") { shown.unseen = []; showUnseen(shown); }
  else if (button.id === "stop") stop();
  else if (button.id === "mark-typed") markTyped(button);
  else if (button.dataset.mark) mark(shown, button.dataset.mark, button);
  allowAlerts();
}, true);
function markTyped(button) {
  mark(shown, byId("mark-text").value, button);
  window.dash_clientside.set_props("mark-text", { value: "" });
}
/* Any other key sets the marker that was set last: a space bar, a clicker in the hand, a headset's button. */
const LEFT_ALONE = /^(Tab|Escape|Shift|Control|Alt|AltGraph|Meta|CapsLock|ContextMenu|F\d+|Arrow(Up|Down)|Home|End)$/;
document.addEventListener("keydown", (key) => {
  if (!shown || key.repeat) return;
  if (key.target.id === "mark-text" && key.key === "Enter") return markTyped(byId("mark-typed"));
  if (key.target.closest("input, textarea, select, button, a, summary, [role=combobox]")) return;
  if (LEFT_ALONE.test(key.key) || key.ctrlKey || key.altKey || key.metaKey) return;
  key.preventDefault();
  mark(shown, shown.lastMark, document.querySelector(`#live [data-mark="${shown.lastMark}"]`));
});
