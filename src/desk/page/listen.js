// The listening pass: one question at a time, each answer kept at once, by the same file as in the terminal.
import {ask, get} from "./api.js";
import {before, button, end, intent, note, nothing, question, redrawn, refused, toMeasure} from "./listen-page.js";
import {PassSound} from "./listen-sound.js";
import {Turns} from "./listen-turns.js";
import {heardWords, orderOf, standing} from "./listen-words.js";
import {say, tell, unsay} from "./say.js";
import {by, isOver, make, plain, put} from "./words.js";

const kBy = "initials", kLookMs = 5000, kSettleMs = 350;

const kept = () => {
  try {
    return localStorage.getItem(kBy) || "";
  } catch {
    return "";
  }
};

export class Listen {
  /** `told`: {measure(), checks(), plan(), leaveOut(id), bounce()}; `bounce` is called when the mix is another one by now. */
  constructor(box, desk, told) {
    Object.assign(this, {box, desk, told});
    this.intent = make("div", {className: "intent-of"});
    this.page = make("div", {className: "asked"});
    box.append(this.intent, this.page);
    this.turn = 0;
    this.turns = new Turns();
    this.sound = new PassSound(desk.player, {check: () => this.id, changed: () => this.mark(),
      asked: () => this.phase === "ask" && this.now && this.inSight ? {question: this.now, part: this.state.mix_part, mix: this.state.mix, belowHz: this.belowHz} : null});
    this.leave();
    // What somebody answers in another tab, or in a terminal, holds here too.
    this.others = "BroadcastChannel" in window ? new BroadcastChannel("sendworthy-listening") : null;
    if (this.others) this.others.onmessage = () => this.again();
    setInterval(() => !document.hidden && this.inSight && this.state && this.again(), kLookMs);
    addEventListener("beforeunload", (event) => this.noting && this.notes.get(this.now?.id) && event.preventDefault());
  }

  /** Not where another view is shown: there the bar and what is said belong to that one. */
  get inSight() {
    return this.desk.shown("song") && !this.box.hidden;
  }

  leave() {
    ++this.turn;
    this.turns.leave();
    Object.assign(this, {id: null, phase: "", by: kept(), notes: new Map(), pending: false, noting: false});
    this.sound.forget();
  }

  keys(here) {
    const asks = () => here() && this.phase === "ask" && !this.noting;
    return [["p", "play or stop the place", () => this.sound.play(), asks], ["h", "it holds", () => this.answer("holds"), asks], ["t", "it wants a tweak", () => this.answer("tweak"), asks], ["s", "skip the question", () => this.answer("skip"), asks], ["b", "back to the question before", () => this.back(), asks]];
  }

  /** Shows where the pass of this plan stands. */
  async show(draft) {
    this.draft = draft;
    if (!draft) return this.put("none", toMeasure({text: "The plan cannot be read; there it says why.", acts: [button("To the plan", () => this.told.plan(), {className: "main"})]}));
    if (!draft.questions.length) return this.put("none", toMeasure({text: "This plan asks nothing yet. Add questions to it first.", acts: [button("To the plan", () => this.told.plan(), {className: "main"})]}));
    // Before that, “measure first” would be said of a mix that is measured.
    await this.desk.checks.known;
    if (draft !== this.draft) return;
    const checks = this.told.checks().sort((a, b) => Number(b.check.slice(1)) - Number(a.check.slice(1)));
    const newest = checks[0], done = checks.find((check) => check.state === "done");
    if (newest && !isOver(newest)) return this.measuring(newest);
    if (newest && newest.state === "failed") return this.measure(`The mix could not be measured: ${newest.error}`);
    if (!done) return this.measure("The mix is measured first, so that with each question stands what belongs to it. Then you listen, and answer.");
    if (this.id === done.check && this.state && !this.state.mix_changed) {
      // Something may have begun or ended to sound while another view was shown.
      this.sound.queue();
      this.mark();
      return this.again();
    }
    await this.load(done.check);
  }

  measure(text) {
    // What stands already is not drawn anew: a button that somebody is about to press would go from under the finger.
    if (this.phase === "measure" && this.wanting === text) return;
    this.wanting = text;
    this.put("measure", toMeasure({text, acts: [button("Measure the mix, then listen", () => this.told.measure(), {className: "main"})]}));
  }

  measuring(check) {
    this.wanting = "";
    // That the bounce before plays no more is of no matter now.
    unsay("sound");
    // What is still being asked of an earlier check is too late.
    ++this.turn;
    const text = "The mix and its stems are being measured; the questions come by themselves.";
    this.put("measure", toMeasure({text, check, acts: [button("Stop", () => ask("POST", `api/checks/${encodeURIComponent(check.check)}/stop`).catch(() => {}))]}), false);
  }

