// A plan while somebody edits it: what the file says, what is wanted instead, and what that comes to as edits.
import {Sections} from "./section-list.js";
import {faultOf, kSectionVocal, kWanted, wantedIn, wordsOf} from "./wanted.js";
import {timeShort} from "./times.js";

const kIntent = ["title", "artist", "feeling", "approach"];
const kTitles = {title: "Title", artist: "Artist", feeling: "Feeling", approach: "Approach", mix: "Mix", previous: "The bounce before"};
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

export class Draft {
  /** `told`: as api/plan answers. */
  constructor(told) {
    this.path = told.path;
    this.duration = Infinity;
    this.roles = told.roles || [];
    this.ways = told.heard || ["full"];
    this.take(told);
  }

  take(told) {
    const {plan} = told;
    this.digest = told.digest;
    this.text = told.text;
    this.base = plan;
    this.song = {mix: plan.song.mix, previous: plan.song.previous};
    for (const key of kIntent) this.song[key] = plan.song[key] ?? "";
    this.mix = {path: plan.song.mix_path, id: plan.song.mix_id};
    this.sections = new Sections(plan.sections, () => this.duration);
    this.was = JSON.stringify(this.sections.written());
    this.stems = plan.stems.map((one) => ({name: one.name, file: one.file, role: one.role, priority: one.priority ?? null, measured: one.measured, guess: one.guess}));
    this.wanted = new Map(kWanted.map((one) => [one.key, wantedIn(plan, one)]));
    this.made = 0;
    this.questions = plan.questions.map((one) => ({id: one.id, text: one.text, section: this.keyOfName(one.section), stem: one.stem ?? "", heard: one.heard}));
    this.asked = this.questions.map((one) => ({...one}));
  }

  /** Sections are known by keys here, so that another name leaves no question behind. */
  keyOfName(name) {
    return this.sections.list.find((one) => one.name === name)?.key ?? 0;
  }

  nameOfKey(key) {
    return this.sections.list.find((one) => one.key === key)?.name.trim() ?? "";
  }

  addQuestion() {
    const made = {id: null, key: ++this.made, text: "", section: 0, stem: "", heard: "full"};
    this.questions.push(made);
    return made;
  }

  get dirty() {
    return this.changes().length > 0;
  }

  /** What is to be changed: [{edit, words}], in the order in which it is written. */
  changes() {
    const all = [];
    for (const key of [...kIntent, "mix", "previous"]) {
      const before = this.base.song[key] ?? "", now = this.song[key];
      if (before !== now) all.push({edit: {set: `song.${key}`, to: now === "" ? null : now}, words: `${kTitles[key]}: ${now || "not stated"}`});
    }
    const written = this.sections.written();
    if (JSON.stringify(written) !== this.was) all.push({edit: {sections: written}, words: `Sections: ${this.sections.list.map((one) => `${one.name} from ${timeShort(one.start)}${one.end === null ? "" : ` to ${timeShort(one.end)}`}`).join(", ") || "none"}`});
    const stems = this.stems.flatMap((one) => {
      const before = this.base.stems.find((other) => other.name === one.name);
      const changed = {...(one.priority !== (before.priority ?? null) ? {priority: one.priority} : {}), ...(one.role !== before.role ? {role: one.role} : {})};
      return Object.keys(changed).length ? [{name: one.name, ...changed}] : [];
    });
    if (stems.length) all.push({edit: {stems}, words: `Stems: ${this.stems.filter((one) => one.priority !== null).sort((a, b) => a.priority - b.priority).map((one) => `${one.priority} ${one.name} (${one.role})`).join(", ")}`});
    for (const one of kWanted) {
      const to = this.wanted.get(one.key);
      if (!same(to, wantedIn(this.base, one))) all.push({edit: {set: one.key, to}, words: `${one.title}: ${wordsOf(one, to)}`});
    }
    return [...all, ...this.changesOfQuestions()];
  }

  changesOfQuestions() {
    const all = [];
    for (const before of this.asked) {
      const now = this.questions.find((one) => one.id === before.id);
      if (!now) {
        all.push({edit: {remove_question: before.id}, words: `Question removed: ${before.text}`});
        continue;
      }
      const to = {};
      if (now.text.trim() !== before.text) to.text = now.text.trim();
      if (now.section !== before.section) to.section = this.nameOfKey(now.section) || null;
      if (now.stem !== before.stem) to.stem = now.stem || null;
      if (now.heard !== before.heard) to.heard = now.heard;
      if (Object.keys(to).length) all.push({edit: {question: now.id, to}, words: `Question: ${now.text}`});
    }
    for (const one of this.questions.filter((each) => each.id === null)) {
      const section = this.nameOfKey(one.section);
      all.push({edit: {add_question: {text: one.text.trim(), ...(section ? {section} : {}), ...(one.stem ? {stem: one.stem} : {}), heard: one.heard}}, words: `New question: ${one.text}`});
    }
    return all;
  }

