// Words, numbers and elements. Names and tags come from files: they only ever become text.

const kUnseen = /[\u0000-\u001f\u007f-\u009f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u2064\u2066-\u2069\ufeff]/g;

/** The text with whatever would hide or turn it round shown as its number, as the sheets do. */
export const plain = (text) => String(text ?? "").replace(kUnseen, (c) => `\\u{${c.codePointAt(0).toString(16)}}`);

/** An element with a class, a text and children. */
export function make(kind, {className = "", text, ...attributes} = {}, ...children) {
  const made = document.createElement(kind);
  if (className) made.className = className;
  if (text !== undefined) made.textContent = plain(text);
  for (const [name, value] of Object.entries(attributes)) if (value !== undefined) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

/** Sets the text only where it differs, so that nothing is drawn or read out anew. */
export function put(element, text) {
  const shown = plain(text);
  if (element.textContent !== shown) element.textContent = shown;
}

/** The same for a name: long ones break behind their own signs, not within a word. */
export function putName(element, text) {
  const shown = plain(text);
  if (element.textContent === shown) return;
  element.replaceChildren(...shown.split(/(?<=[_.+\-])(?=[^\s_.+\-])/).flatMap((piece, i) => [...(i ? [document.createElement("wbr")] : []), piece]));
}

export const by = (id) => document.getElementById(id);

export const many = (count, one, more) => `${count} ${count === 1 ? one : more}`;

export function bytes(count) {
  if (!(count >= 0)) return "";
  if (count < 1000) return many(count, "byte", "bytes");
  const units = ["kB", "MB", "GB", "TB"];
  let size = count / 1000, unit = 0;
  while (size >= 999.5 && unit + 1 < units.length) size /= 1000, ++unit;
  return `${size < 9.95 ? size.toFixed(1) : Math.round(size)} ${units[unit]}`;
}

const two = (number) => String(number).padStart(2, "0");

/** The local time of an ISO 8601 time: the clock today, the date before. */
export function when(iso, now = new Date()) {
  const at = new Date(iso);
  if (Number.isNaN(at.getTime())) return "";
  const day = (d) => `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())}`;
  return day(at) === day(now) ? `${two(at.getHours())}:${two(at.getMinutes())}` : day(at);
}

export const clock = (d = new Date(), {seconds = false} = {}) => `${two(d.getHours())}:${two(d.getMinutes())}${seconds ? `:${two(d.getSeconds())}` : ""}`;

const kVerdicts = {fail: "FAIL", warn: "WARN", pass: "PASS", error: "NO SHEET"};
const kWorst = ["error", "fail", "warn", "pass"];

/** The verdict of one file of a check, in one of four words; empty while there is none. */
export const verdictOf = (one) => (one.error ? "error" : one.verdict in kVerdicts ? one.verdict : one.verdict ? "error" : "");
export const verdictWord = (verdict) => kVerdicts[verdict] || "";
export const badness = (verdict) => (kWorst.includes(verdict) ? kWorst.indexOf(verdict) : kWorst.length);

/** "2 FAIL, 1 WARN, 4 PASS". */
function tally(files) {
  const counts = new Map(kWorst.map((verdict) => [verdict, 0]));
  for (const one of files) if (verdictOf(one)) counts.set(verdictOf(one), counts.get(verdictOf(one)) + 1);
  return [...counts].filter(([, count]) => count).map(([verdict, count]) => `${count} ${kVerdicts[verdict]}`).join(", ");
}

/** The same of a whole check, with what was found of its files together: a set can fail while each of them passes. */
export function wholeTally(check) {
  const together = check.together ? `${many(check.together, "finding", "findings")} about the ${kindOf(check) === "plan" ? "song" : "whole set"}` : "";
  return [tally(check.files), together].filter(Boolean).join("; ");
}

/** "mix.wav", "mix.wav and 3 more". */
export const namesOf = (files) => (files.length ? files[0].name + (files.length > 1 ? ` and ${files.length - 1} more` : "") : "no file");

/** Whether nothing more comes of a check. */
export const isOver = (check) => !["waiting", "running"].includes(check.state);

/** The verdict of a whole check, in one of four words. */
export function wholeVerdict(check) {
  // How each of two bounces was judged is not what they were held against each other for.
  if (check.kind === "compare" && check.state === "done") return check.verdict || "";
  const worst = check.files.map(verdictOf).filter(Boolean).sort((a, b) => badness(a) - badness(b))[0];
  return check.state !== "done" ? "" : worst === "error" && check.files.length === 1 ? "error" : check.verdict || worst || "";
}

/** "files", "compare", "plan", "order" or "new plan". */
export const kindOf = (check) => check.kind || "files";

/** What a check is of, in a few words. */
export function titleOf(check) {
  const base = (path) => String(path).split("/").pop();
  if (kindOf(check) === "compare") return check.files.map((one) => one.name).join(" \u2192 ");
  if (check.plan !== undefined) return base(check.plan);
  if (check.order !== undefined) return base(check.order);
  return namesOf(check.files);
}
