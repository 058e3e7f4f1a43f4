// What is to be asked of a song when it is listened to.
import {absentWords} from "./listen-words.js";
import {make, plain} from "./words.js";

const kHeard = {full: "as it is", quiet: "very quietly", mono: "in mono", lows: "the lows alone", "small speaker": "through a small loudspeaker"};

export class QuestionsPart {
  /** `told`: {changed()}. */
  constructor(box, told) {
    this.told = told;
    this.list = make("ol", {className: "questions"});
    this.none = make("p", {className: "soft", text: "Nothing is asked yet. What only ears can tell belongs here: “Does the voice stay in front when the drums come in?”"});
    this.add = make("button", {type: "button", className: "small", text: "Add a question"});
    this.add.addEventListener("click", () => {
      this.draft.addQuestion();
      this.draw();
      this.list.lastElementChild.querySelector("textarea").focus();
      this.told.changed();
    });
    box.append(this.list, this.none, make("div", {className: "line"}, this.add));
  }

  take(draft) {
    this.draft = draft;
    this.draw();
  }

  draw() {
    this.none.hidden = this.draft.questions.length > 0;
    this.list.replaceChildren(...this.draft.questions.map((one, i) => this.row(one, i)));
  }

  /** Sections may have other names by now. */
  names() {
    for (const [i, one] of this.draft.questions.entries()) {
      const select = this.list.children[i]?.querySelector("[data-field=section]");
      if (select) this.fill(select, one);
    }
  }

  fill(select, one) {
    select.replaceChildren(make("option", {value: "0", text: "the whole song"}), ...this.draft.sections.list.map((section) => make("option", {value: String(section.key), text: section.name})));
    select.value = String(one.section);
  }

  row(one, i) {
    const select = (field, words, options, value, act) => {
      const made = make("select", {"aria-label": `Question ${i + 1}: ${words}`, "data-field": field}, ...options.map(([key, text]) => make("option", {value: key, text})));
      made.value = value;
      made.addEventListener("change", () => {
        act(made.value);
        this.told.changed();
      });
      return made;
    };
    const text = make("textarea", {rows: "2", "aria-label": `Question ${i + 1}`});
    text.value = one.text;
    text.addEventListener("input", () => {
      one.text = text.value.replace(/\s*\n\s*/g, " ");
      this.told.changed();
    });
    const section = select("section", "asked of which section", [], "", (value) => (one.section = Number(value)));
    this.fill(section, one);
    const stems = [["", "no stem by itself"], ...this.draft.stems.map((stem) => [stem.name, plain(stem.name)])];
    const remove = make("button", {type: "button", className: "small", text: "Remove", "aria-label": `Remove question ${i + 1}`});
    remove.addEventListener("click", () => {
      this.draft.questions.splice(this.draft.questions.indexOf(one), 1);
      this.draw();
      (this.list.children[Math.min(i, this.list.children.length - 1)]?.querySelector("textarea") || this.add).focus();
      this.told.changed();
    });
    const absent = absentWords(one.id, this.draft.stems.map((stem) => stem.role));
    return make("li", {}, text, ...(absent ? [make("p", {className: "noted", text: `${absent} Where the song has none, remove the question.`})] : []), make("div", {className: "line"}, section, select("stem", "asked of which stem", stems, one.stem, (value) => (one.stem = value)),
      select("heard", "heard in which way", this.draft.ways.map((way) => [way, `heard ${kHeard[way] ?? way}`]), one.heard, (value) => (one.heard = value)), remove));
  }
}
