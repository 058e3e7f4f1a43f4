// A delivery: what was ordered, and what lies in its folder, held against each other.
import {ask} from "./api.js";
import {keep, kept} from "./kept.js";
import {OrderPart} from "./order.js";
import {say, tell} from "./say.js";
import {askedAs, Walk} from "./walk.js";
import {by, make, plain, put} from "./words.js";

const kNothing = "No delivery checked yet. Choose an order: every file that it asks for is looked for, measured and judged, and what is missing, too many or wrongly named stands here.";

export class Delivery {
  constructor(desk) {
    this.desk = desk;
    this.order = null;
    const root = by("bench-delivery"), orders = make("div", {});
    this.walk = new Walk(orders, {label: "Orders", kind: "orders", acts: [["Open", "Open", (order) => this.take(order)]], went: () => {
      if (this.desk.shown("delivery")) this.desk.link.watch(this.walk.query);
      this.draw();
    }});
    this.name = make("input", {type: "text", id: "order-name", value: "order.toml", autocomplete: "off", spellcheck: "false", "aria-describedby": "order-about"});
    this.begin = make("button", {type: "button", className: "small", text: "Start an order for this folder"});
    this.begin.addEventListener("click", () => this.start());
    this.about = make("p", {className: "soft", id: "order-about"});
    this.text = make("p", {id: "order-chosen"});
    this.go = make("button", {type: "button", className: "main", "aria-keyshortcuts": "c"}, "Check the delivery ", make("kbd", {text: "C"}));
    this.go.addEventListener("click", () => this.check());
    this.save = make("button", {type: "button", "aria-keyshortcuts": "k"}, "Save the order ", make("kbd", {text: "K"}));
    this.save.addEventListener("click", () => this.part.write());
    this.undo = make("button", {type: "button", text: "Undo all changes"});
    this.undo.addEventListener("click", () => this.part.dirty && this.part.back());
    const editor = make("div", {});
    this.part = new OrderPart(editor, {sets: () => desk.rules.sets, changed: () => this.draw()});
    root.append(make("div", {className: "bench-body"},
      make("p", {text: "An order is what was asked for: main mix, instrumental, stems, clean edit, and how files are to be named. Each delivery is held against it."}),
      make("section", {className: "part", "aria-labelledby": "orders-name"}, make("h3", {id: "orders-name", text: "Orders in the folder"}), orders), editor,
      make("section", {className: "part", "aria-labelledby": "order-new-name"}, make("h3", {id: "order-new-name", text: "No order yet?"}), this.about, make("div", {className: "line"}, make("label", {for: "order-name", text: "Its file"}), this.name, this.begin))),
      make("div", {className: "go"}, this.text, this.go, this.save, this.undo));
    const here = () => desk.shown("delivery");
    desk.keys([["c", "check the delivery", () => this.check(), here], ["k", "save the order", () => this.part.write(), here]]);
    this.draw();
  }

  async show() {
    this.desk.checks.about("delivery", (check) => check.kind === "order", kNothing);
    await this.walk.again();
    this.desk.link.watch(this.walk.query);
    // The one that is looked at is the one to check again.
    if (this.order) return;
    const last = kept("order");
    if (last?.path !== undefined) return this.open(last);
    const {order, order_id: id} = this.desk.checks.all.get(this.desk.checks.shown) || {};
    if (order !== undefined) await this.open({name: order.split("/").pop(), path: order, ...(id === undefined ? {} : {id})});
  }

  fresh() {
    return Promise.all([this.walk.again(), this.part.again()]);
  }

  folder({path}) {
    this.walk.changed(path);
    if (path === undefined || this.order?.path.split("/").slice(0, -1).join("/") === path) this.part.again();
  }

  async open(order) {
    try {
      await this.part.open(order);
      this.order = order;
      keep("order", order);
    } catch (error) {
      tell("order", error.message);
    }
    this.draw();
  }

  async take(order) {
    await this.open(order);
    if (this.order !== order) return;
    say(`Order: ${plain(order.name)}.`);
    this.part.name.focus();
  }

  draw() {
    this.go.firstChild.data = this.part?.dirty ? "Save and check the delivery " : "Check the delivery ";
    const dirty = this.part?.dirty, fault = this.part?.answer?.fault !== undefined;
    put(this.text, !this.order ? "No order is chosen." : `${this.order.path}${fault ? ": it cannot be read as an order, as is said above" : dirty ? ": changed, and not saved yet" : ""}`);
    this.go.setAttribute("aria-disabled", String(!this.order || fault));
    this.save.hidden = this.undo.hidden = !this.order;
    this.save.setAttribute("aria-disabled", String(!dirty || fault));
    // They stay where they are, whatever can be done: somebody may be about to press one.
    this.undo.setAttribute("aria-disabled", String(!dirty));
    const here = this.walk?.here;
    put(this.about, `One can be started from the files of ${here?.path ? `“${plain(here.path)}”` : "the opened folder"}: versions are guessed from their names, and you correct here what is wrong. An order that is there is never replaced.`);
  }

  async start() {
    const {here} = this.walk, name = this.name.value.trim();
    if (!/[^/]\.toml$/.test(name)) {
      this.name.focus();
      return say("The order wants a file name that ends in .toml.");
    }
    try {
      const answer = await ask("POST", "api/orders", {folder: here.id !== undefined ? {id: here.id} : here.path, order: here.path && !name.includes("/") ? `${here.path}/${name}` : name});
      await this.walk.again();
      await this.take({name: answer.order.split("/").pop(), path: answer.order, ...(answer.order_id === undefined ? {} : {id: answer.order_id})});
      const out = answer.left_out ?? [];
      if (out.length) tell("order", `${out.map(plain).join(", ")} ${out.length === 1 ? "is" : "are"} not in it: a link leads out of the opened folder there.`);
      say(`${plain(answer.order)} is there. Look it through: versions are guessed from names.`);
    } catch (error) {
      tell("order", error.message);
    }
  }

  async check() {
    if (!this.order) {
      this.walk.focus();
      return say("Choose an order first.");
    }
    // A field that was just left is still being worked in. What is held against the order is what its file says.
    await this.part.work;
    if (this.part.dirty && !(await this.part.write())) return;
    const {id, path} = this.order;
    await this.desk.checks.order({order: id !== undefined ? askedAs({id}) : path}, {words: "Checking the delivery."});
  }
}
