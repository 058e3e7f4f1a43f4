// The sections of the song: over its shape, and as a list in which every name and time can be typed.
import {Borders} from "./borders.js";
import {rove} from "./rove.js";
import {showVocal, vocalCell} from "./section-vocal.js";
import {say} from "./say.js";
import {Playhead} from "./playhead.js";
import {Shape} from "./shape.js";
import {secondsIn, timeShort, timeSpoken} from "./times.js";
import {make, many, plain, put} from "./words.js";

const kFlags = [["biggest", "The biggest section"], ["quietest", "The quietest section"]];

export class SectionsPart {
  /** `told`: {changed(), play(from, to, words, what), playing(): `what` of what plays, where(): second of the mix that is heard, or
   *  null; player}. */
  constructor(box, told) {
    this.told = told;
    this.shape = new Shape(box, "Place in the song");
    this.borders = new Borders(this.shape, {moved: () => this.moved(), chosen: (key) => this.choose(key)});
    const button = (text, act) => {
      const made = make("button", {type: "button", className: "small", text});
      made.addEventListener("click", act);
      return made;
    };
    this.add = button("Begin a section at the place", () => this.addAt());
    this.hear = button("Play from the place", () => this.told.play(this.shape.at, this.shape.duration, timeShort(this.shape.at), "place"));
    this.flags = Object.fromEntries(kFlags.map(([flag, words]) => {
      const select = make("select", {id: `flag-${flag}`});
      select.addEventListener("change", () => {
        this.sections.mark(flag, Number(select.value));
        this.changed();
      });
      return [flag, {select, label: make("label", {for: `flag-${flag}`, text: words}), guess: make("span", {className: "noted"})}];
    }));
    this.fault = make("p", {className: "fail", id: "sections-fault"});
    this.body = make("tbody");
    box.append(
      make("p", {className: "soft", id: "shape-keys", text: "Place: arrows move it by a hundredth of what is in sight, with Shift by a tenth; + and − zoom in and out."}),
      make("p", {className: "soft", id: "border-keys", text: "Borders: pull them, or arrows by 10 ms, with Shift by 100 ms, Page up and Page down by 1 s."}),
      make("div", {className: "line"}, this.add, this.hear),
      make("div", {className: "line"}, ...kFlags.flatMap(([flag]) => [this.flags[flag].label, this.flags[flag].select, this.flags[flag].guess])),
      this.fault,
      this.table = make("div", {className: "table"}, make("table", {}, make("caption", {className: "hidden", text: "Sections"}),
        make("thead", {}, make("tr", {}, ...["Name", "Start", "End", "Vocal over the rest, LU", "What to do"].map((text) => make("th", {scope: "col", text})))), this.body)));
    this.shape.addEventListener("facts", () => this.facts());
    if (!told.player) return;
    this.head = new Playhead(this.shape, told.player, told.where);
    told.player.addEventListener("change", () => this.plays());
  }

  /** Whatever plays, its button stops it. */
  plays() {
    const what = this.told.playing();
    put(this.hear, what === "place" ? "Stop" : "Play from the place");
    for (const row of this.body.children) {
      const button = row.querySelector("[data-field=Play]"), words = what === Number(row.dataset.key) ? "Stop" : "Play";
      if (button.textContent === words) continue;
      put(button, words);
      button.setAttribute("aria-label", `${words}: ${plain(this.sections.list[this.sections.at(Number(row.dataset.key))]?.name ?? "")}`);
    }
  }

  /** Another draft, or the same one anew. `source`: of the mix. */
  take(draft, source) {
    this.draft = draft;
    this.sections = draft.sections;
    const key = JSON.stringify(source), other = this.opened !== key;
    if (other) this.shape.clear();
    else if (this.shape.tiles) draft.duration = this.shape.duration;
    this.borders.take(this.sections);
    this.draw();
    if (!other) return;
    this.opened = key;
    put(this.shape.words, source ? "Reading the shape of the mix …" : "The mix does not lie in the opened folder, so it has no shape here: times can be typed.");
    if (source) this.shape.open(source).catch((error) => {
      if (this.opened !== key) return;
      this.opened = null;
      put(this.shape.words, `${error.message} Times can be typed all the same.`);
    });
  }

  facts() {
    this.draft.duration = this.shape.duration;
    this.borders.take(this.sections);
    this.draw();
  }