  /** As the program takes them: what is asked of a section that goes has to go, or to be asked of another one, before it; what is
   *  asked of a new one comes behind it. */
  edits() {
    const edits = this.changes().map((one) => one.edit), sections = edits.find((one) => one.sections);
    if (!sections) return edits;
    const gone = new Set(this.base.sections.map((one) => one.name).filter((_, i) => !this.sections.list.some((one) => one.was === i)));
    const early = [], late = [];
    for (const edit of edits) {
      if (edit === sections) continue;
      const before = edit.question && this.asked.find((one) => one.id === edit.question);
      const leaves = before && edit.to.section !== undefined && gone.has(this.base.questions.find((one) => one.id === before.id)?.section);
      if (edit.remove_question) early.push(edit);
      else if (leaves) {
        early.push({question: edit.question, to: {section: null}});
        late.push(edit);
      } else late.push(edit);
    }
    return [...early, sections, ...late];
  }

  /** What keeps it from being saved: [{where, text}]. */
  faults() {
    const faults = [];
    this.sections.list.forEach((one, i) => {
      const text = this.sections.faultOfName(i);
      if (text) faults.push({where: "sections", text: `${one.name || "A section"}: ${text}`});
      const vocal = faultOf(kSectionVocal, one.vocal);
      if (vocal) faults.push({where: "sections", text: `${kSectionVocal.title} in ${one.name}: ${vocal}`});
    });
    for (const one of kWanted) {
      const text = faultOf(one, this.wanted.get(one.key));
      if (text) faults.push({where: "wanted", text: `${one.title}: ${text}`});
    }
    if (this.wanted.get("quiet.level_db_spl") >= (this.wanted.get("quiet.reference_db_spl") ?? 78)) faults.push({where: "wanted", text: "Very quiet wants to lie below the working level."});
    for (const one of this.questions) if (!one.text.trim()) faults.push({where: "questions", text: "A question wants words."});
    return faults;
  }

  /** The questions that are asked of a section. */
  questionsOf(key) {
    return this.questions.filter((one) => one.section === key);
  }

  /** The same changes on top of what the file says by now. What is no longer there is left out. */
  onTopOf(told) {
    const next = new Draft(told);
    next.duration = this.duration;
    for (const key of Object.keys(this.song)) if (this.song[key] !== (this.base.song[key] ?? "")) next.song[key] = this.song[key];
    if (JSON.stringify(this.sections.written()) !== this.was) {
      const names = this.base.sections.map((one) => one.name), there = told.plan.sections.map((one) => one.name);
      next.sections.list = this.sections.list.map((one) => {
        const was = one.was === null ? -1 : there.indexOf(names[one.was]);
        return {...one, was: was < 0 ? null : was, key: was < 0 ? ++next.sections.keys : was + 1};
      });
    }
    for (const one of this.stems) {
      const before = this.base.stems.find((other) => other.name === one.name), to = next.stems.find((other) => other.name === one.name);
      if (!to) continue;
      if (one.priority !== (before.priority ?? null)) to.priority = one.priority;
      if (one.role !== before.role) to.role = one.role;
    }
    for (const one of kWanted) if (!same(this.wanted.get(one.key), wantedIn(this.base, one))) next.wanted.set(one.key, this.wanted.get(one.key));
    const keyIn = (key) => next.keyOfName(this.nameOfKey(key));
    for (const before of this.asked) {
      const now = this.questions.find((one) => one.id === before.id), to = next.questions.find((one) => one.id === before.id);
      if (!to) continue;
      if (!now) {
        next.questions.splice(next.questions.indexOf(to), 1);
        continue;
      }
      for (const key of ["text", "stem", "heard"]) if (now[key] !== before[key]) to[key] = now[key];
      if (now.section !== before.section) to.section = keyIn(now.section);
    }
    for (const one of this.questions.filter((each) => each.id === null)) Object.assign(next.addQuestion(), {text: one.text, section: keyIn(one.section), stem: one.stem, heard: one.heard});
    return next;
  }
}
