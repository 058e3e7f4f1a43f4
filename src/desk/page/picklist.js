// A list of files of which any number can be chosen: one stop for the Tab key, arrows inside.
import {make, put, putName, verdictWord} from "./words.js";

let count = 0;

/**
 * Items: {key, name, detail, tag, verdict, bad, fresh}; `verdict` shows where there is no `tag`. `chosen`
 * is a Map of key to item that the lists of the page share.
 * `told`: {changed(), enter(), remove(key)?}.
 */
export class Picklist {
  constructor(box, label, chosen, told) {
    this.chosen = chosen;
    this.told = told;
    this.rows = new Map();
    this.items = [];
    this.at = null;
    this.anchor = null;
    this.prefix = `pick-${++count}-`;
    this.ids = 0;
    this.box = make("ul", {className: "picks", role: "listbox", "aria-multiselectable": "true", "aria-label": label, tabindex: "0"});
    box.append(this.box);
    this.box.addEventListener("keydown", (event) => this.key(event));
    this.box.addEventListener("click", (event) => this.click(event));
    // Shift and a click would mark the text in between.
    this.box.addEventListener("mousedown", (event) => event.shiftKey && event.preventDefault());
    this.box.addEventListener("focus", () => this.move(this.at ?? this.items[0]?.key, false));
  }

  focus() {
    this.box.focus();
  }

  update(items) {
    this.items = items;
    const rows = new Map();
    let before = null;
    for (const item of items) {
      const row = this.rows.get(item.key) || this.row(item);
      this.draw(row, item);
      rows.set(item.key, row);
      // Rows that stay where they are are not touched: touching them would end a reader's sentence.
      const next = before ? before.nextSibling : this.box.firstChild;
      if (next !== row.li) this.box.insertBefore(row.li, next);
      before = row.li;
    }
    for (const [key, row] of this.rows) if (!rows.has(key)) row.li.remove();
    this.rows = rows;
    if (!rows.has(this.at)) this.at = null;
    if (!rows.has(this.anchor)) this.anchor = null;
    this.box.tabIndex = items.length ? 0 : -1;
    this.show();
  }

  row(item) {
    const name = make("span", {className: "name"}), tag = make("span", {className: "tag"}), detail = make("span", {className: "soft detail"});
    const li = make("li", {role: "option", id: this.prefix + ++this.ids}, make("span", {className: "tick", "aria-hidden": "true"}), name, tag, detail);
    li.dataset.key = item.key;
    return {li, name, tag, detail};
  }

  draw(row, item) {
    putName(row.name, item.name);
    put(row.tag, item.tag || verdictWord(item.verdict));
    row.tag.className = `tag ${item.tag ? "" : item.verdict || ""}`;
    put(row.detail, item.detail || "");
    row.li.classList.toggle("bad", Boolean(item.bad));
    row.li.classList.toggle("fresh-row", Boolean(item.fresh));
  }

  /** Marks what is chosen, after it changed elsewhere. */
  show() {
    for (const [key, row] of this.rows) {
      const on = String(this.chosen.has(key));
      if (row.li.getAttribute("aria-selected") !== on) row.li.setAttribute("aria-selected", on);
      row.li.classList.toggle("at", key === this.at);
    }
    const row = this.rows.get(this.at);
    if (row) this.box.setAttribute("aria-activedescendant", row.li.id);
    else this.box.removeAttribute("aria-activedescendant");
  }

  move(key, scroll = true) {
    if (key === undefined || !this.rows.has(key)) return;
    this.at = key;
    this.show();
    if (scroll) this.rows.get(key).li.scrollIntoView({block: "nearest"});
  }

  set(item, on) {
    if (item.bad) return;
    if (on) this.chosen.set(item.key, item);
    else this.chosen.delete(item.key);
  }

  all(on) {
    for (const item of this.items) this.set(item, on);
    this.changed();
  }

  /** From where the last choice was made to `key`, all. */
  reach(key) {
    const places = [this.anchor ?? this.items[0].key, key].map((one) => this.items.findIndex((item) => item.key === one)).sort((a, b) => a - b);
    for (const item of this.items.slice(places[0], places[1] + 1)) this.set(item, true);
    this.changed();
  }

  toggle(key) {
    const item = this.items.find((one) => one.key === key);
    if (!item) return;
    this.anchor = key;
    this.set(item, !this.chosen.has(key));
    this.changed();
  }

  changed() {
    this.show();
    this.told.changed();
  }

  click(event) {
    const li = event.target.closest("[role=option]");
    if (!li) return;
    this.move(li.dataset.key, false);
    if (event.shiftKey) this.reach(li.dataset.key);
    else this.toggle(li.dataset.key);
  }

  key(event) {
    if (!this.items.length || event.altKey) return;
    const place = Math.max(0, this.items.findIndex((item) => item.key === this.at)), last = this.items.length - 1;
    const control = event.ctrlKey || event.metaKey;
    const to = {ArrowDown: place + 1, ArrowUp: place - 1, Home: 0, End: last, PageDown: place + 10, PageUp: place - 10}[event.key];
    if (to !== undefined && !control) {
      const key = this.items[Math.max(0, Math.min(last, to))].key;
      if (event.shiftKey) {
        this.anchor ??= this.at;
        this.move(key);
        this.reach(key);
      } else {
        this.move(key);
      }
    } else if (event.key === " " && !control) {
      if (event.shiftKey) this.reach(this.at);
      else this.toggle(this.at);
    } else if (event.key === "Enter" && !control) {
      if (!this.chosen.size) this.toggle(this.at);
      this.told.enter();
    } else if (event.key === "Delete" && this.told.remove && !control) {
      const next = this.items[place + 1] || this.items[place - 1];
      const gone = this.at;
      this.at = next ? next.key : null;
      this.told.remove(gone);
    } else if (event.key.toLowerCase() === "a" && control) {
      this.all(true);
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  }
}