  choose(key) {
    for (const row of this.body.children) row.classList.toggle("at", Number(row.dataset.key) === key);
  }

  moved() {
    this.times();
    this.guesses();
    this.told.changed();
  }

  changed() {
    this.borders.take(this.sections);
    this.draw();
    this.told.changed();
  }

  addAt() {
    const made = this.sections.add(this.shape.at);
    if (!made) return this.refuse(null, "There is no room for a section at this place: a border lies here already, or the song has ended.");
    this.changed();
    say(`New section from ${timeSpoken(made.start)}.`);
    this.field(made.key, "name").select();
  }

  split(key) {
    const made = this.sections.split(this.sections.at(key), this.shape.at);
    if (!made) return this.refuse(key, "This section is too short to be split.");
    this.changed();
    this.field(made.key, "name").select();
  }

  remove(key) {
    const i = this.sections.at(key), asked = this.draft.questionsOf(key);
    if (asked.length) return this.refuse(key, `“${plain(this.sections.list[i].name)}” cannot go: ${many(asked.length, "question asks", "questions ask")} of it. Give ${asked.length === 1 ? "that one" : "those"} another section first, or remove ${asked.length === 1 ? "it" : "them"}: ${asked.map((one) => plain(one.text)).join("; ")}`);
    this.sections.remove(i);
    this.changed();
    const next = this.sections.list[Math.min(i, this.sections.list.length - 1)];
    if (next) this.field(next.key, "name").focus();
    else this.add.focus();
  }

  /** `key`: of the section that it is about, in whose row it is said; null: above all. */
  refuse(key, text) {
    const row = key === null ? null : this.body.querySelector(`[data-key="${key}"]`);
    if (row) row.lastChild.append(this.fault);
    else this.table.before(this.fault);
    put(this.fault, text);
    this.fault.scrollIntoView({block: "nearest"});
    say(text);
  }

  field(key, name) {
    return this.body.querySelector(`[data-key="${key}"] [data-field=${name}]`);
  }

  draw() {
    const held = document.activeElement?.closest?.("[data-field]"), row = held?.closest("[data-key]");
    const at = row && this.body.contains(row) ? [row.dataset.key, held.dataset.field] : null;
    put(this.fault, "");
    this.table.before(this.fault);
    const rows = [...this.body.children], {list} = this.sections;
    // A row that stays is filled anew and not put in its own place: whoever goes on with Tab would lose their way.
    if (rows.length !== list.length || list.some((one, i) => rows[i].dataset.key !== String(one.key))) this.body.replaceChildren(...list.map((one) => this.row(one)));
    this.refill();
    for (const [flag] of kFlags) {
      const {select} = this.flags[flag];
      select.replaceChildren(make("option", {value: "0", text: "not stated"}), ...this.sections.list.map((one) => make("option", {value: String(one.key), text: one.name})));
      select.value = String(this.sections.marked(flag));
    }
    this.guesses();
    this.plays();
    if (at && !held.isConnected) this.field(...at)?.focus();
  }

  /** What a starting plan guessed, for whoever means it. */
  guesses() {
    for (const [flag, words] of kFlags) {
      const {guess, select} = this.flags[flag], one = this.sections.guessed(flag);
      guess.hidden = !one || this.sections.marked(flag) === one.key;
      if (guess.hidden) {
        guess.replaceChildren();
        continue;
      }
      const take = make("button", {type: "button", className: "small", text: "Take over", "aria-label": `Take over ${plain(one.name)}: ${words}`});
      take.addEventListener("click", () => {
        this.sections.mark(flag, one.key);
        this.changed();
        select.focus();
        say(`${words}: ${plain(one.name)}.`);
      });
      guess.replaceChildren(`a guess by loudness: ${plain(one.name)} `, take);
    }
  }

