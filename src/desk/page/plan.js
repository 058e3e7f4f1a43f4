// A song plan: what the mix is meant to be, edited on the page and saved into the file that it is.
import {ask, get} from "./api.js";
import {Draft} from "./draft.js";
import {QuestionsPart} from "./questions.js";
import {say, tell, unsay} from "./say.js";
import {SectionsPart} from "./sections.js";
import {StemsPart} from "./stems.js";
import {queryOf} from "./sound.js";
import {WantedPart} from "./wanted-part.js";
import {make, many, plain, put} from "./words.js";

const kIntent = [
  ["feeling", "What a listener should feel", "textarea"], ["approach", "How the mix serves that", "textarea"], ["title", "Title", "input"], ["artist", "Artist", "input"],
];

export class PlanPart {
  /** `told`: {saved(), changed(), play(request), check(), player, rules(): {names, titles} of the rule sets that are chosen}. */
  constructor(box, told) {
    this.told = told;
    this.draft = null;
    this.box = box;
    this.fault = make("div", {className: "plan-fault", hidden: ""});
    this.clash = make("div", {className: "clash", hidden: "", role: "group", "aria-label": "The plan was changed elsewhere"});
    this.fields = {};
    const intent = this.part("Intent", "intent", [make("div", {className: "saids"}, ...kIntent.map(([key, words, kind]) => this.field(key, words, kind)))]);
    const changed = () => this.changed();
    const sections = this.part("Sections", "sections-part"), stems = this.part("Stems", "stems-part"), wanted = this.part("What is wanted, as numbers", "wanted-part"), questions = this.part("Questions", "questions-part");
    this.sections = new SectionsPart(sections, {changed: () => {
      this.questions.names();
      changed();
    }, play: (...what) => this.play(...what), playing: () => this.playing, where: () => this.where(), player: told.player});
    this.stems = new StemsPart(stems, {changed});
    this.wanted = new WantedPart(wanted, {changed});
    this.questions = new QuestionsPart(questions, {changed});
    this.save = make("button", {type: "button", className: "main", "aria-keyshortcuts": "k"}, "Save the plan ", make("kbd", {text: "K"}));
    this.undo = make("button", {type: "button", text: "Undo all changes"});
    this.check = make("button", {type: "button", "aria-keyshortcuts": "c"}, "Check the mix against the plan ", make("kbd", {text: "C"}));
    this.state = make("p", {className: "soft", id: "plan-state"});
    this.judge = make("input", {type: "checkbox", id: "plan-rules"});
    this.judgeWords = make("label", {for: "plan-rules"});
    this.text = make("pre", {tabindex: "0", "aria-label": "The plan’s text"});
    this.form = make("div", {className: "plan"}, make("div", {className: "plan-body"}, intent, sections, stems, wanted, questions, this.part("The mix as a file", "file-part", [make("div", {className: "line"}, this.judge, this.judgeWords)]), make("details", {}, make("summary", {text: "The plan’s text, as the file has it"}), this.text)),
      make("div", {className: "go"}, this.state, this.save, this.undo, this.check));
    // Until there is a plan to be changed: an empty one would be typed into, and then jump.
    this.form.hidden = true;
    box.append(this.fault, this.clash, this.form);
    this.save.addEventListener("click", () => this.write());
    this.undo.addEventListener("click", () => this.back());
    this.check.addEventListener("click", () => told.check());
    addEventListener("beforeunload", (event) => this.dirty && event.preventDefault());
  }

  part(title, id, children = []) {
    return make("section", {className: "part", "aria-labelledby": `${id}-name`}, make("h3", {id: `${id}-name`, text: title}), ...children);
  }

  field(key, words, kind) {
    const input = make(kind, {id: `intent-${key}`, ...(kind === "textarea" ? {rows: "3"} : {type: "text", autocomplete: "off"})});
    input.addEventListener("input", () => {
      this.draft.song[key] = input.value;
      this.changed();
    });
    this.fields[key] = input;
    return make("div", {className: `said said-${key}`}, make("label", {for: `intent-${key}`, text: words}), input);
  }

  get dirty() {
    return Boolean(this.draft?.dirty);
  }

