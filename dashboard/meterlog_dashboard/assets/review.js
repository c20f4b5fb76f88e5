/* Presses on rows of tables, and keys, become values that the page's callbacks listen to. */
(function () {
  "use strict";
  const set = (id, value) => window.dash_clientside.set_props(id, { data: value });
  document.addEventListener("click", (press) => {
    const button = press.target.closest("[data-event],[data-page],[data-at],[data-marker]");
    if (!button) return;
    const told = button.dataset, now = Date.now();
    if (told.event) set("event-row", { number: Number(told.event), now });
    if (told.page) set("event-page", { first: Number(told.page), now });
    if (told.at) set("go-to", { at: Number(told.at), now });
    if (told.marker) {
      set("marker-row", { number: Number(told.marker), now });
      const field = document.getElementById("marker-name");
      if (field) field.focus();
    }
  });
  document.addEventListener("keydown", (key) => {
    if (key.ctrlKey || key.altKey || key.metaKey || /^(INPUT|TEXTAREA|SELECT)$/.test(key.target.tagName)) return;
    const button = document.getElementById({ n: "event-next", p: "event-previous" }[key.key]);
    if (button) button.click();
  });
})();
