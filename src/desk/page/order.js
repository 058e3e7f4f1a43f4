// An order while somebody edits it: its text is what holds, its fields are a way to change that text, and the program says what it
// comes to, as often as it changes.
import {ask, get} from "./api.js";
import {OrderFields} from "./order-fields.js";
import {say, tell, unsay} from "./say.js";
import {queryOf} from "./sound.js";
import {make, plain, put} from "./words.js";

const kPause = 250;

export class OrderPart {
  /** `told`: {sets(), changed()}; `changed` is called whenever what is shown may have changed. */
  constructor(box, told) {
    this.told = told;
    this.entry = null;
    this.answer = null;
    this.turn = 0;
    this.opening = 0;
    // What was typed into others and is not saved: path → {now, digest}.
    this.left = new Map();
    this.work = Promise.resolve();
    const button = (text, act) => {
      const made = make("button", {type: "button", className: "small", text});
      made.addEventListener("click", act);
      return made;
    };
    this.button = button;
    this.name = make("h3", {id: "order-of-name", tabindex: "-1"});
    this.clash = make("div", {className: "clash", hidden: "", role: "group", "aria-label": "The order was changed elsewhere"});
    this.form = make("div", {className: "order-fields"});
    this.fields = new OrderFields(this.form, {edit: (edit) => this.edit(edit), sets: told.sets, known: () => this.answer?.order?.sets ?? {}});
    this.text = make("textarea", {id: "order-text", rows: "18", spellcheck: "false", autocomplete: "off", wrap: "off", "aria-describedby": "order-state"});
    this.text.addEventListener("input", () => this.typed());
    this.state = make("p", {id: "order-state", className: "soft"});
    this.there = button("To that line", () => this.toFault());
    this.details = make("details", {}, make("summary", {text: "The order’s text"}), make("label", {className: "hidden", for: "order-text", text: "The order’s text"}), this.text);
    this.section = make("section", {className: "part", "aria-labelledby": "order-of-name", hidden: ""}, this.name, this.clash, make("div", {className: "line"}, this.state, this.there), this.form, this.details);
    box.append(this.section);
    addEventListener("beforeunload", (event) => (this.dirty || this.left.size) && event.preventDefault());
  }

  get dirty() {
    return Boolean(this.answer) && this.now !== this.saved;
  }

  get address() {
    return `api/order?${queryOf(this.entry)}`;
  }

  /** Opens an order, {path, id?, name}; what was typed into this one and is not saved stays. */
  async open(entry) {
    const opening = ++this.opening;
    // What was changed in a field of this one belongs to this one.
    await this.work;
    if (this.answer && this.entry?.path === entry.path && this.dirty) return;
    const answer = await get(`api/order?${queryOf(entry)}`);
    if (opening !== this.opening) return;
    unsay("order");
    if (this.dirty) this.left.set(this.entry.path, {now: this.now, digest: this.digest});
    ++this.turn;
    clearTimeout(this.timer);
    this.entry = entry;
    this.clash.hidden = true;
    this.fields.open.clear();
    this.take(answer, true);
    const mine = this.left.get(entry.path);
    if (!mine) return;
    this.left.delete(entry.path);
    Object.assign(this, {now: mine.now, digest: mine.digest});
    await this.try({text: mine.now}, ++this.turn);
    if (answer.digest !== mine.digest) this.clashes();
  }

  /** `saved`: it is what the file says. */
  take(answer, saved) {
    this.answer = answer;
    // A text field has line feeds alone.
    this.now = answer.text.replace(/\r\n?/g, "\n");
    if (saved) this.saved = this.now, (this.digest = answer.digest);
    if (this.text.value !== this.now) this.text.value = this.now;
    this.draw();
  }

  draw() {
    const {answer} = this, fault = answer.fault;
    this.section.hidden = false;
    put(this.name, `What was ordered: ${this.entry.name}`);
    put(this.state, fault !== undefined ? `This cannot be read as an order: ${fault}` : this.dirty ? "Changed, and not saved yet." : "This is what the file says.");
    this.state.classList.toggle("fail", fault !== undefined);
    this.text.setAttribute("aria-invalid", String(fault !== undefined));
    this.there.hidden = !(answer.fault_line > 0);
    this.form.hidden = fault !== undefined;
    if (fault !== undefined) this.details.open = true;
    else this.fields.take(answer);
    this.told.changed();
  }

