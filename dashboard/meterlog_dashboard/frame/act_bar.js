/* Says how high the bar at the thumb is, so that the style sheet leaves as much free below the last control. */

const LOOK_EVERY_MS = 250; // a guess: the bar opens and closes parts at a press
let said = 0;

setInterval(() => {
  const bar = document.querySelector(".act-bar"), height = bar ? bar.offsetHeight : 0;
  if (height === said) return;
  said = height;
  document.documentElement.style.setProperty("--act-bar", height + "px");
}, LOOK_EVERY_MS);
