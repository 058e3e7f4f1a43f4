// What is wanted of a song as numbers: a field for each, empty where it is not stated.
import {say} from "./say.js";
import {faultOf, kWanted, numberIn, rangeIn, wordsOf} from "./wanted.js";
import {make, plain, put} from "./words.js";

export class WantedPart {
  /** `told`: {changed()}. */
  constructor(box, told) {
    this.told = told;
    this.rows = new Map(kWanted.map((one) => [one.key, this.row(one)]));
    box.append(make("p", {className: "soft", text: "What is left empty is not stated, and what stands on it is not measured; it is never guessed."}),
      make("div", {className: "wants"}, ...[...this.rows.values()].map((row) => row.box)));
  }

  row(one) {
    const id = `wanted-${one.key.replace(/\W/g, "-")}`, about = make("p", {className: "soft", id: `${id}-about`, text: `${one.about}${one.without !== undefined && one.kind === "number" ? ` Left out it is ${one.without}${one.unit ? ` ${one.unit}` : ""}.` : ""}`});
    const fault = make("p", {className: "fail", id: `${id}-fault`}), described = `${id}-about ${id}-fault`;
    const field = (suffix, label) => {
      const input = make("input", {type: "text", inputmode: "decimal", id: `${id}${suffix}`, "aria-describedby": described, autocomplete: "off", "aria-label": label});
      input.addEventListener("change", () => this.read(one));
      return input;
    };
    let fields, title;
    if (one.kind === "range") {
      fields = [field("", `${one.title}, from`), field("-to", `${one.title}, to`)];
      title = make("label", {for: id, text: one.title});
    } else if (one.kind === "number") {
      fields = [field("")];
      title = make("label", {for: id, text: one.title});
    } else if (one.kind === "choice") {
      fields = [make("select", {id, "aria-describedby": described}, make("option", {value: "", text: "not stated"}), ...one.choices.map((text) => make("option", {value: text, text})))];
      title = make("label", {for: id, text: one.title});
      fields[0].addEventListener("change", () => this.read(one));
    } else {
      fields = [make("input", {type: "checkbox", id, "aria-describedby": described})];
      title = make("label", {for: id, text: one.title});
      fields[0].addEventListener("change", () => this.read(one));
    }
    const words = [one.bound ? make("span", {className: "soft", text: one.bound}) : "", fields[0], ...(fields[1] ? [make("span", {className: "soft", text: "to"}), fields[1]] : []), one.unit ? make("span", {className: "soft", text: one.unit}) : ""];
    const noted = make("p", {className: "noted", hidden: ""});
    return {box: make("div", {className: "want", role: "group", tabindex: "-1", "aria-label": one.title}, title, make("span", {className: "line"}, ...words), noted, about, fault), fields, fault, noted};
  }

  /** What a starting plan measured: beside the field, for whoever means it. */
  note(one) {
    const {noted, fields} = this.rows.get(one.key), note = this.draft.base.measured?.[one.key], value = this.draft.wanted.get(one.key);
    noted.hidden = !note;
    if (!note) return;
    const taken = note.to === undefined || JSON.stringify(note.to) === JSON.stringify(value);
    const take = make("button", {type: "button", className: "small", text: "Take over", "aria-label": `Take over ${wordsOf(one, note.to ?? null)}: ${one.title}`});
    take.addEventListener("click", () => {
      this.draft.wanted.set(one.key, note.to);
      this.fill(one);
      // Not into the field: the keys of the page are to go on meaning what they do.
      this.rows.get(one.key).box.focus();
      say(`${one.title}: ${wordsOf(one, note.to)}.`);
      this.told.changed();
    });
    noted.replaceChildren(plain(note.words), ...(taken ? [] : [` ${one.bound ? `${one.bound} ` : ""}${wordsOf(one, note.to)}? `, take]));
  }

  take(draft) {
    this.draft = draft;
    for (const one of kWanted) this.fill(one);
  }

  fill(one) {
    const {fields, fault} = this.rows.get(one.key), value = this.draft.wanted.get(one.key);
    const texts = one.kind === "range" ? [value?.low ?? "", value?.high ?? ""] : [value ?? ""];
    if (one.kind === "flag") fields[0].checked = value ?? one.without;
    else fields.forEach((field, i) => (field.value = Number.isNaN(texts[i]) ? field.value : String(texts[i])));
    const text = faultOf(one, value);
    put(fault, text);
    fields.forEach((field) => field.setAttribute("aria-invalid", String(Boolean(text))));
    this.note(one);
  }

  read(one) {
    const {fields, fault} = this.rows.get(one.key);
    const value = one.kind === "flag" ? fields[0].checked : one.kind === "choice" ? fields[0].value || null
      : one.kind === "number" ? numberIn(fields[0].value) : rangeIn(fields.map((field) => field.value));
    this.draft.wanted.set(one.key, value);
    const text = faultOf(one, value);
    put(fault, text);
    fields.forEach((field) => field.setAttribute("aria-invalid", String(Boolean(text))));
    this.note(one);
    this.told.changed();
  }
}