  /** A check is new, or farther. */
  check(check) {
    if (!this.phase || !this.told.checks().includes(check)) return;
    // A pass that somebody is in is not left because something is measured.
    if (["before", "ask", "end"].includes(this.phase) || (isOver(check) && check.check === this.id)) return;
    this.show(this.draft);
  }

  async load(id) {
    // Checks may come one by one: what was asked for last counts, whatever is answered first.
    const turn = ++this.turn;
    let state;
    try {
      state = await get(`api/checks/${encodeURIComponent(id)}/listening`);
    } catch (error) {
      if (turn !== this.turn) return;
      this.state = null;
      return this.measure(error.message);
    }
    if (turn !== this.turn) return;
    const other = id !== this.id;
    this.id = id;
    this.state = state;
    if (state.mix_changed) return this.changed();
    if (other) {
      this.sound.forget();
      this.turns.anew = false;
    }
    this.intentOf();
    this.prelude(false);
  }

  intentOf() {
    const now = intent(this.state);
    if (this.intent.textContent !== now.textContent) this.intent.replaceChildren(now);
  }

  prelude(again, focus = true) {
    this.turns.prepare(again);
    if (this.state.complete && !again) return this.put("before", nothing(this.state, {again: () => this.prelude(true)}), focus);
    this.put("before", before(this.state, {again, by: this.by || this.state.by || ""}, {
      begin: ({by: initials, quietFirst}) => {
        this.by = initials;
        try {
          localStorage.setItem(kBy, initials);
        } catch {
          // They are kept as long as the page is open.
        }
        this.begin(orderOf(this.state, again, quietFirst));
      },
      missing: (text, field) => {
        put(by("listen-missing"), text);
        say(text);
        field.focus();
      },
    }), focus);
  }

  /** What was answered elsewhere stands here before anybody begins; another pass that was begun there is this one, too. */
  preludeAnew() {
    redrawn(this.page, () => this.prelude(this.turns.anew && !this.turns.begun, false));
    say(`${standing(this.state)}.`);
  }

  begin(asked) {
    this.turns.begin(asked);
    this.next();
  }

  /** What the program told last. */
  get state() {
    return this.turns.state;
  }

  set state(state) {
    this.turns.state = state;
  }

  get belowHz() {
    return this.draft?.base.low_end?.below_hz;
  }

  get now() {
    return this.turns.now;
  }

  /** The question whose turn it is, or the end. `own`: somebody here went on to it. */
  next(own = false) {
    if (!this.turns.settle()) return this.finish();
    this.sound.turnTo();
    this.noting = false;
    this.settled = Date.now() + kSettleMs;
    this.put("ask", question(this.now, {number: this.turns.at + 1, of: this.turns.asked.length}, {roles: this.draft?.stems.map((one) => one.role) ?? [], quietDb: this.desk.player?.known.quiet_db, belowHz: this.belowHz, db: this.desk.player?.db}, {play: (i) => this.sound.play(i), answer: (word) => this.answer(word), back: () => this.back(), leaveOut: () => this.leaveOut()}), own ? "always" : true);
    this.sound.queue();
    this.mark();
  }

  finish() {
    const {anew, begun} = this.turns;
    this.put("end", end(this.state, {again: anew, begun}, {
      again: () => this.prelude(true), plan: () => this.told.plan(), on: () => this.begin(orderOf(this.state, anew && !begun, false)), ask: (id) => this.begin([id]),
    }));
    say(this.page.querySelector("p").textContent);
  }

  /** `focus`: to the heading, where the keyboard is here; or "always". */
  put(phase, nodes, focus = true) {
    const held = focus === "always" || this.box.contains(document.activeElement) || document.activeElement === document.body;
    this.phase = phase;
    this.intent.hidden = !["before", "ask", "end", "refused"].includes(phase);
    this.page.replaceChildren(...nodes);
    if (focus && held) this.page.querySelector(".head")?.focus();
  }

  mark() {
    if (this.phase !== "ask" || !this.now) return;
    for (const one of this.page.querySelectorAll("[data-place]")) one.setAttribute("aria-pressed", String(this.sound.plays(Number(one.dataset.place))));
    const play = by("listen-play"), played = by("listen-played"), on = this.sound.plays(), seconds = this.sound.seconds(this.now.id);
    if (play) play.firstChild.data = on ? "Stop" : "Play";
    put(played, heardWords(seconds, on));
    played.className = seconds || on ? "soft" : "warn";
  }

  back() {
    if (this.pending) return;
    if (this.turns.at === 0) return say("This is the first question.");
    this.sound.quiet();
    this.turns.back();
    this.next(true);
  }

  /** Takes the question out of the plan: it is about what the song has not. */
  async leaveOut() {
    if (!this.now) return this.gone();
    const {id, text} = this.now;
    this.sound.quiet();
    if (!this.pending && (await this.told.leaveOut(id))) say(`Taken out of the plan: ${plain(text)}`);
  }

