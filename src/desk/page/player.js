// What sounds: one place of one file, or two bounces in step, in a way to listen, at a level, behind the peak guard. And the bar at
// the foot of the page that tells so.
import {ask, get} from "./api.js";
import {Chain, layOut} from "./chain.js";
import {say, tell, unsay} from "./say.js";
import {openSound} from "./sound.js";
import {aboutOfTwo, lanesOfTwo, rateOfTwo} from "./two.js";
import {aloneWords, hasWay, isWay, sentence, wayDb, waysAlone} from "./ways.js";
import {by, make, put} from "./words.js";

const kAsItIs = "as-it-is", kFirstDb = -20, kTickMs = 100, kAheadS = 9, kLookS = 1, kReportS = 10, kLitMs = 1500, kWakeMs = 3000, kRestMs = 5000, kSettleMs = 30;

/** "0:41.203" */
export function timeText(seconds, decimals = 3) {
  const fine = 10 ** decimals, all = Math.round(Math.max(0, seconds) * fine) / fine, minutes = Math.floor(all / 60);
  return `${minutes}:${(all - 60 * minutes).toFixed(decimals).padStart(decimals ? 3 + decimals : 2, "0")}`;
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

function contextAt(rate) {
  try {
    return new AudioContext({sampleRate: rate});
  } catch {
    // A rate that this browser does not know: the sound is brought to its own.
    return new AudioContext();
  }
}

const within = (work, ms, otherwise) => Promise.race([work, pause(ms).then(() => otherwise)]);

/** Tells "change" whenever something starts or stops, and then, on its stopping, "heard" with {request, seconds}. */
export class Player extends EventTarget {
  constructor() {
    super();
    this.context = null;
    this.chain = null;
    this.turns = 0;
    // What is or was asked for: {source or two, name, place, from_s, to_s, way, key}; and whether it sounds.
    this.request = null;
    this.state = "idle";
    this.plan = null;
    this.feed = null;
    this.lanes = null;
    this.way = kAsItIs;
    this.known = {ways: [{name: kAsItIs, words: "as it is"}], quiet_db: 20, heard: {}, by_channel: [], before_s: 1, after_s: 1, titles: {}};
    this.told = 0;
    this.loudest = -Infinity;
    this.silent = 0;
    this.lit = null;
    this.me = `${Date.now()} ${Math.random()}`;
    this.others = "BroadcastChannel" in window ? new BroadcastChannel("sendworthy-sound") : null;
    if (this.others) this.others.onmessage = (event) => event.data !== this.me && this.state !== "idle" && this.stop("Stopped: another tab of this page plays.");
    by("play").addEventListener("click", () => this.toggle());
    by("listen-as").addEventListener("change", () => this.listen(by("listen-as").value));
    // Browsers keep what was set before a page was loaded again; every page starts low.
    by("level").value = String(kFirstDb);
    by("level").addEventListener("input", () => this.turn());
    by("player-more").addEventListener("click", () => this.unfold());
    addEventListener("pagehide", () => this.leave());
    new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${by("player").offsetHeight}px`)).observe(by("player"));
    this.draw();
  }

  /** What the program says of listening: api/state. Resolves once it is told what was played, too. */
  know(state) {
    for (const name of Object.keys(this.known)) if (state[name] !== undefined) this.known[name] = state[name];
    this.known.ways = this.known.ways.filter((way) => isWay(way.name));
    const cautions = (state.cautions || []).map(({text, source}) => (source ? `${text} [${source}]` : text));
    // What to do stands in sight; by which figures, one press away.
    put(by("player-caution"), state.caution ?? "");
    put(by("player-cautions"), cautions.join(" "));
    by("player-about").hidden = !cautions.length;
    this.draw();
    return get("api/played").then((answer) => this.count(answer), () => {});
  }

  words(name) {
    return this.known.ways.find((way) => way.name === name)?.words ?? aloneWords(name) ?? name;
  }

  /** The ways there are for what plays; the one that is asked for stands among them before that is known. */
  drawWays() {
    const ways = [...this.known.ways, ...waysAlone(this.about)];
    if (!ways.some((way) => way.name === this.way)) ways.push({name: this.way, words: this.words(this.way)});
    const names = ways.map((way) => way.name).join(" ");
    if (this.drawnWays !== names) by("listen-as").replaceChildren(...ways.map((way) => make("option", {value: way.name, text: way.name === "quiet" ? `${way.words}, by ${this.known.quiet_db} dB` : way.words})));
    this.drawnWays = names;
    by("listen-as").value = this.way;
  }

  get db() {
    return Math.min(0, Number(by("level").value));
  }

  get about() {
    return this.plan?.about ?? {channels: 2, speakers: [], quietDb: this.known.quiet_db};
  }

  /** All that what is heard is turned by. */
  get allDb() {
    return this.db + wayDb(this.way, this.about) + (this.plan?.lanes[this.lanes?.heard ?? this.plan.first].db ?? 0);
  }

  /** Plays, instead of whatever plays. `request`: {source: {path} | {id} | {check, part}, or two: {older, newer: sources, pair, first: 0 or 1};
   *  name: the file's; place: in words; from_s, to_s: of the file, or of the older one; way; key: anything}. */
  async play(request) {
    const turn = ++this.turns;
    this.end();
    this.want();
    this.request = request;
    this.way = isWay(request.way) ? request.way : kAsItIs;
    this.plan = null;
    this.become("opening");
    try {
      // While there is still a hand on the page: browsers let nothing sound unasked.
      this.others?.postMessage(this.me);
      const plan = await this.planOf(request);
      if (turn !== this.turns) return;
      await this.wake(plan.rate);
      // What sounded before goes softly.
      await pause(this.silent - performance.now());
      if (turn !== this.turns) return;
      if (!hasWay(this.way, plan.about)) this.way = kAsItIs;
      plan.way = this.way;
      plan.db = this.db;
      this.plan = plan;
      const {feed, lanes} = await layOut(this.chain, plan, 0);
      if (turn !== this.turns) return void (feed.stop(), lanes.drop());
      Object.assign(this, {feed, lanes, told: 0, loudest: this.allDb, looked: 0});
      this.chain.open(feed.start, feed.end);
      unsay("sound");
      this.become("playing");
      say(`Plays ${request.place}: ${by("heard").textContent}.`);
      this.clock = setInterval(() => this.tick(turn), kTickMs);
    } catch (error) {
      if (turn === this.turns) this.fail(error);
    }
  }

  /** What “Play” plays next, where nothing sounds. */
  offer(request) {
    if (this.state !== "idle") return;
    this.request = request;
    this.way = isWay(request.way) ? request.way : kAsItIs;
    this.plan = null;
    this.draw();
  }

  async planOf({source, two, from_s: from, to_s: to}) {
    if (two) {
      const [older, newer] = await Promise.all([openSound(two.older), openSound(two.newer)]);
      const rate = rateOfTwo(older, newer), start = Math.round(Math.max(0, from) * rate) / rate;
      return {rate, lanes: lanesOfTwo(older, newer, two.pair, start), first: two.first ?? 0, seconds: Math.max(0, to - start), about: aboutOfTwo(older, newer, this.known.quiet_db)};
    }
    const sound = await openSound(source), {frames, channels, speakers} = sound.facts;
    const at = Math.min(frames - 1, Math.max(0, Math.round(from * sound.rate))), end = Math.min(frames, Math.max(at + 1, Math.round(to * sound.rate)));
    return {rate: sound.rate, lanes: [{sound, at, speed: 1, db: 0}], first: 0, seconds: (end - at) / sound.rate, about: {channels, speakers, quietDb: this.known.quiet_db}};
  }

  /** A context at the rate of the file, so that nothing is between its samples and the guard. */
  async wake(rate) {
    clearTimeout(this.resting);
    if (this.wanted !== rate || !this.chain) {
      this.context?.close();
      this.chain = null;
      this.wanted = rate;
      const context = contextAt(rate);
      this.context = context;
      const chain = await Chain.in(context, (db) => this.acts(db));
      // Another file may have been asked for meanwhile.
      if (this.context === context) this.chain = chain;
      else return;
    }
    const awake = await within(this.context.resume().then(() => true), kWakeMs, false);
    if (!awake) throw new Error("The browser lets nothing sound yet. Press “Play” once more; if that does not help, see whether it is muted or has no loudspeaker.");
  }

  tick(turn) {
    const {feed, context} = this, was = feed.start;
    feed.fill(context.currentTime + kAheadS).then(() => {
      if (turn === this.turns && feed.start !== was) this.chain.end(feed.end);
    }, (error) => turn === this.turns && this.fail(error));
    const elapsed = feed.elapsed();
    this.loudest = Math.max(this.loudest, this.allDb);
    put(by("at"), timeText(this.placeNow(), 1));
    if (elapsed - this.told >= kReportS) this.report();
    if (context.currentTime >= feed.end) return this.stop();
    if (elapsed - this.looked < kLookS) return;
    // A file may go, or become another one, while what was read of it still sounds.
    this.looked = elapsed;
    for (const {sound} of this.plan.lanes) sound.stillThere(feed.stopper.signal).catch((error) => turn === this.turns && error.name !== "AbortError" && this.fail(error));
  }

  /** Where it is: second of the file that is heard. */
  placeNow(elapsed = this.feed?.elapsed() ?? 0) {
    const lane = this.plan.lanes[this.lanes.heard];
    return lane.at / lane.sound.rate + elapsed * lane.speed;
  }

  /** Where one of what runs in step is: second of its file, whether or not it is the one that is heard. */
  placeIn(lane) {
    const one = this.plan.lanes[lane];
    return one.at / one.sound.rate + (this.feed?.elapsed() ?? 0) * one.speed;
  }

  /** Whichever of two bounces; no time goes by. */
  hear(which) {
    if (this.state !== "playing" || which === this.lanes.heard) return;
    this.report();
    this.lanes.hear(which);
    this.loudest = this.allDb;
    this.become("playing");
  }

  toggle() {
    if (this.state !== "idle") this.stop();
    else if (this.request) this.play({...this.request, way: this.way});
    else say("Nothing is chosen to play: press a place of a sheet.");
  }

  listen(name) {
    if (!isWay(name)) return;
    if (this.state === "playing") this.report();
    this.way = name;
    if (this.state === "playing") this.chain.change(name, this.about);
    this.draw();
    say(`${by("heard").textContent}.`);
  }

  turn() {
    this.loudest = Math.max(this.loudest, this.allDb);
    if (this.state === "playing") this.chain.turn(this.db);
    this.draw();
  }

  /** Stops; `why` where nobody asked for it. */
  stop(why = "") {
    ++this.turns;
    this.end();
    this.become("idle");
    if (!why) return;
    put(by("what"), why);
    say(why);
  }

  fail(error) {
    const name = this.request?.name;
    this.stop();
    if (error.name === "AbortError") return;
    const text = `Nothing plays any more: ${error.message}`;
    put(by("what"), "Stopped.");
    tell("sound", name ? `${name}: ${text}` : text);
  }

  /** Ends what sounds, softly. */
  end() {
    clearInterval(this.clock);
    const {feed, lanes, request} = this;
    if (!feed) return;
    this.report();
    const seconds = feed.elapsed(), at = this.chain.close();
    feed.stop(at);
    this.silent = performance.now() + 1000 * (at - this.context.currentTime) + kSettleMs;
    this.feed = this.lanes = null;
    setTimeout(() => lanes.drop(), 1000);
    this.resting = setTimeout(() => this.state === "idle" && this.context.suspend(), kRestMs);
    this.dispatchEvent(new CustomEvent("heard", {detail: {request, seconds}}));
  }

  /** What has sounded since the last time, to the program. */
  report(send = (body) => ask("POST", "api/played", body).then((answer) => this.count(answer), () => {})) {
    const elapsed = this.feed?.elapsed() ?? 0, seconds = elapsed - this.told;
    if (!(seconds > 0)) return;
    const lane = this.plan.lanes[this.lanes.heard];
    const body = {source: lane.sound.source, from_s: Math.max(0, this.placeNow(this.told)), to_s: Math.max(0, this.placeNow(elapsed)), seconds, gain_db: Math.min(0, this.loudest)};
    this.told = elapsed;
    this.loudest = this.allDb;
    send(body);
  }

  leave() {
    this.report((body) => navigator.sendBeacon("api/played", new Blob([JSON.stringify(body)], {type: "application/json"})));
    // What was reported is not reported again.
    this.stop();
  }

  count(answer) {
    this.counted = answer;
    this.drawCount();
  }

  drawCount() {
    const {exposure, seconds, time, rest, text} = this.counted ?? {}, source = exposure?.source;
    // The first of it is told to the program while it sounds.
    put(by("played"), this.state !== "idle" && !(seconds > 0) ? "What plays now is being counted." : exposure ? `${text ?? ""}${source ? ` [${source}]` : ""}` : time ?? "");
    // Why there is no estimate is one press away.
    put(by("player-without"), exposure ? "" : rest ?? "");
  }

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

  /** There is something to play: from now on the bar is there on small screens, too. */
  want() {
    by("player").classList.add("wanted");
  }

  toWays() {
    this.want();
    if (!by("player").classList.contains("open") && by("player-more").checkVisibility()) this.unfold();
    by("listen-as").focus();
  }

  become(state) {
    this.state = state;
    this.draw();
    this.dispatchEvent(new Event("change"));
  }

  draw() {
    const {request, state} = this, label = by("play").firstChild, text = state === "idle" ? "Play " : "Stop ";
    if (label.data !== text) label.data = text;
    by("play").setAttribute("aria-disabled", String(!request));
    by("player").classList.toggle("playing", state === "playing");
    by("player").classList.toggle("requested", Boolean(request));
    put(by("what"), request ? `${request.name}, ${request.place}` : "Nothing plays. Press a place of a sheet.");
    if (state === "opening") put(by("at"), "…");
    else if (state === "idle") put(by("at"), "");
    put(by("heard"), sentence(this.words(this.way), this.way, this.about, this.allDb));
    this.drawCount();
    this.drawWays();
    put(by("level-text"), `${String(this.db).replace("-", "\u2212")} dB`);
  }
}
