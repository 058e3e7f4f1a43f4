// A drop over a sheet would go to the sheet, and the browser would open the file. Hence a pane in front of it that takes drops, and
// that is away while somebody points into the sheet: while files are dragged no pointer is told to move.
import {make} from "./words.js";

const kLook = 500;
let pane = null;

const up = (on) => pane && (pane.hidden = !on);

/** A new pane, to be laid over a frame. */
export function cover() {
  pane = make("div", {className: "cover", "aria-hidden": "true"});
  for (const moved of ["pointermove", "pointerdown", "wheel"]) pane.addEventListener(moved, () => up(false), {passive: true});
  return pane;
}

addEventListener("pointermove", (event) => event.target !== pane && up(true), {passive: true});
addEventListener("dragenter", () => up(true));
document.documentElement.addEventListener("pointerleave", () => up(true));
// Who drags files has another window in front; a page is not told when it happens while the keyboard is in the sheet.
setInterval(() => document.hasFocus() || up(true), kLook);