  /** What is shown was taken out of the plan elsewhere. `text`: what was noted on it. */
  gone(text = "") {
    this.noting = false;
    this.wanting = "";
    this.put("refused", refused("This question is asked no more", "It was taken out of the plan elsewhere, and no answer was kept.", text, [button("Go on", () => this.next(true), {className: "main"})]));
    say("This question was taken out of the plan elsewhere.");
  }

  answer(word) {
    // A key that was meant for the question before is no answer to this one.
    if (this.pending || Date.now() < this.settled) return;
    if (!this.now) return this.gone();
    if (word === "tweak") return this.tweak();
    this.keep(word, "");
  }

  tweak() {
    const {id} = this.now, box = by("listen-note");
    this.noting = true;
    box.replaceChildren(...note(this.notes.get(id) || "", {
      keep: (text) => this.pending || this.keep("tweak", text), typed: (text) => this.notes.set(id, text),
      cancel: () => {
        this.noting = false;
        if (!this.now) return this.gone(this.notes.get(id));
        box.hidden = true;
        by("listen-answers").hidden = false;
        this.page.querySelector(".head").focus();
      },
    }));
    // It stands where the answers stood: while somebody writes there is none.
    by("listen-answers").hidden = true;
    box.hidden = false;
    by("listen-tweak").focus();
    box.scrollIntoView({block: "nearest"});
  }

  async keep(word, text) {
    if (!this.now) return this.gone(text);
    const {id} = this.now;
    this.pending = true;
    this.sound.quiet();
    try {
      const seconds = Math.round(10 * this.sound.seconds(id)) / 10;
      const state = await ask("POST", `api/checks/${encodeURIComponent(this.id)}/answers`, {
        question: id, answer: word, ...(text ? {note: text} : {}), by: this.by, ...(this.desk.player ? {played_s: Math.min(604800, seconds)} : {}), pass: this.state.pass, ...(this.turns.anew && !this.turns.begun ? {again: true} : {}),
      });
      this.state = state;
      this.others?.postMessage(id);
      this.notes.delete(id);
      this.turns.on();
      say(`Kept: ${word}${word !== "skip" && !seconds ? ", not played here" : ""}.`);
      this.next(true);
    } catch (error) {
      this.refuse(error, text);
    } finally {
      this.pending = false;
    }
  }

  refuse(error, text) {
    if (error.status !== 409) return tell("answer", `The answer was not kept: ${error.message}`);
    const acts = error.code === "other_pass" ? [button("Go on with that one", () => this.load(this.id), {className: "main"})]
      : [button("Measure again, then go on", () => this.told.measure(), {className: "main"})];
    this.wanting = "";
    this.put("refused", refused("This answer was not kept", error.message, text, acts));
    say(error.message);
  }

  /** The mix was written to since it was measured, or, with `why`, the plan names another one. */
  changed(why = "") {
    this.state.mix_changed = true;
    const wanting = `bounce ${this.id} ${why}`;
    if (this.phase === "refused" && this.wanting === wanting) return;
    this.sound.quiet();
    if (!why) this.told.bounce();
    this.wanting = wanting;
    const text = why || "The mix was written to since it was measured: what was answered so far counts for the bounce that was measured. Measure this one, and listen to it.";
    this.put("refused", refused("This is a new bounce", text, this.noting ? this.notes.get(this.now?.id) : "", [button("Measure the new bounce", () => this.told.measure(), {className: "main"})]));
    if (why) say(`This is a new bounce. ${text}`);
  }

  /** Where the pass stands by now, whoever answered. */
  async again() {
    if (!this.state || this.pending || !this.id || this.phase === "refused" || this.phase === "measure") return;
    const id = this.id;
    let state;
    try {
      state = await get(`api/checks/${encodeURIComponent(id)}/listening`);
    } catch (error) {
      // The plan names another mix, or asks something else by now: what is on the screen cannot be answered any more.
      if (id === this.id && !this.pending && error.status === 409 && error.code === "changed") this.changed("The plan names another mix by now: what was answered so far counts for the one that was measured. Measure this one, and listen to it.");
      return;
    }
    if (this.pending || id !== this.id || JSON.stringify(state) === JSON.stringify(this.state)) return;
    const before = this.now;
    this.state = state;
    if (state.mix_changed) return this.changed();
    this.intentOf();
    if (this.phase === "end") return this.finish();
    if (this.phase === "before") return this.preludeAnew();
    if (this.phase !== "ask" || !before || this.noting) return;
    // It was taken out of the plan.
    if (!this.now) return this.next(true);
    const now = this.now;
    if (now?.holds && !before.holds && this.turns.begun) {
      say(`Answered elsewhere: ${plain(before.text)} ${now.last.answer}.`);
      tell("elsewhere", `“${plain(before.text)}” was answered elsewhere: ${now.last.answer}, by ${plain(now.last.by)}.`);
      this.turns.cameBack = false;
      this.next();
    }
  }
}
