/* The alarm's tones. A browser allows sound only after a press by hand: Start, or the first press on the live page. */
import { byId, put } from "../frame/dom.js";

const KEY = "meterlog-sound";
const TONES_HZ = { trouble: [880, 440, 880, 440], caught: [523, 659, 784], doubt: [330, 330], lost: [330, 330] };
const TONE_S = 0.18, VOLUME = 0.25, SILENT = 0.001; // guesses, by ear
let audio = null;

export function beep(sort) {
  if (!audio || !TONES_HZ[sort]) return;
  TONES_HZ[sort].forEach((pitch, place) => {
    const tone = audio.createOscillator(), volume = audio.createGain(), at = audio.currentTime + TONE_S * place;
    tone.frequency.value = pitch;
    tone.type = "square";
    volume.gain.setValueAtTime(VOLUME, at);
    volume.gain.exponentialRampToValueAtTime(SILENT, at + TONE_S - 0.01);
    tone.connect(volume).connect(audio.destination);
    tone.start(at);
    tone.stop(at + TONE_S);
  });
}

export function showSound() {
  const button = byId("sound");
  if (!button) return;
  put(button, audio ? "Sound: on" : "Sound: off");
  button.setAttribute("aria-pressed", String(!!audio));
}

export function switchSound() {
  if (audio) { audio.close(); audio = null; } else { audio = new AudioContext(); beep("caught"); }
  try { localStorage.setItem(KEY, audio ? "on" : "off"); } catch (_) { /* then it is not remembered */ }
  showSound();
}

/* On, unless it was switched off in this browser. */
export function allowSound() {
  let wanted = "on";
  try { wanted = localStorage.getItem(KEY); } catch (_) { /* nothing is remembered */ }
  if (!audio && wanted !== "off") audio = new AudioContext();
  showSound();
}
