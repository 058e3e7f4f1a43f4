// More than two channels on two loudspeakers. Every channel is heard: browsers leave the low-frequency effects out, and know four layouts.

const kSide = Math.SQRT1_2;

// What of a channel goes left and right, by its loudspeaker: ITU-R BS.775, annex 4, for centre and surrounds. It leaves the LFE out, which
// is played like the centre here, and so is what has no side.
const kShares = {
  left: [1, 0], right: [0, 1], "left-surround": [kSide, 0], "right-surround": [0, kSide], "left-back": [kSide, 0], "right-back": [0, kSide],
  // A surround of its own is laid onto both first.
  "centre-back": [kSide * kSide, kSide * kSide],
};
const kBoth = [kSide, kSide];

const isKnown = (speakers) => speakers.length > 0 && !speakers.includes("unknown");

/** Whether the channels say which is left and which is right. `about`: {channels, speakers: of each}. */
export const namesSides = ({speakers = []}) => speakers.includes("left") && speakers.includes("right");

/** Which channels are left and right, from 0; the first two where none says so. */
export const sides = (about) => (namesSides(about) ? ["left", "right"].map((one) => about.speakers.indexOf(one)) : [0, 1]);

/** What of each channel goes left and right. */
export const sharesOf = ({channels, speakers = []}) => Array.from({length: channels}, (_, c) => (isKnown(speakers) && kShares[speakers[c]]) || kBoth);

/** The fold in words. */
export function foldWords({channels, speakers = []}) {
  if (!isKnown(speakers)) return `${channels} channels that name no loudspeakers, each at \u22123 dB in both`;
  return `${channels} channels folded to two${speakers.includes("lfe") ? ", the LFE at \u22123 dB in both" : ""}`;
}

/** Out of so many channels two: of each the shares [left, right], or nothing. {input, output, nodes}. */
export function shared(context, shares) {
  const input = new ChannelSplitterNode(context, {numberOfOutputs: shares.length}), output = new ChannelMergerNode(context, {numberOfInputs: 2}), nodes = [input, output];
  shares.forEach((both, channel) => both?.forEach((share, side) => {
    if (!share) return;
    const gain = new GainNode(context, {gain: share});
    input.connect(gain, channel).connect(output, 0, side);
    nodes.push(gain);
  }));
  return {input, output, nodes};
}
