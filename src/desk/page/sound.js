// The sound of a file as the program decodes it: what it is, and its samples, piece by piece.
import {get, kGone, refusal, Refusal} from "./api.js";

const kPieceBytes = 1 << 20, kKeptBytes = 64 << 20, kSampleBytes = 4;
// Of a splitter, and of what a browser has to support in a buffer (Web Audio API).
const kMostChannels = 32;

/** A file as the program finds it: {path}, {id} or {check, part}. */
export const queryOf = (source) => (source.check !== undefined ? `check=${encodeURIComponent(source.check)}&part=${encodeURIComponent(source.part)}`
  : source.id !== undefined ? `id=${encodeURIComponent(source.id)}` : `path=${encodeURIComponent(source.path)}`);

// Pieces of whatever was played last, the newest last: address → samples, interleaved.
const kept = new Map();
let keptBytes = 0;

function keep(address, samples) {
  kept.set(address, samples);
  keptBytes += samples.byteLength;
  for (const [old, one] of kept) {
    if (keptBytes <= kKeptBytes || old === address) break;
    kept.delete(old);
    keptBytes -= one.byteLength;
  }
}

const kCut = "The sound came in part only: the file may have been written to meanwhile. Check it again.";

export class Sound {
  /** `facts`: {frames, sample_rate, channels, header_bytes, mark, …} as the program tells them. */
  constructor(source, facts) {
    this.source = source;
    this.facts = facts;
    this.address = `api/sound/audio.wav?${queryOf(source)}&mark=${encodeURIComponent(facts.mark)}`;
  }

  get rate() {
    return this.facts.sample_rate;
  }

  async bytes(first, last, signal) {
    // A line may break when the machine changes networks, even one to itself: hence once more.
    for (const again of [true, false]) {
      try {
        const answer = await fetch(this.address, {cache: "no-store", headers: {Range: `bytes=${first}-${last}`}, signal});
        if (!answer.ok) throw refusal(answer.status, await answer.text());
        const bytes = await answer.arrayBuffer();
        if (answer.status !== 206 || bytes.byteLength !== last - first + 1) throw new Refusal("cut", kCut);
        return bytes;
      } catch (error) {
        if (error instanceof Refusal || error.name === "AbortError") throw error;
        if (!again) throw new Refusal("gone", kGone);
      }
    }
  }

  /** Fails where the file is another one by now, or gone. */
  async stillThere(signal) {
    await this.bytes(0, 0, signal);
  }

  async piece(number, signal) {
    const key = `${this.address}#${number}`, there = kept.get(key);
    if (there) {
      // What was used last goes last.
      kept.delete(key);
      kept.set(key, there);
      return there;
    }
    const {channels, header_bytes: header, frames} = this.facts, size = this.pieceFrames();
    const first = number * size, end = Math.min(frames, first + size), frame = channels * kSampleBytes;
    const samples = new Float32Array(await this.bytes(header + first * frame, header + end * frame - 1, signal));
    if (!kept.has(key)) keep(key, samples);
    return samples;
  }

  pieceFrames() {
    return Math.max(1, Math.floor(kPieceBytes / (kSampleBytes * this.facts.channels)));
  }

  /** The frames from `from` up to `to`, one row a channel; nothing but zeros before the first and after the last. */
  async frames(from, to, signal) {
    const {channels, frames} = this.facts, size = this.pieceFrames();
    const rows = Array.from({length: channels}, () => new Float32Array(Math.max(0, to - from)));
    const first = Math.max(0, from), end = Math.min(frames, to);
    for (let at = first; at < end;) {
      const number = Math.floor(at / size), samples = await this.piece(number, signal);
      const stop = Math.min(end, (number + 1) * size);
      for (let c = 0; c < channels; ++c) {
        const row = rows[c];
        for (let i = at, s = (at - number * size) * channels + c; i < stop; ++i, s += channels) row[i - from] = samples[s];
      }
      at = stop;
    }
    return rows;
  }
}

/** Asks what is at `source`. Fails where it is no sound, or not there. */
export async function openSound(source) {
  const facts = await get(`api/sound?${queryOf(source)}`);
  if (!(facts.frames > 0 && facts.channels > 0 && facts.sample_rate > 0)) throw new Refusal("silent", "There is no sound in this file that could be played.");
  if (facts.channels > kMostChannels) throw new Refusal("channels", `It has ${facts.channels} channels, and a browser plays ${kMostChannels} at most; it can still be checked.`);
  return new Sound(source, facts);
}
