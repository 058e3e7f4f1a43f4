// The stems in the order of what matters most: moved by keys, by buttons or by pulling; several may matter the same.
import {rove} from "./rove.js";
import {say} from "./say.js";
import {make, plain, put} from "./words.js";

const kMost = 99;

export class StemsPart {
  /** `told`: {changed()}. */
  constructor(box, told) {
    this.told = told;
    this.list = make("ol", {className: "stems", "aria-label": "Stems, what matters most first"});
    this.none = make("p", {className: "soft", text: "The plan has no stems: what is judged between parts is then not measured. Stems are written into the plan’s text, or come with “Start a plan”."});
    this.about = make("p", {className: "soft", id: "stem-keys", text: "What matters most stands first. Shift and an arrow move the stem you are on, = gives it the rank of the one above, Delete takes its rank away; or pull it."});
    // Before the arrows alone, which lead from one to the next.
    this.list.addEventListener("keydown", (event) => this.key(event));
    this.roving = rove(this.list, ".stem");
    this.list.addEventListener("focusin", (event) => this.choose(event.target.closest(".stem")?.dataset.stem));
    const button = (text, does, act) => {
      const made = make("button", {type: "button", className: "small", text, "aria-label": does});
      made.addEventListener("click", () => this.at !== undefined && act(this.at));
      return made;
    };
    this.role = make("select", {id: "stem-role"});
    this.role.addEventListener("change", () => this.play(this.role.value));
    this.name = make("p", {className: "soft", id: "stem-at"});
    this.tools = make("div", {className: "line", role: "group", "aria-labelledby": "stem-at"}, this.name,
      button("Up", "One up", (name) => this.step(name, -1)), button("Down", "One down", (name) => this.step(name, 1)), button("Same rank as above", "Same rank as above", (name) => this.join(name)), button("No rank", "No rank", (name) => this.drop(name)),
      make("label", {for: "stem-role", text: "plays"}), this.role);
    this.guess = make("p", {className: "noted", hidden: ""});
    box.append(this.about, this.list, this.tools, this.guess, this.none);
  }

  take(draft) {
    this.draft = draft;
    this.groups = this.grouped();
    this.none.hidden = draft.stems.length > 0;
    for (const one of [this.about, this.list, this.tools]) one.hidden = !draft.stems.length;
    this.role.replaceChildren(...[...new Set([...draft.roles, ...draft.stems.map((one) => one.role)])].map((text) => make("option", {value: text, text})));
    this.draw();
  }

  /** The stem that the buttons are about. */
  choose(name) {
    if (name !== undefined) this.at = name;
    const stem = this.draft.stems.find((one) => one.name === this.at) || this.groups.flat()[0];
    this.at = stem?.name;
    for (const one of this.list.querySelectorAll(".stem")) one.setAttribute("aria-current", String(one.dataset.stem === this.at));
    if (!stem) return;
    put(this.name, stem.name);
    this.role.value = stem.role;
  }

  play(role) {
    this.draft.stems.find((one) => one.name === this.at).role = role;
    this.draw();
    this.told.changed();
  }

  /** Stems of one rank together, by rank; those without one last, one by one. */
  grouped() {
    const ranks = [...new Set(this.draft.stems.map((one) => one.priority).filter((rank) => rank !== null))].sort((a, b) => a - b);
    return [...ranks.map((rank) => this.draft.stems.filter((one) => one.priority === rank)), ...this.draft.stems.filter((one) => one.priority === null).map((one) => [one])];
  }

  /** Ranks as the groups stand; only what has to be another number is. */
  rank(groups) {
    let last = 0;
    groups.forEach((group, i) => {
      if (group[0].priority === null && !group.fresh) return;
      // A number that is still in order stays: then fewer lines of the plan change.
      const numbers = group.map((one) => one.priority).filter((number) => number !== null && number > last);
      const next = Math.min(...groups.slice(i + 1).flat().map((one) => one.priority ?? Infinity));
      const kept = numbers.length === group.length && new Set(numbers).size === 1 && numbers[0] < next ? numbers[0] : last + 1;
      last = Math.min(kMost, kept);
      for (const one of group) one.priority = last;
    });
  }

  settle(groups, name, words) {
    this.rank(groups);
    this.groups = this.grouped();
    this.draw();
    this.focus(name);
    const stem = this.draft.stems.find((one) => one.name === name);
    say(words || `${plain(name)}: ${this.standing(stem)}.`);
    this.told.changed();
  }

  standing(stem) {
    if (stem.priority === null) return "no rank";
    const beside = this.draft.stems.filter((one) => one !== stem && one.priority === stem.priority);
    return `rank ${stem.priority}${beside.length ? `, the same as ${beside.map((one) => plain(one.name)).join(", ")}` : ""}`;
  }

  get ranked() {
    return this.groups.filter((group) => group[0].priority !== null);
  }

  /** One step up or down. Out of a shared rank it takes one of its own first. */
  step(name, by) {
    const groups = this.ranked.map((group) => [...group]), at = groups.findIndex((group) => group.some((one) => one.name === name));
    const stem = this.draft.stems.find((one) => one.name === name);
    if (at < 0) {
      if (by > 0) return say(`${plain(name)} has no rank.`);
      const own = [stem];
      own.fresh = true;
      return this.settle([...groups, own], name);
    }
    const own = [stem];
    own.fresh = true;
    if (groups[at].length > 1) {
      groups[at].splice(groups[at].indexOf(stem), 1);
      groups.splice(by < 0 ? at : at + 1, 0, own);
    } else {
      const to = at + by;
      if (to < 0) return say(`${plain(name)} matters most already.`);
      if (to >= groups.length) return say(`${plain(name)} is the last with a rank.`);
      groups.splice(at, 1);
      groups.splice(to, 0, own);
    }
    this.settle(groups, name);
  }

