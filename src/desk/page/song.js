// The song: a plan is chosen or begun, edited, held against the mix, and listened through.
import {get} from "./api.js";
import {Listen} from "./listen.js";
import {PlanPart} from "./plan.js";
import {say, tell, unsay} from "./say.js";
import {Start} from "./start.js";
import {hashOf} from "./route.js";
import {Walk} from "./walk.js";
import {by, make, plain, put} from "./words.js";

const kSteps = [["plan", "Plan", "1"], ["sheet", "Sheet", "2"], ["listen", "Listen", "3"]];
const kNoSheet = "No sheet of this plan yet. “Check the mix against the plan” measures the mix and the stems, and holds them against what is wanted.";
const folderOf = (path) => (path.includes("/") ? path.slice(0, path.lastIndexOf("/")) : "");

export class Song {
  constructor(desk) {
    this.desk = desk;
    this.entry = null;
    this.step = "choose";
    const root = by("song"), box = (id) => make("div", {id, hidden: ""});
    this.boxes = {choose: box("song-choose"), start: box("song-start"), plan: box("song-plan"), listen: box("song-listen")};
    this.about = make("p", {className: "soft", id: "song-about"});
    this.links = new Map(kSteps.map(([step, words, key]) => [step, make("a", {"aria-keyshortcuts": key}, words, " ", make("kbd", {text: key}))]));
    this.other = make("a", {href: hashOf("song"), text: "Other plans"});
    this.steps = make("nav", {className: "steps", "aria-label": "This song", hidden: ""}, ...this.links.values(), this.other);
    this.news = make("div", {className: "news", hidden: "", role: "group", "aria-label": "A new bounce"});
    root.append(this.about, this.steps, this.news, ...Object.values(this.boxes));

    const begin = make("a", {href: hashOf("song", "", "start"), text: "Start a plan"});
    const plans = make("div", {});
    this.plans = new Walk(plans, {label: "Song plans", kind: "plans", acts: [["Open", "Open", (plan) => this.desk.go(["song", plan.id !== undefined ? `id:${plan.id}` : plan.path])]]});
    this.boxes.choose.append(
      make("p", {text: "A song plan says what a mix is meant to do: what a listener should feel, where the sections are, what matters most, and what is to be asked of it. The mix is held against it, and you listen it through, question by question."}),
      make("p", {className: "line"}, begin), make("section", {className: "part", "aria-labelledby": "plans-name"}, make("h3", {id: "plans-name", text: "Plans in the folder"}), plans));
    this.boxes.start.append(make("p", {className: "line"}, make("a", {href: hashOf("song"), text: "Back to the plans"})));
    this.start = new Start(this.boxes.start, desk.checks, {made: (path, id) => this.desk.go(["song", id !== undefined ? `id:${id}` : path])});
    const play = (request) => (desk.player ? desk.player.play(request) : say("This program cannot play sound."));
    this.plan = new PlanPart(this.boxes.plan, {saved: () => this.title(), changed: () => this.title(), play, check: () => this.check(), player: desk.player, rules: () => ({names: desk.rules.chosen(), titles: desk.rules.titles()})});
    this.listen = new Listen(this.boxes.listen, desk, {measure: () => this.check("listen"), checks: () => this.checksOf(), plan: () => this.desk.go(this.parts("plan")), leaveOut: (id) => this.leaveOut(id), bounce: () => this.tellOfBounce()});
    desk.checks.addEventListener("check", (event) => this.step === "listen" && this.listen.check(event.detail));
    const inPlan = () => desk.shown("song") && this.step === "plan" && Boolean(this.plan.draft), open = () => desk.shown("song") && this.entry !== null;
    desk.keys([
      ["k", "save the plan", () => this.plan.write(), inPlan],
      ["c", "check the mix against the plan", () => this.check(), inPlan],
      ...kSteps.map(([step, words, key]) => [key, `to the ${words === "Listen" ? "listening pass" : words.toLowerCase()}`, () => this.desk.go(this.parts(step)), open]),
      ...this.listen.keys(() => desk.shown("song") && this.step === "listen"),
    ], [
      ["Arrows", "move a border by 10 ms, with Shift by 100 ms; Page up and Page down by 1 s", inPlan],
      ["Shift and arrows", "move a stem up or down; = gives it the rank above, Delete takes its rank", inPlan],
    ]);
    // A plan may have come, or been written to, in a text editor.
    addEventListener("focus", () => {
      if (!this.desk.shown("song")) return;
      if (this.entry) this.plan.again();
      else if (this.step === "choose") this.plans.again();
    });
  }

  parts(step) {
    return ["song", this.named, ...(step === "plan" ? [] : [step])];
  }

