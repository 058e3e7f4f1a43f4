// What is wanted of a song as numbers: a field for each, empty where it is not stated.
import {faultOf, kWanted} from "./wanted.js";
import {make, put} from "./words.js";

const numberIn = (text) => {
  const clean = text.trim().replace(",", ".").replace("\u2212", "-");
  return clean === "" ? null : /^[+-]?\d{1,6}(\.\d{0,6})?$/.test(clean) ? Number(clean) : NaN;
};

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
    return {box: make("div", {className: "want"}, title, make("span", {className: "line"}, ...words), about, fault), fields, fault};
  }

  take(draft) {
    this.draft = draft;
    for (const one of kWanted) {
      const {fields, fault} = this.rows.get(one.key), value = draft.wanted.get(one.key);
      const texts = one.kind === "range" ? [value?.low ?? "", value?.high ?? ""] : [value ?? ""];
      if (one.kind === "flag") fields[0].checked = value ?? one.without;
      else fields.forEach((field, i) => (field.value = Number.isNaN(texts[i]) ? field.value : String(texts[i])));
      put(fault, faultOf(one, value));
    }
  }

  read(one) {
    const {fields, fault} = this.rows.get(one.key);
    const numbers = fields.map((field) => (one.kind === "range" || one.kind === "number" ? numberIn(field.value) : null));
    const value = one.kind === "flag" ? fields[0].checked : one.kind === "choice" ? fields[0].value || null
      : one.kind === "number" ? numbers[0] : numbers.every((number) => number === null) ? null : {low: numbers[0] ?? NaN, high: numbers[1] ?? NaN};
    this.draft.wanted.set(one.key, value);
    const text = faultOf(one, value);
    put(fault, text);
    fields.forEach((field) => field.setAttribute("aria-invalid", String(Boolean(text))));
    this.told.changed();
  }
}
