/* Short ways to the elements of the page. */
export const byId = (id) => document.getElementById(id);
export const put = (node, text) => { if (node && node.textContent !== text) node.textContent = text; };
export function make(tag, className, text) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  if (text) node.textContent = text;
  return node;
}
