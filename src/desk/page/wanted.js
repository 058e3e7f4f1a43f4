// The numbers of a plan that the page can set: what each is called, its unit, and what it decides.

/** `part` and `name`: where it stands in the plan; `name` empty: the part is the value itself. `kind`: "range", "number", "flag" or
 *  "choice". `without`: what holds where it is left out. */
export const kWanted = [
  {key: "vocal.above_band", part: "vocal", name: "", kind: "range", unit: "LU", title: "Lead vocal over everything else", about: "How far the voice lies over the band: from, to. Sections may have ranges of their own, above.", finding: "vocal-placement"},
  {key: "backing.under_lead", part: "backing", name: "", kind: "range", unit: "LU", title: "Backing vocals under the lead vocal", about: "How far the backing voices lie under the lead: from, to.", finding: "backing-placement"},
  {key: "dynamics.quiet_to_loud", part: "dynamics", name: "quiet_to_loud", kind: "number", unit: "LU", bound: "at least", title: "Quietest to biggest section", about: "How far these two sections are apart.", finding: "quiet-to-loud"},
  {key: "dynamics.biggest_margin", part: "dynamics", name: "biggest_margin", kind: "number", unit: "LU", bound: "at least", without: 0, title: "Biggest over the next section", about: "By how much the biggest section is bigger than the one after it.", finding: "biggest-section"},
  {key: "dynamics.movement", part: "dynamics", name: "movement", kind: "number", unit: "dB", bound: "at least", title: "Movement of each part", about: "By how much each part moves between sections.", finding: "movement"},
  {key: "low_end.below_hz", part: "low_end", name: "below_hz", kind: "number", unit: "Hz", without: 100, least: 40, most: 250, title: "Where the low end begins", about: "Kick and bass are held against each other below it.", finding: "kick-over-bass"},
  {key: "low_end.lowest", part: "low_end", name: "lowest", kind: "choice", choices: ["kick", "bass"], title: "What reaches lower", about: "Whether kick or bass is meant to have the lowest octave.", finding: "low-end-order"},
  {key: "low_end.kick_over_bass", part: "low_end", name: "kick_over_bass", kind: "number", unit: "dB", bound: "at least", title: "Kick over bass", about: "By how much the kick wins over the bass where both play.", finding: "kick-over-bass"},
  {key: "low_end.bass_steadiness", part: "low_end", name: "bass_steadiness", kind: "number", unit: "dB", bound: "at most", title: "Unevenness of the bass", about: "How far the bass may stray from note to note.", finding: "bass-steadiness"},
  {key: "masking.most", part: "masking", name: "most", kind: "number", unit: "%", bound: "at most", least: 0, most: 100, title: "Covered by what matters less", about: "Of the more important part's time and bands, while it plays.", finding: "priority-masking"},
  {key: "quiet.level_db_spl", part: "quiet", name: "level_db_spl", kind: "number", unit: "dB SPL", without: 45, least: 10, most: 90, title: "Very quiet is", about: "The level at which “played very quietly” is estimated.", finding: "quiet-listening"},
  {key: "quiet.reference_db_spl", part: "quiet", name: "reference_db_spl", kind: "number", unit: "dB SPL", without: 78, least: 40, most: 95, title: "Against a working level of", about: "The level it is held against.", finding: "quiet-listening"},
  {key: "quiet.small_speaker", part: "quiet", name: "small_speaker", kind: "flag", without: true, title: "Also through a small loudspeaker", about: "Estimates the quiet song through the band of a small loudspeaker, too.", finding: "quiet-listening"},
  {key: "quiet.moved", part: "quiet", name: "moved", kind: "number", unit: "dB", without: 6, title: "A part has moved from", about: "A part that moves more than this against the others, once it is quiet, is told.", finding: "quiet-listening"},
];

/** A section's own range, in place of the song's. */
export const kSectionVocal = {...kWanted[0], least: -60, most: 60};

/** The number of a text; null where it is empty, NaN where it is none. */
export function numberIn(text) {
  const clean = text.trim().replace(",", ".").replace("\u2212", "-");
  return clean === "" ? null : /^[+-]?\d{1,6}(\.\d{0,6})?$/.test(clean) ? Number(clean) : NaN;
}

/** The range of two texts; null where both are empty. */
export function rangeIn(texts) {
  const [low, high] = texts.map(numberIn);
  return low === null && high === null ? null : {low: low ?? NaN, high: high ?? NaN};
}

/** Its value in a plan; null where it is not stated. */
export function wantedIn(plan, one) {
  const value = one.name ? plan[one.part]?.[one.name] : plan[one.part];
  if (value === undefined || value === null || value === "") return null;
  return one.kind === "range" ? {low: value.low, high: value.high} : value;
}

/** What is wrong with it, in words; empty where nothing is. */
export function faultOf(one, value) {
  if (value === null) return "";
  const numbers = one.kind === "range" ? [value.low, value.high] : one.kind === "number" ? [value] : [];
  if (numbers.some((number) => number === null || !Number.isFinite(number))) return one.kind === "range" ? "Both ends want to be numbers, or both empty." : "This wants to be a number, or empty.";
  if (one.kind === "range" && value.low > value.high) return "The first number wants to be the lower one.";
  if (one.least !== undefined && numbers.some((number) => number < one.least || number > one.most)) return `This wants to lie from ${one.least} to ${one.most}.`;
  return "";
}

export function wordsOf(one, value) {
  if (value === null) return one.without !== undefined ? `as if left out: ${one.without === true ? "yes" : one.without}` : "not stated";
  if (one.kind === "flag") return value ? "yes" : "no";
  return `${one.kind === "range" ? `${value.low} to ${value.high}` : value}${one.unit ? ` ${one.unit}` : ""}`;
}