  /** `parts`: the plan, and which step of it. */
  async show([named = "", step = "plan"]) {
    const other = named !== this.named;
    this.named = named;
    this.entry = !named ? null : named.startsWith("id:") ? {path: named, id: named.slice(3)} : {path: named};
    this.step = !named ? (step === "start" ? "start" : "choose") : this.links.has(step) ? step : "plan";
    const sheet = this.step === "sheet";
    by("result").hidden = by("skip-result").hidden = !sheet;
    for (const [name, box] of Object.entries(this.boxes)) box.hidden = name !== this.step;
    document.body.dataset.part = this.step;
    this.steps.hidden = !this.entry;
    for (const [name, link] of this.links) {
      link.href = hashOf(...this.parts(name));
      if (name === this.step) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    this.desk.checks.about(`song ${named}`, (check) => this.isOurs(check), kNoSheet);
    if (other) {
      this.news.hidden = true;
      this.seen = null;
      this.listen.leave();
    }
    this.title();
    if (this.step === "choose") {
      await this.plans.again();
      this.desk.link.watch(this.plans.query);
    } else if (this.step === "start") this.start.open();
    else await this.open();
  }

  async open() {
    try {
      await this.plan.open(this.entry);
      unsay("song");
    } catch (error) {
      tell("song", error.message);
      if (error.status === 404) this.desk.go(["song"], {replace: true});
      return;
    }
    this.title();
    this.plan.tellRules();
    this.watch();
    if (this.step === "listen") await this.listen.show(this.plan.draft);
  }

  isOurs(check) {
    return this.entry !== null && check.kind === "plan" && (this.entry.id !== undefined ? check.plan_id === this.entry.id : check.plan === this.entry.path && check.plan_id === undefined);
  }

  checksOf() {
    return [...this.desk.checks.all.values()].filter((check) => this.isOurs(check));
  }

  title() {
    const song = this.plan.draft?.song, open = this.entry !== null;
    put(by("song-name"), open && song ? song.title || this.entry.path.split("/").pop() : this.step === "start" ? "Start a song plan" : "Song");
    put(this.about, open ? `${plain(this.entry.path)}${song ? `, of ${plain(song.mix)}` : ""}${this.plan.dirty ? "; changes are not saved yet" : ""}` : "");
  }

  /** Saves what is not saved, and measures. */
  async check(to = "sheet") {
    if (!this.entry) return;
    if (this.plan.dirty && !(await this.plan.write())) {
      if (this.step !== "plan") this.desk.go(this.parts("plan"));
      return;
    }
    // What was written before counts as measured.
    this.seen = null;
    this.news.hidden = true;
    this.look();
    const rules = this.plan.rules;
    const id = await this.desk.checks.order({plan: this.entry.id !== undefined ? {id: this.entry.id} : this.entry.path, ...(rules.length ? {rules} : {})}, {names: rules, words: "Measuring the mix and its stems."});
    if (id && to === "sheet") this.desk.go(this.parts("sheet"));
  }

  /** The folder of the mix, in which the next bounce will appear. */
  watch() {
    const path = this.plan.draft?.mix.path;
    if (path === undefined) return;
    this.mixFolder = folderOf(path);
    this.desk.link.watch(`path=${encodeURIComponent(this.mixFolder)}`);
    this.look();
  }

  async fresh() {
    if (this.step === "choose") await this.plans.again();
    if (this.entry) await this.plan.again();
    if (this.step === "listen") await this.listen.again();
  }

  folder({path}) {
    this.plans.changed(path);
    this.start.changed(path);
    if (this.entry && (path === undefined || path === folderOf(this.entry.path))) this.plan.again();
    if (this.entry && (path === undefined || path === this.mixFolder)) this.look();
  }

  /** What is new beside the mix. */
  async look() {
    const folder = this.mixFolder;
    let listing;
    try {
      listing = await get(`api/folder?path=${encodeURIComponent(folder)}`);
    } catch {
      return;
    }
    if (!this.entry || folder !== this.mixFolder) return;
    const now = new Map(listing.files.map((file) => [file.path, `${file.bytes} ${file.modified}`]));
    const mix = this.plan.draft?.mix.path, before = this.seen?.folder === folder ? this.seen.files : null;
    this.seen = {folder, files: now};
    if (!before || !mix) return;
    // Of a bounce that somebody listens to the program knows best, whatever the listing tells.
    if (this.step === "listen") this.listen.again();
    const came = listing.files.filter((file) => file.id === undefined && !before.has(file.path));
    if (now.get(mix) !== before.get(mix)) {
      if (now.has(mix)) this.tellOfBounce();
      else this.tellOf(`“${mix.split("/").pop()}” is gone from the folder.`, []);
    } else if (came.length) {
      const file = came[came.length - 1];
      this.tellOf(`New beside the mix: “${file.name}”.`, [["Make it the mix of this plan", () => this.swap(file)]]);
    }
  }

  /** Takes a question out of the plan while it is asked. */
  async leaveOut(id) {
    const gone = await this.plan.leaveOut(id);
    if (!gone) this.toClash();
    if (gone) await this.listen.show(this.plan.draft);
    return gone;
  }

  /** Where the plan was changed elsewhere, what can be done about it stands with the plan. */
  toClash() {
    if (!this.plan.clash.hidden && this.step !== "plan") this.desk.go(this.parts("plan"));
  }

  tellOfBounce() {
    const name = this.plan.draft?.mix.path?.split("/").pop() ?? "The mix";
    this.tellOf(`“${name}” was written again: this is a new bounce. Measure it, and listen to this one.`, [["Measure it", () => this.check(this.step === "listen" ? "listen" : "sheet")]]);
  }

  tellOf(text, acts) {
    const buttons = [...acts, ["Close", () => {}]].map(([words, act]) => {
      const button = make("button", {type: "button", className: "small", text: words});
      button.addEventListener("click", () => {
        this.news.hidden = true;
        by("song-name").focus();
        act();
      });
      return button;
    });
    this.news.replaceChildren(make("p", {text}), ...buttons);
    this.news.hidden = false;
    say(text);
  }

  /** A new bounce takes the place of the mix; the one before is kept as such. */
  async swap(file) {
    const {draft} = this.plan, here = folderOf(this.entry.path), base = here ? `${here}/` : "";
    draft.song.previous = draft.song.mix;
    // Paths in a plan start at its folder.
    draft.song.mix = file.path.startsWith(base) ? file.path.slice(base.length) : `${here.split("/").map(() => "..").join("/")}/${file.path}`;
    if (!(await this.plan.write())) return this.toClash();
    this.watch();
    say("The plan names the new bounce.");
    if (this.step === "listen") await this.listen.show(this.plan.draft);
  }
}
