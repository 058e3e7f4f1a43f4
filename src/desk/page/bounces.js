// Two bounces: what one does that the other does not, and both to hear, in step and equally loud.
import {get} from "./api.js";
import {Differences, loudnessWords} from "./differences.js";
import {keep, kept} from "./kept.js";
import {Playhead} from "./playhead.js";
import {say} from "./say.js";
import {Shape} from "./shape.js";
import {timeShort} from "./times.js";
import {inOld} from "./two.js";
import {askedAs, keyOf, Walk} from "./walk.js";
import {by, make, plain, put, putName} from "./words.js";

const kHoldMs = 1500;
const kSlots = [["old", "Old"], ["new", "New"]];
const kOthers = "What was compared before was another pair. Press “Compare” for the two that are chosen now; the list below has the ones before.";
const kNothing = "No comparison yet. Choose an old and a new bounce and press “Compare”: what changed then stands here, what did not, and where.";

export class Bounces {
  constructor(desk) {
    this.desk = desk;
    this.chosen = {old: null, new: null};
    this.pair = null;
    // Whether they were chosen by what is shown, or before this page was loaded.
    this.loose = true;
    const root = by("bench-two"), button = (text, act, key, className = "") => {
      const made = make("button", {type: "button", className, "aria-keyshortcuts": key}, text, ...(key ? [" ", make("kbd", {text: key.toUpperCase()})] : []));
      made.addEventListener("click", act);
      return made;
    };
    this.texts = Object.fromEntries(kSlots.map(([slot]) => [slot, make("dd", {id: `two-${slot}`})]));
    this.swap = button("Swap", () => this.turn(), undefined, "small");
    const files = make("div", {});
    this.files = new Walk(files, {label: "Bounces to choose from", kind: "files", went: () => this.watch(), acts: kSlots.map(([slot, word]) => [word, `${word} bounce:`, (entry) => this.choose(slot, entry), (entry) => this.isChosen(slot, entry)]), also: () => this.added()});
    this.judged = make("p", {className: "soft"});
    this.go = button("Compare", () => this.start(), "c", "main");
    this.hearing = make("section", {className: "part compact", "aria-labelledby": "both-name", hidden: ""});
    this.shape = new Shape(this.hearing, "Place in the old bounce", {height: 82, about: "two-keys"});
    this.play = button("Play both from the place", () => this.hear(), "p", "small");
    this.other = button("Hear the other one", () => this.flip(), "v", "small");
    this.which = make("p", {id: "two-which", className: "soft"});
    this.level = make("p", {id: "two-level"});
    this.hearing.prepend(make("h3", {id: "both-name", text: "Hear both, equally loud and in step"}), this.level, make("p", {className: "hidden", id: "two-keys", text: "Arrows move the place, + and − zoom in and out."}));
    const acts = make("div", {className: "line"}, this.play, this.other), about = make("div", {});
    this.differences = new Differences(this.shape, acts, about);
    this.shape.tools.before(acts, this.which, about);
    if (desk.player) this.head = new Playhead(this.shape, desk.player, () => this.placeInOld());
    desk.hear?.addEventListener("places", () => desk.hear.id === this.id && this.differences.places(desk.hear.groups));
    root.append(make("div", {className: "bench-body"},
      make("p", {text: "Choose two bounces of one song: what became of the first in the second is measured, and both play in step."}),
      make("dl", {className: "slots"}, ...kSlots.map(([slot, word]) => make("div", {}, make("dt", {text: word}), this.texts[slot]))), make("div", {className: "line"}, this.swap),
      make("section", {className: "part", "aria-labelledby": "two-files-name"}, make("h3", {id: "two-files-name", text: "In the folder"}), make("p", {className: "soft", text: "Or drop files anywhere on this page."}), files)),
      make("div", {className: "go"}, this.judged, this.go));
    // Beside the list, not over it: it belongs to the sheet that is looked at.
    by("verdicts").before(this.hearing);
    for (const event of ["check", "shown", "gone"]) desk.checks.addEventListener(event, () => this.look());
    desk.brought.onready = (one) => this.dropped(one);
    desk.player?.addEventListener("change", () => this.tell());
    const here = () => desk.shown("two"), both = () => here() && Boolean(this.pair);
    desk.keys([["c", "compare both bounces", () => this.start(), here], ["p", "play both from the place, or stop", () => this.hear(), both], ["v", "hear the other bounce", () => this.flip(), both],
      ["n", "to the next difference", () => this.differences.step(1), both], ["b", "to the difference before", () => this.differences.step(-1), both]]);
    // What was chosen before the page was loaded again, as far as it is still there.
    for (const [slot] of kSlots) this.chosen[slot] = this.again(kept("two")?.[slot]);
    this.draw();
  }

  async show() {
    this.desk.checks.about("two", (check) => check.kind === "compare", kNothing);
    await this.files.again();
    this.watch();
    this.fit();
    this.draw();
    this.look();
  }

  /** An entry that was kept. */
  again(entry) {
    if (!entry || entry.upload === undefined) return entry ?? null;
    return this.added().find((one) => one.upload === entry.upload) ?? null;
  }

  isChosen(slot, entry) {
    return Boolean(this.chosen[slot]) && keyOf(this.chosen[slot]) === keyOf(entry);
  }

