// What is said aloud, and what stands in the way.
import {by, make, put} from "./words.js";

let last = 0, waiting = null;

/** Said to screen readers, politely: at most one sentence in two seconds, the newest one. */
export function say(text) {
  clearTimeout(waiting);
  const speak = () => {
    last = Date.now();
    by("said").textContent = "";
    // The same sentence twice is two messages.
    requestAnimationFrame(() => put(by("said"), text));
  };
  const rest = last + 2000 - Date.now();
  if (rest <= 0) speak();
  else waiting = setTimeout(speak, rest);
}

const shown = new Map();

/** A message that stays until it is closed or `unsay` takes it back. One per `key`. */
export function tell(key, text, {close = true} = {}) {
  let box = shown.get(key);
  if (!box) {
    box = make("div", {className: "notice"});
    box.append(make("p"));
    if (close) {
      const button = make("button", {type: "button", className: "small", text: "Close"});
      button.addEventListener("click", () => unsay(key));
      box.append(button);
    }
    shown.set(key, box);
    by("notices").append(box);
    by("notices").hidden = false;
  }
  if (box.firstChild.textContent === text) return;
  put(box.firstChild, text);
  say(text);
  // Few are read; the oldest go.
  while (shown.size > 4) unsay(shown.keys().next().value);
}

export function unsay(key) {
  const box = shown.get(key);
  if (!box) return;
  const held = box.contains(document.activeElement);
  box.remove();
  shown.delete(key);
  by("notices").hidden = !shown.size;
  if (held) (by("check").checkVisibility() ? by("check") : document.querySelector(`[data-heading=${document.body.dataset.view}]`))?.focus();
}

/** Closes the newest message; whether there was one. */
export function closeNewest() {
  const closable = [...shown].reverse().find(([, box]) => box.querySelector("button"));
  if (closable) unsay(closable[0]);
  return Boolean(closable);
}
