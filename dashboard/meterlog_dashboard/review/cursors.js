/* Two measuring cursors over the curves: placed, dragged, and moved by keys. What they measure the server says. */
import { area } from "./gestures.js";

const TELL_AFTER_MS = 120, FINE = 0.002, COARSE = 0.05; // of the stretch that is shown, a press of an arrow
const nodes = () => ["cursor-a", "cursor-b"].map((id) => document.getElementById(id));
let due = 0, held = -1;

/* Puts them where they belong over the plot; those outside of the stretch are hidden. `at`: [a, b] in s, or null. */
export function place(at, span) {
  const box = area(), frame = document.getElementById("detail-frame");
  if (!box || !frame || !nodes()[0]) return;
  const own = frame.getBoundingClientRect();
  nodes().forEach((node, which) => {
    const share = at ? (at[which] - span[0]) / (span[1] - span[0]) : -1;
    node.hidden = share < 0 || share > 1;
    if (node.hidden) return;
    Object.assign(node.style, { left: box.left - own.left + share * box.width + "px", top: box.top - own.top + "px", height: box.height + "px" });
    node.setAttribute("aria-valuemin", span[0].toFixed(2));
    node.setAttribute("aria-valuemax", span[1].toFixed(2));
    node.setAttribute("aria-valuenow", at[which].toFixed(3));
    node.setAttribute("aria-valuetext", at[which].toFixed(2) + " s from the start");
  });
}
/* Where they stand when they are called: a third and two thirds of what is shown. */
export const called = ([start, end]) => [start + (end - start) / 3, end - (end - start) / 3];

/* `page` has cursors(), span(), putCursors(at). */
export function listen(page) {
  const put = (which, to) => {
    const [start, end] = page.span(), at = [...page.cursors()];
    at[which] = Math.min(Math.max(to, start), end);
    place(at, [start, end]);
    page.hold(at);
    clearTimeout(due);
    due = setTimeout(() => page.putCursors(at), TELL_AFTER_MS);
  };
  document.addEventListener("pointerdown", (event) => {
    const hit = event.target.closest(".cursor");
    held = hit ? nodes().indexOf(hit) : -1;
    if (!hit) return;
    event.preventDefault();
    event.stopPropagation();
    nodes()[held].focus();
  }, true);
  document.addEventListener("pointermove", (event) => {
    const box = held >= 0 && area();
    if (!box) return;
    const [start, end] = page.span();
    put(held, start + ((event.clientX - box.left) / box.width) * (end - start));
  }, true);
  for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => { held = -1; }, true);
  document.addEventListener("keydown", (key) => {
    const which = nodes().indexOf(key.target), sign = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[key.key];
    if (which < 0 || !nodes()[0] || !sign || !page.cursors()) return;
    key.preventDefault();
    key.stopPropagation();
    const [start, end] = page.span();
    put(which, page.cursors()[which] + sign * (key.shiftKey ? COARSE : FINE) * (end - start));
  }, true);
}
