// The check that is looked at: how far it is, what came of each file, and its sheet.
import {cover} from "./cover.js";
import {rove} from "./rove.js";
import {badness, by, bytes, isOver, kindOf, make, many, put, putName, titleOf, verdictOf, verdictWord, wholeTally, wholeVerdict} from "./words.js";

// About what a file's part of a sheet weighs, pictures and all; beyond so many files nobody wants the page unasked.
const kPartBytes = 110e3, kUnasked = 40, kPlacesMs = 3000, kLast = 0.97;

const kFormats = [
  ["html", "HTML", "the page you see"],
  ["txt", "text", "plain text"],
  ["csv", "CSV", "a table"],
  ["json", "JSON", "everything, for programs"],
  ["jsonl", "JSON lines", "everything, a line for each file"],
  ["xml", "JUnit", "a report for a build server, XML"],
];

// In which a sheet of each kind can be had.
const kForms = {compare: ["html", "txt", "json"]};
const formsOf = (check) => check.forms || kForms[kindOf(check)] || kFormats.map(([format]) => format);

const utf8 = new TextEncoder();

/** Which part of the sheet each file is, where the program does not say: sheets list files by the bytes of their paths. */
function partsOf(files) {
  if (files.every((one) => one.part)) return files.map((one) => one.part);
  const keys = files.map((one) => utf8.encode(one.name));
  const order = files.map((_, i) => i).sort((a, b) => {
    const [x, y] = [keys[a], keys[b]];
    for (let i = 0; i < Math.min(x.length, y.length); ++i) if (x[i] !== y[i]) return x[i] - y[i];
    return x.length - y.length || a - b;
  });
  const parts = new Array(files.length);
  order.forEach((file, i) => (parts[file] = i + 1));
  return parts;
}

export class One {
  constructor(checks, hear) {
    this.checks = checks;
    this.hear = hear;
    this.id = null;
    this.loaded = "";
    this.cells = [];
    this.missing = [];
    this.list = rove(by("verdicts"), "button");
    by("stop").addEventListener("click", () => checks.stop());
    by("to-sheet").addEventListener("click", () => this.toSheet());
    by("remove").addEventListener("click", () => checks.remove(this.id));
    by("again").addEventListener("click", () => checks.repeat(this.id));
  }

  none() {
    this.id = null;
    this.unload();
    by("one").hidden = true;
  }

  address(format, save) {
    return `api/checks/${encodeURIComponent(this.id)}/sheet.${format}${save ? "?save=1" : ""}`;
  }

  draw(check) {
    const other = check.check !== this.id;
    this.id = check.check;
    by("one").hidden = false;
    const counted = check.files.length > 1 && kindOf(check) === "files";
    const counts = check.state === "done" && (counted || kindOf(check) === "order") ? wholeTally(check) : "";
    putName(by("one-name"), [counted ? many(check.files.length, "file", "files") : titleOf(check), counts].filter(Boolean).join(": "));
    by("one-name").className = check.files.length > 1 || check.missing ? wholeVerdict(check) : "";
    const over = isOver(check);
    // The place of the line that moves is kept by what comes after it.
    if (over && by("running").contains(document.activeElement)) this.checks.rows.get(check.check)?.button.focus();
    by("running").hidden = over;
    if (!over) this.progress(check);
    this.words(check);
    this.files(check, other);
    const sheet = check.state === "done";
    by("after").hidden = !sheet;
    by("again").hidden = !over || !this.checks.asked.has(check.check);
    by("remove").hidden = !over;
    if (sheet) this.sheet(check, other);
    else this.unload();
  }

  progress(check) {
    const fraction = Math.max(0, Math.min(1, check.fraction || 0));
    // Near the end nothing seems to move: what is done then is told, too.
    const last = check.stage === "writing" ? "Writing the sheet …" : fraction >= kLast ? "Last steps: what was measured is put together" : "";
    const text = check.state === "waiting" ? "Waits for the check before it." : check.stage === "writing" ? last : [last || check.current, check.total > 1 ? `${check.done} of ${check.total} done` : `${Math.floor(100 * fraction)} %`].filter(Boolean).join(": ");
    put(by("running-text"), text);
    by("bar").value = fraction;
  }

  words(check) {
    const text = check.state === "failed" ? check.error || "The check could not be done. Check again."
      : check.state === "stopped" ? "Stopped before it was done: there is no verdict." : "";
    put(by("one-text"), text);
    by("one-text").hidden = !text;
  }

