/* A session or a job as a file: rename, remove, put back, restore. What was done can be undone where one lands. */
import { byId, put } from "../frame/dom.js";

const TIMEOUT_MS = 10000;
const NO_ANSWER = "The computer does not answer: look whether it is done before you press again.";

async function act(button) {
  const { kind, name, act: what } = button.dataset, own = "/" + kind + "/" + encodeURIComponent(name), list = "/" + kind + "s";
  button.disabled = true;
  try {
    const answer = await fetch(own + "/" + what, { method: "POST",
      headers: { "Content-Type": "application/json" }, body: JSON.stringify({ name: byId("rename-" + kind)?.value || "" }),
      signal: AbortSignal.timeout(TIMEOUT_MS) });
    const told = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(told.error), { refused: true });
    window.location.assign(list + (what === "remove" ? "" : "/" + encodeURIComponent(told.name)));
  } catch (error) {
    put(button.parentElement.querySelector(":scope > [role=alert]") || byId("aside-said"), error.refused ? error.message : NO_ANSWER);
    button.disabled = false;
  }
}
document.addEventListener("click", ({ target }) => {
  const button = target.closest("button[data-act]");
  if (button) act(button);
});
