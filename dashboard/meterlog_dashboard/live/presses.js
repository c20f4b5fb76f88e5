/* Markers that were pressed: each keeps the time of its press, waits while the line is gone, and is sent once. */

const KEY = "meterlog-presses";
const read = () => { try { return JSON.parse(sessionStorage.getItem(KEY)) || []; } catch (_) { return []; } };
const write = (waiting) => { try { sessionStorage.setItem(KEY, JSON.stringify(waiting)); } catch (_) { /* then a reload loses them */ } };

/* The presses of a session that were not sent yet, oldest first. */
export const waitingOf = (path) => read().filter((one) => one.path === path);

export function addPress(path, name, nowMs) {
  const press = { path, name, atMs: nowMs, id: nowMs + "-" + Math.random().toString(36).slice(2) };
  write([...read(), press]);
  return press;
}
const drop = (id) => write(read().filter((one) => one.id !== id));

/* Sends them with `send(path, body)`, one after the other; returns [press, answer or error] of each that got an answer.
   The clock is the computer's wall clock: the other one stands still while a phone sleeps. */
export async function sendPresses(path, send, now) {
  const answered = [];
  for (const one of waitingOf(path)) {
    try {
      const body = { name: one.name, id: one.id, ago_s: Math.max(0, now() - one.atMs) / 1000 };
      answered.push([one, await send(path + "/marker", body)]);
    } catch (error) {
      if (!error.refused) break; // no answer: the line is gone
      answered.push([one, error]);
    }
    drop(one.id);
  }
  return answered;
}
