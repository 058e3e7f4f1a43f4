// What stands between a source and the loudspeakers, in this order: the way to listen, the level, the peak guard.
import {Feed} from "./feed.js";
import {Lanes} from "./two.js";
import {bed, buildWay, wayDb} from "./ways.js";

const kRiseS = 0.1, kFallS = 0.03, kChangeS = 0.04;

const factor = (db) => 10 ** (Math.min(0, db) / 20);

/** A straight line from where the parameter stands to `value`. */
function slide(param, value, at, seconds) {
  param.cancelScheduledValues(at);
  param.setValueAtTime(param.value, at);
  param.linearRampToValueAtTime(value, at + seconds);
}

export class Chain {
  /** In any context; `acts` is told by how many decibels the guard turns down. Fails where the guard cannot be had: then
   *  nothing is to be played. */
  static async in(context, acts = () => {}) {
    await context.audioWorklet.addModule(new URL("guard-worklet.js", import.meta.url));
    return new Chain(context, acts);
  }

  constructor(context, acts) {
    this.context = context;
    this.input = new GainNode(context);
    this.start = new GainNode(context, {gain: 0});
    this.level = new GainNode(context, {gain: 0});
    this.guard = new AudioWorkletNode(context, "peak-guard", {numberOfInputs: 1, numberOfOutputs: 1, outputChannelCount: [2], channelCount: 2, channelCountMode: "explicit"});
    this.guard.port.onmessage = (event) => acts(event.data.down_db);
    this.start.connect(this.level).connect(this.guard).connect(context.destination);
    this.way = null;
    this.db = 0;
    // When it has come up from silence.
    this.risen = 0;
  }

  /** Settles what is heard before anything sounds. `about`: as for buildWay(). */
  set(name, about, db) {
    this.drop(this.way);
    this.way = this.join(name, about, 1);
    this.db = db;
    this.level.gain.cancelScheduledValues(0);
    this.level.gain.value = factor(db);
  }

  join(name, about, gain) {
    const way = {...buildWay(this.context, name, about), name, about, part: new GainNode(this.context, {gain})};
    this.input.connect(way.input);
    way.output.connect(way.part).connect(this.start);
    return way;
  }

  drop(way) {
    if (!way) return;
    this.input.disconnect(way.input);
    way.part.disconnect();
  }

  /** Another way while it sounds: one gives way to the other. */
  change(name, about) {
    const {currentTime} = this.context, old = this.way;
    this.way = this.join(name, about, 0);
    slide(this.way.part.gain, 1, currentTime, kChangeS);
    if (!old) return;
    slide(old.part.gain, 0, currentTime, kChangeS);
    setTimeout(() => this.drop(old), 4000 * kChangeS);
  }

  /** Another level while it sounds. */
  turn(db) {
    this.db = db;
    slide(this.level.gain, factor(db), this.context.currentTime, kChangeS);
  }

  /** All that it is turned by. */
  get allDb() {
    return Math.min(0, this.db) + (this.way ? wayDb(this.way.name, this.way.about) : 0);
  }

  /** Up from silence at `from`, and down to it again before `end`. */
  open(from, end) {
    const {gain} = this.start;
    this.risen = from + Math.min(kRiseS, (end - from) / 2);
    gain.cancelScheduledValues(0);
    gain.setValueAtTime(0, from);
    gain.linearRampToValueAtTime(1, this.risen);
    this.end(end);
  }

  /** It ends there now. */
  end(end) {
    const {gain} = this.start, fall = Math.max(this.context.currentTime, this.risen, end - kFallS);
    gain.cancelScheduledValues(fall);
    gain.setValueAtTime(1, fall);
    gain.linearRampToValueAtTime(0, Math.max(fall, end));
  }

  /** Down to silence now; the context time at which it is there. */
  close() {
    const {currentTime} = this.context;
    slide(this.start.gain, 0, currentTime, kFallS);
    return currentTime + kFallS;
  }
}

/** Lays out what a plan says, ready to sound in the context of `chain`; the feed has given what begins before `until`.
 *  A plan: {lanes: [{sound, at, speed, db}], first: which of them sounds, seconds, way, about, db}. */
export async function layOut(chain, plan, until) {
  chain.set(plan.way, plan.about, plan.db);
  const lanes = new Lanes(chain.context, chain.input, plan.lanes.map((lane) => lane.db ?? 0), plan.first ?? 0);
  const into = plan.lanes.map(({sound: {facts}}, i) => {
    if (plan.lanes.length === 1 || facts.channels <= 2) return lanes.inputs[i];
    const fold = bed(chain.context, facts);
    fold.output.connect(lanes.inputs[i]);
    return fold.input;
  });
  const feed = new Feed(chain.context, plan.lanes.map((lane, i) => ({...lane, into: into[i]})), plan.seconds);
  await feed.fill(until);
  return {feed, lanes};
}
