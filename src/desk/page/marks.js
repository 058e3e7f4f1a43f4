// Places over a shape, numbered: where two bounces part, and what a sheet found.
import {make} from "./words.js";

const kMost = 300, kLeastPx = 3, kNumberPx = 16;

export class Marks {
  constructor(shape) {
    this.shape = shape;
    this.box = make("div", {className: "marks", "aria-hidden": "true"});
    shape.frame.append(this.box);
    this.all = [];
    this.at = null;
    shape.addEventListener("view", () => this.draw());
  }

  /** [{from, to: seconds of the shape's sound, text: a number or sign, kind: "differs" or "found"}]. */
  take(all) {
    this.all = all;
    this.at = null;
    this.drawn = null;
    this.draw();
  }

  choose(mark) {
    this.at = mark;
    this.drawn = null;
    this.draw();
  }

  draw() {
    const {shape} = this, drawn = `${shape.from} ${shape.to} ${shape.width}`;
    if (this.drawn === drawn) return;
    this.drawn = drawn;
    const inSight = shape.span ? this.all.filter((one) => one.to >= shape.from && one.from <= shape.to).slice(0, kMost) : [];
    // Where numbers would lie on each other, the later one is left away.
    let free = -Infinity;
    this.box.replaceChildren(...inSight.map((one) => {
      const left = Math.max(0, shape.x(one.from)), wide = Math.max(kLeastPx, Math.min(shape.width, shape.x(one.to)) - left);
      const shows = one.kind === "differs" && left >= free;
      if (shows) free = left + kNumberPx;
      const made = make("span", {className: `mark ${one.kind}${one === this.at ? " at" : ""}`}, ...(shows ? [make("b", {text: one.text})] : []));
      made.style.left = `${left.toFixed(1)}px`;
      made.style.width = `${wide.toFixed(1)}px`;
      return made;
    }));
  }
}
