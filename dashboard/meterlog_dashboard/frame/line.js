/* The line to the computer, for every view that has no word of its own for it: whoever waits for an answer is told when
   none comes, and what to do. A question is not asked again by itself: what it was to change might be changed twice. */
import { byId, make, put } from "./dom.js";

const ASKED = "/_dash-update-component", ASK_AGAIN_MS = 1500, ALIVE_TIMEOUT_MS = 3000;
const GONE = "The computer does not answer. What is recorded stays there, and what stands here is from before. " +
  "Is it on, is 'meterlog page' running there, is this device in its network? This page notices when it answers again.";
const BACK = "The computer answers again. What was asked meanwhile was not done: show this page anew, then go on.";
const REFUSED = "This device is not paired any more: pair it again with the code that the computer shows.";
const OWN_WORDS = "#live, #job"; // these follow the line by themselves
const ask = window.fetch;
let gone = false;

function place() {
  const found = byId("line");
  if (found) return found;
  const node = make("div", "line-said");
  node.id = "line";
  node.setAttribute("role", "alert");
  const again = make("button", "", "Show it anew");
  again.addEventListener("click", () => window.location.reload());
  node.append(make("p"), again);
  document.body.prepend(node);
  return node;
}
function say(words, mayReload) {
  const node = place();
  node.hidden = false;
  put(node.firstChild, words);
  node.lastChild.hidden = !mayReload;
}
/* Nothing to lose: what is shown has not come yet. */
const stillEmpty = () => !document.querySelector("#view > *") || !!document.querySelector("#view .skeleton");

async function watch() {
  for (;;) {
    await new Promise((go) => setTimeout(go, ASK_AGAIN_MS));
    try {
      await ask(window.location.href, { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(ALIVE_TIMEOUT_MS) });
      break;
    } catch (_) { /* not yet */ }
  }
  gone = false;
  if (stillEmpty()) window.location.reload();
  else say(BACK, true);
}
function lost() {
  if (document.querySelector(OWN_WORDS)) return;
  say(GONE, false);
  if (!gone) watch();
  gone = true;
}
window.fetch = async (...asked) => {
  const ours = String(asked[0].url || asked[0]).includes(ASKED);
  try {
    const answer = await ask(...asked);
    if (ours && (answer.status === 403 || answer.status === 421)) say(REFUSED, true);
    return answer;
  } catch (error) {
    if (ours && error.name !== "AbortError") lost();
    throw error;
  }
};
