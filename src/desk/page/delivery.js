// A delivery: what was ordered, and what lies in its folder, held against each other.
import {ask} from "./api.js";
import {say, tell} from "./say.js";
import {askedAs, Walk} from "./walk.js";
import {by, make, plain, put} from "./words.js";

const kNothing = "No delivery checked yet. Choose an order: every file that it asks for is looked for, measured and judged, and what is missing, too many or wrongly named stands here.";

export class Delivery {
  constructor(desk) {
    this.desk = desk;
    this.order = null;
    const root = by("bench-delivery"), orders = make("div", {});
    this.walk = new Walk(orders, {label: "Orders", kind: "orders", acts: [["Take", "Take", (order) => this.take(order)]], went: () => {
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
    root.append(make("div", {className: "bench-body"},
      make("p", {text: "An order is what was asked for: main mix, instrumental, stems, clean edit, and how files are to be named. Each delivery is held against it."}),
      make("section", {className: "part", "aria-labelledby": "orders-name"}, make("h3", {id: "orders-name", text: "Orders in the folder"}), orders),
      make("section", {className: "part", "aria-labelledby": "order-new-name"}, make("h3", {id: "order-new-name", text: "No order yet?"}), this.about, make("div", {className: "line"}, make("label", {for: "order-name", text: "Its file"}), this.name, this.begin))),
      make("div", {className: "go"}, this.text, this.go));
    const here = () => desk.shown("delivery");
    desk.keys([["c", "check the delivery", () => this.check(), here]]);
    this.draw();
  }

  async show() {
    this.desk.checks.about("delivery", (check) => check.kind === "order", kNothing);
    await this.walk.again();
    this.desk.link.watch(this.walk.query);
    // The one that is looked at is the one to check again.
    const {order, order_id: id} = this.desk.checks.all.get(this.desk.checks.shown) || {};
    if (this.order || order === undefined) return;
    this.order = {name: order.split("/").pop(), path: order, ...(id === undefined ? {} : {id})};
    this.draw();
  }

  fresh() {
    return this.walk.again();
  }

  folder({path}) {
    this.walk.changed(path);
  }

  take(order) {
    this.order = order;
    this.draw();
    say(`Order: ${plain(order.name)}.`);
    this.go.focus();
  }

  draw() {
    put(this.text, this.order ? this.order.path : "No order is chosen.");
    this.go.setAttribute("aria-disabled", String(!this.order));
    const here = this.walk?.here;
    put(this.about, `One can be started from the files of ${here?.path ? `“${plain(here.path)}”` : "the opened folder"}: versions are guessed from their names, and you correct what is wrong in the file. An order that is there is never replaced.`);
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
      this.take({name: answer.order.split("/").pop(), path: answer.order, ...(answer.order_id === undefined ? {} : {id: answer.order_id})});
      const out = answer.left_out ?? [];
      if (out.length) tell("order", `${out.map(plain).join(", ")} ${out.length === 1 ? "is" : "are"} not in it: a link leads out of the opened folder there.`);
      say(`${plain(answer.order)} is there. Look it through before you rely on it.`);
    } catch (error) {
      tell("order", error.message);
    }
  }

  async check() {
    if (!this.order) {
      this.walk.focus();
      return say("Choose an order first.");
    }
    const {id, path} = this.order;
    await this.desk.checks.order({order: id !== undefined ? askedAs({id}) : path}, {words: "Checking the delivery."});
  }
}
