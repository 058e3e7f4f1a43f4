// The checks that were asked for: the list of them, and the one that is looked at.
import {ask, get} from "./api.js";
import {askedAs, keyOf} from "./asked.js";
import {One} from "./one.js";
import {rove} from "./rove.js";
import {say, tell} from "./say.js";
import {by, clock, isOver, kindOf, make, many, namesOf, put, putName, titleOf, verdictOf, verdictWord, when, wholeTally, wholeVerdict} from "./words.js";

const numberOf = (check) => Number(String(check.check).replace(/\D/g, "")) || 0;
const kStates = {waiting: "waiting", running: "", stopped: "stopped", failed: "failed"};

/** When it was asked for, and when what it is of was written: two sheets of one song are told apart by these. */
function timesOf(check) {
  const one = check.files.length === 1 ? check.files[0] : kindOf(check) === "plan" ? check.files.find((file) => file.role === "mix") ?? check.files[0] : null;
  const what = kindOf(check) === "plan" ? "mix" : "file";
  return [check.asked_at ? `checked ${clock(new Date(check.asked_at), {seconds: true})}` : "", one?.modified ? `${what} of ${when(one.modified)}` : ""];
}

/** Tells "check" with whatever is new of one, "shown" when another one is looked at, and "gone" with the id of one. */
export class Checks extends EventTarget {
  /** `judged` gets the items of a check with the verdict of each, when it is over; `released` each added file of which no check is
   *  left: the program has deleted it; `added(upload)` gives the one of this id. */
  constructor(rules, hear, judged, {released, added}) {
    super();
    this.rules = rules;
    this.judged = judged;
    this.released = released;
    this.added = added;
    this.ordering = 0;
    this.all = new Map();
    this.rows = new Map();
    // What was asked for: {wish, names of rule sets, items}.
    this.asked = new Map();
    this.shown = null;
    // Which of them the view is about, and which of those was looked at last, by the name of the view.
    this.scope = {name: "", holds: () => false};
    this.looked = new Map();
    this.spoken = new Map();
    this.list = rove(by("ledger"), "button");
    // Settled once the program has told which there are.
    this.known = new Promise((settle) => (this.isKnown = settle));
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
    this.settle();
    this.isKnown();
  }

  /** What a view is about: `holds(check)` tells. Shows what was looked at there, or the newest. */
  about(name, holds, text) {
    if (this.scope.name) this.looked.set(this.scope.name, this.shown);
    this.scope = {name, holds};
    put(by("nothing-text"), text);
    for (const [id, row] of this.rows) row.li.hidden = !holds(this.all.get(id));
    this.shown = null;
    this.away = false;
    this.count();
    this.settle(this.looked.get(name));
    if (!this.shown) this.one.none();
  }

  /** Shows none of them, and says why. */
  aside(text) {
    this.shown = null;
    this.away = true;
    for (const row of this.rows.values()) row.button.setAttribute("aria-current", "false");
    this.one.none();
    put(by("nothing-text"), text);
    by("nothing").hidden = false;
    this.title();
    this.dispatchEvent(new Event("shown"));
  }

  /** Where nothing is shown: that one, else the newest. */
  settle(wanted) {
    if (this.shown || this.away) return;
    const here = [...this.all.values()].filter(this.scope.holds).sort((a, b) => numberOf(b) - numberOf(a));
    const one = here.find((check) => check.check === wanted) || here[0];
    if (one) this.show(one.check);
    else this.title();
  }

  /** Whether there is any to list. */
  count() {
    const some = [...this.rows.values()].some((row) => !row.li.hidden);
    by("ledger").hidden = !some;
    by("nothing").hidden = some && !this.away;
    this.list.refresh();
  }

  start(items, names) {
    return this.order({files: items.map((item) => item.asked), rules: names}, {items, names, words: `Checking ${many(items.length, "file", "files")}.`});
  }

  /** Starts what is wished for; its id, or nothing where it was not taken. `items`: what is read for it, in the order of its
   *  files; `names`: of the rule sets. */
  async order(wish, {items = [], names = [], words = "Checking."} = {}) {
    let answer;
    ++this.ordering;
    try {
      answer = await ask("POST", "api/checks", wish);
    } catch (error) {
      tell("start", error.message);
      return null;
    } finally {
      --this.ordering;
    }
    for (const item of items) if (item.upload) item.used = (item.used || 0) + 1;
    this.asked.set(answer.check, {wish, names, items, words});
    say(words);
    try {
      this.take(await get(`api/checks/${encodeURIComponent(answer.check)}`));
    } catch {
      // Its events say the rest.
    }
    this.show(answer.check);
    // In one column the sheets stand below.
    if (!by("result").hidden && matchMedia("(max-width: 61.99rem), (max-height: 33.99rem)").matches) {
      by("result").focus({preventScroll: true});
      by("result").scrollIntoView();
    }
    return answer.check;
  }

