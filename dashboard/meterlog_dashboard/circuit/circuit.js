/* Circuit: a press on 'Take out' beside an entered reading. */
import { store } from "../frame/stores.js";

document.addEventListener("click", ({ target }) => {
  const button = target.closest("button[data-place]");
  if (!button) return;
  const { place, kind } = button.dataset;
  store("circuit-remove", { kind, place: Number(place), now: Date.now() });
});
