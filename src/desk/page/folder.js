// The files of the folder, and the way into its folders.
import {get} from "./api.js";
import {askedAs, keyOf} from "./asked.js";
import {Picklist} from "./picklist.js";
import {rove} from "./rove.js";
import {say, tell, unsay} from "./say.js";
import {queryOf} from "./sound.js";
import {by, bytes, make, many, plain, put, when} from "./words.js";

// What changes when a file is written again.
const stampOf = (file) => `${file.bytes} ${file.modified}`;

export class Folder {
  /** `told`: {changed(), enter(), went(query), fresh()}. */
  constructor(chosen, told) {
    this.chosen = chosen;
    this.told = told;
    // Where we are: {path, id?}, and the folders on the way there.
    this.here = {path: ""};
    this.way = [];
    this.top = "";
    this.files = [];
    this.seen = null;
    this.fresh = new Map();
    // What came of files here, as long as they stay as they were: key → {stamp, verdict}.
    this.verdicts = new Map();
    this.turn = 0;
    this.going = null;
    this.list = new Picklist(by("folder-list"), "Audio files in this folder", chosen, {changed: told.changed, enter: told.enter});
    this.folders = rove(by("folders"), "button");
    this.crumbs = rove(by("crumbs"), "button");
    by("order").addEventListener("change", () => this.draw());
    by("check-fresh").addEventListener("click", () => told.fresh());
  }

  get path() {
    return this.here.path;
  }

  /** Shows a folder, {path, id?}. `way`: those above it. `focus`: the keyboard goes along. */
  go(entry, way, {focus = false} = {}) {
    const going = this.read(entry, way, focus).finally(() => {
      if (this.going === going) this.going = null;
    });
    this.going = going;
    return going;
  }

  async read(entry, way, focus) {
    const turn = ++this.turn;
    let listing;
    try {
      listing = await get(`api/folder?${queryOf(entry)}`);
    } catch (error) {
      if (turn !== this.turn) return;
      if (error.code !== "gone" && error.code !== "other") {
        this.lost = keyOf(entry);
        tell("folder", error.message);
      }
      // The folder itself may be what is gone.
      if (error.status === 404 && way.length) await this.read(way[way.length - 1], way.slice(0, -1), focus);
      return;
    }
    if (turn !== this.turn) return;
    // The folder above one that is gone does not say that this is back.
    if (focus || this.lost === keyOf(entry)) {
      this.lost = null;
      unsay("folder");
    }
    const other = this.seen === null || keyOf(entry) !== keyOf(this.here);
    this.here = entry;
    this.way = way;
    this.files = listing.files;
    this.leftOff = listing.left_off || 0;
    this.note(other);
    if (other) {
      this.fresh.clear();
      this.told.went(queryOf(entry));
    }
    this.ways(listing.folders);
    this.draw();
    if (other) this.list.box.scrollTop = 0;
    if (focus) this.settle();
    if (focus) say(`${plain(this.name())}: ${many(this.files.length, "audio file", "audio files")}, ${many(listing.folders.length, "folder", "folders")}.`);
  }

  /** Reads the folder anew, unless one is being read: that is new enough, and may be another. */
  again() {
    return this.going || this.go(this.here, this.way);
  }

  up() {
    if (this.way.length) this.go(this.way[this.way.length - 1], this.way.slice(0, -1), {focus: true});
  }

  name() {
    return this.way.length ? this.here.name : this.top;
  }

  settle() {
    if (this.files.length) this.list.focus();
    else (by("folders").querySelector("button") || by("crumbs").querySelector("button:last-of-type") || by("files")).focus();
  }

  /** Which files came, or were written again, since the folder was opened. */
  note(other) {
    const now = new Map(this.files.map((file) => [keyOf(file), stampOf(file)]));
    if (!other) {
      // A file that is being written changes many times; it is news once.
      const came = this.files.filter((file) => this.seen.get(keyOf(file)) !== now.get(keyOf(file)) && !this.fresh.has(keyOf(file)));
      for (const file of came) this.fresh.set(keyOf(file), this.seen.has(keyOf(file)) ? "written again" : "new");
      if (came.length) say(`New in this folder: ${came.length > 3 ? many(came.length, "file", "files") : came.map((file) => plain(file.name)).join(", ")}.`);
      for (const key of this.fresh.keys()) if (!now.has(key)) this.fresh.delete(key);
      // What is gone from here cannot be checked.
      for (const key of this.seen.keys()) if (!now.has(key) && this.chosen.delete(key)) this.told.changed();
    }
    this.seen = now;
  }

