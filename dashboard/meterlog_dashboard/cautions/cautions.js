/* The cautions: shown until they were read, once for each quantity and browser. */
import { byId } from "../frame/dom.js";

const KEY = "meterlog-cautions-read";
let asked = []; // the quantities that the open page measures

export function readQuantities() {
  try { return JSON.parse(localStorage.getItem(KEY)) || []; } catch (_) { return []; }
}

/* Shows the cautions of these quantities that were not read yet; returns those quantities. */
export function showUnread(quantities) {
  const panel = byId("cautions"), unread = quantities.filter((one) => !readQuantities().includes(one));
  asked = quantities;
  if (!panel) return [];
  panel.hidden = !unread.length;
  for (const one of panel.querySelectorAll("[data-quantities]"))
    one.hidden = !one.dataset.quantities.split(" ").some((quantity) => unread.includes(quantity));
  return unread;
}

document.addEventListener("click", ({ target }) => {
  if (!target.closest("#cautions-read")) return;
  localStorage.setItem(KEY, JSON.stringify([...new Set([...readQuantities(), ...asked])]));
  showUnread(asked);
  const next = byId("start") || byId("stop") || document.querySelector("[data-do=measure]");
  if (next) next.focus();
}, true);
