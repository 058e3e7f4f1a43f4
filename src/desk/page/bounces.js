// Two bounces: what one does that the other does not, and both to hear, in step and equally loud.
import {get} from "./api.js";
import {say} from "./say.js";
import {Shape} from "./shape.js";
import {timeShort} from "./times.js";
import {askedAs, keyOf, Walk} from "./walk.js";
import {by, make, plain, put} from "./words.js";

const kSlots = [["old", "Old"], ["new", "New"]];
const kNothing = "No comparison yet. Choose an old and a new bounce and press “Compare”: what changed then stands here, what did not, and where.";

export class Bounces {
  constructor(desk) {
    this.desk = desk;
    this.chosen = {old: null, new: null};
    this.pair = null;
    const root = by("bench-two"), button = (text, act, key, className = "") => {
      const made = make("button", {type: "button", className, "aria-keyshortcuts": key}, text, ...(key ? [" ", make("kbd", {text: key.toUpperCase()})] : []));
      made.addEventListener("click", act);
      return made;
    };
    this.texts = Object.fromEntries(kSlots.map(([slot]) => [slot, make("dd", {id: `two-${slot}`})]));
    this.swap = button("Swap", () => this.turn(), undefined, "small");
    const files = make("div", {});
    this.files = new Walk(files, {label: "Bounces to choose from", kind: "files", went: () => this.watch(), acts: kSlots.map(([slot, word]) => [word, `${word} bounce:`, (entry) => this.choose(slot, entry)]), also: () => this.added()});
    this.judged = make("p", {className: "soft"});
    this.go = button("Compare", () => this.start(), "c", "main");
    this.hearing = make("section", {className: "part compact", "aria-labelledby": "both-name", hidden: ""});
    this.shape = new Shape(this.hearing, "Place in the old bounce", {height: 82, about: "two-keys"});
    this.play = button("Play both from the place", () => this.hear(), "p", "small");
    this.other = button("Hear the other one", () => this.flip(), "v", "small");
    this.which = make("p", {id: "two-which", className: "soft"});
    this.hearing.prepend(make("h3", {id: "both-name", text: "Hear both, equally loud and in step"}), make("p", {className: "hidden", id: "two-keys", text: "Arrows move the place, + and − come closer and go farther."}));
    this.hearing.append(make("div", {className: "line"}, this.play, this.other), this.which);
    root.append(make("div", {className: "bench-body"},
      make("p", {text: "Choose two bounces of one song: what became of the first in the second is measured, and both play in step."}),
      make("dl", {className: "slots"}, ...kSlots.map(([slot, word]) => make("div", {}, make("dt", {text: word}), this.texts[slot]))), make("div", {className: "line"}, this.swap),
      make("section", {className: "part", "aria-labelledby": "two-files-name"}, make("h3", {id: "two-files-name", text: "In the folder"}), make("p", {className: "soft", text: "Or drop files anywhere on this page."}), files)),
      this.hearing, make("div", {className: "go"}, this.judged, this.go));
    for (const event of ["check", "shown", "gone"]) desk.checks.addEventListener(event, () => this.look());
    desk.brought.onready = () => this.dropped();
    desk.player?.addEventListener("change", () => this.tell());
    const here = () => desk.shown("two"), both = () => here() && Boolean(this.pair);
    desk.keys([["c", "compare both bounces", () => this.start(), here], ["p", "play both from the place, or stop", () => this.hear(), both], ["v", "hear the other bounce", () => this.flip(), both]]);
    this.draw();
  }

  async show() {
    this.desk.checks.about("two", (check) => check.kind === "compare", kNothing);
    await this.files.again();
    this.watch();
    this.draw();
    this.look();
  }

  watch() {
    if (this.desk.shown("two")) this.desk.link.watch(this.files.query);
  }

  fresh() {
    return this.files.again();
  }

  folder({path}) {
    this.files.changed(path);
  }

  added() {
    return [...this.desk.brought.all.values()].filter((one) => one.upload).map((one) => ({name: one.name, upload: one.upload, key: one.key, detail: "added by you", item: one}));
  }

  /** What was dropped while this is shown fills what is free. */
  dropped() {
    this.files.fill();
    if (!this.desk.shown("two")) return;
    for (const entry of this.added()) {
      if (kSlots.some(([slot]) => this.chosen[slot]?.upload === entry.upload)) continue;
      const free = kSlots.find(([slot]) => !this.chosen[slot]);
      if (free) this.choose(free[0], entry);
    }
  }

