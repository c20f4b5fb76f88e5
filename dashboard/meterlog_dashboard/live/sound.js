/* The tones. A browser allows sound only after a press by hand: Start, or the first press on the page. */

const TONES_HZ = { trouble: [880, 440, 880, 440], caught: [523, 659, 784], doubt: [330, 330], lost: [440, 330, 220], calm: [660] };
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

export const hasSound = () => !!audio;
export function silence() { if (audio) audio.close(); audio = null; }
export function allowSound() { if (!audio) audio = new AudioContext(); }