  /** The rule sets by which the mix is to be judged as a file, too; none where that is not wished for. */
  get rules() {
    return this.judge.checked ? this.told.rules().names : [];
  }

  get address() {
    return `api/plan?${queryOf(this.entry)}`;
  }

  /** Opens a plan, {path, id?}; edits of this one that are not saved stay. Whether it can be read as a plan. */
  async open(entry) {
    if (this.draft && this.entry?.path === entry.path && this.dirty) return true;
    const opening = (this.opening = (this.opening ?? 0) + 1), told = await get(`api/plan?${queryOf(entry)}`);
    if (opening !== this.opening) return false;
    unsay("plan");
    this.entry = entry;
    return this.take(told);
  }

  take(told) {
    this.fault.hidden = told.fault === undefined;
    this.form.hidden = told.fault !== undefined;
    if (told.fault !== undefined) {
      this.draft = null;
      this.fault.replaceChildren(make("p", {className: "fail", text: `This file cannot be read as a song plan: ${told.fault}`}), make("p", {className: "soft", text: "Correct it in a text editor; it is read again here by itself once it is saved."}), make("pre", {tabindex: "0", "aria-label": "The plan’s text", text: told.text}));
      return false;
    }
    this.show(new Draft(told));
    return true;
  }

  show(draft) {
    this.draft = draft;
    for (const [key] of kIntent) this.fields[key].value = draft.song[key];
    this.sections.take(draft, draft.mix.path === undefined ? null : draft.mix.id !== undefined ? {id: draft.mix.id} : {path: draft.mix.path});
    this.stems.take(draft);
    this.wanted.take(draft);
    this.questions.take(draft);
    // As it is, but for what would hide or turn the text round.
    put(this.text, "");
    this.text.append(...draft.text.split("\n").flatMap((line, i) => [...(i ? ["\n"] : []), plain(line.replace(/\r$/, "").replace(/\t/g, "  "))]));
    this.changed();
  }

  /** What of this plan plays: the key of a section, or "place". */
  get playing() {
    const {player} = this.told, key = player && player.state !== "idle" ? player.request?.key : undefined;
    if (!key?.startsWith?.(this.playKey)) return null;
    const what = key.slice(this.playKey.length);
    return what === "place" ? what : Number(what);
  }

  get playKey() {
    return `plan ${this.draft?.digest} `;
  }

  /** The second of the mix that is heard; null while nothing of it is. */
  where() {
    const {player} = this.told, {mix} = this.draft ?? {}, source = player.request?.source;
    if (player.state !== "playing" || !mix || !source) return null;
    return (mix.id !== undefined ? source.id === mix.id : source.path !== undefined && source.path === mix.path) ? player.placeNow() : null;
  }

  play(from, to, words, what) {
    if (this.playing === what) return this.told.player.stop();
    const {mix} = this.draft;
    if (mix.path === undefined) return say("The mix does not lie in the opened folder.");
    this.told.play({source: mix.id !== undefined ? {id: mix.id} : {path: mix.path}, name: mix.path.split("/").pop(), place: words, from_s: from, to_s: to, way: "as-it-is", key: this.playKey + what});
  }

  /** Says by which rules it would be judged: they are chosen under Files. */
  tellRules() {
    const {titles} = this.told.rules();
    put(this.judgeWords, titles.length ? `Judge it by rules as well: ${titles.join("; ")}. Others are chosen under Files` : "No rule set is chosen under Files: it is held against the plan alone");
  }

  changed() {
    this.tellRules();
    const changes = this.draft.changes(), faults = this.draft.faults();
    put(this.state, faults.length ? faults[0].text + (faults.length > 1 ? ` And ${faults.length - 1} more.` : "") : changes.length ? `${many(changes.length, "change is", "changes are")} not saved yet.` : "Everything is saved.");
    this.state.classList.toggle("fail", faults.length > 0);
    this.save.setAttribute("aria-disabled", String(!changes.length || faults.length > 0));
    if (!changes.length && document.activeElement === this.undo) this.save.focus();
    this.undo.hidden = !changes.length;
    this.check.firstChild.data = changes.length ? "Save, then check the mix " : "Check the mix against the plan ";
    this.told.changed();
  }

