// Single letters as keys, which can be put off (WCAG 2.2, 2.1.4), and never where somebody writes.
import {by, make} from "./words.js";

const kKept = "single-letters";

/** `table`: [key, words, action, where]; `where()` tells whether the key is one now, and without it it always is. `others`: [key,
 *  words, where] of what is no letter. `escape`: what Escape does. Returns {add}, for keys of views that come later: they win. */
export function keys(table, others, escape) {
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
  const holds = (where) => !where || where();
  const draw = () => {
    const rows = [...table.filter(([, , , where]) => holds(where)).map(([key, words]) => [key.toUpperCase(), words]), ...others.filter(([, , where]) => holds(where)), ["Esc", "close what is open"]];
    by("key-list").replaceChildren(...rows.map(([key, words]) => make("div", {}, make("dt", {}, make("kbd", {text: key})), make("dd", {text: words}))));
  };
  by("keys").addEventListener("toggle", draw);
  draw();
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat || event.isComposing || event.defaultPrevented) return;
    if (event.key === "Escape") return void (escape() && event.preventDefault());
    if (!on.checked || event.target.closest("select, textarea, input:not([type=checkbox])")) return;
    const found = table.find(([key, , , where]) => key === event.key.toLowerCase() && holds(where));
    if (!found) return;
    event.preventDefault();
    found[2]();
  });
  return {
    add(more, moreOthers = []) {
      table.unshift(...more);
      others.unshift(...moreOthers);
      draw();
    },
  };
}
