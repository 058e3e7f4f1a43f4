// Where it plays, over a shape: one line that is moved as long as something of the shape's sound is heard.
import {make} from "./words.js";

// Where somebody wants no motion the line steps.
const kStepMs = 500;
const still = matchMedia("(prefers-reduced-motion: reduce)");

export class Playhead {
  /** `where()`: the second of the shape's sound that is heard now; null while nothing of it is. */
  constructor(shape, player, where) {
    Object.assign(this, {shape, where});
    this.line = make("div", {className: "playhead", "aria-hidden": "true", hidden: ""});
    shape.frame.append(this.line);
    this.going = false;
    this.before = null;
    player.addEventListener("change", () => this.go());
    // Also what was away, and is shown again while it plays.
    shape.addEventListener("view", () => this.go());
  }

  go() {
    if (!this.going) this.step();
  }

  step() {
    const {shape, line} = this, at = shape.span && shape.frame.clientWidth ? this.where() : null;
    this.going = at !== null;
    if (at === null) {
      this.before = null;
      line.hidden = true;
      return;
    }
    // It goes out of sight at the right: the next part comes into sight, unless somebody looked elsewhere.
    const left = at > shape.to && this.before !== null && this.before >= shape.from && this.before <= shape.to;
    this.before = at;
    if (left && shape.to < shape.duration) shape.look(at, at + shape.span);
    const seen = at >= shape.from && at <= shape.to;
    line.hidden = !seen;
    if (seen) line.style.transform = `translateX(${shape.x(at).toFixed(1)}px)`;
    if (still.matches) setTimeout(() => this.step(), kStepMs);
    else requestAnimationFrame(() => this.step());
  }
}
