// The checks of this session: the list of them, and the one that is looked at.
import {ask, get} from "./api.js";
import {One} from "./one.js";
import {rove} from "./rove.js";
import {say, tell} from "./say.js";
import {by, clock, isOver, make, many, namesOf, put, tally, verdictOf, verdictWord, wholeVerdict} from "./words.js";

const numberOf = (check) => Number(String(check.check).replace(/\D/g, "")) || 0;
const kStates = {waiting: "waits", running: "", stopped: "stopped", failed: "not done"};

export class Checks {
  /** `judged` gets the items of a check that was asked for here, with the verdict of each, when it is
   *  over; `released` each added file of which no check is left: the program has deleted it. */
  constructor(rules, hear, judged, released) {
    this.rules = rules;
    this.judged = judged;
    this.released = released;
    this.all = new Map();
    this.rows = new Map();
    // What was asked for from this page: {names of rule sets, items, clock}.
    this.asked = new Map();
    this.shown = null;
    this.spoken = new Map();
    this.list = rove(by("ledger"), "button");
    this.one = new One(this, hear);
  }

  busy() {
    return [...this.all.values()].some((check) => !isOver(check));
  }

  async again() {
    let answer;
    try {
      answer = await get("api/checks");
    } catch {
      return;
    }
    const {checks} = answer;
    const known = new Set(checks.map((check) => check.check));
    for (const id of [...this.all.keys()]) if (!known.has(id)) this.gone(id);
    for (const check of checks) this.take(check, true);
    if (!this.shown && checks.length) this.show(checks.sort((a, b) => numberOf(b) - numberOf(a))[0].check);
  }

  /** Starts one; whether it was taken. */
  async start(items, names) {
    let answer;
    try {
      answer = await ask("POST", "api/checks", {files: items.map((item) => item.asked), rules: names});
    } catch (error) {
      tell("start", error.message);
      return false;
    }
    for (const item of items) if (item.upload) item.used = (item.used || 0) + 1;
    this.asked.set(answer.check, {names, items, at: clock()});
    say(`Checking ${many(items.length, "file", "files")}.`);
    try {
      this.take(await get(`api/checks/${encodeURIComponent(answer.check)}`));
    } catch {
      // Its events say the rest.
    }
    this.show(answer.check);
    // In one column the sheets stand below.
    if (matchMedia("(max-width: 61.99rem), (max-height: 33.99rem)").matches) {
      by("result").focus({preventScroll: true});
      by("result").scrollIntoView();
    }
    return true;
  }

  take(check, quiet = false) {
    const before = this.all.get(check.check);
    // An answer can come after an event that is newer.
    if (before && isOver(before) && !isOver(check)) return;
    this.all.set(check.check, check);
    this.draw(check);
    if (check.check === this.shown) this.one.draw(check);
    this.speak(before, check, quiet);
    this.title();
    const asked = this.asked.get(check.check);
    if (asked && !asked.judged && isOver(check) && asked.items.length === check.files.length) {
      asked.judged = true;
      this.judged(asked.items.map((item, i) => [item, verdictOf(check.files[i])]));
    }
  }

  speak(before, check, quiet) {
    if (isOver(check)) {
      if (quiet || !before || isOver(before)) return;
      const verdict = wholeVerdict(check);
      if (check.state === "done") say(`Checked: ${check.files.length > 1 ? tally(check.files) : `${verdictWord(verdict)}, ${namesOf(check.files)}`}.`);
      else say(check.state === "stopped" ? "Stopped." : check.error || "The check could not be done.");
    } else if (check.state === "running") {
      // A quarter at a time is enough to hear.
      const quarter = Math.floor(4 * (check.fraction || 0));
      if (quarter > (this.spoken.get(check.check) ?? 0)) say(`${25 * quarter} percent.`);
      this.spoken.set(check.check, quarter);
    }
  }

  title() {
    const running = [...this.all.values()].find((check) => check.state === "running");
    const shown = this.all.get(this.shown);
    const word = running ? `${Math.floor(100 * (running.fraction || 0))} %` : shown ? verdictWord(wholeVerdict(shown)) : "";
    const title = [word, running || shown ? namesOf((running || shown).files) : "", "sendworthy"].filter(Boolean).join(" \u2013 ");
    if (document.title !== title) document.title = title;
  }

  row(id) {
    const badge = make("span", {className: "badge"}), name = make("span", {className: "name"}), about = make("span", {className: "soft detail"});
    const button = make("button", {type: "button", className: "entry", tabindex: "-1"}, badge, name, about);
    button.addEventListener("click", () => this.show(id));
    const li = make("li", {}, button);
    li.dataset.number = numberOf({check: id});
    // Newest first.
    const after = [...by("ledger").children].find((other) => Number(other.dataset.number) < Number(li.dataset.number));
    by("ledger").insertBefore(li, after || null);
    const row = {li, button, badge, name, about};
    this.rows.set(id, row);
    by("ledger").hidden = false;
    by("nothing").hidden = true;
    this.list.refresh();
    return row;
  }

  draw(check) {
    const row = this.rows.get(check.check) || this.row(check.check);
    const verdict = wholeVerdict(check);
    row.badge.className = `badge ${verdict || check.state}`;
    put(row.badge, verdictWord(verdict) || (check.state === "running" ? `${Math.floor(100 * (check.fraction || 0))} %` : kStates[check.state] || check.state));
    put(row.name, namesOf(check.files));
    const names = check.rules || this.asked.get(check.check)?.names;
    put(row.about, [names ? this.rules.titles(names).join("; ") : "", this.asked.get(check.check)?.at].filter(Boolean).join(", "));
  }

  show(id) {
    const check = this.all.get(id);
    if (!check) return;
    this.shown = id;
    for (const [other, row] of this.rows) row.button.setAttribute("aria-current", String(other === id));
    this.list.refresh();
    this.one.draw(check);
    this.title();
  }

  gone(id) {
    const row = this.rows.get(id);
    if (!row) return;
    const held = row.li.contains(document.activeElement) || (this.shown === id && by("one").contains(document.activeElement));
    const next = (row.li.nextElementSibling || row.li.previousElementSibling)?.querySelector("button");
    row.li.remove();
    this.rows.delete(id);
    this.all.delete(id);
    for (const item of this.asked.get(id)?.items || []) if (item.upload && --item.used <= 0) this.released(item);
    this.asked.delete(id);
    if (this.shown === id) {
      this.shown = null;
      const other = [...this.rows].find(([, each]) => each.button === next);
      if (other) this.show(other[0]);
      else this.one.none();
    }
    by("ledger").hidden = !this.rows.size;
    by("nothing").hidden = this.rows.size > 0;
    this.list.refresh();
    if (held) (next || by("check")).focus();
    this.title();
  }

  async act(method, id, path) {
    try {
      await ask(method, `api/checks/${encodeURIComponent(id)}${path}`);
      return true;
    } catch (error) {
      // Another page was quicker.
      if (error.status === 404) return true;
      tell("act", error.message);
      return false;
    }
  }

  async stop() {
    const check = [...this.all.values()].find((one) => one.check === this.shown && !isOver(one)) || [...this.all.values()].find((one) => one.state === "running");
    if (!check || !(await this.act("POST", check.check, "/stop"))) return;
    try {
      this.take(await get(`api/checks/${encodeURIComponent(check.check)}`));
    } catch {
      // Its events say the rest.
    }
  }

  async remove(id) {
    if (await this.act("DELETE", id, "")) this.gone(id);
  }
}
