// The peak guard: nothing louder than −1 dBFS leaves it. It looks ahead, so that it is down before a peak comes; while all stays
// below, it is a delay and nothing else, bit by bit.
//
// For each frame the gain that its peak needs; of that the least over the window; a slow way back up; and of that the mean over the
// window again, which makes the way down smooth. Every number in that mean is at most what the frame that leaves needs, hence so is
// the mean. Nothing is allocated while sound runs.

const kCeiling = 10 ** (-1 / 20), kLookAheadS = 0.005, kReleaseS = 0.12, kTellS = 0.05;
// The ceiling as a sample of 32 bits, not above it.
const kMost = Math.fround(kCeiling) > kCeiling ? Math.fround(kCeiling - 2 ** -24) : Math.fround(kCeiling);
// As near to 1 as makes no difference (−0.0001 dB): from there on it is 1.
const kOne = 1 - 1e-5;

class PeakGuard extends AudioWorkletProcessor {
  constructor() {
    super();
    this.window = Math.max(2, Math.round(kLookAheadS * sampleRate));
    this.held = [new Float32Array(this.window), new Float32Array(this.window)];
    this.gains = new Float64Array(this.window).fill(1);
    this.sum = this.window;
    // How many of `gains` are below 1.
    this.below = 0;
    this.at = 0;
    this.gain = 1;
    this.back = 1 - Math.exp(-1 / (kReleaseS * sampleRate));
    // The queue for the least: needed gains that rise, and the frame of each. One more than can wait in it.
    this.waiting = new Float64Array(this.window + 1);
    this.frames = new Float64Array(this.window + 1);
    this.first = this.many = 0;
    this.frame = 0;
    this.least = 1;
    this.quiet = 0;
    this.told = {down_db: 0};
  }

  /** The least of what the last `window` frames need, this one included. */
  leastWith(needed) {
    const room = this.window + 1;
    while (this.many && this.waiting[(this.first + this.many - 1) % room] >= needed) --this.many;
    const end = (this.first + this.many++) % room;
    this.waiting[end] = needed;
    this.frames[end] = this.frame;
    if (this.frames[this.first] <= this.frame - this.window) {
      this.first = (this.first + 1) % room;
      --this.many;
    }
    return this.waiting[this.first];
  }

  process(inputs, outputs) {
    const left = outputs[0][0], right = outputs[0][1], from = inputs[0][0], other = inputs[0][1] || from;
    const {held, gains, window} = this;
    for (let i = 0; i < left.length; ++i) {
      let a = from ? from[i] : 0, b = other ? other[i] : 0;
      // What is no number is silence.
      if (!(Math.abs(a) < Infinity)) a = 0;
      if (!(Math.abs(b) < Infinity)) b = 0;
      const peak = Math.max(Math.abs(a), Math.abs(b));
      const least = this.leastWith(peak > kMost ? kCeiling / peak : 1);
      this.gain = least < this.gain ? least : this.gain + (least - this.gain) * this.back;
      if (this.gain > kOne && least === 1) this.gain = 1;
      // The mean of the last `window` gains, without what adding and taking away leaves behind.
      this.below += (this.gain < 1) - (gains[this.at] < 1);
      this.sum += this.gain - gains[this.at];
      gains[this.at] = this.gain;
      if (!this.below) this.sum = window;
      const gain = this.below ? Math.min(1, this.sum / window) : 1;
      this.least = Math.min(this.least, gain);
      // What went in `window` − 1 frames ago comes out.
      held[0][this.at] = a;
      held[1][this.at] = b;
      this.at = this.at + 1 === window ? 0 : this.at + 1;
      ++this.frame;
      left[i] = Math.min(kMost, Math.max(-kMost, held[0][this.at] * gain));
      right[i] = Math.min(kMost, Math.max(-kMost, held[1][this.at] * gain));
    }
    this.tell(left.length);
    return true;
  }

  /** Says so where it acts, a few times a second; the same message each time. */
  tell(frames) {
    this.quiet += frames;
    if (this.least >= 1 || this.quiet < kTellS * sampleRate) return;
    this.told.down_db = -20 * Math.log10(this.least);
    this.port.postMessage(this.told);
    this.quiet = 0;
    this.least = 1;
  }
}

registerProcessor("peak-guard", PeakGuard);
