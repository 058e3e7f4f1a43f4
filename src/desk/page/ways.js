// Ways to listen, each built of a browser's audio nodes: what comes in has any number of channels, what goes out has two.
import {foldWords, namesSides, shared, sharesOf, sides} from "./fold.js";

// Butterworth, cascades of second order (formula: Q of stage k of n is 1 / (2 cos((2k − 1) π / 2n))): 48 dB an octave, so that
// what is heard of "below 100 Hz" is not the octave above it, for which the ear is much keener.
const kSteepOrder = 8;
// As the estimates of listening from something small have it (src/song/quiet.h): 24 dB an octave below, 12 dB above.
const kSmallLowHz = 200, kSmallHighHz = 10000;

const kAsItIs = "as-it-is";

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

const joined = (first, next) => (first.output.connect(next.input), {input: first.input, output: next.output, nodes: [...first.nodes, ...next.nodes]});

/** Two channels of whatever comes. */
export function bed(context, about) {
  if (about.channels > 2) return shared(context, sharesOf(about));
  return chained([new GainNode(context, {channelCount: 2, channelCountMode: "explicit", channelInterpretation: "speakers"})]);
}

/** `left` times left and `right` times right, out of both sides. */
function mixed(context, about, left, right) {
  const shares = [[left, left], [right, right]];
  // One channel counts as both.
  if (about.channels <= 2) return joined(bed(context, about), shared(context, shares));
  const at = sides(about);
  return shared(context, Array.from({length: about.channels}, (_, c) => shares[at.indexOf(c)]));
}

const through = (context, about, ...nodes) => joined(bed(context, about), chained(nodes));

const kBuild = {
  [kAsItIs]: bed,
  quiet: (context, about) => through(context, about, new GainNode(context, {gain: 10 ** (-about.quietDb / 20)})),
  mono: (context, about) => joined(bed(context, about), shared(context, [[0.5, 0.5], [0.5, 0.5]])),
  "below-100": (context, about) => through(context, about, ...butterworth(context, "lowpass", 100, kSteepOrder)),
  "below-120": (context, about) => through(context, about, ...butterworth(context, "lowpass", 120, kSteepOrder)),
  "small-speaker": (context, about) => through(context, about,
    ...butterworth(context, "highpass", kSmallLowHz, 4),
    // At a low rate there is nothing above it.
    ...(context.sampleRate > 2.2 * kSmallHighHz ? butterworth(context, "lowpass", kSmallHighHz, 2) : [])),
  left: (context, about) => mixed(context, about, 1, 0),
  right: (context, about) => mixed(context, about, 0, 1),
  side: (context, about) => mixed(context, about, 0.5, -0.5),
};

const kAlone = /^channel-([1-9]\d{0,3})$/;

/** The number of the channel that a way plays alone, out of both sides; 0 for all others. */
const aloneOf = (name) => Number(kAlone.exec(name)?.[1] ?? 0);

/** The way that plays one channel alone, from 1. */
export const wayAlone = (channel) => `channel-${channel}`;

/** What there is besides for a sound of more than two channels: [{name, words}]. */
export const waysAlone = ({channels}) => (channels > 2 ? Array.from({length: channels}, (_, c) => ({name: wayAlone(c + 1), words: aloneWords(wayAlone(c + 1))})) : []);

export const aloneWords = (name) => (aloneOf(name) ? `channel ${aloneOf(name)} alone` : undefined);

export const isWay = (name) => Object.hasOwn(kBuild, name) || kAlone.test(name);

/** Whether there is something to hear in this way. */
export const hasWay = (name, {channels}) => isWay(name) && aloneOf(name) <= channels;

/** The nodes of a way: {input, output, nodes}. `about`: {channels, speakers: of each, quietDb; folded: in words, where that was done before}. A name that is not known is heard as it is. */
export function buildWay(context, name, about) {
  const alone = aloneOf(name);
  if (alone) return shared(context, Array.from({length: about.channels}, (_, c) => (c + 1 === alone ? [1, 1] : null)));
  return kBuild[Object.hasOwn(kBuild, name) ? name : kAsItIs](context, about);
}

/** By how much a way alone turns down. */
export const wayDb = (name, about) => (name === "quiet" ? -about.quietDb : 0);

/** What a way leaves out of, or adds to, a sound of so many channels, in words; mostly nothing. */
function withChannels(name, about) {
  const {channels, folded = ""} = about;
  if (channels === 1 && name === "side") return ", which one channel has not: silence";
  if (channels <= 2 || aloneOf(name)) return folded && `, ${folded}`;
  if (["left", "right"].includes(name) && namesSides(about)) return ` of ${channels} channels`;
  if (["left", "right", "side"].includes(name)) return ` of ${namesSides(about) ? "left and right" : "the first two"} of ${channels} channels`;
  return `, ${foldWords(about)}`;
}

/** "heard: below 100 Hz, 20 dB down". `db`: all that it is turned by, at most 0. */
export function sentence(words, name, about, db) {
  const down = Math.round(-db * 10) / 10;
  return `heard: ${words}${withChannels(name, about)}, ${down > 0 ? `${down} dB down` : "not turned down"}`;
}