  typed() {
    this.now = this.text.value;
    this.told.changed();
    const turn = ++this.turn;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.try({text: this.now}, turn), kPause);
  }

  /** What a text comes to. Nothing is written. */
  async try(wish, turn) {
    try {
      const answer = await ask("POST", this.address, wish);
      if (turn === this.turn) this.take(answer, false);
      return true;
    } catch (error) {
      if (turn !== this.turn) return false;
      tell("order", error.message);
      if (this.answer.order) this.fields.take(this.answer, {anew: true});
      return false;
    }
  }

  /** One edit after the other: each is of the text that the one before left. */
  edit(edit) {
    const {entry} = this;
    clearTimeout(this.timer);
    this.work = this.work.then(async () => {
      // Where somebody typed into the text meanwhile, it is done again on what stands there now.
      for (let turn = 0; turn !== this.turn; ) {
        if (entry !== this.entry) return;
        turn = ++this.turn;
        if (!(await this.try({text: this.now, edits: [edit]}, turn)) && turn === this.turn) return;
      }
      unsay("order");
    });
  }

  toFault() {
    const line = this.answer.fault_line, lines = this.now.split("\n"), begin = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
    this.details.open = true;
    this.text.focus();
    this.text.setSelectionRange(begin, begin + (lines[line - 1] ?? "").length);
    // Browsers bring a selection into sight only where somebody typed.
    this.text.scrollTop = Math.max(0, (line - 4) * parseFloat(getComputedStyle(this.text).lineHeight));
  }

  /** Whether the file says by now what the page does. */
  async write() {
    await this.work;
    if (!this.answer || this.saving) return false;
    if (!this.dirty) return true;
    this.saving = true;
    const sent = this.now;
    try {
      const answer = await ask("POST", this.address, {text: sent, digest: this.digest});
      unsay("order");
      this.clash.hidden = true;
      // What was typed meanwhile is not lost.
      if (this.now === sent) this.take(answer, true);
      else this.saved = sent, (this.digest = answer.digest), this.draw();
      say("The order is saved.");
      return true;
    } catch (error) {
      if (error.status === 409 && error.code === "changed") this.clashes();
      else tell("order", `The order was not saved: ${error.message}`);
      return false;
    } finally {
      this.saving = false;
    }
  }

  /** Whether what the file says was read. */
  async back() {
    await this.work;
    const {entry} = this, turn = ++this.turn;
    try {
      const answer = await get(this.address);
      if (entry !== this.entry || turn !== this.turn) return false;
      this.take(answer, true);
    } catch (error) {
      tell("order", error.message);
      return false;
    }
    this.clash.hidden = true;
    say("Undone: this is what the file says.");
    return true;
  }

  /** Somebody else wrote to the file: what was typed stays in sight, whatever is done about it. `focus`: somebody just wanted to
   *  save; else they may be typing, and the keyboard stays with them. */
  clashes({focus = true} = {}) {
    const {entry} = this;
    const load = async () => {
      const mine = this.now;
      if (!(await this.back())) return;
      this.clash.replaceChildren(make("p", {text: "The order was read again, without what you had changed:"}), make("pre", {tabindex: "0", "aria-label": "What you had", text: ""}), this.button("Close this", () => {
        this.clash.hidden = true;
        this.name.focus();
      }));
      this.clash.querySelector("pre").append(...mine.split("\n").flatMap((line, i) => [...(i ? ["\n"] : []), plain(line)]));
      this.clash.hidden = false;
      this.clash.querySelector("button").focus();
    };
    const over = async () => {
      try {
        const {digest} = await get(this.address);
        if (entry !== this.entry) return;
        this.digest = digest;
      } catch (error) {
        return tell("order", error.message);
      }
      if (await this.write()) this.name.focus();
    };
    this.clash.replaceChildren(make("p", {className: "fail", text: "The order was changed elsewhere since it was opened here, in another tab or a text editor. Nothing of yours was saved, and nothing of it is lost."}),
      make("div", {className: "line"}, this.button("Read the file again, and show mine beside", load), this.button("Save mine in its place", over)));
    this.clash.hidden = false;
    if (focus) {
      this.clash.scrollIntoView({block: "nearest"});
      this.clash.querySelector("button").focus();
    }
    say("The order was changed elsewhere. Nothing was saved, and nothing is lost.");
  }

  /** The file may be another one by now. */
  async again() {
    if (!this.entry || this.saving) return;
    const {entry} = this;
    let answer;
    try {
      answer = await get(this.address);
    } catch (error) {
      if (error.status === 404 && entry === this.entry) tell("order", `“${plain(entry.path)}” is gone. What you see was read before.`);
      return;
    }
    // Another one may have been opened meanwhile.
    if (entry !== this.entry || this.saving || answer.digest === this.digest) return;
    if (!this.dirty) this.take(answer, true);
    else if (this.clash.hidden) this.clashes({focus: false});
  }
}
