// The sections over the shape of the song: their names in a strip, and their borders to be pulled or moved by keys.
import {say} from "./say.js";
import {timeShort, timeSpoken} from "./times.js";
import {make, put} from "./words.js";

const kSteps = {fine: 0.01, coarse: 0.1, far: 1}, kGripPx = 12;
// Of borders that lie closer than they are wide each has a row of its own: so many are tall enough.
const kRows = 5;

/** Rows for handles whose left edges, sorted, are `lefts`: [row, of how many] each. */
export function rowsOf(lefts) {
  const rows = [];
  for (let from = 0, to; from < lefts.length; from = to) {
    const ends = [];
    for (to = from; to < lefts.length && (to === from || lefts[to] < lefts[to - 1] + 2 * kGripPx); ++to) {
      let row = ends.findIndex((end) => end <= lefts[to]);
      // Denser than that: the row that is nearly free.
      if (row < 0) row = ends.length < kRows ? ends.length : ends.indexOf(Math.min(...ends));
      ends[row] = lefts[to] + 2 * kGripPx;
      rows.push(row);
    }
    for (let i = from; i < to; ++i) rows[i] = [rows[i], ends.length];
  }
  return rows;
}

export class Borders {
  /** `told`: {moved(key), chosen(key)}. */
  constructor(shape, told) {
    this.shape = shape;
    this.told = told;
    this.sections = null;
    this.strip = make("ol", {className: "strip", "aria-label": "Sections in sight"});
    shape.frame.append(this.strip);
    this.handles = new Map();
    shape.addEventListener("view", () => this.draw());
  }

  take(sections) {
    this.sections = sections;
    for (const handle of this.handles.values()) handle.remove();
    this.handles.clear();
    this.drawn = null;
    this.draw();
  }

  draw() {
    const {shape, sections} = this;
    if (!sections) return;
    if (!shape.span) return void this.strip.replaceChildren();
    const inSight = sections.borders().filter((one) => one.at >= shape.from && one.at <= shape.to), keep = new Set();
    for (const border of inSight) {
      const id = `${border.key} ${border.edge}`;
      keep.add(id);
      if (!this.handles.has(id)) this.handles.set(id, this.handle(border.key, border.edge));
      this.place(this.handles.get(id), border);
    }
    this.rows(inSight.map((border) => this.handles.get(`${border.key} ${border.edge}`)));
    for (const [id, handle] of this.handles) {
      if (keep.has(id)) continue;
      handle.remove();
      this.handles.delete(id);
    }
    // In the order of time, for the Tab key; what stands right is not touched.
    inSight.map((border) => this.handles.get(`${border.key} ${border.edge}`)).forEach((handle, i) => {
      if (shape.over.children[i] !== handle) {
        const held = handle === document.activeElement;
        shape.over.insertBefore(handle, shape.over.children[i] || null);
        if (held) handle.focus();
      }
    });
    this.names();
  }

  rows(handles) {
    const left = ({style: {left: at}, classList}) => parseFloat(at) - (classList.contains("at-left") ? 0 : classList.contains("at-right") ? 2 : 1) * kGripPx;
    const sorted = handles.map((handle) => [left(handle), handle]).sort(([a], [b]) => a - b);
    rowsOf(sorted.map(([at]) => at)).forEach(([row, rows], i) => {
      const {style} = sorted[i][1];
      style.setProperty("--row", row);
      style.setProperty("--rows", rows);
    });
  }

  names() {
    const {shape, sections} = this, width = shape.width;
    const items = sections.list.flatMap((one, i) => {
      const left = Math.max(0, shape.x(one.start)), right = Math.min(width, shape.x(Math.min(sections.endOf(i), shape.duration)));
      if (right <= left) return [];
      const mark = [one.biggest && "biggest", one.quietest && "quietest"].filter(Boolean).join(", ");
      const item = make("li", {className: mark ? "marked" : "", text: `${one.name}${mark ? ` (${mark})` : ""}`, title: one.name});
      item.style.left = `${left}px`;
      item.style.width = `${right - left}px`;
      return [item];
    });
    const text = items.map((item) => `${item.textContent} ${item.style.left} ${item.style.width}`).join("\n");
    if (this.drawn === text) return;
    this.drawn = text;
    this.strip.replaceChildren(...items);
  }

  handle(key, edge) {
    const handle = make("div", {className: `border ${edge}`, role: "slider", tabindex: "0", "aria-orientation": "horizontal", "aria-describedby": "border-keys"});
    handle.dataset.border = key;
    handle.addEventListener("keydown", (event) => this.key(event, key, edge));
    handle.addEventListener("focus", () => this.told.chosen(key));
    handle.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      event.preventDefault();
      handle.focus();
      handle.setPointerCapture(event.pointerId);
      this.held = handle;
      this.grip = event.clientX - this.shape.frame.getBoundingClientRect().left - parseFloat(handle.style.left);
    });
    handle.addEventListener("pointermove", (event) => {
      if (this.held !== handle) return;
      this.move(key, edge, this.shape.seconds(event.clientX - this.grip - this.shape.frame.getBoundingClientRect().left));
    });
    for (const end of ["pointerup", "pointercancel"]) handle.addEventListener(end, () => (this.held = null));
    return handle;
  }

  place(handle, {i, edge, at, room}) {
    const x = this.shape.x(at);
    handle.style.left = `${x}px`;
    // Its grip is never cut off by the edge; its line stays where the border is.
    handle.classList.toggle("at-left", x < kGripPx);
    handle.classList.toggle("at-right", x > this.shape.width - kGripPx);
    const {name} = this.sections.list[i], high = Math.min(room[1], this.shape.duration);
    const words = {"aria-label": `${edge === "start" ? "Start" : "End"} of ${name}`, "aria-valuemin": room[0], "aria-valuemax": high, "aria-valuenow": at, "aria-valuetext": timeSpoken(at)};
    for (const [key, value] of Object.entries(words)) if (handle.getAttribute(key) !== String(value)) handle.setAttribute(key, value);
    if (!handle.firstChild) handle.append(make("span", {className: "time"}));
    put(handle.firstChild, timeShort(at));
  }

  key(event, key, edge) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const fine = event.shiftKey ? kSteps.coarse : kSteps.fine;
    const by = {ArrowLeft: -fine, ArrowDown: -fine, ArrowRight: fine, ArrowUp: fine, PageUp: kSteps.far, PageDown: -kSteps.far}[event.key];
    if (by === undefined) return;
    event.preventDefault();
    const one = this.sections.list[this.sections.at(key)];
    this.move(key, edge, (edge === "start" ? one.start : one.end) + by);
    this.shape.reveal(edge === "start" ? one.start : one.end);
  }

  move(key, edge, seconds) {
    const i = this.sections.at(key);
    const before = edge === "start" ? this.sections.list[i].start : this.sections.list[i].end;
    const now = edge === "start" ? this.sections.moveStart(i, seconds) : this.sections.moveEnd(i, Math.min(seconds, this.shape.duration));
    if (now === before) return void (this.held || say(`${timeSpoken(now)}: no further.`));
    this.draw();
    this.told.moved(key);
  }

  /** Shows a border and gives it the keyboard. */
  focus(key, edge = "start") {
    const one = this.sections.list[this.sections.at(key)];
    this.shape.reveal(edge === "start" ? one.start : one.end);
    this.shape.draw();
    this.handles.get(`${key} ${edge}`)?.focus();
  }
}
