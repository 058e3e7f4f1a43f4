// Ways to listen, each built of a browser's audio nodes: what comes in has any number of channels, what goes out has two.

// Butterworth, cascades of second order (formula: Q of stage k of n is 1 / (2 cos((2k − 1) π / 2n))): 48 dB an octave, so that
// what is heard of "below 100 Hz" is not the octave above it, for which the ear is much keener.
const kSteepOrder = 8;
// As the estimates of listening from something small have it (src/song/quiet.h): 24 dB an octave below, 12 dB above.
const kSmallLowHz = 200, kSmallHighHz = 10000;

const kAsItIs = "as-it-is";

/** A fold to two channels. `rest`: what is done with more than two: "speakers": as browsers fold them; "discrete": the first two. */
function two(context, rest) {
  return new GainNode(context, {channelCount: 2, channelCountMode: "explicit", channelInterpretation: rest});
}

function butterworth(context, type, hz, order) {
  const stages = [];
  for (let k = 1; k <= order / 2; ++k) {
    const q = 1 / (2 * Math.cos(((2 * k - 1) * Math.PI) / (2 * order)));
    // Here a browser takes Q in decibels.
    stages.push(new BiquadFilterNode(context, {type, frequency: hz, Q: 20 * Math.log10(q)}));
  }
  return stages;
}

function chained(nodes) {
  nodes.reduce((one, next) => (one.connect(next), next));
  return {input: nodes[0], output: nodes[nodes.length - 1], nodes};
}

/** `left` times the first and `right` times the second channel, out of both sides. */
function mixed(context, rest, left, right) {
  const input = two(context, rest), split = new ChannelSplitterNode(context, {numberOfOutputs: 2}), both = new ChannelMergerNode(context, {numberOfInputs: 2});
  const nodes = [input, split, both];
  input.connect(split);
  [left, right].forEach((share, channel) => {
    if (!share) return;
    const gain = new GainNode(context, {gain: share});
    split.connect(gain, channel).connect(both, 0, 0);
    gain.connect(both, 0, 1);
    nodes.push(gain);
  });
  return {input, output: both, nodes};
}

const kBuild = {
  [kAsItIs]: (context) => chained([two(context, "speakers")]),
  quiet: (context, about) => {
    const fold = two(context, "speakers");
    fold.gain.value = 10 ** (-about.quietDb / 20);
    return chained([fold]);
  },
  mono: (context) => mixed(context, "speakers", 0.5, 0.5),
  "below-100": (context) => chained([two(context, "speakers"), ...butterworth(context, "lowpass", 100, kSteepOrder)]),
  "below-120": (context) => chained([two(context, "speakers"), ...butterworth(context, "lowpass", 120, kSteepOrder)]),
  "small-speaker": (context) => chained([
    two(context, "speakers"), ...butterworth(context, "highpass", kSmallLowHz, 4),
    // At a low rate there is nothing above it.
    ...(context.sampleRate > 2.2 * kSmallHighHz ? butterworth(context, "lowpass", kSmallHighHz, 2) : []),
  ]),
  left: (context, about) => mixed(context, firstTwo(about), 1, 0),
  right: (context, about) => mixed(context, firstTwo(about), 0, 1),
  side: (context, about) => mixed(context, firstTwo(about), 0.5, -0.5),
};

/** One channel counts as both; of more than two, the first two are left and right. */
const firstTwo = (about) => (about.channels > 2 ? "discrete" : "speakers");

export const isWay = (name) => Object.hasOwn(kBuild, name);

/** The nodes of a way: {input, output, nodes}. `about`: {channels, quietDb}. A name that is not known is heard as it is. */
export const buildWay = (context, name, about) => kBuild[isWay(name) ? name : kAsItIs](context, about);

/** By how much a way alone turns down. */
export const wayDb = (name, about) => (name === "quiet" ? -about.quietDb : 0);

const kFolded = new Set([1, 2, 4, 6]);

/** What a way leaves out of, or adds to, a sound of so many channels, in words; mostly nothing. */
function withChannels(name, channels) {
  if (channels === 1 && name === "side") return ", which one channel has not: silence";
  if (channels <= 2) return "";
  if (["left", "right", "side"].includes(name)) return ` of the first two of ${channels} channels`;
  return kFolded.has(channels) ? `, ${channels} channels folded to two` : `, the first two of ${channels} channels`;
}

/** "heard: below 100 Hz, 20 dB down". `db`: all that it is turned by, at most 0. */
export function sentence(words, name, channels, db) {
  const down = Math.round(-db * 10) / 10;
  return `heard: ${words}${withChannels(name, channels)}, ${down > 0 ? `${down} dB down` : "not turned down"}`;
}
