/* A job: sends what is pressed, follows the job's file whoever writes it, and shows what the meter shows meanwhile. */
import { readQuantities, showUnread } from "../cautions/cautions.js";
import { byId, put } from "../frame/dom.js";
import { store, stored } from "../frame/stores.js";
import { allowAlerts, call } from "../live/alerts.js";
import { agoWords, ageS, isFresh } from "../live/words.js";
import { chosenPhoto } from "./photo.js";
import { bodyOf, fieldsOf } from "./request.js";

const PAUSE_MEASURING_MS = 150, PAUSE_MS = 1000, PAUSE_HIDDEN_MS = 3000; // between an answer and the next question
const ANSWER_TIMEOUT_MS = 5000, SEND_TIMEOUT_MS = 15000, SHOW_AGAIN_MS = 3000, LOOK_EVERY_MS = 250;
const NO_ANSWER = "The computer does not answer. What was entered is kept there; this page goes on by itself.";
const NOT_KNOWN = "No answer came: look at 'What was done' before you press again.";
let shown = null; // the job that is open: its node, what goes on, when it was shown last

const textOf = (id) => (byId(id) ? byId(id).value : "");
const clear = (id) => window.dash_clientside.set_props(id, { value: "" });
const pathOf = (name) => "/job/" + encodeURIComponent(name);