  /** The same once more, whatever came of it. */
  repeat(id) {
    const asked = this.asked.get(id);
    if (asked) this.order(asked.wish, asked);
  }

  /** What was asked for by another page, or before this one was loaded. */
  learn(check) {
    if (this.asked.has(check.check) || this.ordering) return;
    const {files, rules = []} = check, kind = kindOf(check), of = (key) => (check[`${key}_id`] !== undefined ? {id: check[`${key}_id`]} : check[key]);
    const wish = kind === "plan" ? {plan: of("plan"), ...(rules.length ? {rules} : {})} : kind === "order" ? {order: of("order")}
      : ["files", "compare"].includes(kind) && files.length && files.every((one) => one.path !== undefined || one.upload !== undefined) ? {[kind]: files.map(askedAs), rules} : null;
    if (!wish) return;
    const items = kind === "plan" || kind === "order" ? [] : files.map((one) => (one.upload !== undefined && this.added(one.upload)) || {key: keyOf(one)});
    for (const item of items) if (item.upload) item.used = (item.used || 0) + 1;
    this.asked.set(check.check, {wish, names: rules, items, learned: true, words: "Checking once more."});
  }

  take(check, quiet = false) {
    this.learn(check);
    const before = this.all.get(check.check);
    // An answer can come after an event that is newer.
    if (before && isOver(before) && !isOver(check)) return;
    this.all.set(check.check, check);
    this.draw(check);
    if (check.check === this.shown) this.one.draw(check);
    this.speak(before, check, quiet);
    this.title();
    const asked = this.asked.get(check.check);
    if (asked && !asked.judged && isOver(check) && kindOf(check) === "files" && asked.items.length === check.files.length) {
      asked.judged = true;
      // What a file was when it was checked: it may be another one by now.
      if (asked.learned) asked.items.forEach((item, i) => item.upload || (item.stamp = `${check.files[i].bytes} ${check.files[i].modified}`));
      this.judged(asked.items.map((item, i) => [item, verdictOf(check.files[i])]));
    }
    this.dispatchEvent(new CustomEvent("check", {detail: check}));
  }

  speak(before, check, quiet) {
    if (isOver(check)) {
      if (quiet || !before || isOver(before)) return;
      const verdict = wholeVerdict(check);
      if (check.state === "done") say(verdict ? `Checked: ${check.files.length > 1 ? wholeTally(check) || verdictWord(verdict) : `${verdictWord(verdict)}, ${titleOf(check)}`}.` : "Done.");
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
    const title = [word, running || shown ? titleOf(running || shown) : "", "sendworthy"].filter(Boolean).join(" \u2013 ");
    if (document.title !== title) document.title = title;
  }

  row(id) {
    const badge = make("span", {className: "badge"}), name = make("span", {className: "name"}), about = make("span", {className: "soft detail"});
    const button = make("button", {type: "button", className: "entry", tabindex: "-1"}, badge, name, about);
    button.addEventListener("click", () => this.show(id));
    const li = make("li", {}, button);
    li.hidden = !this.scope.holds(this.all.get(id));
    li.dataset.number = numberOf({check: id});
    // Newest first.
    const after = [...by("ledger").children].find((other) => Number(other.dataset.number) < Number(li.dataset.number));
    by("ledger").insertBefore(li, after || null);
    const row = {li, button, badge, name, about};
    this.rows.set(id, row);
    this.count();
    return row;
  }

  draw(check) {
    const row = this.rows.get(check.check) || this.row(check.check);
    const verdict = wholeVerdict(check);
    row.badge.className = `badge ${verdict || check.state}`;
    put(row.badge, verdictWord(verdict) || (check.identical !== undefined ? (check.identical ? "unchanged" : "changed") : check.state === "running" ? `${Math.floor(100 * (check.fraction || 0))} %` : kStates[check.state] || check.state));
    putName(row.name, titleOf(check));
    const names = check.rules || this.asked.get(check.check)?.names;
    put(row.about, [names ? this.rules.titles(names).join("; ") : "", ...timesOf(check)].filter(Boolean).join(", "));
  }

  show(id) {
    const check = this.all.get(id);
    if (!check || !this.scope.holds(check)) return;
    this.shown = id;
    this.away = false;
    this.count();
    for (const [other, row] of this.rows) row.button.setAttribute("aria-current", String(other === id));
    this.list.refresh();
    this.one.draw(check);
    this.title();
    this.dispatchEvent(new Event("shown"));
  }

  gone(id) {
    const row = this.rows.get(id);
    if (!row) return;
    const held = row.li.contains(document.activeElement) || (this.shown === id && by("one").contains(document.activeElement));
    const listed = [...by("ledger").children].filter((li) => !li.hidden), place = listed.indexOf(row.li);
    const next = (listed[place + 1] || listed[place - 1])?.querySelector("button");
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
    this.count();
    if (held) (next || by("result")).focus();
    this.title();
    this.dispatchEvent(new CustomEvent("gone", {detail: id}));
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
