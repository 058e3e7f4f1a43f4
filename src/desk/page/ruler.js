// A ruler of times under a shape.
import {timeText} from "./times.js";
import {make} from "./words.js";

const kSteps = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 7200], kRoomPx = 76;

export class Ruler {
  constructor(shape) {
    this.shape = shape;
    this.box = make("div", {className: "ruler", "aria-hidden": "true"});
    shape.frame.after(this.box);
    shape.addEventListener("view", () => this.draw());
  }

  draw() {
    const {shape} = this, {from, to, span, width} = shape, drawn = `${from} ${to} ${width}`;
    if (this.drawn === drawn) return;
    this.drawn = drawn;
    if (!shape.tiles || !span) return void this.box.replaceChildren();
    const step = kSteps.find((one) => (one / span) * width >= kRoomPx) ?? span, decimals = step < 0.1 ? 2 : step < 1 ? 1 : 0;
    const times = [];
    for (let i = Math.ceil(from / step); i * step <= to && times.length < 64; ++i) times.push(i * step);
    this.box.replaceChildren(...times.map((time) => {
      const x = shape.x(time), tick = make("span", {text: timeText(time, decimals)});
      // The last one stays in sight.
      tick.style.left = `${Math.round(x)}px`;
      tick.classList.toggle("last", x > width - 48);
      return tick;
    }));
  }
}