  row({key, name}) {
    const field = (kind, value, label, act) => {
      const input = make("input", {type: "text", "data-field": kind, "aria-label": label, autocomplete: "off", spellcheck: "false"});
      input.value = value;
      input.addEventListener("change", () => act(input));
      return make("td", {}, input);
    };
    const of = plain(name);
    const button = (text, act) => {
      const made = make("button", {type: "button", className: "small", text, "aria-label": `${text}: ${of}`});
      made.dataset.field = text;
      made.addEventListener("click", act);
      return made;
    };
    const i = this.sections.at(key), end = this.sections.list[i].end;
    const row = make("tr", {},
      field("name", name, `Name of section ${i + 1}`, (input) => this.rename(key, input)),
      field("start", timeShort(this.sections.list[i].start), `Start of ${of}`, (input) => this.type(key, "start", input)),
      field("end", end === null ? "" : timeShort(end), `End of ${of}; empty: until the next one`, (input) => this.type(key, "end", input)),
      make("td", {className: "doing"},
        button("Play", () => this.told.play(this.sections.list[this.sections.at(key)].start, Math.min(this.sections.endOf(this.sections.at(key)), this.shape.duration || Infinity), this.sections.list[this.sections.at(key)].name, key)),
        button("Move its start", () => this.borders.focus(key)), button("Split", () => this.split(key)), button("Remove", () => this.remove(key)), make("span", {className: "noted"})));
    row.dataset.key = key;
    row.querySelector(".doing").before(vocalCell({changed: (range, fault) => this.sing(key, range, fault)}));
    rove(row.querySelector(".doing"), "button").refresh();
    const until = row.querySelector("[data-field=end]");
    until.placeholder = this.until(i);
    return row;
  }

  refill() {
    this.sections.list.forEach((one, i) => {
      const row = this.body.children[i], of = plain(one.name);
      const labels = {name: `Name of section ${i + 1}`, start: `Start of ${of}`, end: `End of ${of}; empty: until the next one`};
      for (const [kind, label] of Object.entries(labels)) {
        const input = row.querySelector(`[data-field=${kind}]`);
        input.setAttribute("aria-label", label);
        input.removeAttribute("aria-invalid");
        input.removeAttribute("aria-describedby");
      }
      const name = row.querySelector("[data-field=name]");
      if (name.value !== one.name) name.value = one.name;
      for (const made of row.querySelectorAll("button")) made.setAttribute("aria-label", `${made.textContent}: ${of}`);
      showVocal(row, one, this.draft.wanted.get("vocal.above_band"), of);
    });
    this.times();
  }

  until(i) {
    const end = this.sections.endOf(i);
    return Number.isFinite(end) ? timeShort(end) : "the song’s end";
  }

  /** The times of all rows, while a border moves. */
  times() {
    this.sections.list.forEach((one, i) => {
      for (const [name, value] of [["start", timeShort(one.start)], ["end", one.end === null ? "" : timeShort(one.end)]]) {
        const input = this.field(one.key, name);
        if (input && input.value !== value) input.value = value;
        if (name === "end" && input) input.placeholder = this.until(i);
      }
      const measured = this.sections.measured(i);
      put(this.body.children[i].querySelector(".noted"), measured ? `measured ${measured}` : "");
    });
  }

  rename(key, input) {
    const i = this.sections.at(key);
    this.sections.list[i].name = input.value;
    const text = this.sections.faultOfName(i);
    this.changed();
    if (text) this.wrong(key, this.field(key, "name"), text);
  }

  wrong(key, input, text) {
    input.setAttribute("aria-invalid", "true");
    input.setAttribute("aria-describedby", "sections-fault");
    this.refuse(key, text);
  }

  /** Where the vocal is meant to lie here. */
  sing(key, range, fault) {
    this.sections.list[this.sections.at(key)].vocal = range;
    this.changed();
    if (fault) this.refuse(key, fault);
  }

  type(key, edge, input) {
    const i = this.sections.at(key), one = this.sections.list[i], empty = edge === "end" && !input.value.trim();
    const seconds = empty ? null : secondsIn(input.value);
    const [low, high] = edge === "start" ? this.sections.roomOfStart(i) : this.sections.roomOfEnd(i);
    if (!empty && (seconds === null || seconds < low || seconds > high)) {
      const typed = plain(input.value), kept = edge === "start" ? timeShort(one.start) : one.end === null ? "" : timeShort(one.end), stays = ` The ${edge} stays ${kept || "open, until the next section"}.`;
      input.value = kept;
      return this.refuse(key, seconds === null ? `“${typed}” is no time: write seconds, such as 83.5, or minutes and seconds, such as 1:23.5.${stays}`
        : `The ${edge} of “${plain(one.name)}” wants to lie from ${timeShort(low)} ${Number.isFinite(high) ? `to ${timeShort(high)}` : "on"}; “${typed}” does not.${stays}`);
    }
    if (edge === "start") this.sections.moveStart(i, seconds);
    else this.sections.moveEnd(i, seconds);
    this.changed();
  }
}
