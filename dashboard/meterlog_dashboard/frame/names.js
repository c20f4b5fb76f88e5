/* What the page's library tells screen readers of its form parts, put right: its choices are native radio buttons and
   check boxes in a list box without a name, and its drop-downs have a hidden field on the way of the Tab key. */
let numbered = 0;
const nameOf = (list) => {
  const label = list.id && document.querySelector(`label[for="${list.id}"]`);
  const group = list.closest("[aria-labelledby]");
  if (!label) return group ? group.getAttribute("aria-labelledby") : "";
  label.id = label.id || `name-${++numbered}`;
  return label.id;
};
function mend() {
  for (const list of document.querySelectorAll(".dash-options-list[role=listbox]")) {
    if (list.closest(".dash-dropdown-content")) continue; // there it is a list box
    list.setAttribute("role", list.querySelector("[type=radio]") ? "radiogroup" : "group");
    const named = nameOf(list);
    if (named) list.setAttribute("aria-labelledby", named);
  }
  for (const option of document.querySelectorAll(":not(.dash-dropdown-content) > .dash-options-list label[aria-selected], label.dash-options-list-option[role=option]")) {
    if (option.closest(".dash-dropdown-content")) continue;
    option.removeAttribute("role");
    option.removeAttribute("aria-selected");
  }
  for (const field of document.querySelectorAll(".dash-dropdown-focus-target:not([tabindex='-1'])")) field.tabIndex = -1;
}
new MutationObserver(mend).observe(document, { subtree: true, childList: true, attributeFilter: ["aria-selected"] });
mend(); // what was there before this script was loaded
