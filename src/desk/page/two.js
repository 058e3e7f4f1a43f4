// Two bounces at once: both run, in step and equally loud, and one of them is heard.
import {foldWords} from "./fold.js";

const kSwitchS = 0.005;

const factor = (db) => 10 ** (Math.min(0, db) / 20);

/** Where a place of the old bounce lies in the new one, in seconds. `pair`: {offset_s, speed}. */
export const inNew = (pair, oldS) => oldS * (pair.speed || 1) + (pair.offset_s || 0);
export const inOld = (pair, newS) => (newS - (pair.offset_s || 0)) / (pair.speed || 1);

/** The lanes of a plan (see layOut): the old bounce from its second `fromS`, and the new one from where that is in it, each
 *  turned down to the loudness of the softer one. `pair` as api/checks/…/pair tells it. */
export function lanesOfTwo(older, newer, pair, fromS) {
  return [
    {sound: older, at: fromS * older.rate, speed: 1, db: pair.old_gain_db ?? 0},
    // To a thousandth of a frame: what an offset of whole frames is off by in writing is not worth a filter.
    {sound: newer, at: Math.round(1000 * inNew(pair, fromS) * newer.rate) / 1000, speed: pair.speed || 1, db: pair.new_gain_db ?? 0},
  ];
}

/** Of two rates the higher one: nothing is lost on the way up. */
export const rateOfTwo = (older, newer) => Math.max(older.rate, newer.rate);

/** What a plan of both is about: each with more than two channels is folded before it meets the other. */
export function aboutOfTwo(older, newer, quietDb) {
  const [few, many] = [older.facts, newer.facts].sort((a, b) => a.channels - b.channels), channels = Math.min(2, many.channels);
  if (many.channels <= 2) return {channels, quietDb};
  return {channels, quietDb, folded: few.channels > 2 && foldWords(few) !== foldWords(many) ? `${foldWords(few)}; ${foldWords(many)}` : foldWords(many)};
}

/** Sounds side by side, of which one is heard; each with a level of its own. */
export class Lanes {
  constructor(context, into, levels, first = 0) {
    this.context = context;
    this.heard = first;
    this.inputs = levels.map((db) => new GainNode(context, {gain: factor(db)}));
    this.parts = this.inputs.map((input, i) => {
      const part = new GainNode(context, {gain: i === first ? 1 : 0});
      input.connect(part).connect(into);
      return part;
    });
  }

  /** From now, or from `at`, another one is heard: what one loses the other gains, so that what both have in common stays. */
  hear(which, at = this.context.currentTime) {
    if (which === this.heard || !this.parts[which]) return;
    this.heard = which;
    this.parts.forEach((part, i) => {
      part.gain.cancelScheduledValues(at);
      part.gain.setValueAtTime(i === which ? 0 : 1, at);
      part.gain.linearRampToValueAtTime(i === which ? 1 : 0, at + kSwitchS);
    });
  }

  drop() {
    for (const part of this.parts) part.disconnect();
  }
}
