// What the files are meant to be: the rule sets they are judged by.
import {keep, kept} from "./kept.js";
import {rove} from "./rove.js";
import {by, make} from "./words.js";

export class Rules {
  constructor(changed) {
    this.changed = changed;
    this.sets = [];
    this.boxes = [];
    this.roving = rove(by("rule-list"), "input");
    by("rules").addEventListener("toggle", () => {
      if (!by("rules").open) return;
      this.roving.refresh();
      by("rules").scrollIntoView({block: "nearest"});
    });
    by("rules").addEventListener("keydown", (event) => {
      if (event.key !== "Escape" || !by("rules").open) return;
      event.stopPropagation();
      this.close();
    });
  }

  fill(listed, defaults) {
    // A rule set of the user's own configuration may be a file, which no list names.
    const sets = [...listed, ...defaults.filter((name) => !listed.some((set) => set.name === name)).map((name) => ({name, title: name, about: "From your configuration."}))];
    // The program came back with the same ones: what is ticked stays.
    if (this.sets.map((set) => set.name).join() === sets.map((set) => set.name).join()) return;
    const before = new Set(this.chosen());
    const last = (kept("rules") || []).filter((name) => sets.some((set) => set.name === name));
    const on = before.size ? before : new Set(last.length ? last : defaults);
    this.sets = sets;
    this.boxes = sets.map((set, i) => {
      const box = make("input", {type: "checkbox", id: `rule-${i}`, value: set.name, "aria-describedby": `rule-about-${i}`});
      box.checked = on.has(set.name);
      box.addEventListener("change", () => {
        keep("rules", this.chosen());
        this.draw();
        this.changed();
      });
      return box;
    });
    const rows = sets.map((set, i) =>
      make("div", {className: "rule"}, this.boxes[i], make("label", {for: `rule-${i}`}, make("span", {className: "title", text: set.title || set.name})), make("p", {className: "soft", id: `rule-about-${i}`, text: set.about || ""})));
    by("rule-list").replaceChildren(by("rule-list").firstElementChild, ...rows);
    this.roving.refresh();
    this.draw();
    this.changed();
  }

  chosen() {
    return this.boxes.filter((box) => box.checked).map((box) => box.value);
  }

  titles(names = this.chosen()) {
    return names.map((name) => this.sets.find((set) => set.name === name)?.title || name);
  }

  choose() {
    by("rules").open = true;
    this.roving.refresh();
    (this.boxes.find((box) => box.checked) || this.boxes[0])?.focus();
  }

  close() {
    by("rules").open = false;
    by("rules").querySelector("summary").focus();
  }

  draw() {
    const rows = this.sets.filter((set) => this.chosen().includes(set.name)).map((set) => make("p", {}, make("b", {text: set.title || set.name}), " ", make("span", {className: "soft", text: set.about || ""})));
    by("chosen-rules").replaceChildren(...(rows.length ? rows : [make("p", {className: "fail", text: "Nothing is chosen: nothing can be judged."})]));
  }
}
