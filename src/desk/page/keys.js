// Single letters as keys, which can be put off (WCAG 2.2, 2.1.4), and never where somebody writes.
import {by, make} from "./words.js";

const kKept = "single-letters";

/** `table`: [key, words, action]. `escape`: what Escape does. */
export function keys(table, escape) {
  const on = by("keys-on");
  try {
    on.checked = localStorage.getItem(kKept) !== "off";
  } catch {
    // No storage: they are on.
  }
  const show = () => document.body.classList.toggle("no-keys", !on.checked);
  show();
  on.addEventListener("change", () => {
    show();
    try {
      localStorage.setItem(kKept, on.checked ? "on" : "off");
    } catch {
      // It holds for this page only.
    }
  });
  const rows = [...table.map(([key, words]) => [key.toUpperCase(), words]), ["Space", "choose or leave the file you are on"], ["Shift and arrows", "choose a row of files"], ["Enter", "check, from a list of files"], ["Delete", "take away a file you added"], ["Esc", "close what is open"]];
  by("key-list").replaceChildren(...rows.map(([key, words]) => make("div", {}, make("dt", {}, make("kbd", {text: key})), make("dd", {text: words}))));
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.isComposing || event.defaultPrevented) return;
    if (event.key === "Escape") return void (escape() && event.preventDefault());
    if (!on.checked || event.target.closest("select, textarea, input:not([type=checkbox])")) return;
    const found = table.find(([key]) => key === event.key.toLowerCase());
    if (!found) return;
    event.preventDefault();
    found[2]();
  });
}
