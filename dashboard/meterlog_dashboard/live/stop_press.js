/* Stop needs two presses, so that no accidental touch ends a recording. Pure. */

const TREMBLE_MS = 400; // a second press this soon is the same one: a thumb that trembles; a guess
export const ASK_AGAIN_MS = 6000; // a second press later than this begins anew; a guess

/* What a press means, so long after the one before it: "ignore", "ask" for another one, or "stop". */
export function stopPress(sinceMs) {
  if (sinceMs < TREMBLE_MS) return "ignore";
  return sinceMs > ASK_AGAIN_MS ? "ask" : "stop";
}
