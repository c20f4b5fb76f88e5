/* What the live page says: times, the age of readings, and the band while there is no alarm. Pure. */

export const SORT_WORDS = { trouble: "TROUBLE", caught: "CAUGHT", doubt: "CHECK THE METER", lost: "NO DATA", calm: "" };
const SHORTEST_SEEN_INTERVALS = 2; // a change has to last two readings to be seen for certain

export const agoWords = (s) => (s < 10 ? s.toFixed(1) + " s" : s < 120 ? Math.round(s) + " s" : Math.round(s / 60) + " min");
export const clockWords = (s) => Math.floor(s / 60) + ":" + (s % 60).toFixed(1).padStart(4, "0");

/* The age of a channel's newest reading, s; `heardS` ago the server told it. */
export const ageS = (channel, heardS) => (channel.age_s === null ? null : channel.age_s + heardS);
export const isFresh = (channel, heardS) =>
  channel.up && (channel.age_s === null || ageS(channel, heardS) <= channel.silent_after_s);

export function nameWords(channel) {
  return [channel.label, channel.point, channel.measured, channel.role].filter(Boolean).join(" · ");
}

export function linkWords(channel, heardS, { ended, lost }) {
  const s = ageS(channel, heardS), seen = s === null ? "no reading yet" : "read " + agoWords(s) + " ago";
  if (ended) return "ended · " + seen;
  if (lost) return "NOT KNOWN · " + seen;
  return (isFresh(channel, heardS) ? "link up" : "NO DATA, " + (channel.cause || "the meter is silent")) + " · " + seen;
}

/* The band: [sort, word, text]. `state` has channels, heardS, ended, lost, waitsFor and count (events so far). */
export function calmBand({ channels, heardS, ended, lost, waitsFor, count }) {
  if (ended) return ["calm", ended, ""];
  if (lost) return ["lost", "this page cannot reach the computer", "The recording goes on there."];
  const silent = channels.filter((one) => !isFresh(one, heardS));
  if (silent.length) {
    const named = silent.map((one) => one.label + " (" + (one.cause || "silent") + ")").join(", ");
    return ["lost", "nothing comes from " + named, "Not the circuit: the meter or its link."];
  }
  if (waitsFor) return ["calm", "Armed", waitsFor + ". Nothing is kept until then."];
  if (!channels.length) return ["calm", "Waiting for the first reading", ""];
  const slowestS = Math.max(...channels.map((one) => one.interval_s || 0));
  const shortest = (SHORTEST_SEEN_INTERVALS * slowestS).toFixed(1);
  const limit = slowestS ? " Events shorter than about " + shortest + " s may go unseen." : "";
  return ["calm", "Recording", (count ? "" : "Nothing found so far.") + limit];
}
