/* The curves under the hand: drag moves, wheel and two fingers zoom where they are, double click shows all, Shift and
   drag shows a stretch. The plot follows at once; the new stretch is told when the hand rests. */
import * as stretch from "./stretch.js";

const RESTS_MS = 120, STILL_PX = 4, TWICE_MS = 400, WHEEL_STEP = 0.0015; // a mouse wheel's click is 100: an eighth closer
const touches = new Map(); // pointer: x, px
const NEVER = { at: -Infinity, x: 0 };
let held = null, rest = 0, last = NEVER;

const plot = () => document.querySelector("#detail .js-plotly-plot");
/* Left edge and width of the curves on the screen, px; null before they are drawn. */
export function area() {
  const graph = plot(), size = graph && graph._fullLayout && graph._fullLayout._size;
  if (!size) return null;
  const box = graph.getBoundingClientRect();
  return { left: box.left + size.l, top: box.top + size.t, width: size.w, height: size.h };
}
const inside = ({ clientX, clientY }, { left, top, width, height }) =>
  clientX >= left && clientX <= left + width && clientY >= top && clientY <= top + height;

/* `page` has whole(), span() as shown by now, preview(span), settle(span), all(). */
export function listen(page) {
  const move = (next) => {
    page.preview(next);
    clearTimeout(rest);
    rest = setTimeout(() => page.settle(next), RESTS_MS);
  };
  const down = (event) => {
    const box = area();
    if (!box || event.button || !event.target.closest("#detail") || !inside(event, box)) return;
    touches.set(event.pointerId, event.clientX);
    held = { box, span: page.span(), from: [...touches.values()], moved: false, drawn: event.shiftKey && touches.size === 1 };
  };
  const moved = (event) => {
    if (!held || !touches.has(event.pointerId)) return;
    touches.set(event.pointerId, event.clientX);
    const xs = [...touches.values()];
    held.moved = held.moved || Math.abs(xs[0] - held.from[0]) > STILL_PX || xs.length > 1;
    if (!held.moved) return;
    if (held.drawn) return drawFrame(held, xs[0]);
    const shares = (all) => all.map((x) => (x - held.box.left) / held.box.width);
    move(stretch.grasped(page.whole(), held.span, shares(held.from), shares(xs)));
  };
  const up = (event) => {
    if (!touches.delete(event.pointerId) || !held) return;
    if (held.drawn && held.moved && event.type === "pointerup") {
      const at = (x) => held.span[0] + ((x - held.box.left) / held.box.width) * (held.span[1] - held.span[0]);
      page.settle(stretch.clipped(page.whole(), ...stretch.dragged([at(held.from[0]), at(event.clientX)])), true);
    }
    if (!held.moved && event.type === "pointerup") pressedTwice(event, page);
    document.getElementById("drawn-frame")?.remove();
    held = touches.size ? { ...held, span: page.span(), from: [...touches.values()] } : null;
  };
  document.addEventListener("pointerdown", down, true);
  document.addEventListener("pointermove", moved, true);
  document.addEventListener("pointerup", up, true);
  document.addEventListener("pointercancel", up, true);
  document.addEventListener("wheel", (event) => {
    const box = area();
    if (!box || !event.target.closest("#detail") || !inside(event, box)) return;
    event.preventDefault();
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY), at = (event.clientX - box.left) / box.width;
    if (sideways) move(stretch.shifted(page.whole(), page.span(), event.deltaX / box.width));
    else move(stretch.zoomed(page.whole(), page.span(), at, Math.exp(event.deltaY * WHEEL_STEP)));
  }, { passive: false });
}
/* The drawing library covers the page at each press: the browser's own double click never reaches the plot. */
function pressedTwice({ timeStamp, clientX }, page) {
  const twice = timeStamp - last.at < TWICE_MS && Math.abs(clientX - last.x) < 5 * STILL_PX;
  last = twice ? NEVER : { at: timeStamp, x: clientX };
  if (twice) page.all();
}
function drawFrame({ box, from }, x) {
  const frame = document.getElementById("drawn-frame") || document.body.appendChild(document.createElement("div"));
  frame.id = "drawn-frame";
  const [left, right] = [from[0], x].sort((a, b) => a - b);
  Object.assign(frame.style, { left: left + "px", width: right - left + "px", top: box.top + "px", height: box.height + "px" });
}
