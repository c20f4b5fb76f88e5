/* What Review shows, kept in the page's address, so that back, a reload and a sent link show it again. */

const WRITE_AFTER_MS = 250; // browsers refuse more than a few changes a second
let due = 0;
const place = (s) => String(Number(s.toFixed(3)));

/* The address for what is shown: { span, whole, event, fitted, cursors }. Pure. */
export function query({ span, whole, event, fitted, cursors }) {
  const asked = new URLSearchParams(), all = span[0] <= whole[0] + 0.001 && span[1] >= whole[1] - 0.001;
  if (!all) { asked.set("from", place(span[0])); asked.set("to", place(span[1])); }
  if (event) asked.set("event", event);
  if (fitted) asked.set("fit", "1");
  if (cursors) { asked.set("a", place(cursors[0])); asked.set("b", place(cursors[1])); }
  const text = asked.toString();
  return text ? "?" + text : "";
}
/* What an address asks for; null where it says nothing of a part. Pure. */
export function asked(text) {
  const from = new URLSearchParams(text), number = (key) => (from.get(key) === null || !isFinite(from.get(key)) ? null : Number(from.get(key)));
  const pair = (first, last) => (number(first) !== null && number(last) !== null ? [number(first), number(last)] : null);
  return { span: pair("from", "to"), event: number("event"), fitted: from.get("fit") === "1", cursors: pair("a", "b") };
}
/* A jump is a step that Back undoes; moving along is not. */
export function write(state, jump) {
  clearTimeout(due);
  const path = window.location.pathname, put = () => {
    if (window.location.pathname !== path || window.location.search === query(state)) return; // another view by now
    history[jump ? "pushState" : "replaceState"](history.state, "", path + query(state));
  };
  if (jump) put(); else due = setTimeout(put, WRITE_AFTER_MS);
}
