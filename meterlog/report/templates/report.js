// Draws each figure from the JSON beside it, follows the window's width, and lets print scale the drawing.
"use strict";
const config = { displayModeBar: false, responsive: false, scrollZoom: false, doubleClick: "reset" };

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