  /** The rank of the stem above it. */
  join(name) {
    const groups = this.ranked.map((group) => [...group]), order = this.groups.flat(), stem = order.find((one) => one.name === name);
    const above = order[order.indexOf(stem) - 1];
    if (!above) return say("Nothing stands above it.");
    if (above.priority === null) return say("The stem above has no rank either.");
    if (above.priority === stem.priority) return say(`It has the rank of ${plain(above.name)} already.`);
    const from = groups.find((group) => group.includes(stem));
    if (from) from.splice(from.indexOf(stem), 1);
    const to = groups.find((group) => group.includes(above));
    to.push(stem);
    to.fresh = true;
    const rank = above.priority;
    stem.priority = rank;
    this.settle(groups.filter((group) => group.length), name);
  }

  drop(name) {
    this.draft.stems.find((one) => one.name === name).priority = null;
    this.groups = this.grouped();
    this.settle(this.ranked, name);
  }

  /** To stand before another one, or last. */
  put(name, before) {
    const stem = this.draft.stems.find((one) => one.name === name), own = [stem];
    own.fresh = true;
    const groups = this.ranked.map((group) => group.filter((one) => one !== stem)).filter((group) => group.length);
    const at = groups.findIndex((group) => group.some((one) => one.name === before));
    groups.splice(at < 0 ? groups.length : at, 0, own);
    this.settle(groups, name);
  }

  /** The ranks that a starting plan guessed, for stems that have none. */
  guesses() {
    const open = this.draft.stems.filter((one) => one.priority === null && one.guess !== undefined).sort((a, b) => a.guess - b.guess);
    this.guess.hidden = !open.length;
    if (!open.length) return this.guess.replaceChildren();
    const take = make("button", {type: "button", className: "small", text: "Take over", "aria-label": "Take over the ranks guessed by role"});
    take.addEventListener("click", () => {
      for (const one of open) one.priority = one.guess;
      this.groups = this.grouped();
      this.draw();
      this.focus(open[0].name);
      say("The ranks guessed by role are taken over.");
      this.told.changed();
    });
    this.guess.replaceChildren(`a guess by role, no more: ${open.map((one) => `${one.guess} ${plain(one.name)}`).join(", ")} `, take);
  }

  draw() {
    this.guesses();
    this.list.replaceChildren(...this.groups.flat().map((stem) => this.row(stem)));
    this.choose();
    this.roving.refresh();
  }

  row(stem) {
    const {name, file, role, priority, measured} = stem;
    const beside = this.draft.stems.filter((one) => one !== stem && priority !== null && one.priority === priority);
    const handle = make("button", {type: "button", className: "entry stem", tabindex: "-1", "aria-describedby": "stem-keys"},
      make("span", {className: "rank"}, make("span", {className: "hidden", text: priority === null ? "no rank" : "rank "}), String(priority ?? "\u2013")), make("span", {className: "name", text: name}),
      make("span", {className: "soft detail", text: `${role}, ${file}${measured ? `; measured ${measured}` : ""}${beside.length ? `; matters as much as ${beside.map((one) => one.name).join(", ")}` : ""}`}));
    handle.dataset.stem = name;
    const li = make("li", {}, handle);
    this.pull(handle, li, name);
    return li;
  }

  /** A stem that is pulled lands before the one whose upper half it is let go over. */
  pull(handle, li, name) {
    let from = null;
    const mark = (to) => [...this.list.children].forEach((row) => row.classList.toggle("landing", row === to));
    const over = (y) => [...this.list.children].find((row) => {
      const box = row.getBoundingClientRect();
      return y < box.top + box.height / 2;
    });
    handle.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      from = event.clientY;
      handle.setPointerCapture(event.pointerId);
    });
    handle.addEventListener("pointermove", (event) => {
      if (from === null || Math.abs(event.clientY - from) < 5) return;
      li.classList.add("pulled");
      mark(over(event.clientY));
    });
    handle.addEventListener("pointerup", (event) => {
      const moved = from !== null && li.classList.contains("pulled");
      from = null;
      li.classList.remove("pulled");
      const to = over(event.clientY);
      mark(null);
      if (moved && to !== li) this.put(name, to ? to.querySelector(".stem").dataset.stem : null);
    });
    handle.addEventListener("pointercancel", () => {
      from = null;
      li.classList.remove("pulled");
      mark(null);
    });
  }

  key(event) {
    const name = event.target.closest(".stem")?.dataset.stem;
    if (name === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.shiftKey && ["ArrowUp", "ArrowDown"].includes(event.key)) this.step(name, event.key === "ArrowUp" ? -1 : 1);
    else if (event.key === "=") this.join(name);
    else if (event.key === "Delete") this.drop(name);
    else return;
    event.preventDefault();
    event.stopImmediatePropagation();
  }

  focus(name) {
    [...this.list.querySelectorAll(".stem")].find((one) => one.dataset.stem === name)?.focus();
  }
}
