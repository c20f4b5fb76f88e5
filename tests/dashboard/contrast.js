/* What of a page is too pale by WCAG 2.2, 1.4.3 and 1.4.11: every visible text, in plots too, on every ground that it may
   stand on; controls; lines and marks of plots. Gives sentences, and how many of each were looked at; asked for "ring",
   the contrast of the focus ring of what has the focus, 0 where there is none.

   axe knows text on plain grounds; this is for what it leaves open: text in SVG, gradients, opacity, borders, marks. */
(asked) => {
  const numbers = (text) => (text.match(/-?[\d.]+(e-?\d+)?/g) || []).map(Number);
  const colour = (text) => {
    if (!text || text === "none" || text === "transparent") return [0, 0, 0, 0];
    const found = numbers(text), scale = text.startsWith("color(") ? 255 : 1;
    return [...found.slice(0, 3).map((one) => one * scale), found[3] === undefined ? 1 : found[3]];
  };
  const over = (top, below) => [...[0, 1, 2].map((i) => top[i] * top[3] + below[i] * (1 - top[3])), 1];
  const faded = (one, share) => [one[0], one[1], one[2], one[3] * share];
  const luminance = (one) => {
    const [r, g, b] = one.slice(0, 3).map((c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ratio = (one, other) => {
    const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05);
  };
  const dark = matchMedia("(prefers-color-scheme: dark)").matches && getComputedStyle(document.documentElement).colorScheme.includes("dark");
  const up = (node) => { const all = []; for (let one = node; one; one = one.parentElement) all.unshift(one); return all; };
  const opacity = (node) => up(node).reduce((share, one) => share * Number(getComputedStyle(one).opacity), 1);
  const grounds = (node) => up(node).reduce((below, one) => {
    const style = getComputedStyle(one);
    const plain = below.map((ground) => over(colour(style.backgroundColor), ground));
    const stops = style.backgroundImage.includes("gradient") ? style.backgroundImage.match(/rgba?\([^)]*\)/g) || [] : [];
    return [...plain, ...stops.flatMap((stop) => plain.map((ground) => over(colour(stop), ground)))];
  }, [dark ? [18, 18, 18, 1] : [255, 255, 255, 1]]);
  const touches = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  /* What a text of a plot may stand on: the page, the coloured stretches and areas behind it, its own ground. */
  const plotGrounds = (text) => {
    const plot = text.closest(".js-plotly-plot"), box = text.getBoundingClientRect();
    let found = grounds(plot);
    for (const path of plot.querySelectorAll(".shapelayer path, .fills path, .js-fill")) {
      const style = getComputedStyle(path), fill = faded(colour(style.fill), Number(style.fillOpacity) * Number(style.opacity));
      if (fill[3] && touches(path.getBoundingClientRect(), box)) found = [...found, ...found.map((one) => over(fill, one))];
    }
    const own = text.parentElement.querySelector(":scope > .bg");
    if (!own) return found;
    const style = getComputedStyle(own);
    return found.map((one) => over(faded(colour(style.fill), Number(style.fillOpacity)), one));
  };
  const worst = (one, grounds) => Math.min(...grounds.map((ground) => ratio(over(one, ground), ground)));
  const seen = (node) => {
    const box = node.getBoundingClientRect();
    return node.checkVisibility({ opacityProperty: true, visibilityProperty: true }) && box.width > 1 && box.height > 1 && box.right > 0;
  };
  const name = (node) => node.tagName.toLowerCase() + (node.id ? "#" + node.id : "") + (node.classList.length ? "." + [...node.classList].join(".") : "");
  if (asked === "ring") {
    const focused = document.activeElement, node = focused.closest(".dash-input-container") || focused; // the ring is there
    const style = getComputedStyle(node);
    const there = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
    return there ? worst(colour(style.outlineColor), grounds(node.parentElement)) : 0;
  }
  const pale = [], counted = { texts: 0, controls: 0, marks: 0 };
  const note = (what, share, least) => {
    counted[what.kind] += 1;
    if (share < least - 0.005) pale.push(`${what.kind} ${what.said}: ${share.toFixed(2)} to 1, wanted ${least}`);
  };

  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let text = texts.nextNode(); text; text = texts.nextNode()) {
    const node = text.parentElement;
    if (!text.textContent.trim() || node.closest("script, style, noscript, datalist, option") || !seen(node)) continue;
    const style = getComputedStyle(node), size = parseFloat(style.fontSize), drawn = node.closest("svg text");
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    const ink = faded(colour(drawn ? style.fill : style.color), opacity(node) * (drawn ? Number(style.fillOpacity) : 1));
    const behind = drawn && node.closest(".js-plotly-plot") ? plotGrounds(drawn) : grounds(node);
    note({ kind: "texts", said: `'${text.textContent.trim().slice(0, 40)}' of ${name(node)}` }, worst(ink, behind), large ? 3 : 4.5);
  }
  for (const field of document.querySelectorAll("[placeholder]")) {
    if (!seen(field)) continue;
    const style = getComputedStyle(field, "::placeholder");
    note({ kind: "texts", said: `placeholder of ${name(field)}` }, worst(faded(colour(style.color), Number(style.opacity)), grounds(field)), 4.5);
  }
  for (const control of document.querySelectorAll("button, .button, input:not([type=radio]):not([type=checkbox]), select, textarea, .chips label")) {
    if (!seen(control) || control.disabled) continue;
    const outside = grounds(control.parentElement), style = getComputedStyle(control);
    let shown = [colour(style.backgroundColor)];
    if (parseFloat(style.borderTopWidth)) shown.push(colour(style.borderTopColor));
    if (control.closest(".dash-input-container")) { // the border is the container's
      const box = control.closest(".dash-input-container");
      shown = [colour(getComputedStyle(box).borderTopColor), ...shown];
    }
    if (control.closest(".dash-dropdown-content, .session")) continue; // a list's rows have words; their box is no part of them
    note({ kind: "controls", said: name(control) }, Math.max(...shown.map((one) => worst(one, outside))), 3);
  }
  for (const mark of document.querySelectorAll(".js-plotly-plot .scatterlayer .js-line, .js-plotly-plot .scatterlayer .point")) {
    const style = getComputedStyle(mark), behind = grounds(mark.closest(".js-plotly-plot"));
    const shown = [faded(colour(style.stroke), parseFloat(style.strokeWidth) ? Number(style.strokeOpacity) : 0)];
    if (mark.matches(".point")) shown.push(faded(colour(style.fill), Number(style.fillOpacity) * Number(style.opacity)));
    if (shown.every((one) => !one[3])) continue;
    note({ kind: "marks", said: `${name(mark)} ${style.stroke} ${style.fill}` }, Math.max(...shown.map((one) => worst(one, behind))), mark.matches(".js-line") ? 4.5 : 3);
  }
  return { pale: [...new Set(pale)], counted };
}