  /** Whether the file says by now what the page does. */
  async write() {
    if (!this.draft || this.saving) return false;
    if (!this.dirty) return true;
    const [fault] = this.draft.faults();
    if (fault) {
      say(fault.text);
      return false;
    }
    this.saving = true;
    put(this.state, "Saving …");
    const before = this.draft, edits = before.edits(), sent = JSON.stringify(edits), held = document.activeElement;
    try {
      const told = await ask("POST", this.address, {digest: before.digest, edits});
      // What was typed while it was on its way is not lost.
      if (JSON.stringify(before.edits()) === sent) this.take(told);
      else this.show(before.onTopOf(told));
      if (!document.contains(held)) this.save.focus();
      this.settled();
      say("The plan is saved.");
      this.told.saved();
      return true;
    } catch (error) {
      this.changed();
      if (error.status === 409 && error.code === "changed") this.clashes();
      else tell("plan", `The plan was not saved: ${error.message}`);
      return false;
    } finally {
      this.saving = false;
    }
  }

  /** Takes a question out, and saves that. Whether it is gone. */
  async leaveOut(id) {
    if (this.dirty) {
      tell("plan", "The plan has changes that are not saved yet: save or undo them under Plan first.");
      return false;
    }
    const at = this.draft.questions.findIndex((one) => one.id === id);
    if (at < 0) return false;
    this.draft.questions.splice(at, 1);
    this.questions.draw();
    return this.write();
  }

  settled() {
    this.clash.hidden = true;
    unsay("plan");
  }

  back() {
    const words = this.draft.changes().length;
    this.take({path: this.draft.path, digest: this.draft.digest, text: this.draft.text, plan: this.draft.base, roles: this.draft.roles, heard: this.draft.ways});
    say(`${many(words, "change is", "changes are")} taken back.`);
    this.save.focus();
  }

  /** Somebody else wrote to the plan: what was typed stays in sight, whatever is done about it. `focus`: somebody just wanted to
   *  save; else they may be typing, and the keyboard stays with them. */
  clashes({focus = true} = {}) {
    const mine = this.draft;
    const button = (text, act) => {
      const made = make("button", {type: "button", className: "small", text});
      made.addEventListener("click", act);
      return made;
    };
    const load = async (on) => {
      try {
        const told = await get(this.address);
        if (!this.take(told)) return;
        if (on) this.show(mine.onTopOf(told));
      } catch (error) {
        return tell("plan", error.message);
      }
      unsay("plan");
      if (on) {
        this.clash.hidden = true;
        say("Loaded anew, with your changes on top; they are not saved yet.");
        this.save.focus();
      } else {
        this.clash.replaceChildren(make("p", {text: "The plan was loaded anew, without what you had typed:"}), list(), button("Close this", () => {
          this.clash.hidden = true;
          this.save.focus();
        }));
        this.clash.querySelector("button").focus();
      }
    };
    const list = () => make("ul", {}, ...mine.changes().map((one) => make("li", {text: one.words})));
    this.clash.replaceChildren(make("p", {className: "fail", text: "The plan was changed elsewhere since it was opened here, in another tab or a text editor. Nothing of yours was saved, and nothing of it is lost:"}), list(),
      make("div", {className: "line"}, button("Load it anew, with my changes on top", () => load(true)), button("Load it anew, without them", () => load(false))));
    this.clash.hidden = false;
    if (focus) {
      this.clash.scrollIntoView({block: "nearest"});
      this.clash.querySelector("button").focus();
    }
    say("The plan was changed elsewhere. Nothing was saved, and nothing is lost.");
  }

  /** The file may be another one by now. */
  async again() {
    if (!this.entry || this.saving) return;
    const {entry} = this;
    let told;
    try {
      told = await get(this.address);
    } catch (error) {
      if (error.status === 404 && entry === this.entry) tell("plan", `“${plain(entry.path)}” is gone. What you see was read before.`);
      return;
    }
    // Another one may have been opened, or this one saved, meanwhile.
    if (entry !== this.entry || this.saving || (this.draft && told.digest === this.draft.digest)) return;
    if (!this.dirty) this.take(told);
    else if (this.clash.hidden) this.clashes({focus: false});
  }
}