  files(check, other) {
    const missing = check.missing || [], several = check.files.length > 1 || missing.length > 0;
    by("verdicts").hidden = !several;
    if (!several) {
      by("verdicts").replaceChildren();
      this.cells = [];
      return;
    }
    if (other || this.cells.length !== check.files.length || this.missing.length !== missing.length) {
      this.sorted = false;
      this.cells = check.files.map((one, i) => {
        const badge = make("span", {className: "badge"}), name = make("span", {className: "name"});
        putName(name, one.name);
        const button = make("button", {type: "button", className: "entry", tabindex: "-1"}, badge, name);
        button.addEventListener("click", () => this.toFile(i));
        return {li: make("li", {}, button), badge, button};
      });
      // There is nothing of them to go to.
      this.missing = missing.map((file) => {
        const name = make("span", {className: "name"});
        putName(name, file);
        return make("li", {}, make("span", {className: "entry"}, make("span", {className: "badge fail", text: "MISSING"}), name));
      });
      by("verdicts").replaceChildren(...this.missing, ...this.cells.map((cell) => cell.li));
      by("verdicts").scrollTop = 0;
    }
    check.files.forEach((one, i) => {
      const verdict = verdictOf(one);
      // Files of a plan that no rules judge are measured only.
      const word = verdictWord(verdict) || (check.state === "done" ? "measured" : "\u2026");
      if (this.cells[i].badge.textContent === word) return;
      this.cells[i].badge.className = `badge ${verdict || "waiting"}`;
      put(this.cells[i].badge, word);
    });
    // Once nothing moves any more, the worst stand first.
    if (isOver(check) && !this.sorted) {
      this.sorted = true;
      const order = check.files.map((_, i) => i).sort((a, b) => badness(verdictOf(check.files[a])) - badness(verdictOf(check.files[b])) || a - b);
      const held = document.activeElement;
      by("verdicts").replaceChildren(...this.missing, ...order.map((i) => this.cells[i].li));
      if (by("verdicts").contains(held)) held.focus();
    }
    this.list.refresh();
  }

  sheet(check, other) {
    if (!other && this.offered === check.check) return;
    this.offered = check.check;
    this.parts = partsOf(check.files);
    by("alone").href = this.address("html", false);
    by("saves").replaceChildren("Save: ", ...kFormats.filter(([format]) => formsOf(check).includes(format)).flatMap(([format, words, title], i) => [...(i ? [", "] : []), make("a", {href: this.address(format, true), download: "", text: words, title})]));
    if (check.files.length <= kUnasked) {
      // Both at once, so that the sheet is not pushed down while somebody reads it.
      const ready = () => this.offered === check.check && !this.loaded && this.load("");
      if (this.loaded) this.unload(), (this.offered = check.check);
      Promise.race([this.hear.take(check), new Promise((done) => setTimeout(done, kPlacesMs))]).then(ready);
      return;
    }
    this.unload();
    this.hear.take(check);
    this.offered = check.check;
    const button = make("button", {type: "button", text: "Show all here"});
    button.addEventListener("click", () => {
      this.load("");
      by("frame").querySelector("iframe").focus();
    });
    by("frame").replaceChildren(make("p", {text: `Choose a file above, and its sheet stands here. All ${check.files.length} together are one long page of about ${bytes(check.files.length * kPartBytes)}.`}), button);
  }

  unload() {
    this.loaded = "";
    this.offered = null;
    this.hear.none();
    if (by("frame").firstChild) by("frame").replaceChildren();
  }

  /** The sheet, at a part of it. It is the program's own page; it may run its own script and nothing else. */
  load(part) {
    const address = this.address("html", false) + part;
    const frame = by("frame").querySelector("iframe");
    if (frame && this.loaded === this.id) {
      frame.src = address;
      return;
    }
    this.loaded = this.id;
    const whole = part.startsWith("?") ? undefined : "";
    by("frame").replaceChildren(make("p", {className: "soft", text: "Opening the sheet …"}), make("iframe", {src: address, sandbox: "allow-scripts", "data-whole": whole, title: `Sheet of ${by("one-name").textContent}`}), cover());
  }

  toFile(i) {
    const check = this.checks.all.get(this.id);
    if (!check || check.state !== "done") return;
    const whole = check.files.length <= kUnasked || by("frame").querySelector("iframe[data-whole]");
    this.load(whole ? `#file-${this.parts[i]}` : `?file=${this.parts[i]}`);
    this.cells.forEach((cell, at) => cell.button.setAttribute("aria-current", String(at === i)));
    by("frame").scrollIntoView({block: "nearest"});
  }

  toSheet() {
    const frame = by("frame").querySelector("iframe") || by("frame").querySelector("button");
    if (!frame) return;
    frame.scrollIntoView({block: "nearest"});
    frame.focus();
  }
}
