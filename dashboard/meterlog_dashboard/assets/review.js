/* Presses on rows of tables, and keys, become values that the page's callbacks listen to. */
(function () {
  "use strict";
  const set = (id, value) => window.dash_clientside.set_props(id, { data: value });
  /* A plot reports every change of its own size too: only what a person dragged goes to the server. */
  const ends = (news, key, first, last) => {
    const range = news && (news[key] || [news[first], news[last]]);
    return range && range[0] !== undefined && range[1] !== undefined ? { ends: range, now: Date.now() } : null;
  };
  const none = () => window.dash_clientside.no_update;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    meterlog: {
      dragged: (news) => ends(news, "xaxis.range", "xaxis.range[0]", "xaxis.range[1]") || none(),
      /* Decided here, so that no press is lost while an answer is on its way. */
      chosen: (row, _next, _previous, press, chosen, count) => {
        const by = window.dash_clientside.callback_context.triggered[0].prop_id;
        let number = by.startsWith("event-next") ? (chosen || 0) + 1 : (chosen || count + 1) - 1;
        if (by.startsWith("event-row")) number = row && row.number;
        if (by.startsWith("detail")) number = press && press.points[0].customdata;
        return count && number !== null && number !== undefined ? Math.min(Math.max(number, 1), count) : none();
      },
      stripDragged: (news, press) => {
        const by = window.dash_clientside.callback_context.triggered.map((one) => one.prop_id);
        if (by.includes("strip.clickData") && press) return { ends: [press.points[0].x], now: Date.now() };
        return ends(news, "", "shapes[0].x0", "shapes[0].x1") || none();
      },
    },
  });
  document.addEventListener("click", (press) => {
    const button = press.target.closest("[data-event],[data-page],[data-at],[data-marker],[data-place]");
    if (!button) return;
    const told = button.dataset, now = Date.now();
    if (told.event) set("event-row", { number: Number(told.event), now });
    if (told.page) set("event-page", { first: Number(told.page), now });
    if (told.at) set("go-to", { at: Number(told.at), now });
    if (told.place) set("circuit-remove", { kind: told.kind, place: Number(told.place), now });
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
