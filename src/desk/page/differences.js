// Where two bounces part: marked over the shape of the old one, gone through one by one, and how loud each is there.
import {get} from "./api.js";
import {Marks} from "./marks.js";
import {say} from "./say.js";
import {queryOf} from "./sound.js";
import {timeShort, timeSpoken} from "./times.js";
import {inOld} from "./two.js";
import {make, many, put} from "./words.js";

// A place a little before, so that the way into it is heard, too; a stretch shorter than this has no level of its own.
const kLeadS = 0.5, kShortestS = 0.05;

const signed = (db, decimals = 1) => `${db > 0 ? "+" : ""}${db.toFixed(decimals)}`.replace("-", "\u2212");

/** "1.3 dB louder" of what the new one is over the old one. */
const louder = (db) => (Math.abs(db) < 0.05 ? "as loud as the old one" : `${Math.abs(db).toFixed(1)} dB ${db > 0 ? "louder" : "softer"}`);

/** The power over a stretch of a sound, as far as it reaches; nothing where it has none. */
async function powerOf(source, from, to) {
  const facts = await get(`api/sound?${queryOf(source)}`), frame = (seconds) => Math.max(0, Math.min(facts.frames, Math.round(seconds * facts.sample_rate)));
  const begin = frame(from), end = frame(to);
  if (end - begin < kShortestS * facts.sample_rate) return null;
  const {columns} = await get(`api/sound/outline?${queryOf(source)}&mark=${encodeURIComponent(facts.mark)}&from=${begin}&to=${end}&columns=1`);
  return columns[0][2] ** 2;
}

export class Differences {
  /** `acts`: where its buttons go; `about`: where it says what is looked at. */
  constructor(shape, acts, about) {
    this.shape = shape;
    this.marks = new Marks(shape);
    this.at = null;
    const button = (text, step) => {
      const made = make("button", {type: "button", className: "small", text});
      made.addEventListener("click", () => this.step(step));
      return made;
    };
    this.buttons = [button("Difference before", -1), button("Next difference", 1)];
    this.text = make("p", {className: "soft", id: "two-difference"});
    acts.append(...this.buttons);
    about.append(this.text);
  }

  /** `pair`: as api/checks/…/pair tells it, of the check `id`. */
  take(pair, id) {
    Object.assign(this, {pair, id, at: null});
    this.parts = (pair?.edits ?? []).map((edit, i) => ({from: edit.old_start_s, to: edit.old_end_s, text: String(i + 1), kind: "differs", edit}));
    this.found = [];
    this.draw();
    const total = pair?.edits_total ?? this.parts.length;
    for (const one of this.buttons) one.hidden = !this.parts.length;
    put(this.text, !this.parts.length ? "" : total > this.parts.length ? `${this.parts.length} of ${total} places where they part are marked.` : `${many(total, "place where they part is", "places where they part are")} marked.`);
  }

  /** The places of the sheet that lie in either of the two: groups as Hear has them. */
  places(groups) {
    if (!this.pair) return;
    const {old_part: older, new_part: newer} = this.pair;
    this.found = groups.flatMap((group) => group.entries.flatMap((entry) => (/ edit /.test(entry.places[0]?.request.key) ? [] : entry.places)))
      .filter(({request}) => [older, newer].includes(request.source.part))
      .map(({request, start_s: start}) => ({at: request.source.part === older ? start : inOld(this.pair, start), kind: "found"}))
      .map(({at, kind}) => ({from: at, to: at, text: "", kind}));
    this.draw();
  }

  draw() {
    this.marks.take([...this.found, ...this.parts]);
    this.marks.choose(this.parts[this.at] ?? null);
  }

  async step(by) {
    if (!this.parts.length) return;
    this.at = this.at === null ? (by > 0 ? 0 : this.parts.length - 1) : (this.at + by + this.parts.length) % this.parts.length;
    const {edit} = this.parts[this.at], {id, pair} = this, at = this.at;
    this.marks.choose(this.parts[at]);
    this.shape.point(Math.max(0, edit.old_start_s - kLeadS));
    const words = `Difference ${at + 1} of ${this.parts.length}: ${edit.words ?? timeShort(edit.old_start_s)}.`;
    put(this.text, words);
    say(`Difference ${at + 1}, from ${timeSpoken(edit.old_start_s)}.`);
    let db = edit.level_db ?? null;
    if (db === null) {
      try {
        const [older, newer] = await Promise.all([powerOf({check: id, part: pair.old_part}, edit.old_start_s, edit.old_end_s), powerOf({check: id, part: pair.new_part}, edit.new_start_s, edit.new_end_s)]);
        if (older > 0 && newer > 0) db = 10 * Math.log10(newer / older);
      } catch {
        // Its level is not known; everything else is.
      }
    }
    if (this.id === id && this.at === at && db !== null) put(this.text, `${words} There the new one is ${louder(db)}, before both are made equally loud.`);
  }
}

/** What a pair says of loudness, before and after it is matched for hearing. */
export function loudnessWords({old_lufs: older, new_lufs: newer, old_gain_db: oldGain, new_gain_db: newGain}) {
  if (older === undefined || newer === undefined) return "How loud they are could not be measured of both, so they are not matched for hearing.";
  const lufs = (value) => value.toFixed(1).replace("-", "\u2212"), down = Math.min(oldGain, newGain);
  return `Old ${lufs(older)} LUFS, new ${lufs(newer)} LUFS (${signed(newer - older)} LU). ${down < -0.05 ? `For hearing, the ${oldGain < newGain ? "old" : "new"} one is turned down by ${(-down).toFixed(1)} dB.` : "For hearing, both stay as they are."}`;
}
