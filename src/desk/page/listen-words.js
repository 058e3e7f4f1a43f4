// What the listening pass says, in the words of the terminal.
import {timeText} from "./times.js";
import {many, plain} from "./words.js";

const quoted = (text) => `“${plain(text)}”`;

/** "3 of 12 questions hold (pass 2, 2026-05-04, KB)" */
export function standing(state) {
  const holding = state.questions.filter((one) => one.holds).length;
  return `${holding} of ${state.questions.length} questions hold${state.pass > 0 ? ` (pass ${state.pass}, ${state.date}, ${plain(state.by)})` : ""}`;
}

/** The pass to which the next answer belongs. */
export const passOf = (state, again) => (again || state.pass === 0 ? state.next_pass : state.pass);

/** What sounded of the question that is asked, before it is answered. */
export const heardWords = (seconds, on) => (seconds ? `Played ${seconds.toFixed(1)} s of it.` : on ? "It plays." : "Nothing was played here for this question yet; an answer given now is kept as not played.");

/** Which bounce it is, and what is to be known of it: lines. */
export function greeting(state, again) {
  const lines = [`Pass ${passOf(state, again)} on ${quoted(state.mix)}: ${again ? `${many(state.questions.length, "question", "questions")}, all asked again` : standing(state)}.`];
  if (state.remark) lines.push(`Note: ${plain(state.remark)}.`);
  const another = state.pass === 0 && state.before_pass > 0;
  if (another) lines.push(`This is another bounce than that of pass ${state.before_pass}. A new bounce opens all questions again, whatever changed; those come first whose numbers moved.`);
  if (state.change) {
    const dither = state.change.kind === "dither-only" || state.change.kind === "dither only";
    lines.push(`Against the bounce before: ${dither ? "dither only. " : ""}${plain(state.change.summary)}`);
    if (dither) lines.push("It opens them all the same: no pass is carried over to audio that nobody has heard.");
  } else if (another && !state.questions.some((one) => one.moved.length)) {
    lines.push("No number that was kept of it moved. Name that bounce as the one before in the plan to have both held against each other.");
  }
  return lines;
}

/** "“softer” (KB, 2026-05-04)" */
const noteWords = (last) => `${last.note ? `, ${quoted(last.note)}` : ""} (${plain(last.by)}, ${last.date})`;

/** "tweak, “softer” (KB, 2026-05-04)" */
export const lastWords = (last) => `${last.answer}${noteWords(last)}`;

/** "mix changed since", or "tweak, “softer” (KB, 2026-05-04)" */
export const openWords = (question) => `${question.open}${["tweak", "skipped"].includes(question.open) && question.last ? noteWords(question.last) : ""}`;

/** Why a question is open. */
export function whyOpen(question) {
  const words = {"never asked": "It was never asked.", skipped: "It was skipped.", tweak: "Something was to be changed, and it is still the same mix.", "mix changed since": "The mix has changed since it was answered.",
    "question changed since": "The question has changed since it was answered.", "not yet in this pass": "It was answered in a pass before this one."};
  return question.holds ? "It holds." : words[question.open] ?? `${question.open}.`;
}

/** Why answers count no more. */
export function staleWords(stale) {
  const mix = stale.filter((one) => one.open === "mix changed since").length, words = [];
  if (mix) words.push(`${mix === stale.length ? "" : `${mix} `}given on a bounce before this one`);
  if (stale.length > mix) words.push(`${mix ? `${stale.length - mix} ` : ""}given before the question was changed`);
  return `${words.join(", ")}.`;
}

const kAbout = {
  "vocal-placement": ["a lead vocal", ["lead vocal"]], "vocal-quality": ["a lead vocal", ["lead vocal"]], "backing-vocals": ["a backing vocal", ["backing vocal"]],
  percussion: ["kick, snare, drums or percussion", ["kick", "snare", "drums", "percussion"]],
};

/** That a standard question is about a part that no stem of the plan plays; nothing where it may be there. `roles`: of all stems. */
export function absentWords(id, roles) {
  const [words, wanted] = kAbout[id] ?? [];
  return words && roles.length && !wanted.some((role) => roles.includes(role)) ? `No stem of the plan is ${words}.` : "";
}

// The page does by itself what a terminal asks of the listener. `hz`: where its low-pass lies; `belowHz`: where the plan's low end begins.
const kHow = {
  quiet: ({quietDb}) => `Very quietly: the page turns down by itself, to ${quietDb} dB below the level in the bar. Leave your monitors as you have them for mixing, set that level until you can only just follow the vocal, and leave it there.`,
  mono: () => "In mono: the page adds both channels by itself. Best from one loudspeaker.",
  lows: ({hz, belowHz}) => `Below ${hz} Hz alone: the page takes away the rest by itself${belowHz === hz ? "" : ` (the plan’s low end lies below ${belowHz} Hz)`}. It sounds softer than it is: do not turn it up.`,
  "small speaker": () => "As from something small, such as a phone: the page takes away by itself what that would not play. No louder than people talk.",
};

/** How to hear a question. `about`: {quietDb: of the page's quiet way, nothing where it plays nothing; belowHz}. */
export const howWords = ({heard, how}, {quietDb, belowHz = 100}) => (quietDb === undefined ? plain(how) : kHow[heard]?.({quietDb, belowHz, hz: lowsHz(belowHz)}) ?? plain(how));

/** How loud a question is played. `db`: of the bar. */
export function levelWords(heard, db) {
  if (!(db < 0) || heard === "quiet") return "";
  const until = {lows: "set its level by the whole song, as it is, and leave it there for this", "small speaker": "raise its level until it is as loud as people talk"};
  return `The bar is ${-db} dB down, so that nothing is sudden: ${until[heard] ?? "raise its level until it is your usual one"}.`;
}

/** "0:43.5 to 1:12.0, chorus 1" */
export function placeWords(place) {
  const until = place.end_s === undefined ? " to the end" : place.end_s > place.start_s ? ` to ${timeText(place.end_s, 1)}` : "";
  return `${timeText(place.start_s, 1)}${until}${place.what ? `, ${plain(place.what)}` : ""}`;
}

const kWays = {full: "as-it-is", quiet: "quiet", mono: "mono", "small speaker": "small-speaker"};
const lowsHz = (belowHz) => (belowHz > 110 ? 120 : 100);
/** The player's way for a question's. `belowHz`: where the plan's low end begins. */
export const wayOf = (heard, belowHz = 100) => (heard === "lows" ? `below-${lowsHz(belowHz)}` : kWays[heard] ?? "as-it-is");

/** The questions in the order in which they are asked. `quietFirst`: for ears that are loaded. */
export function orderOf(state, again, quietFirst) {
  const asked = state.questions.filter((one) => again || !one.holds);
  const quiet = asked.filter((one) => one.heard === "quiet");
  return (quietFirst ? [...quiet, ...asked.filter((one) => one.heard !== "quiet")] : asked).map((one) => one.id);
}

/** Whether it matters if ears are loaded: some questions are very quiet, and not all. */
export function asksOfEars(state, again) {
  const quiet = state.questions.filter((one) => again || !one.holds).map((one) => one.heard === "quiet");
  return quiet.some(Boolean) && !quiet.every(Boolean);
}

/** Where to listen. A question of no section is asked of the whole song. */
export const placesOf = (question) => (question.section ? question.places : [...question.places, {start_s: 0, what: "the whole song"}]);
