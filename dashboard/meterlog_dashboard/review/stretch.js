/* Which stretch of time Review shows next, after what a person pressed, chose or dragged. All in s from the session's
   start; a stretch is [start, end], `whole` the stretch with all of the session and a little room at its ends. */

const SHORTEST_S = 0.02; // the narrowest stretch: a few readings of the fastest meter; a guess
const AROUND_S = 10; // on each side of a place that was chosen in a table; a guess
const EVENT_LEAST_ROOM_S = 3; // on each side of an event; a guess
const EVENT_MOST_ROOMS = 6; // a stretch of at most so many rooms shows its event well
const NEARLY_ALL = 0.9; // of the session: that much counts as all of it
const STRIP_SHARE = 0.1; // of the session, after a press in the strip while all of it was shown
/* What each button adds to start and end, in lengths of the stretch. */
const MOVES = { earlier: [-0.5, -0.5], later: [0.5, 0.5], closer: [0.25, -0.25], wider: [-0.5, 0.5] };
const length = (span) => span[1] - span[0];
/* Moved and cut so that it lies within the session. */
export function clipped(whole, start, end) {
  const long = Math.min(Math.max(end - start, SHORTEST_S), length(whole));
  const from = Math.min(Math.max(start, whole[0]), whole[1] - long);
  return [from, from + long];
}
export const around = (whole, at) => clipped(whole, at - AROUND_S, at + AROUND_S);
export function moved(whole, old, move) {
  if (move === "all") return whole;
  const [first, last] = MOVES[move];
  return clipped(whole, old[0] + first * length(old), old[1] + last * length(old));
}
/* An event with its surroundings; the old stretch where that shows it well already. */
export function onEvent(whole, old, [start, end]) {
  const room = Math.max(EVENT_LEAST_ROOM_S, end - start);
  if (old[0] <= start && end <= old[1] && length(old) <= EVENT_MOST_ROOMS * room) return old;
  return clipped(whole, start - room, end + room);
}
/* Along by a share of what is shown. */
export const shifted = (whole, old, share) => clipped(whole, old[0] + share * length(old), old[1] + share * length(old));
/* So many times as long, the place at a share of it staying where it is. */
export function zoomed(whole, old, share, times) {
  const long = Math.min(Math.max(length(old) * times, SHORTEST_S), length(whole)), at = old[0] + share * length(old);
  return clipped(whole, at - share * long, at + (1 - share) * long);
}
/* What is shown once the fingers that grasped the curves at some shares of the width have come to others. */
export function grasped(whole, old, from, to) {
  if (to.length < 2 || from.length < 2) return shifted(whole, old, from[0] - to[0]);
  const wide = ([one, other]) => Math.max(Math.abs(other - one), 0.01), middle = ([one, other]) => (one + other) / 2;
  const long = Math.min(Math.max((length(old) * wide(from)) / wide(to), SHORTEST_S), length(whole));
  const at = old[0] + middle(from) * length(old);
  return clipped(whole, at - middle(to) * long, at + (1 - middle(to)) * long);
}
/* A place of the strip: the stretch goes there; a tenth of all where all was shown. */
export function pressed(whole, old, at) {
  const half = (length(old) > NEARLY_ALL * length(whole) ? STRIP_SHARE * length(whole) : length(old)) / 2;
  return clipped(whole, at - half, at + half);
}
/* After the session grew: along with its end where that was in view, else as before. */
export function followed(old, oldDuration, duration) {
  const grown = duration - oldDuration;
  if (old[1] < oldDuration) return old;
  return [old[0] <= 0 ? old[0] : old[0] + grown, old[1] + grown];
}
/* Either way round, and wide enough to show something. */
export function dragged(ends) {
  const start = Math.min(...ends);
  return [start, Math.max(...ends, start + SHORTEST_S)];
}
