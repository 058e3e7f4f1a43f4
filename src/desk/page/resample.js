// Sound on another grid: at another rate, at another speed, or between its own frames. A browser's own way of it draws straight
// lines between samples, which is far too rough to compare two bounces by.

// A sinc under a Kaiser window, kSteps places a sample and straight lines between them: what that adds lies some 100 dB down.
const kHalf = 32, kTaps = 2 * kHalf, kSteps = 512, kBeta = 10;
// Up to here the sound runs so little faster than its grid that nothing is folded down but the very top.
const kAlmost = 1.02;

function bessel(x) {
  let sum = 1, term = 1;
  for (let k = 1; term > 1e-12 * sum; ++k) sum += term *= (x / (2 * k)) ** 2;
  return sum;
}

function kernel(x) {
  if (Math.abs(x) >= kHalf) return 0;
  const window = bessel(kBeta * Math.sqrt(1 - (x / kHalf) ** 2)) / bessel(kBeta);
  return window * (x ? Math.sin(Math.PI * x) / (Math.PI * x) : 1);
}

let bank = null;

/** A row of weights for each place between two samples, the last one for a whole sample on. */
function weights() {
  if (bank) return bank;
  bank = new Float64Array((kSteps + 1) * kTaps);
  for (let step = 0; step <= kSteps; ++step) for (let i = 0; i < kTaps; ++i) bank[step * kTaps + i] = kernel(i - kHalf + 1 - step / kSteps);
  return bank;
}

/** `rows` from the frame `first` on, at `at`, `at + step` …: the sound has room enough on the new grid. */
function between(rows, first, at, step, count) {
  const table = weights(), out = rows.map(() => new Float32Array(count)), taps = new Float64Array(kTaps);
  for (let k = 0; k < count; ++k) {
    const place = at + k * step, whole = Math.floor(place), phase = (place - whole) * kSteps, low = Math.floor(phase), share = phase - low;
    const near = low * kTaps, next = near + kTaps, from = whole - kHalf + 1 - first;
    for (let i = 0; i < kTaps; ++i) taps[i] = table[near + i] + share * (table[next + i] - table[near + i]);
    for (let c = 0; c < rows.length; ++c) {
      const row = rows[c];
      let sum = 0;
      for (let i = 0; i < kTaps; ++i) sum += taps[i] * row[from + i];
      out[c][k] = sum;
    }
  }
  return out;
}

/** The same where the new grid is coarser: what it has no room for is taken out first. */
function folded(rows, first, at, step, count) {
  const table = weights(), reach = kHalf * step, cut = 1 / step;
  const weight = (x) => {
    // The kernel from its rows: a whole number of samples, and a place between two.
    const whole = Math.floor(x), phase = (x - whole) * kSteps, low = Math.floor(phase), i = kHalf - 1 - whole;
    if (i < 0 || i >= kTaps) return 0;
    const near = table[low * kTaps + i];
    return near + (phase - low) * (table[(low + 1) * kTaps + i] - near);
  };
  return rows.map((row) => {
    const out = new Float32Array(count);
    for (let k = 0; k < count; ++k) {
      const place = at + k * step;
      let sum = 0;
      for (let i = Math.ceil(place - reach); i <= place + reach; ++i) sum += row[i - first] * weight((place - i) * cut);
      out[k] = cut * sum;
    }
    return out;
  });
}

/** `count` frames of `sound`, one row a channel: the first at its frame `at`, a fraction allowed, each next one `step` frames on. */
export async function onGrid(sound, at, step, count, signal) {
  if (step === 1 && Number.isInteger(at)) return sound.frames(at, at + count, signal);
  const reach = Math.ceil(kHalf * Math.max(1, step)) + 1, first = Math.floor(at) - reach;
  const rows = await sound.frames(first, Math.ceil(at + step * (count - 1)) + reach + 1, signal);
  return (step <= kAlmost ? between : folded)(rows, first, at, step, count);
}
