// The range in which the lead vocal is meant to lie in one section: two fields, empty where it is as in the whole song.
import {faultOf, kSectionVocal, rangeIn} from "./wanted.js";
import {make} from "./words.js";

const kEnds = [["low", "from"], ["high", "to"]];

/** The cell of a section's row. `told`: {changed(range, fault)}. */
export function vocalCell(told) {
  const inputs = kEnds.map(([end]) => {
    const input = make("input", {type: "text", inputmode: "decimal", className: "short", "data-field": `vocal-${end}`, autocomplete: "off"});
    input.addEventListener("change", () => {
      const range = rangeIn(inputs.map((one) => one.value));
      told.changed(range, faultOf(kSectionVocal, range));
    });
    return input;
  });
  return make("td", {className: "pair"}, inputs[0], make("span", {className: "soft", text: "to"}), inputs[1]);
}

/** Shows a section's range. `song`: what holds where it has none; `of`: its name. */
export function showVocal(row, {vocal}, song, of) {
  const fault = faultOf(kSectionVocal, vocal);
  for (const [end, word] of kEnds) {
    const input = row.querySelector(`[data-field=vocal-${end}]`), value = vocal?.[end] ?? "";
    // What is no number stays as it was typed.
    if (!Number.isNaN(value) && input.value !== String(value)) input.value = String(value);
    input.placeholder = song && Number.isFinite(song[end]) ? String(song[end]) : "";
    input.setAttribute("aria-label", `Lead vocal over the rest in ${of}, ${word}, LU; empty: as in the whole song`);
    if (fault) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }
}
