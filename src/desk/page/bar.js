// The bar at the foot of the page: what sounds, where it is, in which way, how loud, and for how long something was played.
import {say} from "./say.js";
import {timeText} from "./times.js";
import {aloneWords, sentence, waysAlone} from "./ways.js";
import {by, make, put} from "./words.js";

const kFirstDb = -20, kLitMs = 1500;

export class Bar {
  /** `player`: what sounds, and is told what somebody does here: {request, state, way, about, allDb, known, counted, toggle(), listen(name), turn()}. */
  constructor(player) {
    this.player = player;
    this.lit = null;
    by("play").addEventListener("click", () => player.toggle());
    by("listen-as").addEventListener("change", () => player.listen(by("listen-as").value));
    // Browsers keep what was set before a page was loaded again; every page starts low.
    by("level").value = String(kFirstDb);
    by("level").addEventListener("input", () => player.turn());
    by("player-more").addEventListener("click", () => this.unfold());
    new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${by("player").offsetHeight}px`)).observe(by("player"));
  }

  /** What the program says before anything is played: api/state. */
  know({caution = "", cautions = []}) {
    // What to do stands in sight; by which figures, one press away.
    put(by("player-caution"), caution);
    put(by("player-cautions"), cautions.map(({text, source}) => (source ? `${text} [${source}]` : text)).join(" "));
    by("player-about").hidden = !cautions.length;
  }

  /** At most 0. */
  get db() {
    return Math.min(0, Number(by("level").value));
  }

  /** What is heard, in words. */
  get heard() {
    return by("heard").textContent;
  }

  draw() {
    const {request, state, way, about, allDb} = this.player, label = by("play").firstChild, text = state === "idle" ? "Play " : "Stop ";
    if (label.data !== text) label.data = text;
    by("play").setAttribute("aria-disabled", String(!request));
    by("player").classList.toggle("playing", state === "playing");
    by("player").classList.toggle("requested", Boolean(request));
    this.what(request ? `${request.name}, ${request.place}` : "Nothing plays. Press a place of a sheet.");
    if (state === "opening") put(by("at"), "…");
    else if (state === "idle") put(by("at"), "");
    put(by("heard"), sentence(this.words(way), way, about, allDb));
    this.count();
    this.ways();
    put(by("level-text"), `${String(this.db).replace("-", "\u2212")} dB`);
  }

  what(text) {
    put(by("what"), text);
  }

  /** Second of the file that is heard. */
  at(seconds) {
    put(by("at"), timeText(seconds, 1));
  }

  words(name) {
    return this.player.known.ways.find((way) => way.name === name)?.words ?? aloneWords(name) ?? name;
  }

  /** The ways there are for what plays; the one that is asked for stands among them before that is known. */
  ways() {
    const {known, about, way: chosen} = this.player, ways = [...known.ways, ...waysAlone(about)];
    if (!ways.some((way) => way.name === chosen)) ways.push({name: chosen, words: this.words(chosen)});
    const names = ways.map((way) => way.name).join(" ");
    if (this.drawn !== names) by("listen-as").replaceChildren(...ways.map((way) => make("option", {value: way.name, text: way.name === "quiet" ? `${way.words}, by ${known.quiet_db} dB` : way.words})));
    this.drawn = names;
    by("listen-as").value = chosen;
  }

  /** How long something was played. */
  count() {
    const {exposure, seconds, time, rest, text} = this.player.counted ?? {}, source = exposure?.source;
    // The first of it is told to the program while it sounds.
    put(by("played"), this.player.state !== "idle" && !(seconds > 0) ? "What plays now is being counted." : exposure ? `${text ?? ""}${source ? ` [${source}]` : ""}` : time ?? "");
    // Why there is no estimate is one press away.
    put(by("player-without"), exposure ? "" : rest ?? "");
  }

  /** The guard turns down, by so many decibels. */
  acts(db) {
    const lamp = by("guard");
    if (!this.lit) say("The peak guard turns down.");
    clearTimeout(this.lit);
    lamp.classList.add("lit");
    put(by("guard-text"), `Peak guard: acts, ${Math.max(0.1, db).toFixed(1)} dB down`);
    this.lit = setTimeout(() => {
      lamp.classList.remove("lit");
      put(by("guard-text"), "Peak guard: at rest");
      this.lit = null;
    }, kLitMs);
  }

  unfold() {
    const open = by("player").classList.toggle("open");
    by("player-more").setAttribute("aria-expanded", String(open));
  }

  /** There is something to play: from now on it is there on small screens, too. */
  want() {
    by("player").classList.add("wanted");
  }

  toWays() {
    this.want();
    if (!by("player").classList.contains("open") && by("player-more").checkVisibility()) this.unfold();
    by("listen-as").focus();
  }
}
