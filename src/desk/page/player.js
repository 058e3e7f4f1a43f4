// What sounds: one place of one file, or two bounces in step, in a way to listen, at a level, behind the peak guard.
import {ask, get} from "./api.js";
import {Bar} from "./bar.js";
import {Chain, layOut} from "./chain.js";
import {say, tell, unsay} from "./say.js";
import {openSound} from "./sound.js";
import {aboutOfTwo, lanesOfTwo, rateOfTwo} from "./two.js";
import {hasWay, isWay, wayDb} from "./ways.js";

const kAsItIs = "as-it-is", kTickMs = 100, kAheadS = 9, kLookS = 1, kReportS = 10, kWakeMs = 3000, kRestMs = 5000, kSettleMs = 30;

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
    this.me = `${Date.now()} ${Math.random()}`;
    this.others = "BroadcastChannel" in window ? new BroadcastChannel("sendworthy-sound") : null;
    if (this.others) this.others.onmessage = (event) => event.data !== this.me && this.state !== "idle" && this.stop("Stopped: another tab of this page plays.");
    addEventListener("pagehide", () => this.leave());
    this.bar = new Bar(this);
    this.bar.draw();
  }

  /** What the program says of listening: api/state. Resolves once it is told what was played, too. */
  know(state) {
    for (const name of Object.keys(this.known)) if (state[name] !== undefined) this.known[name] = state[name];
    this.known.ways = this.known.ways.filter((way) => isWay(way.name));
    this.bar.know(state);
    this.bar.draw();
    return get("api/played").then((answer) => this.count(answer), () => {});
  }

  get db() {
    return this.bar.db;
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
    this.bar.want();
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
      say(`Plays ${request.place}: ${this.bar.heard}.`);
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
    this.bar.draw();
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
      const chain = await Chain.in(context, (db) => this.bar.acts(db));
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
    this.bar.at(this.placeNow());
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
    this.bar.draw();
    say(`${this.bar.heard}.`);
  }

  turn() {
    this.loudest = Math.max(this.loudest, this.allDb);
    if (this.state === "playing") this.chain.turn(this.db);
    this.bar.draw();
  }

  /** Stops; `why` where nobody asked for it. */
  stop(why = "") {
    ++this.turns;
    this.end();
    this.become("idle");
    if (!why) return;
    this.bar.what(why);
    say(why);
  }

  fail(error) {
    const name = this.request?.name;
    this.stop();
    if (error.name === "AbortError") return;
    const text = `Nothing plays any more: ${error.message}`;
    this.bar.what("Stopped.");
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
    this.bar.count();
  }

  become(state) {
    this.state = state;
    this.bar.draw();
    this.dispatchEvent(new Event("change"));
  }
}
