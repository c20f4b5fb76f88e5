/* The strip chart as plain figure objects: one row a channel over the last stretch of time. Pure. */

const MOST_DOTS = 120; // dots cost an element each: more readings than this are drawn as a line alone
const ROWS_PX = [[3, 130], [6, 90], [Infinity, 64]]; // up to so many channels, the height of each row; by eye
const FRAME_PX = 40, LEAST_PX = 180, WIDE_LEAST_PX = 270, WIDE_PX = 960, MOST_LETTERS = 44, LEFT_PX = 56, RIGHT_PX = 12, WORD_PX = 100;
const NAME_PX = 20; // above each row, where its name hides no curve; alone it has none
const OVERLOAD_HEIGHT = 0.97; // a share of the row's height
const MOST_WITH_WORDS = 3; // channels; lower rows show an event by its colour, the list says what it is
const SHORTEST_BAND_S = 0.2; // so that a short event still shows

const suffix = (place) => (place ? String(2 * place + 1) : "");

/* The empty chart. `look` has the colours: colourOf(place), grid, marker. */
export function emptyChart(channels, windowS, look) {
  const rows = channels.length, traces = [], rowPx = ROWS_PX.find(([most]) => rows <= most)[1];
  const height = Math.max(window.innerWidth < WIDE_PX ? LEAST_PX : WIDE_LEAST_PX, FRAME_PX + rowPx * rows);
  const gap = rows > 1 ? NAME_PX / (height - FRAME_PX) : 0;
  const layout = { height, showlegend: false, uirevision: "kept",
    margin: { l: LEFT_PX, r: RIGHT_PX, t: 8, b: 34 }, paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)",
    font: { family: "system-ui, sans-serif", size: 13 }, shapes: [], annotations: [],
    xaxis: { range: [0, windowS], ticksuffix: " s", gridcolor: look.grid, zeroline: false,
      anchor: rows > 1 ? "y" + (2 * rows - 1) : "y" } };
  channels.forEach((one, place) => {
    const domain = [1 - (place + 1) / rows, 1 - place / rows - gap], row = suffix(place), colour = look.colourOf(place);
    layout["yaxis" + row] = { domain, title: { text: one.unit }, zeroline: false, range: one.scale, nticks: rowPx < 100 ? 3 : 4, gridcolor: look.grid };
    layout["yaxis" + (2 * place + 2)] = { overlaying: "y" + row, range: [0, 1], visible: false };
    traces.push({ x: [], y: [], mode: "lines+markers", line: { color: colour, width: 1.8, shape: "hv" },
      marker: { color: colour, size: 4 }, yaxis: "y" + row, connectgaps: false });
    traces.push({ x: [], y: [], mode: "markers+text", text: "OL", textposition: "bottom center",
      marker: { symbol: "triangle-up", size: 10, color: colour }, yaxis: "y" + (2 * place + 2) });
  });
  return { layout, traces };
}

/* What changes in it: columns of the traces, their numbers, and the layout. `live` has channels, points, markers, events
   and endS. */
export function chartUpdate(live, windowS, look, widthPx) {
  const end = Math.max(live.endS, windowS), start = end - windowS;
  const row = (number) => live.channels.findIndex((one) => one.number === number);
  const marks = live.markers.filter((one) => one[0] >= start);
  const found = live.events.filter((one) => one.end_s >= start && row(one.channel) >= 0);
  const domain = (number) => "y" + suffix(row(number)) + " domain";
  return {
    ...columns(live),
    change: {
      "xaxis.range": [start, end],
      ...Object.fromEntries(live.channels.map((one, place) => ["yaxis" + suffix(place) + ".range", one.scale])),
      shapes: [...marks.map((one) => markerLine(one, look.marker)), ...found.map((one) => eventBand(one, domain(one.channel)))],
      annotations: words(live.channels, marks, found, domain, { start, end, windowS, widthPx }),
    },
  };
}

function columns({ channels, points }) {
  const xs = [], ys = [], modes = [], which = [];
  channels.forEach((one, place) => {
    const [times, values, overloads] = points[one.number] || [[], [], []];
    const over = times.filter((_, i) => overloads[i]);
    xs.push(times.slice(), over);
    ys.push(values.slice(), over.map(() => OVERLOAD_HEIGHT));
    modes.push(times.length > MOST_DOTS ? "lines" : "lines+markers", "markers+text");
    which.push(2 * place, 2 * place + 1);
  });
  return { data: { x: xs, y: ys, mode: modes }, which };
}

/* Dotted where the tool set it, dashed where a person did. */
const markerLine = ([x, , , byTool], color) => ({ type: "line", xref: "x", yref: "paper", x0: x, x1: x, y0: 0, y1: 1,
  line: { color, width: 2, dash: byTool ? "dot" : "dash" } });
const eventBand = (one, yref) => ({ type: "rect", xref: "x", yref, x0: one.start_s, x1: Math.max(one.end_s, one.start_s + SHORTEST_BAND_S),
  y0: 0, y1: 1, fillcolor: one.colour, opacity: 0.25, line: { width: 0 }, layer: "below" });

/* Markers at the top, events at the bottom of their row where there is room, each row's name at its left. */
function words(channels, marks, found, domain, { start, end, windowS, widthPx }) {
  const word = (x, y, text, yref = "paper") => ({ x, y, xref: "x", yref, text: text.replace(/[<&]/g, " "), showarrow: false,
    xanchor: x > end - windowS / 5 ? "right" : "left", yanchor: y ? "top" : "bottom", font: { size: 12 } });
  const result = marks.map((one) => word(one[0], 1, one[1]));
  const freeFrom = {}; // s, by channel
  for (const one of channels.length <= MOST_WITH_WORDS ? found : []) {
    const at = Math.max(one.start_s, start);
    if (at < (freeFrom[one.channel] || start)) continue;
    freeFrom[one.channel] = at + windowS * WORD_PX / (widthPx - LEFT_PX - RIGHT_PX);
    result.push(word(at, 0, one.kind, domain(one.channel)));
  }
  for (const one of channels) {
    if (channels.length === 1) break; // its card says it
    const label = one.label.length > MOST_LETTERS ? one.label.slice(0, MOST_LETTERS) + " …" : one.label;
    result.push({ ...word(0, 1, label, domain(one.number)), xref: "paper", xanchor: "left", yanchor: "bottom", font: { size: 13, weight: 700 } });
  }
  return result;
}