  /** The files of a check as entries; nothing where it was not told which they are. */
  pairOf(check) {
    const entries = check?.kind === "compare" ? check.files.map((one) => (one.upload !== undefined ? this.again(one) : one.path !== undefined ? {name: one.name, path: one.path, ...(one.id === undefined ? {} : {id: one.id})} : null)) : [];
    return entries.length === 2 && entries.every(Boolean) ? entries : null;
  }

  isOf(check) {
    const pair = this.pairOf(check);
    return Boolean(pair) && kSlots.every(([slot], i) => this.isChosen(slot, pair[i]));
  }

  /** What is shown is of what is chosen: the newest comparison of these two, else none. Where nothing is chosen, what is shown chooses. */
  fit() {
    const {checks} = this.desk, shown = checks.all.get(checks.shown);
    if (!this.chosen.old && !this.chosen.new) return this.adopt(shown);
    if (this.isOf(shown)) return;
    const [newest] = [...checks.all.values()].filter((check) => this.isOf(check)).sort((a, b) => Number(b.check.slice(1)) - Number(a.check.slice(1)));
    if (newest) checks.show(newest.check);
    else if (shown) checks.aside(kOthers);
  }

  /** A comparison that somebody looks at is of the two that are chosen then. */
  adopt(check) {
    const pair = this.pairOf(check);
    if (!pair || this.isOf(check)) return;
    this.chosen = {old: pair[0], new: pair[1]};
    this.loose = true;
    this.draw();
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

  /** What was dropped while this is shown fills what is free, or what nobody chose by hand. */
  dropped(one) {
    this.files.fill();
    if (!this.desk.shown("two")) return;
    if (this.loose) this.chosen = {old: null, new: null};
    const free = kSlots.find(([slot]) => !this.chosen[slot]), entry = this.added().find(({upload}) => upload === one.upload);
    if (free && entry) this.choose(free[0], entry);
  }

  choose(slot, entry) {
    this.loose = false;
    this.chosen[slot] = entry;
    this.draw();
    this.fit();
    say(`${slot === "old" ? "Old" : "New"}: ${plain(entry.name)}.`);
  }

  turn() {
    this.chosen = {old: this.chosen.new, new: this.chosen.old};
    this.draw();
    this.fit();
    say("Swapped.");
  }

  draw() {
    for (const [slot] of kSlots) putName(this.texts[slot], this.chosen[slot] ? this.chosen[slot].path ?? this.chosen[slot].name : "not chosen yet");
    keep("two", Object.fromEntries(kSlots.map(([slot]) => [slot, this.chosen[slot] && (({name, path, id, upload}) => ({name, path, id, upload}))(this.chosen[slot])])));
    this.files.mark();
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
    if (!this.desk.shown("two")) {
      this.hold(false);
      this.id = null;
      this.hearing.hidden = true;
      return;
    }
    const {checks} = this.desk, id = checks.shown, check = checks.all.get(id);
    if (check) this.adopt(check);
    const done = check?.state === "done" ? id : null;
    if (this.id === done) return;
    this.id = done;
    this.hold(Boolean(done));
    this.pair = null;
    this.hearing.hidden = true;
    this.differences.take(null);
    // Nothing goes on playing that is no longer in sight.
    if (this.desk.player?.state !== "idle" && String(this.desk.player?.request?.key).startsWith("two ") && !this.playing) this.desk.player.stop();
    if (!done) return;
    let pair;
    try {
      pair = await get(`api/checks/${encodeURIComponent(done)}/pair`);
      await this.shape.open({check: done, part: pair.old_part});
    } catch {
      // One of them has no sheet, and the sheet says why.
      if (this.id === done) this.hold(false);
      return;
    }
    if (this.id !== done) return;
    this.pair = pair;
    put(this.level, loudnessWords(pair));
    this.hearing.hidden = false;
    this.hold(false);
    this.differences.take(pair, done);
    if (this.desk.hear?.id === done) this.differences.places(this.desk.hear.groups);
    this.tell();
  }

  /** What stands below waits for it a moment, so that nobody reads what goes down the next one. */
  hold(on) {
    clearTimeout(this.held);
    if (on) this.held = setTimeout(() => this.hold(false), kHoldMs);
    const list = by("verdicts"), below = [list, list.nextElementSibling];
    by("one").classList.toggle("held", on && !below.some((one) => one.contains(document.activeElement)));
  }

  get playing() {
    const {player} = this.desk;
    return Boolean(player && player.state !== "idle" && player.request?.key === `two ${this.id}`);
  }

  /** Where what plays is in the old one; null where nothing of either plays. */
  placeInOld() {
    const {player} = this.desk, {request} = player;
    if (player.state !== "playing" || !this.pair || !this.desk.shown("two")) return null;
    if (request.two) return this.playing ? player.placeIn(0) : null;
    if (request.source.check !== this.id) return null;
    return request.source.part === this.pair.old_part ? player.placeNow() : request.source.part === this.pair.new_part ? inOld(this.pair, player.placeNow()) : null;
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
    put(this.which, `${this.playing ? "You hear" : "You will hear"} the ${first ? "new" : "old"} bounce${gain < -0.05 ? `, turned down by ${(-gain).toFixed(1)} dB to the loudness of the other` : ", which is not turned down"}.`);
    // Whatever plays, it stops.
    this.play.firstChild.data = this.desk.player && this.desk.player.state !== "idle" ? "Stop" : "Play both from the place";
    this.other.firstChild.data = first ? "Hear the old one" : "Hear the new one";
  }
}

const titleOfPair = (check) => check.files.map((one) => one.name).join(" and ");
