// The sections of a plan while somebody edits them: in order of time, without overlap, each behind the one before it or with a gap.

// Within half a step in which loudness is counted a section is the one that was measured.
const kLeast = 0.01, kSame = 0.0005, kMoved = 0.05;
const toMs = (seconds) => Math.round(1000 * seconds) / 1000;

export class Sections {
  /** `listed`: as the program tells them; `duration()`: of the mix in seconds, or Infinity. */
  constructor(listed, duration) {
    this.duration = duration;
    this.keys = 0;
    this.list = listed.map((one, i) => ({key: ++this.keys, was: i, name: one.name, start: one.start_s, end: one.end_s ?? null, biggest: Boolean(one.biggest), quietest: Boolean(one.quietest), vocal: one.vocal ?? null, measured: one.measured, guess: one.guess ?? []}));
    this.first = this.list.map((one, i) => [one.start, this.endOf(i)]);
  }

  /** Whether section `i` lies where it lay when it was measured. */
  stays(i) {
    const one = this.list[i], [start, end] = this.first[one.was] ?? [NaN, NaN], now = this.endOf(i);
    const open = !Number.isFinite(end) && one.end === null && i === this.list.length - 1;
    return Math.abs(one.start - start) <= kMoved && (open || Math.abs(now - end) <= kMoved);
  }

  /** What was measured of section `i`; nothing once it is another one. */
  measured(i) {
    return this.stays(i) ? this.list[i].measured : undefined;
  }

  /** The section that is guessed to be it, while all lie where they lay. */
  guessed(flag) {
    return this.list.every((_, i) => this.stays(i)) ? this.list.find((one) => one.guess.includes(flag)) : undefined;
  }

  at(key) {
    return this.list.findIndex((one) => one.key === key);
  }

  /** Where section `i` ends, whether that is written or not. */
  endOf(i) {
    return this.list[i].end ?? this.list[i + 1]?.start ?? this.duration();
  }

  /** Whether section `i` ends where the next one begins. */
  touches(i) {
    return i >= 0 && i + 1 < this.list.length && Math.abs(this.endOf(i) - this.list[i + 1].start) < kSame;
  }

  /** Between which seconds its start can lie; as a border that it may share with the one before. */
  roomOfStart(i) {
    const before = i > 0 ? (this.touches(i - 1) ? this.list[i - 1].start + kLeast : this.endOf(i - 1)) : 0;
    return [toMs(before), toMs(this.endOf(i) - kLeast)];
  }

  roomOfEnd(i) {
    return [toMs(this.list[i].start + kLeast), toMs(this.list[i + 1]?.start ?? this.duration())];
  }

  /** Moves a border to the nearest time it can have; that time. */
  moveStart(i, seconds) {
    const [low, high] = this.roomOfStart(i), to = toMs(Math.max(low, Math.min(high, seconds)));
    // What shares the border goes along.
    if (this.touches(i - 1) && this.list[i - 1].end !== null) this.list[i - 1].end = to;
    this.list[i].start = to;
    return to;
  }

  /** null: until the next one, or the song's end. */
  moveEnd(i, seconds) {
    if (seconds === null) return (this.list[i].end = null);
    const [low, high] = this.roomOfEnd(i);
    return (this.list[i].end = toMs(Math.max(low, Math.min(high, seconds))));
  }

  /** Every border that can be moved: {key, i, edge: "start" or "end", at, room}. */
  borders() {
    return this.list.flatMap((one, i) => {
      const start = {key: one.key, i, edge: "start", at: one.start, room: this.roomOfStart(i)};
      return one.end !== null && !this.touches(i) ? [start, {key: one.key, i, edge: "end", at: one.end, room: this.roomOfEnd(i)}] : [start];
    });
  }

  freeName(wish = "section") {
    const names = new Set(this.list.map((one) => one.name));
    for (let number = this.list.length + 1; ; ++number) if (!names.has(`${wish} ${number}`)) return `${wish} ${number}`;
  }

  /** A new one from there: in a section it takes what is behind, in a gap what is free. Nothing where there is no room. */
  add(seconds) {
    const at = toMs(Math.max(0, seconds)), place = this.list.findIndex((one) => one.start > at - kSame);
    const i = place < 0 ? this.list.length : place;
    const before = this.list[i - 1], next = this.list[i];
    if ((before && at < before.start + kLeast) || (next && at > next.start - kLeast) || at > this.duration() - kLeast) return null;
    const made = {key: ++this.keys, was: null, name: this.freeName(), start: at, end: null, biggest: false, quietest: false, vocal: null, guess: []};
    if (before && before.end !== null && before.end > at) {
      made.end = before.end;
      before.end = null;
    }
    this.list.splice(i, 0, made);
    return made;
  }

  /** Cuts section `i` in two, there or, where that lies outside, in the middle. */
  split(i, seconds) {
    const one = this.list[i], end = this.endOf(i);
    const inside = seconds !== null && seconds > one.start + kLeast && seconds < end - kLeast;
    return this.add(inside ? seconds : Number.isFinite(end) ? (one.start + end) / 2 : one.start + 10);
  }

  remove(i) {
    this.list.splice(i, 1);
  }

  /** At most one section is it. `key`: 0 for none. */
  mark(flag, key) {
    for (const one of this.list) one[flag] = one.key === key;
  }

  marked(flag) {
    return this.list.find((one) => one[flag])?.key ?? 0;
  }

  /** As the program takes them. */
  written() {
    return this.list.map((one) => ({...(one.was === null ? {} : {was: one.was}), name: one.name.trim(), start_s: one.start, ...(one.end === null ? {} : {end_s: one.end}), biggest: one.biggest, quietest: one.quietest, vocal: one.vocal}));
  }

  /** What is wrong with a name; empty where nothing is. */
  faultOfName(i) {
    const name = this.list[i].name.trim();
    if (!name) return "A section wants a name.";
    if (name.length > 200) return "A name has at most 200 characters.";
    return this.list.some((one, at) => at !== i && one.name.trim() === name) ? "Another section has this name." : "";
  }
}
