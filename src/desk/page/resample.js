// Sound on another grid: at another rate, at another speed, or between its own frames. A browser's own way of it draws straight
// lines between samples, which is far too rough to compare two bounces by.

// A sinc under a Kaiser window, a table of it and straight lines in the table: what it adds lies some 100 dB down.
const kHalf = 32, kSteps = 1024, kBeta = 10;

function bessel(x) {
  let sum = 1, term = 1;
  for (let k = 1; term > 1e-12 * sum; ++k) sum += term *= (x / (2 * k)) ** 2;
  return sum;
}

let table = null;

/** The windowed sinc at 0 … kHalf. */
function kernel() {
  if (table) return table;
  table = new Float64Array(kHalf * kSteps + 2);
  for (let i = 0; i <= kHalf * kSteps; ++i) {
    const x = i / kSteps, window = bessel(kBeta * Math.sqrt(1 - (x / kHalf) ** 2)) / bessel(kBeta);
    table[i] = (i ? Math.sin(Math.PI * x) / (Math.PI * x) : 1) * window;
  }
  return table;
}

/** `count` frames of `sound`, one row a channel: the first at its frame `at`, a fraction allowed, each next one `step` frames on. */
export async function onGrid(sound, at, step, count, signal) {
  if (step === 1 && Number.isInteger(at)) return sound.frames(at, at + count, signal);
  const sinc = kernel(), cut = Math.min(1, 1 / step), reach = kHalf / cut;
  const first = Math.ceil(at - reach), rows = await sound.frames(first, Math.floor(at + step * (count - 1) + reach) + 1, signal);
  return rows.map((row) => {
    const out = new Float32Array(count);
    for (let k = 0; k < count; ++k) {
      const place = at + k * step;
      let sum = 0;
      for (let i = Math.ceil(place - reach), end = place + reach; i <= end; ++i) {
        const x = Math.abs(place - i) * cut * kSteps, low = Math.floor(x);
        // Beyond the table there is nothing.
        if (low < kHalf * kSteps) sum += row[i - first] * (sinc[low] + (x - low) * (sinc[low + 1] - sinc[low]));
      }
      out[k] = cut * sum;
    }
    return out;
  });
}
