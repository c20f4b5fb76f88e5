// Draws each figure from the JSON beside it, follows the window's width, and lets print scale the drawing.
"use strict";
const config = { displayModeBar: false, responsive: false, scrollZoom: false, doubleClick: "reset" };

function writeDates(language) {
  // Each moment is told by the clock that it was written down by, wherever it is read: UTC stands for no shift.
  for (const one of document.querySelectorAll("time")) {
    const style = { dateStyle: "long", timeZone: "UTC", ...("clock" in one.dataset && { timeStyle: "short" }) };
    try {
      one.textContent = new Intl.DateTimeFormat(language, style).format(new Date(one.dateTime.slice(0, 16) + "Z"));
      one.lang = language;
    } catch (error) {
      if (!(error instanceof RangeError)) throw error; // a language or moment that the browser does not know: as it is
    }
  }
}

if (document.body.dataset.dates) writeDates(document.body.dataset.dates);

function scalable(canvas) {
  // With a viewBox the drawing follows the paper's width, so that nothing is cut; its box keeps the same shape.
  canvas.style.setProperty("--shape", `${canvas.clientWidth} / ${canvas.clientHeight}`);
  for (const svg of canvas.querySelectorAll(".main-svg")) {
    svg.setAttribute("viewBox", `0 0 ${svg.getAttribute("width")} ${svg.getAttribute("height")}`);
    svg.setAttribute("preserveAspectRatio", "xMinYMin meet");
  }
}

for (const figure of document.querySelectorAll("figure.plot")) {
  const canvas = figure.querySelector(".canvas");
  const drawing = JSON.parse(figure.querySelector("script.figure").textContent);
  drawing.layout.width = canvas.clientWidth;
  Plotly.newPlot(canvas, drawing.data, drawing.layout, config).then(() => {
    scalable(canvas);
    canvas.on("plotly_afterplot", () => scalable(canvas));
  });
  new ResizeObserver(() => {
    if (matchMedia("print").matches) return;
    const width = canvas.clientWidth;
    if (width && Math.abs(width - canvas.layout.width) > 1) Plotly.relayout(canvas, { width });
  }).observe(canvas);
}
