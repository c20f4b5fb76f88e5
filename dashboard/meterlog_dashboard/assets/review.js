/* Review: which stretch is shown and which event is chosen are decided here, at once, so that no press is lost while an
   answer of the server is on its way. Presses on rows of tables become values that the page's callbacks listen to. */
(function () {
  "use strict";
  const moves = window.meterlogMoves;
  const told = (id) => window.dash_component_api.getLayout(id).props.data;
  const set = (id, value) => window.dash_clientside.set_props(id, { data: value });
  /* A place on a plot's axis, as local time in words or ms, in s from the session's start. */
  function seconds(shown) {
    if (typeof shown === "number") return (shown - told("review-length").start_ms) / 1000;
    const [year, month, day, hour = 0, minute = 0, second = 0] = shown.split(/[-T: ]/).map(Number);
    return (Date.UTC(year, month - 1, day, hour, minute) - told("review-length").start_ms) / 1000 + second;
  }
  /* `byHand`: the plot is there already; else it has to be moved, which its own zoom would otherwise win over. */
  function go(next, byHand = false) {
    const old = told("review-span");
    const moved = !byHand && (next[0] !== old.span[0] || next[1] !== old.span[1]);
    set("review-span", { span: next, moves: old.moves + moved, duration_s: told("review-length").duration_s });
  }
  const shown = () => [told("review-length").whole, told("review-span").span];
  function choose(number) {
    const times = told("event-times");
    if (!times.length || number === null || number === undefined) return;
    const chosen = Math.min(Math.max(number, 1), times.length);
    if (told("event-page")) set("event-page", null);
    set("review-chosen", chosen);
    go(moves.onEvent(...shown(), times[chosen - 1]));
  }
  /* A plot reports every change of its own size too: only the ends of what a person dragged count. */
  const ends = (news, key, first, last) => {
    const range = (news && (news[key] || [news[first], news[last]])) || [];
    return range[0] !== undefined && range[1] !== undefined ? moves.dragged(range.map(seconds)) : null;
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    meterlog: {
      dragged: (news) => {
        const to = ends(news, "xaxis.range", "xaxis.range[0]", "xaxis.range[1]");
        if (to) go(to, true);
      },
      stripDragged: (news) => {
        const to = ends(news, "", "shapes[0].x0", "shapes[0].x1");
        if (to) go(moves.clipped(told("review-length").whole, ...to));
      },
      stripPressed: (press) => { if (press) go(moves.pressed(...shown(), seconds(press.points[0].x))); },
      eventPressed: (press) => { if (press) choose(press.points[0].customdata); },
      grown: (length) => {
        const old = told("review-span");
        go(moves.followed(old.span, old.duration_s, length.duration_s));
      },
    },
  });
  function press(button) {
    const said = button.dataset, now = Date.now(), chosen = told("review-chosen");
    if (button.id.startsWith("move-")) go(moves.moved(...shown(), button.id.slice("move-".length)));
    if (button.id === "event-next") choose((chosen || 0) + 1);
    if (button.id === "event-previous") choose((chosen || told("event-times").length + 1) - 1);
    if (said.event) choose(Number(said.event));
    if (said.page) set("event-page", { first: Number(said.page), now });
    if (said.at) go(moves.around(told("review-length").whole, Number(said.at)));
    if (said.marker) {
      set("marker-row", { number: Number(said.marker), now });
      const field = document.getElementById("marker-name");
      if (field) field.focus();
    }
  }
  document.addEventListener("click", ({ target }) => {
    const button = target.closest("button");
    if (!button) return;
    if (button.closest(".review")) press(button);
    const { place, kind } = button.dataset;
    if (place) set("circuit-remove", { kind, place: Number(place), now: Date.now() });
  });
  document.addEventListener("keydown", (key) => {
    if (key.ctrlKey || key.altKey || key.metaKey || /^(INPUT|TEXTAREA|SELECT)$/.test(key.target.tagName)) return;
    const button = document.getElementById({ n: "event-next", p: "event-previous" }[key.key]);
    if (button) button.click();
  });
})();
