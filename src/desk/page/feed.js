// Gives sounds to a context slice by slice, each sample at its own frame of the context's clock. Several lanes start together and
// stay together: a slice is given once all lanes have it.
import {onGrid} from "./resample.js";

const kFirstSliceS = 0.5, kSliceS = 1.5, kLeadS = 0.06;

const pause = () => new Promise((done) => setTimeout(done));

export class Feed {
  /** `lanes`: [{sound, at, speed, into}]: the sound, from its frame `at` (a fraction allowed), running through `speed` seconds of
   *  it a second, into that node. `seconds`: how long. */
  constructor(context, lanes, seconds) {
    this.context = context;
    this.lanes = lanes.map((lane) => ({...lane, step: (lane.sound.rate * (lane.speed ?? 1)) / context.sampleRate}));
    this.count = Math.max(1, Math.round(seconds * context.sampleRate));
    this.given = 0;
    // Context time of the first frame, once there is one.
    this.start = null;
    this.waited = 0;
    this.nodes = new Set();
    this.work = null;
    this.stopper = new AbortController();
  }

  get end() {
    return this.start === null ? Infinity : this.start + this.count / this.context.sampleRate;
  }

  get done() {
    return this.given >= this.count;
  }

  /** Gives whatever begins before the context time `until`; one such task at a time. */
  fill(until) {
    this.work ||= this.give(until).finally(() => (this.work = null));
    return this.work;
  }

  async give(until) {
    const {context} = this, rate = context.sampleRate;
    while (!this.done && !this.stopper.signal.aborted && (this.start === null || this.start + this.given / rate < until)) {
      const count = Math.min(this.count - this.given, Math.round((this.given < kSliceS * rate ? kFirstSliceS : kSliceS) * rate));
      const slices = await Promise.all(this.lanes.map((lane) => onGrid(lane.sound, lane.at + this.given * lane.step, lane.step, count, this.stopper.signal)));
      if (this.stopper.signal.aborted) return;
      this.place();
      slices.forEach((rows, i) => this.hand(rows, this.lanes[i].into, this.start + this.given / rate));
      this.given += count;
      // Whatever else the page has to do.
      await pause();
    }
  }

  /** Settles when the next slice sounds: right behind the one before, or, where it came too late for that, a little from now. */
  place() {
    const {context} = this, rate = context.sampleRate, live = context instanceof AudioContext;
    const soonest = live ? Math.ceil((context.currentTime + kLeadS) * rate) / rate : 0;
    if (this.start === null) this.start = soonest;
    else if (live && this.start + this.given / rate < context.currentTime) {
      const late = soonest - (this.start + this.given / rate);
      this.start = Math.round((this.start + late) * rate) / rate;
      this.waited += late;
    }
  }

  hand(rows, into, at) {
    const {context} = this, buffer = context.createBuffer(rows.length, rows[0].length, context.sampleRate), node = context.createBufferSource();
    rows.forEach((row, c) => buffer.copyToChannel(row, c));
    node.buffer = buffer;
    node.connect(into);
    node.onended = () => {
      node.disconnect();
      this.nodes.delete(node);
    };
    node.start(at);
    this.nodes.add(node);
  }

  stop(at = 0) {
    this.stopper.abort();
    for (const node of this.nodes) node.stop(at);
  }

  /** Seconds that have sounded by now. */
  elapsed() {
    if (this.start === null) return 0;
    return Math.min(this.count / this.context.sampleRate, Math.max(0, this.context.currentTime - this.start));
  }
}
