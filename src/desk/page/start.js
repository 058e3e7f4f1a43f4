// A song plan begun from a mix and, where there are some, the stems that add up to it.
import {ask, get} from "./api.js";
import {say} from "./say.js";
import {askedAs, Walk} from "./walk.js";
import {isOver, make, plain, put} from "./words.js";

const stemOf = (name) => String(name).replace(/\.[^.]*$/, "");
const folderOf = (path) => (path.includes("/") ? `${path.slice(0, path.lastIndexOf("/"))}/` : "");
const within = (entry) => (entry.name === undefined && !entry.path ? "the opened folder" : plain(entry.path || entry.name));

export class Start {
  /** `told`: {made(path, id), cancel()}. */
  constructor(box, checks, told) {
    this.told = told;
    this.mix = this.stems = null;
    this.check = null;
    this.mixText = make("p", {id: "start-mix"});
    this.stemsText = make("p", {id: "start-stems"});
    const mixBox = make("div", {}), stemsBox = make("div", {});
    this.mixes = new Walk(mixBox, {label: "Mixes to choose from", kind: "files", acts: [["This one", "This one as the mix:", (file) => this.choose(file)]]});
    this.folders = new Walk(stemsBox, {label: "Folders with stems", kind: "files", acts: [], went: () => this.draw()});
    this.take = make("button", {type: "button", className: "small", text: "Take the stems in this folder"});
    this.take.addEventListener("click", () => {
      this.decided = true;
      this.stems = this.folders.here;
      this.draw();
      say(`Stems: ${within(this.stems)}.`);
    });
    this.without = make("button", {type: "button", className: "small", text: "Without stems"});
    this.without.addEventListener("click", () => {
      this.decided = true;
      this.stems = null;
      this.draw();
      say("Without stems.");
    });
    this.name = make("input", {type: "text", id: "start-name", autocomplete: "off", spellcheck: "false", "aria-describedby": "start-name-about"});
    this.name.addEventListener("input", () => (this.named = true));
    this.go = make("button", {type: "button", className: "main", text: "Start the plan"});
    this.go.addEventListener("click", () => this.start());
    this.stop = make("button", {type: "button", text: "Stop"});
    this.stop.addEventListener("click", () => this.check && ask("POST", `api/checks/${encodeURIComponent(this.check)}/stop`).catch(() => {}));
    this.bar = make("progress", {max: "1", value: "0", "aria-label": "How far the plan is"});
    this.state = make("p", {className: "soft"});
    this.progress = make("div", {className: "working", hidden: ""}, this.bar, this.stop);
    box.append(make("div", {className: "plan-body"}, ...box.childNodes,
      make("section", {className: "part", "aria-labelledby": "start-mix-name"}, make("h3", {id: "start-mix-name", text: "The mix"}), this.mixText, mixBox),
      make("section", {className: "part", "aria-labelledby": "start-stems-name"}, make("h3", {id: "start-stems-name", text: "Its stems"}), this.stemsText, make("div", {className: "line"}, this.take, this.without), stemsBox),
      make("section", {className: "part", "aria-labelledby": "start-file-name"}, make("h3", {id: "start-file-name", text: "The plan’s file"}),
        make("label", {for: "start-name", text: "Path in the opened folder"}), this.name, make("p", {className: "soft", id: "start-name-about", text: "Ends in .toml. A file that is there is never replaced."}))),
      make("div", {className: "go"}, this.state, this.progress, this.go));
    checks.addEventListener("check", (event) => event.detail.check === this.check && this.watch(event.detail));
    this.draw();
  }

  open() {
    this.mixes.again();
    this.folders.again();
  }

  changed(path) {
    this.mixes.changed(path);
    this.folders.changed(path);
  }

  choose(file) {
    this.mix = file;
    if (!this.named) this.name.value = `${folderOf(file.path)}${stemOf(file.name)}.plan.toml`;
    this.draw();
    say(`Mix: ${plain(file.name)}.`);
    this.name.focus();
  }

  draw() {
    put(this.mixText, this.mix ? this.mix.path : "Choose the bounce that the plan is of.");
    put(this.stemsText, this.stems ? within(this.stems) : "None chosen. With stems, what covers what can be measured; go to their folder and take it.");
    this.mixText.classList.toggle("soft", !this.mix);
    this.go.setAttribute("aria-disabled", String(!this.mix || Boolean(this.check)));
    this.take.textContent = `Take the stems in ${within(this.folders?.here ?? {path: ""})}`;
  }

  fail(text) {
    put(this.state, text);
    this.state.classList.add("fail");
    say(text);
  }

  async start() {
    if (this.check) return;
    if (!this.mix) return this.fail("Choose the mix first.");
    // Whoever went to a folder of stems and stands in it meant to take them.
    if (!this.stems && !this.decided && this.folders.here.path && this.folders.listing?.files.length) {
      this.decided = true;
      this.take.focus();
      return this.fail(`No stems are taken yet. “${this.take.textContent}” takes them; “Start the plan” once more begins without.`);
    }
    const plan = this.name.value.trim();
    if (!/[^/]\.toml$/.test(plan)) {
      this.name.focus();
      return this.fail("The plan wants a file name that ends in .toml.");
    }
    this.state.classList.remove("fail");
    put(this.state, "Asking …");
    let answer;
    try {
      // A name that is no text goes by its id.
      const of = (entry) => (entry.id !== undefined ? askedAs(entry) : entry.path);
      answer = await ask("POST", "api/plans", {mix: of(this.mix), ...(this.stems ? {stems: of(this.stems)} : {}), plan});
    } catch (error) {
      return this.fail(error.message);
    }
    this.check = answer.check;
    this.draw();
    this.progress.hidden = false;
    try {
      this.watch(await get(`api/checks/${encodeURIComponent(answer.check)}`));
    } catch {
      // Its events say the rest.
    }
  }

  watch(check) {
    if (!this.check) return;
    this.bar.value = check.fraction || 0;
    put(this.state, check.state === "waiting" ? "Waits for the check before it." : `Measuring: ${[check.current, `${Math.floor(100 * (check.fraction || 0))} %`].filter(Boolean).join(", ")}`);
    if (!isOver(check)) return;
    this.check = null;
    if (this.progress.contains(document.activeElement)) this.go.focus();
    this.progress.hidden = true;
    this.draw();
    if (check.state !== "done") return this.fail(check.state === "stopped" ? "Stopped; nothing was written." : check.error || "The plan could not be made.");
    put(this.state, "");
    this.mix = this.stems = null;
    this.named = this.decided = false;
    this.name.value = "";
    this.draw();
    say("The plan is there.");
    this.told.made(check.plan, check.plan_id);
  }
}
