/* How the page calls a person: tone, speech, vibration, and a screen that stays on; each off by a switch that is remembered. */
import { byId, put } from "../frame/dom.js";
import { allowSound, beep, hasSound, silence } from "./sound.js";

const KEY = "meterlog-alert-"; // the sound's own key is older
const KEYS = { sound: "meterlog-sound", speech: KEY + "speech", vibration: KEY + "vibration", screen: KEY + "screen" };
const WORDS = { sound: "Sound", speech: "Speech", vibration: "Vibration", screen: "Screen stays on" };
const FIRST = { sound: "on", speech: "off", vibration: "on", screen: "on" }; // speech is for who asks for it
const SHAKES_MS = { trouble: [400, 100, 400], doubt: [200], lost: [200, 100, 200], caught: [80, 60, 80], calm: [40] };
const there = { sound: () => "AudioContext" in window, speech: () => "speechSynthesis" in window,
  vibration: () => "vibrate" in navigator, screen: () => "wakeLock" in navigator };
let lock = null;

function wanted(key) {
  try { return (localStorage.getItem(KEYS[key]) || FIRST[key]) !== "off"; } catch (_) { return FIRST[key] === "on"; }
}
function remember(key, on) {
  try { localStorage.setItem(KEYS[key], on ? "on" : "off"); } catch (_) { /* then it is not remembered */ }
}

/* Calls: `sort` has its tone and shake; `spoken` is said. */
export function call(sort, spoken) {
  if (wanted("sound")) beep(sort);
  if (wanted("vibration") && there.vibration()) navigator.vibrate(SHAKES_MS[sort] || []);
  if (wanted("speech") && there.speech()) {
    window.speechSynthesis.cancel(); // the newest is what is so
    window.speechSynthesis.speak(new SpeechSynthesisUtterance(spoken.toLowerCase()));
  }
}

export function showAlerts() {
  for (const key of Object.keys(WORDS)) {
    const button = byId("alert-" + key);
    if (!button) continue;
    button.hidden = !there[key]();
    const on = wanted(key) && (key !== "sound" || hasSound());
    put(button, WORDS[key] + ": " + (on ? "on" : "off"));
    button.setAttribute("aria-pressed", String(on));
  }
}

/* After a press by hand: a browser allows sound only then. */
export function allowAlerts() {
  if (wanted("sound")) allowSound();
  showAlerts();
}

/* Keeps the screen on while `live`, or lets it go. */
export async function keepScreen(live) {
  if (!there.screen()) return;
  if (!live || !wanted("screen")) { if (lock) lock.release(); lock = null; return; }
  if (lock && !lock.released) return;
  try { lock = await navigator.wakeLock.request("screen"); } catch (_) { lock = null; /* the battery is low, or the page is hidden */ }
}

export function switchAlert(key) {
  const on = key === "sound" ? !(wanted(key) && hasSound()) : !wanted(key);
  remember(key, on);
  if (key === "sound") { if (on) { allowSound(); beep("caught"); } else silence(); }
  if (key === "speech" && on) call("", "speech is on");
  showAlerts();
}
