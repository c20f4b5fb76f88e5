/* A table on its way: how far it is, and a press that ends it. The browser itself takes the file; here nothing of it
   is held. */
import { make, put } from "../frame/dom.js";

const LOOK_MS = 500, TRIES = 20; // so many looks in vain in a row, then nobody knows
const LOST = "the computer does not answer; look in the browser's downloads whether it is whole";
const figures = new Intl.NumberFormat("en");
const megabytes = (bytes) => figures.format(Math.ceil(bytes / 1e6)) + " MB";

const WORDS = {
  going: ({ readings, of, bytes }) => figures.format(readings) + " of " + figures.format(of) + " readings, " +
    megabytes(bytes) + " of about " + megabytes(bytes * of / Math.max(readings, 1)),
  whole: ({ of }) => "all " + figures.format(of) + " readings sent",
  ended: () => "cancelled; what has come is not whole",
  failed: ({ said }) => said,
};

function place(link) {
  const row = link.closest(".row"), name = link.dataset.table;
  const found = row.parentNode.querySelector("[data-taken='" + name + "']");
  if (found) return found;
  const node = make("div", "row taken");
  node.dataset.taken = name;
  const words = make("span");
  words.setAttribute("role", "status");
  node.append(words, make("button", "", "Cancel " + name));
  row.after(node);
  return node;
}
async function follow(link, number) {
  const node = place(link), [words, cancel] = node.children, address = "/files/going/" + number;
  node.dataset.number = number;
  put(words, link.dataset.table + ": begins");
  cancel.hidden = false;
  cancel.onclick = () => { cancel.hidden = true; fetch(address, { method: "POST" }).catch(() => {}); };
  for (let vain = 0; vain < TRIES;) {
    await new Promise((go) => setTimeout(go, LOOK_MS));
    if (node.dataset.number !== number) return; // pressed again
    try {
      const told = await (await fetch(address, { cache: "no-store" })).json();
      if (told.state === "unknown") { vain += 1; continue; }
      vain = 0;
      put(words, link.dataset.table + ": " + WORDS[told.state](told));
      if (told.state !== "going") { cancel.hidden = true; return; }
    } catch (_) { vain += 1; }
  }
  put(words, link.dataset.table + ": " + LOST);
  cancel.hidden = true;
}
document.addEventListener("click", ({ target }) => {
  const link = target.closest("a[data-table]");
  if (!link) return;
  const number = crypto.randomUUID();
  link.search = "?id=" + number;
  follow(link, number);
});
