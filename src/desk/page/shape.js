// The shape of a sound, drawn as far as it is in sight: a step of scrolling or zooming looks at as many columns as the screen has, and
// asks for those it does not have yet, however long the sound is.
import {get} from "./api.js";
import {Ruler} from "./ruler.js";
import {timeShort, timeSpoken} from "./times.js";
import {queryOf} from "./sound.js";
import {make, put} from "./words.js";

// Columns in one answer, and how many answers are kept.
const kTile = 500, kKept = 80, kShortestS = 0.05, kHeight = 120, kSoftest = 0.01, kGripPx = 12;

/** An outline in tiles: columns of 2^level frames. */
class Tiles {
  constructor(source, facts) {
    Object.assign(this, {source, facts});
    this.kept = new Map();
    this.asking = new Map();
    this.fetched = this.lookedAt = 0;
  }

  /** What there is of a tile; asks for it where there is nothing. `came` is called later. */
  tile(level, number, came) {
    const key = `${level} ${number}`, there = this.kept.get(key);
    if (there) {
      this.kept.delete(key);
      this.kept.set(key, there);
      return there;
    }
    if (!this.asking.has(key)) this.ask(key, level, number, came);
    return null;
  }

  async ask(key, level, number, came) {
    const stop = new AbortController(), wide = 2 ** level, from = number * kTile * wide, left = Math.max(0, this.facts.frames - from);
    const columns = Math.min(kTile, Math.max(1, Math.floor(left / wide)));
    this.asking.set(key, stop);
    this.fetched += columns;
    try {
      const to = Math.min(this.facts.frames, from + columns * wide);
      const answer = await get(`api/sound/outline?${queryOf(this.source)}&mark=${encodeURIComponent(this.facts.mark)}&from=${from}&to=${to}&columns=${columns}`, stop.signal);
      this.lookedAt += answer.looked_at;
      this.kept.set(key, answer.columns);
      for (const old of this.kept.keys()) {
        if (this.kept.size <= kKept) break;
        this.kept.delete(old);
      }
      came(null);
    } catch (error) {
      if (!stop.signal.aborted) came(error);
    } finally {
      this.asking.delete(key);
    }
  }

  /** Those that are no longer in sight need not come. */
  only(keys) {
    for (const [key, stop] of this.asking) if (!keys.has(key)) stop.abort();
  }

  drop() {
    this.only(new Set());
  }
}