async function send(path, body) {
  const sent = body instanceof FormData ? { body } : { headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
  const answer = await fetch(path, { method: "POST", ...sent, signal: AbortSignal.timeout(SEND_TIMEOUT_MS) });
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(told.error || "The computer refused it.");
  return told;
}
function say(words, wrong) {
  const node = byId("job-said");
  put(node, words);
  if (node) node.className = wrong ? "wrong" : "";
}

/* ---- what is so now ---- */
const quantity = () => { const card = byId("job-card"); return (card && card.dataset.quantity) || ""; };
function showMeter(job, told) {
  const live = byId("job-live"), one = told.channels[0];
  live.hidden = !told.measuring;
  byId("job-act").hidden = told.measuring;
  if (!told.measuring) return;
  const fresh = one && isFresh(one, 0), value = byId("job-value");
  put(value, one ? one.shown : "–");
  value.classList.toggle("old", !!one && !fresh);
  const silent = one && !fresh ? "Nothing comes from the meter (" + (one.cause || "silent for " + agoWords(ageS(one, 0))) + "). " : "";
  put(byId("job-value-said"), silent + (told.said || "Getting ready …"));
}
function showEnd(job, told) {
  if (told.measuring || !job.measuring) return;
  call(told.failed ? "doubt" : "caught", told.said);
  say(told.said, told.failed);
  window.scrollTo(0, 0);
}
function show(job, told) {
  showMeter(job, told);
  showEnd(job, told);
  job.measuring = told.measuring;
  if (told.version !== stored("job-shown") && performance.now() - job.askedMs > SHOW_AGAIN_MS) renew(job, told.version);
}
function renew(job, version) {
  byId("cautions").hidden = true; // they are asked for again at the next press
  job.askedMs = performance.now();
  store("job-changed", version + " " + job.askedMs);
}
function showLink(words) {
  const node = byId("job-link");
  if (!node) return;
  node.hidden = !words;
  put(node, words);
}
async function ask(job) {
  const answer = await fetch(pathOf(job.name), { signal: AbortSignal.timeout(ANSWER_TIMEOUT_MS), cache: "no-store" });
  if (answer.status === 403 || answer.status === 421) return window.location.reload(); // not paired: the page says so
  const told = await answer.json();
  if (!answer.ok) return showLink(told.error);
  showLink("");
  show(job, told);
}
async function follow(job) {
  while (shown === job) {
    try { await ask(job); } catch (_) { if (shown === job) showLink(NO_ANSWER); }
    const pause = document.hidden ? PAUSE_HIDDEN_MS : job.measuring ? PAUSE_MEASURING_MS : PAUSE_MS;
    await new Promise((go) => { job.wake = go; setTimeout(go, pause); });
  }
}
function openJob() { // asked at each press too: a job is open as soon as it can be seen
  const node = byId("job");
  if (!node) shown = null;
  else if (!shown || shown.node !== node) {
    shown = { node, name: node.dataset.name, measuring: false, askedMs: -SHOW_AGAIN_MS, wake: () => {} };
    follow(shown);
  }
  return shown;
}
setInterval(openJob, LOOK_EVERY_MS);

/* ---- presses ---- */
function unreadCautions() {
  if (!quantity() || !showUnread([quantity()]).length) return false;
  byId("cautions").scrollIntoView({ block: "center" });
  byId("cautions-read").focus();
  return true;
}
async function press(button) {
  const said = button.dataset, job = openJob();
  if (!job || (said.do === "measure" && unreadCautions())) return;
  const body = bodyOf(said, textOf, stored("job-shown"), readQuantities());
  button.disabled = true;
  say("", false);
  try {
    const told = await send(pathOf(job.name) + "/" + said.do, body);
    Object.values(fieldsOf(said)).filter((id) => !["job-vehicle", "job-complaint"].includes(id)).forEach(clear);
    if (said.do === "measure") job.measuring = true;
    else if (said.do !== "stop") { renew(job, told.version); window.scrollTo(0, 0); }
  } catch (error) {
    say(error instanceof TypeError || error.name === "TimeoutError" ? NOT_KNOWN : error.message, true);
  }
  button.disabled = false;
  job.wake();
}
async function photo(job) {
  try {
    const form = await chosenPhoto(textOf("job-caption"));
    if (!form) return;
    const told = await send(pathOf(job.name) + "/photo", form);
    clear("job-caption");
    say("The photo is kept with the job.", false);
    renew(job, told.version);
  } catch (error) { say(error instanceof TypeError ? NOT_KNOWN : error.message, true); }
}
function open(button) {
  const part = byId(button.dataset.opens), hidden = !part.hidden;
  for (const one of document.querySelectorAll("#job-act .opened")) one.hidden = true;
  for (const one of document.querySelectorAll("#job-act [data-opens]")) one.setAttribute("aria-expanded", "false");
  part.hidden = hidden;
  button.setAttribute("aria-expanded", String(!hidden));
  const field = part.querySelector("input, button");
  if (!hidden && field) field.focus();
}
async function begin(button) {
  const layout = (id) => window.dash_component_api.getLayout(id).props.value;
  const body = { complaint: textOf("new-complaint"), vehicle: textOf("new-vehicle"), meter: textOf("new-meter"),
    circuit: layout("new-circuit") || "", tool: (layout("new-tool") || [])[0] || "" };
  button.disabled = true;
  try {
    const told = await send("/job/", body);
    ["new-complaint", "new-vehicle"].forEach(clear);
    window.location.assign("/jobs/" + encodeURIComponent(told.name));
  } catch (error) {
    put(byId("new-said"), error instanceof TypeError ? "The computer does not answer: press again." : error.message);
    button.disabled = false;
  }
}
document.addEventListener("click", ({ target }) => {
  const button = target.closest("button");
  if (!button) return;
  if (button.id === "new-begin") begin(button);
  else if (button.id === "job-photo" && openJob()) photo(openJob());
  else if (button.dataset.complaint) window.dash_clientside.set_props("new-complaint", { value: button.dataset.complaint });
  else if (button.closest("#job") && button.dataset.opens) open(button);
  else if (button.closest("#job") && button.dataset.do) { allowAlerts(); press(button); }
});
document.addEventListener("keydown", (key) => {
  if (key.key !== "Enter" || !key.target.closest("#job input")) return;
  const button = document.querySelector(`#job [data-field="${key.target.id}"]`);
  if (button) button.click();
});