  /** The new files as items. */
  newItems() {
    return this.items().filter((item) => this.fresh.has(item.key));
  }

  judged(item, verdict) {
    this.verdicts.set(item.key, {stamp: item.stamp, verdict});
  }

  /** These are being checked: they are new no longer. */
  checked(items) {
    let changed = false;
    for (const item of items) changed = this.fresh.delete(item.key) || changed;
    if (changed) this.draw();
  }

  items() {
    const files = [...this.files];
    // ISO 8601 times sort as text.
    if (by("order").value === "newest") files.sort((a, b) => (a.modified < b.modified ? 1 : a.modified > b.modified ? -1 : 0));
    return files.map((file) => ({
      key: keyOf(file),
      name: file.name,
      asked: askedAs(file),
      detail: `${bytes(file.bytes)}, ${when(file.modified)}`,
      tag: this.fresh.get(keyOf(file)) || "",
      fresh: this.fresh.has(keyOf(file)),
      stamp: stampOf(file),
      verdict: this.verdicts.get(keyOf(file))?.stamp === stampOf(file) ? this.verdicts.get(keyOf(file)).verdict : "",
      folder: this.path,
    }));
  }

  draw() {
    const items = this.items();
    // What was chosen before the page was loaded again is known by its name only.
    for (const item of items) if (this.chosen.get(item.key)?.stamp === undefined && this.chosen.has(item.key)) this.chosen.set(item.key, item);
    this.list.update(items);
    by("folder-list").hidden = !this.files.length;
    put(by("folder-state"), this.leftOff ? `${many(this.leftOff, "more entry is", "more entries are")} not shown: a list ends at 2000, and what has a backslash in its name cannot be chosen here. Move what is done with into a folder of its own.`
      : this.files.length ? "" : "No audio file lies in this folder. Bounces that are saved here appear by themselves.");
    const names = [...this.fresh.keys()].map((key) => this.files.find((file) => keyOf(file) === key)?.name ?? "");
    put(by("fresh-text"), names.length ? `New: ${names.slice(0, 3).join(", ")}${names.length > 3 ? ` and ${names.length - 3} more` : ""}` : this.files.length ? "New bounces in this folder appear by themselves." : "");
    by("fresh").classList.toggle("some", names.length > 0);
    const button = by("check-fresh");
    if (!names.length && document.activeElement === button) by("check").focus();
    button.hidden = !names.length;
  }

  ways(folders) {
    const held = document.activeElement?.closest?.("#crumbs, #folders");
    const button = (entry, way, current) => {
      const made = make("button", {type: "button", className: "way", text: entry.name ?? (this.top || "This folder"), "aria-current": current ? "true" : undefined});
      made.addEventListener("click", () => this.go(entry, way, {focus: true}));
      return made;
    };
    const names = [this.top, keyOf(this.here), ...folders.map(keyOf)].join("\n");
    if (this.drawn === names) return;
    this.drawn = names;
    const crumbs = [];
    [...this.way, this.here].forEach((entry, i, all) => {
      if (i) crumbs.push(make("span", {text: "/", "aria-hidden": "true"}));
      crumbs.push(button(entry, all.slice(0, i), i === all.length - 1));
    });
    if (this.way.length) {
      const up = make("button", {type: "button", className: "small up", "aria-keyshortcuts": "u"}, "Up ", make("kbd", {text: "U"}));
      up.addEventListener("click", () => this.up());
      crumbs.push(up);
    }
    by("crumbs").replaceChildren(...crumbs);
    by("folders").replaceChildren(...folders.map((folder) => make("li", {}, button(folder, [...this.way, this.here], false))));
    by("folders").hidden = !folders.length;
    this.crumbs.refresh();
    this.folders.refresh();
    if (held && !document.contains(document.activeElement)) this.settle();
  }
}
