// The files of the folder, and the way into its folders.
import {get} from "./api.js";
import {Picklist} from "./picklist.js";
import {rove} from "./rove.js";
import {say, tell, unsay} from "./say.js";
import {by, bytes, make, many, plain, put, when} from "./words.js";

// A file whose name is no text has an id in the place of a path.
const keyOf = (file) => (file.path !== undefined && file.path !== null ? `path:${file.path}` : `id:${file.id}`);
// What changes when a file is written again.
const stampOf = (file) => `${file.bytes} ${file.modified}`;
const askedAs = (file) => (file.path !== undefined && file.path !== null ? {path: file.path} : {id: file.id});

export class Folder {
  /** `told`: {changed(), enter(), went(path)}. */
  constructor(chosen, told) {
    this.chosen = chosen;
    this.told = told;
    this.path = "";
    this.top = "";
    this.files = [];
    this.seen = null;
    this.fresh = new Map();
    // What came of files here, as long as they stay as they were: key → {stamp, verdict}.
    this.verdicts = new Map();
    this.turn = 0;
    this.list = new Picklist(by("folder-list"), "Audio files in this folder", chosen, {changed: told.changed, enter: told.enter});
    this.folders = rove(by("folders"), "button");
    this.crumbs = rove(by("crumbs"), "button");
    by("order").addEventListener("change", () => this.draw());
    by("check-fresh").addEventListener("click", () => told.fresh());
  }

  /** Shows a folder. `focus`: the keyboard goes along. */
  async go(path, {focus = false} = {}) {
    const turn = ++this.turn;
    let listing;
    try {
      listing = await get(`api/folder?path=${encodeURIComponent(path)}`);
    } catch (error) {
      if (turn !== this.turn) return;
      if (error.code !== "gone" && error.code !== "other") tell("folder", error.message);
      // The folder itself may be what is gone.
      if (error.status === 404 && path) await this.go(path.split("/").slice(0, -1).join("/"), {focus});
      return;
    }
    if (turn !== this.turn) return;
    unsay("folder");
    const other = listing.path !== this.path || this.seen === null;
    this.path = listing.path;
    this.files = listing.files;
    this.leftOff = listing.left_off || 0;
    this.note(other);
    if (other) {
      this.fresh.clear();
      this.ways(listing.folders);
      this.told.went(this.path);
    } else {
      this.ways(listing.folders);
    }
    this.draw();
    if (other) by("folder-list").scrollTop = 0;
    if (focus) this.settle();
    if (focus || other) say(`${this.name()}: ${many(this.files.length, "audio file", "audio files")}, ${many(listing.folders.length, "folder", "folders")}.`);
  }

  again() {
    return this.go(this.path);
  }

  up() {
    if (this.path) this.go(this.path.split("/").slice(0, -1).join("/"), {focus: true});
  }

  name() {
    return this.path ? this.path.split("/").pop() : this.top;
  }

  settle() {
    if (this.files.length) this.list.focus();
    else (by("folders").querySelector("button") || by("crumbs").querySelector("button:last-of-type") || by("files")).focus();
  }

  /** Which files came, or were written again, since the folder was opened. */
  note(other) {
    const now = new Map(this.files.map((file) => [keyOf(file), stampOf(file)]));
    if (!other) {
      const came = this.files.filter((file) => this.seen.get(keyOf(file)) !== now.get(keyOf(file)));
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
    this.list.update(this.items());
    by("folder-list").hidden = !this.files.length;
    put(by("folder-state"), this.leftOff ? `${many(this.leftOff, "more entry is", "more entries are")} not shown: a list ends at 2000. Move what is done with into a folder of its own.`
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
    const way = (name, path, current) => {
      const button = make("button", {type: "button", className: "way", text: name, "aria-current": current ? "true" : undefined});
      button.addEventListener("click", () => this.go(path, {focus: true}));
      return button;
    };
    const parts = this.path ? this.path.split("/") : [];
    const crumbs = [way(this.top || "This folder", "", !parts.length)];
    parts.forEach((part, i) => crumbs.push(make("span", {text: "/", "aria-hidden": "true"}), way(part, parts.slice(0, i + 1).join("/"), i === parts.length - 1)));
    if (parts.length) {
      const up = make("button", {type: "button", className: "small up", "aria-keyshortcuts": "u"}, "Up ", make("kbd", {text: "U"}));
      up.addEventListener("click", () => this.up());
      crumbs.push(up);
    }
    const names = folders.map((folder) => folder.path).join("\n");
    if (this.drawn === `${this.path}\n${this.top}\n${names}`) return;
    this.drawn = `${this.path}\n${this.top}\n${names}`;
    by("crumbs").replaceChildren(...crumbs);
    by("folders").replaceChildren(...folders.map((folder) => make("li", {}, way(folder.name, folder.path, false))));
    by("folders").hidden = !folders.length;
    this.crumbs.refresh();
    this.folders.refresh();
    if (held && !document.contains(document.activeElement)) this.settle();
  }
}