  choose(slot, entry) {
    this.chosen[slot] = entry;
    this.draw();
    say(`${slot === "old" ? "Old" : "New"}: ${plain(entry.name)}.`);
  }

  turn() {
    this.chosen = {old: this.chosen.new, new: this.chosen.old};
    this.draw();
    say("Swapped.");
  }

  draw() {
    for (const [slot] of kSlots) put(this.texts[slot], this.chosen[slot] ? this.chosen[slot].path ?? this.chosen[slot].name : "not chosen yet");
    const titles = this.desk.rules.titles();
    put(this.judged, titles.length ? `Each is also judged as ${titles.join("; ")}, as chosen under Files.` : "");
    this.go.setAttribute("aria-disabled", String(!this.chosen.old || !this.chosen.new));
    this.swap.setAttribute("aria-disabled", String(!this.chosen.old && !this.chosen.new));
  }

  async start() {
    const items = kSlots.map(([slot]) => this.chosen[slot]);
    if (!items.every(Boolean)) {
      this.files.focus();
      return say(`Choose the ${items[0] ? "new" : "old"} bounce first.`);
    }
    if (items[0].upload === undefined && items[1].upload === undefined && keyOf(items[0]) === keyOf(items[1])) return say("Both are the same file.");
    const names = this.desk.rules.chosen();
    await this.desk.checks.order({compare: items.map(askedAs), rules: names}, {items: items.map((one) => one.item || one), names, words: "Comparing two bounces."});
  }

  /** The comparison that is shown: whether both can be heard. */
  async look() {
    if (!this.desk.shown("two")) return;
    const {checks} = this.desk, id = checks.shown, check = checks.all.get(id);
    const done = check?.state === "done" ? id : null;
    if (this.id === done) return;
    this.id = done;
    this.pair = null;
    this.hearing.hidden = true;
    if (!done) return;
    let pair;
    try {
      pair = await get(`api/checks/${encodeURIComponent(done)}/pair`);
      await this.shape.open({check: done, part: pair.old_part});
    } catch {
      // One of them has no sheet, and the sheet says why.
      return;
    }
    if (this.id !== done) return;
    this.pair = pair;
    this.hearing.hidden = false;
    this.tell();
  }

  get playing() {
    const {player} = this.desk;
    return Boolean(player && player.state !== "idle" && player.request?.key === `two ${this.id}`);
  }

  hear() {
    const {player} = this.desk;
    if (!player || !this.pair) return say("This program cannot play sound.");
    // Whatever plays, a place of the sheet too: the key that starts is the one that stops.
    if (player.state !== "idle") return player.stop();
    const {old_part: older, new_part: newer} = this.pair, name = titleOfPair(this.desk.checks.all.get(this.id));
    player.play({two: {older: {check: this.id, part: older}, newer: {check: this.id, part: newer}, pair: this.pair, first: this.first ?? 0}, name, place: `from ${timeShort(this.shape.at)}`, from_s: this.shape.at, to_s: this.shape.duration, way: "as-it-is", key: `two ${this.id}`});
  }

  /** The other one, from the same place on. */
  flip() {
    this.first = this.first === 1 ? 0 : 1;
    if (this.desk.player?.state === "playing" && this.desk.player.request?.two) this.desk.player.hear(this.first);
    this.tell();
    say(this.first ? "The new bounce." : "The old bounce.");
  }

  tell() {
    if (!this.pair) return;
    const first = this.playing && this.desk.player.lanes ? this.desk.player.lanes.heard : this.first ?? 0, gain = first ? this.pair.new_gain_db : this.pair.old_gain_db;
    this.first = first;
    put(this.which, `${this.playing ? "You hear" : "You will hear"} the ${first ? "new" : "old"} bounce${gain < -0.05 ? `, turned down by ${(-gain).toFixed(1)} dB to the loudness of the other` : ", as loud as it is"}.`);
    this.play.firstChild.data = this.playing ? "Stop" : "Play both from the place";
    this.other.firstChild.data = first ? "Hear the old one" : "Hear the new one";
  }
}

const titleOfPair = (check) => check.files.map((one) => one.name).join(" and ");
