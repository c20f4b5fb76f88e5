/* Record: Start waits until the cautions were read; a press on a meter that was found fills in its address. */
import { readQuantities, showUnread } from "../cautions/cautions.js";
import { byId } from "../frame/dom.js";
import { allowAlerts } from "../live/alerts.js";

const LOOK_EVERY_MS = 250; // a guess: soon after a person chose another quantity

const chosenQuantities = () => [...document.querySelectorAll("#what input:checked")].map((one) => one.value);
setInterval(() => { if (byId("record-form")) showUnread(chosenQuantities()); }, LOOK_EVERY_MS);

/* Into the box that holds it already, else the first empty one, else the first. */
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
  if (button.dataset.address) useMeter(button.dataset.address);
  if (button.id !== "start") return;
  if (showUnread(chosenQuantities()).length) {
    press.stopImmediatePropagation();
    press.preventDefault();
    byId("cautions").scrollIntoView({ block: "center" });
    byId("cautions-read").focus();
    return;
  }
  window.dash_clientside.set_props("cautions-said", { data: readQuantities() });
  allowAlerts();
}, true);
