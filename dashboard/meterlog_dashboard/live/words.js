/* What the live page says: times, and the three places of what is so now, of the link and of what was not seen. Pure.
   The words of a channel's state and link are the server's, the same as the terminal's. */

export const SORT_WORDS = { trouble: "TROUBLE", caught: "CAUGHT", doubt: "CHECK THE METER", lost: "NO DATA", calm: "" };
const SHORTEST_SEEN_INTERVALS = 2; // a change has to last two readings to be seen for certain
const WORST = ["trouble", "doubt", "lost", "calm"]; // what a person is to see first

export const agoWords = (s) => (s < 10 ? s.toFixed(1) + " s" : s < 120 ? Math.round(s) + " s" : Math.round(s / 60) + " min");
export const clockWords = (s) => Math.floor(s / 60) + ":" + (s % 60).toFixed(1).padStart(4, "0");

/* The age of a channel's newest reading, s; `heardS` ago the server told it. */
export const ageS = (channel, heardS) => (channel.age_s === null ? null : channel.age_s + heardS);
export const isFresh = (channel, heardS) =>
  channel.up && (channel.age_s === null || ageS(channel, heardS) <= channel.silent_after_s);

export function nameWords(channel) {
  return [channel.label, channel.point, channel.measured, channel.role].filter(Boolean).join(" · ");
}
const MOST_NAMED = 3; // more than these are counted: a line is read in two seconds
const few = (words) => (words.length > MOST_NAMED ? [...words.slice(0, MOST_NAMED), "and " + (words.length - MOST_NAMED) + " more"] : words);
const presentWords = (present) => [present.word, present.text].filter(Boolean).join(present.sort === "calm" ? " " : ", ");

/* Below a reading: how old it is, and how its link is; `lost` where the page has no answer that it can use. */
export function linkWords(channel, heardS, { ended, lost }) {
  const s = ageS(channel, heardS), seen = s === null ? "no reading yet" : "read " + agoWords(s) + " ago";
  if (ended) return "ended · " + seen;
  if (lost) return "NOT KNOWN · " + seen;
  return presentWords(channel.link) + " · " + seen;
}

/* The link's own place: [sort, words]. `state` has channels, heardS, ended, lost, and what the computer refused to answer with. */
export function linkNow({ channels, heardS, ended, lost, refused }) {
  if (ended) return ["calm", ""];
  if (refused) return ["lost", refused + ". What was recorded stays as it is on the disk; this page asks again by itself."];
  if (lost) return ["lost", "This page cannot reach the computer for " + Math.floor(heardS) + " s. The recording goes on there."];
  const dead = channels.filter((one) => one.link.sort === "lost");
  if (dead.length) return ["lost", few(dead.map((one) => one.label + ": " + presentWords(one.link))).join("; ")];
  return ["calm", channels.length ? "link up" : ""];
}

/* The band, what is so now: [sort, word, text]. `state` has waitsFor and, of an end that was not asked for, cause beside those. */
export function bandNow({ channels, ended, cause, lost, waitsFor }) {
  if (ended) return cause ? ["doubt", ended, cause] : ["calm", ended, ""];
  const was = (one) => one.label + (one.now.sort === "lost" ? ": " + one.now.text : " was last " + presentWords(one.now));
  if (lost) return ["lost", "not known", few(channels.map(was)).join("; ")];
  if (!channels.length) return ["calm", "Waiting for the first reading", ""];
  const worst = [...channels].sort((a, b) => WORST.indexOf(a.now.sort) - WORST.indexOf(b.now.sort));
  const [first, ...others] = worst, named = (one) => one.label + ": " + presentWords(one.now);
  if (waitsFor && first.now.sort === "calm") return ["calm", "Armed", waitsFor + ". Nothing is kept until then. " + few(worst.map(named)).join(" · ")];
  const bad = others.filter((one) => one.now.sort !== "calm");
  return [first.now.sort, first.label + ": " + first.now.word, [first.now.text, ...few((bad.length ? bad : first.now.sort === "calm" ? others : []).map(named))].filter(Boolean).join(" · ")];
}

/* What has not been seen yet: how much it is, and the newest of it; empty for nothing. */
export function unseenWords(unseen) {
  if (!unseen.length) return "";
  const newest = unseen[unseen.length - 1];
  return unseen.length + " not seen: " + (unseen.length > 1 ? "last " : "") + newest.words;
}

/* Under the list of events: what may have happened unseen. */
export function limitWords(channels, count) {
  const slowestS = Math.max(0, ...channels.map((one) => one.interval_s || 0));
  const limit = slowestS ? "Events shorter than about " + (SHORTEST_SEEN_INTERVALS * slowestS).toFixed(1) + " s may go unseen." : "";
  return [count ? "" : "Nothing found so far.", limit].filter(Boolean).join(" ");
}

/* The channels whose state or lost link has begun since `known` ({number: since}), with what is to be said of it. */
export function begun(channels, known) {
  const news = [];
  for (const one of channels) {
    const present = one.link.sort === "lost" ? one.link : one.now;
    if (known[one.number] !== present.since && (known[one.number] !== undefined || present.sort !== "calm"))
      news.push({ number: one.number, sort: present.sort, spoken: one.label + " " + present.word });
    known[one.number] = present.since;
  }
  return news;
}