/** Tells "view" when another part is in sight, "place" when another place is pointed at, "facts" when the sound is known. */
export class Shape extends EventTarget {
  constructor(box, label, {height = kHeight, about = "shape-keys"} = {}) {
    super();
    this.height = height;
    this.canvas = make("canvas", {"aria-hidden": "true"});
    this.over = make("div", {className: "over"});
    this.cursor = make("div", {className: "pointer", role: "slider", tabindex: "0", "aria-label": label, "aria-describedby": about, "aria-orientation": "horizontal"});
    this.frame = make("div", {className: "shape"}, this.canvas, this.cursor, this.over);
    this.words = make("p", {className: "soft"});
    const button = (text, does, key, act) => {
      const made = make("button", {type: "button", className: "small", text, "aria-label": does});
      made.addEventListener("click", act);
      return made;
    };
    this.scroller = make("input", {type: "range", min: "0", max: "0", step: "any", value: "0", "aria-label": "Which part of the song is in sight"});
    this.scroller.addEventListener("input", () => this.look(Number(this.scroller.value), Number(this.scroller.value) + this.span));
    this.tools = make("div", {className: "line tools"},
      button("Zoom in", "Zoom in", "", () => this.zoom(0.5)), button("Zoom out", "Zoom out", "", () => this.zoom(2)), button("Whole song", "The whole song", "", () => this.whole()), this.scroller);
    box.append(this.frame, this.tools, this.words);
    this.ruler = new Ruler(this);
    this.tiles = null;
    this.from = this.to = this.at = 0;
    this.steps = 0;
    this.waits = 0;
    this.listen();
    new ResizeObserver(() => this.step()).observe(this.frame);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.step());
  }

  get duration() {
    return this.tiles ? this.tiles.facts.frames / this.tiles.facts.sample_rate : 0;
  }

  get span() {
    return this.to - this.from;
  }

  get width() {
    return Math.max(1, Math.min(2000, Math.round(this.frame.clientWidth)));
  }

  x(seconds) {
    return this.span ? ((seconds - this.from) / this.span) * this.width : 0;
  }

  seconds(x) {
    return this.from + (x / this.width) * this.span;
  }

  /** Shows nothing. */
  clear() {
    this.source = null;
    this.tiles?.drop();
    this.tiles = null;
    this.from = this.to = this.at = 0;
    this.step();
  }

  /** Shows another sound, or the same one anew. Fails where there is none. */
  async open(source) {
    this.source = source;
    const facts = await get(`api/sound?${queryOf(source)}`);
    if (this.source !== source) return;
    this.tiles?.drop();
    this.tiles = new Tiles(source, facts);
    this.loudest = kSoftest;
    this.dispatchEvent(new Event("facts"));
    this.whole();
  }

  whole() {
    this.look(0, this.duration);
  }

  look(from, to) {
    const span = Math.min(this.duration, Math.max(kShortestS, to - from));
    this.from = Math.max(0, Math.min(this.duration - span, from));
    this.to = this.from + span;
    this.step();
  }

  /** By a factor, round a place that stays where it is. */
  zoom(by, round = this.at >= this.from && this.at <= this.to ? this.at : (this.from + this.to) / 2) {
    const span = Math.min(this.duration, Math.max(kShortestS, this.span * by)), share = this.span ? (round - this.from) / this.span : 0.5;
    this.look(round - share * span, round - share * span + span);
  }

  scroll(seconds) {
    this.look(this.from + seconds, this.to + seconds);
  }

  /** Brings a time into sight. */
  reveal(seconds) {
    if (seconds < this.from || seconds > this.to) this.look(seconds - this.span / 2, seconds + this.span / 2);
  }

  point(seconds) {
    this.at = Math.max(0, Math.min(this.duration, seconds));
    this.reveal(this.at);
    this.step();
    this.dispatchEvent(new Event("place"));
  }

  listen() {
    const keys = {
      ArrowLeft: (far) => this.point(this.at - this.span * (far ? 0.1 : 0.01)), ArrowRight: (far) => this.point(this.at + this.span * (far ? 0.1 : 0.01)),
      ArrowDown: (far) => this.point(this.at - this.span * (far ? 0.1 : 0.01)), ArrowUp: (far) => this.point(this.at + this.span * (far ? 0.1 : 0.01)),
      PageUp: () => this.scroll(0.8 * this.span), PageDown: () => this.scroll(-0.8 * this.span), Home: () => this.point(0), End: () => this.point(this.duration),
      "+": () => this.zoom(0.5), "-": () => this.zoom(2),
    };
    this.cursor.addEventListener("keydown", (event) => {
      const act = keys[event.key];
      if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      act(event.shiftKey);
    });
    this.frame.addEventListener("wheel", (event) => {
      const far = Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : event.shiftKey ? event.deltaY : 0;
      if (event.ctrlKey) this.zoom(event.deltaY > 0 ? 1.25 : 0.8, this.seconds(event.clientX - this.frame.getBoundingClientRect().left));
      else if (far) this.scroll((far / this.width) * this.span);
      else return;
      event.preventDefault();
    }, {passive: false});
    // A press points at a place; a pull moves what is in sight.
    let held = null;
    this.frame.addEventListener("pointerdown", (event) => {
      if (event.button || event.target.closest("[data-border]")) return;
      held = {x: event.clientX, from: this.from, moved: false};
      this.frame.setPointerCapture(event.pointerId);
    });
    this.frame.addEventListener("pointermove", (event) => {
      if (!held) return;
      const far = event.clientX - held.x;
      held.moved ||= Math.abs(far) > 4;
      if (held.moved) this.look(held.from - (far / this.width) * this.span, held.from - (far / this.width) * this.span + this.span);
    });
    this.frame.addEventListener("pointerup", (event) => {
      if (held && !held.moved) this.point(this.seconds(event.clientX - this.frame.getBoundingClientRect().left));
      held = null;
    });
    this.frame.addEventListener("pointercancel", () => (held = null));
  }

  /** One step: at most one a frame of the screen. */
  step() {
    this.waits ||= requestAnimationFrame(() => {
      this.waits = 0;
      this.draw();
    });
  }

  /** The lowest, highest and middle of each column in sight; nothing where it has not come yet. */
  columns() {
    const {facts} = this.tiles, width = this.width, first = this.from * facts.sample_rate, each = (this.span * facts.sample_rate) / width;
    const level = Math.max(0, Math.floor(Math.log2(Math.max(1, each)))), wide = 2 ** level, keys = new Set(), columns = [];
    for (let x = 0; x < width; ++x) {
      const start = Math.floor((first + x * each) / wide), end = Math.max(start + 1, Math.ceil((first + (x + 1) * each) / wide));
      let low = Infinity, high = -Infinity, squares = 0, count = 0;
      for (let i = start; i < end; ++i) {
        const number = Math.floor(i / kTile), key = `${level} ${number}`;
        if (number * kTile * wide >= facts.frames) break;
        keys.add(key);
        const one = this.tiles.tile(level, number, (error) => this.came(error))?.[i - number * kTile];
        if (!one) continue;
        low = Math.min(low, one[0]), high = Math.max(high, one[1]), squares += one[2] * one[2], ++count;
      }
      columns.push(count ? [low, high, Math.sqrt(squares / count)] : null);
    }
    this.tiles.only(keys);
    return columns;
  }

  came(error) {
    // The file was written again: it has another shape by now.
    if (error?.code === "changed") return void this.open(this.source).catch((gone) => put(this.words, gone.message));
    if (error) put(this.words, error.message);
    this.step();
  }

  draw() {
    const {canvas, width, height} = this, scale = Math.min(2, window.devicePixelRatio || 1);
    if (canvas.width !== Math.round(width * scale)) canvas.width = Math.round(width * scale), canvas.height = Math.round(height * scale);
    const pen = canvas.getContext("2d"), style = getComputedStyle(this.frame), colour = (name) => style.getPropertyValue(name).trim();
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, width, height);
    if (this.tiles && this.span) {
      const columns = this.columns(), middle = height / 2;
      // As tall as the loudest that was seen of it: soft mixes have borders, too.
      for (const one of columns) if (one) this.loudest = Math.max(this.loudest, one[1], -one[0]);
      const tall = (middle - 4) / Math.min(1, this.loudest), y = (value) => middle - Math.max(4 - middle, Math.min(middle - 4, value * tall));
      for (const [fill, top, bottom] of [[colour("--soft"), (one) => one[1], (one) => one[0]], [colour("--one"), (one) => one[2], (one) => -one[2]]]) {
        pen.fillStyle = fill;
        columns.forEach((one, x) => one && pen.fillRect(x, y(top(one)), 1, Math.max(1, y(bottom(one)) - y(top(one)))));
      }
      ++this.steps;
      // What the last step cost, for whoever wants to know.
      Object.assign(canvas.dataset, {steps: this.steps, drawn: columns.length, fetched: this.tiles.fetched, lookedAt: this.tiles.lookedAt, waits: this.tiles.asking.size});
    }
    this.show();
    this.dispatchEvent(new Event("view"));
  }

  show() {
    const seen = this.at >= this.from && this.at <= this.to;
    this.cursor.classList.toggle("away", !seen);
    const x = Math.max(0, Math.min(this.width, this.x(this.at)));
    this.cursor.style.left = `${x}px`;
    // Its grip is never cut off by the edge.
    this.cursor.classList.toggle("at-left", x < kGripPx);
    this.cursor.classList.toggle("at-right", x > this.width - kGripPx);
    for (const [name, value] of [["min", 0], ["max", this.duration.toFixed(3)], ["now", this.at.toFixed(3)], ["text", timeSpoken(this.at)]]) this.cursor.setAttribute(`aria-value${name}`, value);
    const room = Math.max(0, this.duration - this.span);
    if (this.scroller.max !== String(room)) this.scroller.max = String(room);
    this.scroller.value = String(this.from);
    this.scroller.disabled = !room;
    this.scroller.setAttribute("aria-valuetext", `${timeSpoken(this.from)} to ${timeSpoken(this.to)}`);
    if (this.tiles) put(this.words, `In sight: ${timeShort(this.from)} to ${timeShort(this.to)} of ${timeShort(this.duration)}. Place: ${timeShort(this.at)}.`);
  }
}
