/* The live page: asks what is new, one question after the other, and shows it. Also: cautions, meters found. */
(function () {
  "use strict";
  const PAUSE_MS = 100, PATIENCE_MS = 3000, WINDOW_S = window.innerWidth < 700 ? 30 : 60, MOST_POINTS = 1500, MOST_DOTS = 120, DRAW_MS = 250, MOST_EVENTS = 50;
  const MOST_LISTED = 8, STOP_AGAIN_MS = [400, 6000];
  const SORTS = { trouble: "TROUBLE", caught: "CAUGHT", doubt: "CHECK THE METER", lost: "NO DATA", calm: "" };
  const $ = (id) => document.getElementById(id);
  const colourOf = (place) => { const all = $("live").dataset.colours.split(" "); return all[place % all.length]; };
  const put = (node, text) => { if (node && node.textContent !== text) node.textContent = text; };
  const make = (tag, name, text) => {
    const node = document.createElement(tag);
    if (name) node.className = name;
    if (text) node.textContent = text;
    return node;
  };
  const ago = (s) => (s < 10 ? s.toFixed(1) + " s" : s < 120 ? Math.round(s) + " s" : Math.round(s / 60) + " min");
  const clock = (s) => Math.floor(s / 60) + ":" + (s % 60).toFixed(1).padStart(4, "0");
  let shown = null; // the state of the live page that is open

  /* ---- sound: a browser lets it on only by a person's hand, so the press on Start or the first one here does it ---- */
  const SOUND_KEY = "meterlog-sound";
  let audio = null;
  const TONES = { trouble: [880, 440, 880, 440], caught: [523, 659, 784], doubt: [330, 330], lost: [330, 330] };
  function beep(sort) {
    if (!audio || !TONES[sort]) return;
    TONES[sort].forEach((pitch, place) => {
      const tone = audio.createOscillator(), volume = audio.createGain(), at = audio.currentTime + 0.18 * place;
      tone.frequency.value = pitch;
      tone.type = "square";
      volume.gain.setValueAtTime(0.25, at);
      volume.gain.exponentialRampToValueAtTime(0.001, at + 0.17);
      tone.connect(volume).connect(audio.destination);
      tone.start(at);
      tone.stop(at + 0.18);
    });
  }
  function showSound() {
    const button = $("sound");
    if (!button) return;
    put(button, audio ? "Sound: on" : "Sound: off");
    button.setAttribute("aria-pressed", String(!!audio));
  }
  function switchSound() {
    if (audio) { audio.close(); audio = null; } else { audio = new AudioContext(); beep("caught"); }
    try { localStorage.setItem(SOUND_KEY, audio ? "on" : "off"); } catch (_) { /* then it is not remembered */ }
    showSound();
  }
  function letSound() {
    let wanted = "on";
    try { wanted = localStorage.getItem(SOUND_KEY); } catch (_) { /* nothing is remembered */ }
    if (!audio && wanted !== "off") audio = new AudioContext();
    showSound();
  }

  /* ---- the band ---- */
  function band(sort, word, text, keep) {
    const node = $("band");
    if (!node) return;
    const name = "band " + sort;
    if (node.className !== name) node.className = name;
    put($("band-word"), [SORTS[sort], word].filter(Boolean).join(": "));
    put($("band-text"), text);
    $("band-seen").hidden = !keep;
  }
  function calm(live) {
    if (live.alarm) return;
    const silent = live.channels.filter((one) => !fresh(live, one));
    if (live.ended) return band("calm", live.ended, "", false);
    if (live.lostSince) return band("lost", "this page has no line to the computer", "The recording goes on there.", false);
    if (silent.length) {
      const named = silent.map((one) => one.label + " (" + (one.cause || "silent") + ")").join(", ");
      return band("lost", "nothing comes from " + named, "Not the circuit: the meter or its link.", false);
    }
    if (live.waitsFor) return band("calm", "Armed", live.waitsFor + ". Nothing is kept until then.", false);
    if (!live.channels.length) return band("calm", "Waiting for the first reading", "", false);
    const slowest = Math.max(...live.channels.map((one) => one.interval_s || 0));
    const limit = slowest ? " Shorter than about " + (2 * slowest).toFixed(1) + " s may pass unseen." : "";
    band("calm", "Recording", (live.count ? "" : "Nothing found so far.") + limit, false);
  }
  function alarm(live, sort, word, text) {
    live.alarm = true;
    band(sort, word, text, true);
    beep(sort);
  }

  /* ---- readings ---- */
  const age = (live, one) => one.age_s === null ? null : one.age_s + (performance.now() - live.heardMs) / 1000;
  const fresh = (live, one) => one.up && (one.age_s === null || age(live, one) <= one.silent_after_s);
  function card(live, one) {
    if (live.cards[one.number]) return live.cards[one.number];
    const node = make("section", "readout");
    const parts = { node, name: make("h2"), value: make("output"), link: make("p", "link"), more: make("p", "soft") };
    parts.value.id = "value-" + one.number;
    parts.value.setAttribute("aria-live", "off");
    node.append(parts.name, parts.value, parts.link, parts.more);
    $("readouts").append(node);
    return (live.cards[one.number] = parts);
  }
  function showReadings(live) {
    const numbers = new Set(live.channels.map((one) => String(one.number)));
    for (const number of Object.keys(live.cards)) {
      if (numbers.has(number)) continue;
      live.cards[number].node.remove();
      delete live.cards[number];
    }
    live.channels.forEach((one, place) => {
      const parts = card(live, one), old = !fresh(live, one) && !live.ended;
      parts.node.style.setProperty("--trace", colourOf(place));
      put(parts.name, one.label + (one.point ? " · " + one.point : "") + " · " + one.measured);
      put(parts.value, one.shown);
      parts.node.classList.toggle("old", old);
      put(parts.more, "lowest " + one.low + " · highest " + one.high + " · " + one.count + " readings");
    });
    showAges(live);
  }
  function showAges(live) {
    for (const one of live.channels) {
      const parts = live.cards[one.number], s = age(live, one);
      if (!parts) continue;
      const good = fresh(live, one) && !live.lostSince, seen = s === null ? "no reading yet" : "read " + ago(s) + " ago";
      parts.node.classList.toggle("old", !good && !live.ended);
      put(parts.link, live.ended ? "ended" : (good ? "link up" : live.lostSince ? "NOT KNOWN" : "NO DATA, " +
        (one.cause || "the meter is silent")) + " · " + seen);
    }
  }

  /* ---- the strip chart: one row a channel, the last minute, points bounded ---- */
  function axes(live) {
    const layout = { height: Math.max(180, 40 + 130 * live.channels.length), showlegend: false, uirevision: "kept",
      margin: { l: 56, r: 12, t: 8, b: 34 }, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
      font: { family: "system-ui, sans-serif", size: 13 }, shapes: [], annotations: [],
      xaxis: { range: [0, WINDOW_S], ticksuffix: " s", gridcolor: $("live").dataset.grid, zeroline: false } };
    const rows = live.channels.length, traces = [];
    layout.xaxis.anchor = rows > 1 ? "y" + (2 * rows - 1) : "y";
    live.channels.forEach((one, place) => {
      const top = 1 - place / rows, bottom = 1 - (place + 1) / rows + 0.06, row = place ? String(2 * place + 1) : "";
      layout["yaxis" + row] = { domain: [bottom, top], title: { text: one.unit }, zeroline: false, nticks: 4,
        gridcolor: $("live").dataset.grid };
      layout["yaxis" + (2 * place + 2)] = { overlaying: "y" + row, range: [0, 1], visible: false };
      const colour = colourOf(place);
      traces.push({ x: [], y: [], mode: "lines+markers", line: { color: colour, width: 1.8, shape: "hv" },
        marker: { color: colour, size: 4 }, yaxis: "y" + row, connectgaps: false });
      traces.push({ x: [], y: [], mode: "markers+text", text: "OL", textposition: "bottom center",
        marker: { symbol: "triangle-up", size: 10, color: colour }, yaxis: "y" + (2 * place + 2) });
    });
    return { layout, traces };
  }
  function draw(live) {
    const graph = document.querySelector("#strip-chart .js-plotly-plot");
    if (!graph || !window.Plotly || document.hidden || !live.channels.length) return;
    const key = live.channels.map((one) => one.number).join(" ");
    if (live.drawn !== key) {
      const { layout, traces } = axes(live);
      live.drawn = key;
      live.traces = traces;
      window.Plotly.react(graph, traces, layout, { staticPlot: true, responsive: true });
      $("strip-chart").style.height = layout.height + "px";
    }
    const end = Math.max(live.endS, WINDOW_S), start = end - WINDOW_S, xs = [], ys = [], modes = [], which = [];
    live.channels.forEach((one, place) => {
      const points = live.points[one.number] || [[], [], []], over = points[0].filter((_, i) => points[2][i]);
      xs.push(points[0].slice(), over);
      ys.push(points[1].slice(), over.map(() => 0.97));
      modes.push(points[0].length > MOST_DOTS ? "lines" : "lines+markers", "markers+text"); // dots cost a node each
      which.push(2 * place, 2 * place + 1);
    });
    const marks = live.markers.filter((one) => one[0] >= start);
    const rowOf = (number) => live.channels.findIndex((one) => one.number === number);
    const found = live.events.filter((one) => one.end_s >= start && rowOf(one.channel) >= 0);
    const domain = (number) => "y" + (rowOf(number) ? 2 * rowOf(number) + 1 : "") + " domain";
    const line = (x, dash) => ({ type: "line", xref: "x", yref: "paper", x0: x, x1: x, y0: 0, y1: 1,
      line: { color: $("live").dataset.marker, width: 2, dash } });
    const shapes = marks.map((one) => line(one[0], one[3] ? "dot" : "dash"));
    for (const one of found) {
      shapes.push({ type: "rect", xref: "x", yref: domain(one.channel), x0: one.start_s, x1: Math.max(one.end_s, one.start_s + 0.2),
        y0: 0, y1: 1, fillcolor: one.colour, opacity: 0.25,
        line: { width: 0 }, layer: "below" });
    }
    const named = (x, y, text, yref = "paper") => ({ x, y, xref: "x", yref, text: text.replace(/[<&]/g, " "), showarrow: false,
      xanchor: x > end - WINDOW_S / 5 ? "right" : "left", yanchor: y ? "top" : "bottom", font: { size: 12 } });
    const notes = marks.map((one) => named(one[0], 1, one[1]));
    const free = {}; // from where on a row has room for a word
    for (const one of found) {
      const at = Math.max(one.start_s, start);
      if (at < (free[one.channel] || start)) continue;
      free[one.channel] = at + WINDOW_S * 100 / (graph.clientWidth - 68);
      notes.push(named(at, 0, one.kind, domain(one.channel)));
    }
    for (const one of live.channels) {
      notes.push({ ...named(0, 1, one.label, domain(one.number)), xref: "paper", xanchor: "left", font: { size: 13, weight: 700 } });
    }
    const change = { "xaxis.range": [start, end], shapes, annotations: notes };
    live.updating = true;
    window.Plotly.update(graph, { x: xs, y: ys, mode: modes }, change, which).finally(() => { live.updating = false; });
  }
  function take(live, told) {
    if (told.reset) { live.points = {}; live.events = []; live.count = 0; }
    for (const [number, columns] of Object.entries(told.points)) {
      const points = (live.points[number] = live.points[number] || [[], [], []]);
      columns.forEach((column, place) => points[place].push(...column));
      const old = points[0].findIndex((time) => time >= told.elapsed_s - WINDOW_S - 1);
      const drop = Math.max(points[0].length - MOST_POINTS, old < 0 ? points[0].length : old);
      if (drop > 0) points.forEach((column) => column.splice(0, drop));
    }
    const times = Object.values(live.points).map((points) => points[0][points[0].length - 1] || 0);
    live.endS = told.state === "growing" ? Math.max(told.elapsed_s, ...times) : Math.max(...times, 0);
  }

  /* ---- events and markers ---- */
  function takeEvents(live, told, first) {
    live.events.push(...told.events);
    live.events = live.events.slice(-MOST_EVENTS);
    live.count += told.events.length;
    for (const one of told.events) {
      const item = make("li", "event " + one.sort);
      item.append(make("strong", "", SORTS[one.sort] + ": " + one.kind), make("span", "", one.label + " at " +
        clock(one.start_s) + ". " + one.detail));
      $("live-events").prepend(item);
      while ($("live-events").children.length > MOST_LISTED) $("live-events").lastChild.remove();
      if (!first) alarm(live, one.sort, one.kind + " on " + one.label, one.detail);
    }
    $("live-none").hidden = live.count > 0;
    const fired = told.markers.filter((one) => one[3] && one[1] === "triggered");
    if (!first && fired.length > live.fired) alarm(live, "caught", "the condition came", fired[fired.length - 1][2]);
    live.fired = fired.length;
    live.markers = told.markers;
  }
  async function send(path, body) {
    const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify(body) });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.error);
    return said;
  }
  async function mark(name) {
    if (!shown || !name.trim()) return;
    try {
      const said = await send(shown.path + "/marker", { name: name.trim() });
      put($("live-said"), "Marker " + said.name + " at " + clock(said.time_s));
      const field = $("mark-text");
      if (field && name === field.value) window.dash_clientside.set_props("mark-text", { value: "" });
    } catch (error) { put($("live-said"), "The marker was not set: " + error.message); }
  }
  let stopAsked = 0;
  async function stop() {
    const button = $("stop");
    const since = Date.now() - stopAsked;
    if (since < STOP_AGAIN_MS[0]) return; // a thumb that trembles
    if (since > STOP_AGAIN_MS[1]) { // a second press, so that no dirty thumb ends a recording
      stopAsked = Date.now();
      put(button, "Press again to stop");
      setTimeout(() => { if (stopAsked && shown && !shown.ended) put($("stop"), "Stop"); }, STOP_AGAIN_MS[1]);
      return;
    }
    stopAsked = 0;
    try { await send(shown.path + "/stop", {}); put(button, "Stopping …"); } catch (error) { put($("live-said"), error.message); }
  }
  function end(live, word) {
    live.ended = word;
    live.alarm = false;
    put($("stop"), "Stopped");
    for (const button of document.querySelectorAll("#live [data-mark], #mark-typed, #stop")) button.disabled = true;
  }

  /* ---- asking ---- */
  async function ask(live) {
    const url = live.path + "?epoch=" + live.epoch + "&after=" + live.sequence;
    const answer = await fetch(url, { signal: AbortSignal.timeout(PATIENCE_MS), cache: "no-store" });
    return { status: answer.status, told: await answer.json() };
  }
  function show(live, { status, told }) {
    if (status === 404) return end(live, "Ended; no file is left. " + told.error);
    if (status === 403 || status === 421) return window.location.reload();
    if (status !== 200) return put($("live-said"), told.error);
    live.heardMs = performance.now();
    live.lostSince = 0;
    Object.assign(live, { channels: told.channels, waitsFor: told.waits_for });
    if (told.reset) $("live-events").replaceChildren();
    take(live, told);
    takeEvents(live, told, !live.epoch);
    live.epoch = told.epoch;
    live.sequence = told.sequence;
    if (told.state !== "growing") end(live, told.state === "clean" ? "Ended; everything is kept" :
      "The recorder was ended from outside; what it had saved is kept");
    put($("live-state"), (live.ended ? "ended" : live.waitsFor ? "armed" : "recording") + " · " + clock(told.elapsed_s));
    showReadings(live);
    calm(live);
    $("live-take").hidden = !live.channels.some((one) => one.count); // of no readings there is nothing to take away
    cautions(live.channels.map((one) => one.quantity));
    drawSoon(live);
  }
  /* The figures are painted first; the plot, which costs more, comes after them and not at every answer. */
  function drawSoon(live) {
    if (live.updating || live.drawDue) return;
    live.drawDue = true;
    const wait = Math.max(0, DRAW_MS - (performance.now() - live.drawnMs));
    setTimeout(() => requestAnimationFrame(() => setTimeout(() => {
      live.drawDue = false;
      live.drawnMs = performance.now();
      if (shown === live) draw(live);
    }, 0)), wait);
  }
  async function follow(live) {
    while (shown === live && !live.ended) {
      let news = null;
      try { news = await ask(live); } catch (_) { live.lostSince = live.lostSince || Date.now(); }
      if (shown !== live) return;
      if (news) show(live, news); else { showAges(live); calm(live); }
      await new Promise((go) => setTimeout(go, document.hidden ? 1000 : news ? PAUSE_MS : 600));
    }
    if (shown === live) { showReadings(live); calm(live); }
  }
  function open() {
    const node = $("live"), name = node && node.dataset.name;
    if (!node) { shown = null; return; }
    if (shown && shown.node === node) return;
    shown = { node, path: "/live/" + encodeURIComponent(name), epoch: "", sequence: 0, channels: [], points: {}, events: [],
      markers: [], cards: {}, count: 0, fired: 0, heardMs: performance.now(), lostSince: 0, ended: "", alarm: false, endS: 0,
      drawnMs: 0, drawDue: false, updating: false };
    $("readouts").replaceChildren();
    showSound();
    follow(shown);
  }
  setInterval(() => {
    open();
    if (shown && !shown.ended) showAges(shown);
    if (shown && shown.ended && !shown.drawn) draw(shown); // it had ended before the plots were loaded
    showWanted();
  }, 250);

  /* ---- cautions: read once a quantity and browser ---- */
  const KEY = "meterlog-cautions-read";
  function read() { try { return JSON.parse(localStorage.getItem(KEY)) || []; } catch (_) { return []; } }
  const formWants = () => { const one = document.querySelector("#what input:checked"); return one ? [one.value] : []; };
  function cautions(wanted) {
    const panel = $("cautions"), missing = wanted.filter((one) => !read().includes(one));
    if (!panel) return [];
    panel.hidden = !missing.length;
    for (const one of panel.querySelectorAll("[data-quantities]"))
      one.hidden = !one.dataset.quantities.split(" ").some((quantity) => missing.includes(quantity));
    return missing;
  }
  function showWanted() { if ($("record-form")) cautions(formWants()); }
  function haveRead() {
    const wanted = shown ? shown.channels.map((one) => one.quantity) : formWants();
    localStorage.setItem(KEY, JSON.stringify([...new Set([...read(), ...wanted])]));
    cautions(wanted);
    const next = $("start") || $("stop");
    if (next) next.focus();
  }

  /* ---- presses ---- */
  function useMeter(address) {
    const boxes = [...document.querySelectorAll("[id^=meter-][id$=-address]")];
    const box = boxes.find((one) => one.value === address) || boxes.find((one) => !one.value) || boxes[0];
    if (!box) return;
    window.dash_clientside.set_props(box.id, { value: address });
    const more = box.closest("details");
    if (more) more.open = true;
    box.focus();
  }
  document.addEventListener("click", (press) => {
    const button = press.target.closest("button");
    if (!button) return;
    if (button.id === "start" && cautions(formWants()).length) {
      press.stopImmediatePropagation();
      press.preventDefault();
      $("cautions").scrollIntoView({ block: "center" });
      $("cautions-read").focus();
    } else if (button.id === "start") {
      window.dash_clientside.set_props("cautions-said", { data: read() });
      letSound();
    } else if (button.id === "cautions-read") haveRead();
    else if (button.id === "sound") switchSound();
    else if (button.id === "band-seen" && shown) { shown.alarm = false; calm(shown); }
    else if (button.id === "stop") stop();
    else if (button.id === "mark-typed") mark($("mark-text").value);
    else if (button.dataset.mark) mark(button.dataset.mark);
    else if (button.dataset.address) useMeter(button.dataset.address);
    if (button.id !== "sound" && button.closest("#live")) letSound();
  }, true);
  document.addEventListener("keydown", (key) => {
    if (key.target.id === "mark-text" && key.key === "Enter") mark(key.target.value);
  });
})();
