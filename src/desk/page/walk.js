// A way through the folders, and what lies in the one where somebody is: audio files, plans or orders, each with what can be done with it.
import {get} from "./api.js";
import {askedAs, keyOf} from "./asked.js";
import {rove} from "./rove.js";
import {say, tell, unsay} from "./say.js";
import {queryOf} from "./sound.js";
import {bytes, make, many, plain, put, putName, when} from "./words.js";

export {askedAs, keyOf};

const kinds = {
  files: {of: (listing) => listing.files, detail: (file) => `${bytes(file.bytes)}, ${when(file.modified)}`, none: "No audio file lies in this folder."},
  plans: {of: (listing) => listing.plans || [], detail: (plan) => plan.title || "", none: "No song plan lies in this folder."},
  orders: {of: (listing) => listing.orders || [], detail: (order) => order.title || "", none: "No order lies in this folder."},
};

export class Walk {
  /** `kind`: "files", "plans" or "orders". `acts`: [[word, what it does in words, (entry, folder), holds(entry)?], …] for each;
   *  `holds` tells whether a button is one that is pressed in. `went(folder)` is told of each folder, {path, id?, name}. `also()`:
   *  further entries, which stand first. */
  constructor(box, {label, kind, acts, went = () => {}, also = () => []}) {
    Object.assign(this, {kind: kinds[kind], acts, went, also});
    this.way = [];
    this.here = {path: ""};
    this.listing = null;
    this.turn = 0;
    this.going = null;
    this.held = new Map();
    this.crumbs = make("nav", {className: "crumbs", "aria-label": `Folder, of ${label}`});
    this.folders = make("ul", {className: "folders", "aria-label": `Folders, of ${label}`});
    this.list = make("ul", {className: "walked", "aria-label": label});
    this.state = make("p", {className: "soft"});
    box.append(this.crumbs, this.folders, this.list, this.state);
    this.roving = [rove(this.crumbs, "button"), rove(this.folders, "button"), rove(this.list, "button")];
  }

  get query() {
    return queryOf(this.here);
  }

  /** Reads where it stands, the first time or anew, unless a folder is being read: that is new enough, and may be another. */
  again() {
    return this.going || this.go(this.here, this.way, false);
  }

  go(entry, way, focus = true) {
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
      if (error.status === 404 && way.length) return this.read(way[way.length - 1], way.slice(0, -1), focus);
      if (error.code !== "gone" && error.code !== "other") {
        this.lost = keyOf(entry);
        tell("folder", error.message);
      }
      return;
    }
    if (turn !== this.turn) return;
    if (this.lost === keyOf(entry)) {
      this.lost = null;
      unsay("folder");
    }
    const other = !this.listing || keyOf(entry) !== keyOf(this.here);
    Object.assign(this, {listing, here: entry, way});
    this.draw(focus);
    if (other) this.went(entry);
    if (focus) say(`${plain(entry.name ?? "The opened folder")}: ${many(this.kind.of(listing).length, "entry", "entries")}, ${many(listing.folders.length, "folder", "folders")}.`);
  }

  /** Where something in this folder changed. */
  changed(path) {
    if (this.listing && (path === undefined || path === this.here.path)) this.again();
  }

  draw(focus) {
    const held = document.activeElement, within = [this.crumbs, this.folders, this.list].find((one) => one.contains(held));
    const way = (entry, above, current) => {
      const button = make("button", {type: "button", className: "way", text: entry.name ?? "The opened folder", "aria-current": current ? "true" : undefined});
      button.addEventListener("click", () => this.go(entry, above));
      return button;
    };
    const crumbs = [...this.way, this.here].flatMap((entry, i, all) => [...(i ? [make("span", {text: "/", "aria-hidden": "true"})] : []), way(entry, all.slice(0, i), i === all.length - 1)]);
    this.crumbs.replaceChildren(...crumbs);
    this.folders.replaceChildren(...this.listing.folders.map((folder) => make("li", {}, way(folder, [...this.way, this.here], false))));
    this.folders.hidden = !this.listing.folders.length;
    this.fill();
    if (focus || (within && !document.contains(held))) this.focus();
  }

  /** The entries alone: where what stands first changed. */
  fill() {
    if (!this.listing) return;
    const entries = [...this.also(), ...this.kind.of(this.listing)];
    const held = this.list.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    this.held = new Map();
    this.list.replaceChildren(...entries.map((entry) => this.row(entry)));
    this.mark();
    this.list.hidden = !entries.length;
    put(this.state, entries.length ? "" : this.kind.none);
    this.state.hidden = entries.length > 0;
    this.roving.forEach((one) => one.refresh());
    if (held) [...this.list.querySelectorAll("button")].find((one) => one.dataset.key === held)?.focus();
  }

  /** Which buttons are pressed in, after that changed. */
  mark() {
    for (const [button, holds] of this.held) button.setAttribute("aria-pressed", String(holds()));
  }

  row(entry) {
    const name = make("span", {className: "name"}), detail = make("span", {className: "soft detail", text: entry.detail ?? this.kind.detail(entry)});
    putName(name, entry.name);
    const buttons = this.acts.map(([word, does, act, holds]) => {
      const button = make("button", {type: "button", className: "small", tabindex: "-1", text: word, "aria-label": `${does} ${plain(entry.name)}`});
      button.dataset.key = `${word} ${entry.key ?? keyOf(entry)}`;
      button.addEventListener("click", () => act(entry, this.here));
      if (holds) this.held.set(button, () => holds(entry));
      return button;
    });
    return make("li", {}, make("span", {className: "doing"}, ...buttons), name, detail);
  }

  focus() {
    (this.list.querySelector("button") || this.folders.querySelector("button") || this.crumbs.querySelector("button:last-of-type"))?.focus();
  }
}
