// The local page: files, what they are meant to be, the check, the sheet; and the ways to the other views.
import {get} from "./api.js";
import {Brought} from "./brought.js";
import {Checks} from "./checks.js";
import {Folder} from "./folder.js";
import {Hear} from "./hear.js";
import {keep, kept} from "./kept.js";
import {keys} from "./keys.js";
import {Link} from "./link.js";
import {Player} from "./player.js";
import {Route} from "./route.js";
import {Rules} from "./rules.js";
import {closeNewest, say, tell} from "./say.js";
import {by, kindOf, many, put} from "./words.js";

// What is chosen, wherever it lies: key → {key, name, asked, …}.
const chosen = new Map();
let waits = false, starting = false;
// The query of the folder that is shown among the files; the view that is shown where it is another one.
let here = "path=", view = null, ready = false;
const views = new Map();
const inFiles = () => route.view === "files", withSheets = () => !by("result").hidden;

const changed = () => {
  // The lists share what is chosen.
  folder.list.show();
  brought.list.show();
  // Whoever takes everything away again waits for nothing.
  waits = waits && chosen.size > 0;
  keep("chosen", [...chosen.values()].filter((item) => item.asked).map(({key, name, asked, folder: lies}) => ({key, name, asked, folder: lies})));
  draw();
  if (waits && !onTheWay()) check();
};
export const player = new Player();
const hear = new Hear(player);
const rules = new Rules(() => draw());
const checks = new Checks(rules, hear, (verdicts) => {
  for (const [item, verdict] of verdicts) {
    if (item.upload) item.verdict = verdict;
    else folder.judged(item, verdict);
  }
  folder.draw();
  brought.draw();
}, {released: (item) => brought.forget(item), added: (upload) => brought.of(upload)});
const brought = new Brought(chosen, {changed: () => changed(), enter: () => check()});
const folder = new Folder(chosen, {changed: () => changed(), enter: () => check(), went: (query) => went(query), fresh: () => checkFresh()});
const went = (query) => {
  here = query;
  if (inFiles()) link.watch(query);
  draw();
};
const link = new Link({
  check: (data) => checks.take(data),
  removed: (data) => checks.gone(data.check),
  folder: (data) => {
    if (data.path === folder.path) folder.again();
    view?.folder?.(data);
  },
  look: () => {
    folder.again();
    view?.folder?.({});
  },
  fresh: () => fresh(),
  busy: () => checks.busy(),
});

const onTheWay = () => [...chosen.values()].filter((item) => !item.asked).length;

function draw() {
  const elsewhere = [...chosen.values()].filter((item) => item.folder !== undefined && item.folder !== folder.path).length;
  const titles = rules.titles();
  const words = !chosen.size ? "No file is chosen."
    : waits ? `Checks as soon as ${many(onTheWay(), "more file is", "more files are")} here.`
      : `${many(chosen.size, "file", "files")}${elsewhere ? `, ${elsewhere} of them in other folders` : ""}${titles.length ? `, as ${titles.join("; ")}` : ""}.`;
  put(by("go-text"), words);
  const label = by("check").firstChild;
  const text = chosen.size > 1 ? `Check ${chosen.size} files ` : "Check ";
  if (label.data !== text) label.data = text;
  by("check").setAttribute("aria-disabled", String(!chosen.size || !titles.length || waits));
  if (!waits && document.activeElement === by("dont-wait")) by("check").focus();
  by("dont-wait").hidden = !waits;
}

async function start(items) {
  if (starting) return;
  const names = rules.chosen();
  if (!names.length) {
    rules.choose();
    return say("Choose what to judge it as first.");
  }
  starting = true;
  if (await checks.start(items, names)) folder.checked(items);
  starting = false;
}

async function check() {
  if (!chosen.size) {
    say("Choose a file first.");
    if (folder.files.length) folder.list.focus();
    else by("add-files").focus();
    return;
  }
  waits = onTheWay() > 0;
  draw();
  if (!waits) await start([...chosen.values()]);
  else say(by("go-text").textContent);
}

const checkFresh = () => {
  const items = folder.newItems();
  if (items.length) start(items);
};

/** Reads everything anew. Fails where the program does not answer. */
async function fresh() {
  const state = await get("api/state");
  folder.top = state.folder.name;
  put(by("where"), state.folder.path);
  brought.limits = state.limits;
  rules.fill(state.rules, state.default_rules);
  put(by("version"), `sendworthy ${state.version}`);
  // The checks tell of which files they are.
  await brought.again();
  if (!ready) choose();
  await Promise.all([player.know(state), folder.again(), checks.again()]);
  await shownAt;
  if (ready) await view?.fresh?.();
  ready = true;
  document.body.classList.remove("asking");
}

/** What was chosen before the page was loaded again. */
function choose() {
  for (const {key, name, asked, folder: lies} of kept("chosen") || []) {
    const item = asked.upload === undefined ? {key, name, asked, folder: lies} : brought.of(asked.upload);
    if (item) chosen.set(item.key, item);
  }
  changed();
}

// The other views come when somebody goes there.
const kViews = {
  two: () => import("./bounces.js").then((module) => module.Bounces),
  song: () => import("./song.js").then((module) => module.Song),
  delivery: () => import("./delivery.js").then((module) => module.Delivery),
};
const kNoCheck = "No check yet. Choose files, say what they are meant to be, and press “Check”. What was found then stands here: the verdict first, then what speaks against sending it, where, and what to do.";

let shownAt = Promise.resolve();
const route = new Route((parts, other) => {
  by("result").hidden = false;
  by("skip-result").hidden = false;
  if (inFiles()) {
    view = null;
    checks.about("files", (check) => kindOf(check) === "files", kNoCheck);
    link.watch(here);
    if (ready) folder.again();
    return;
  }
  if (other) view = null;
  shownAt = open(parts).catch((error) => tell("view", `This part of the page did not come: ${error.message} Load the page again.`));
});

async function open(parts) {
  const [name] = parts;
  if (!views.has(name)) views.set(name, kViews[name]().then((View) => new View(desk)));
  const made = await views.get(name).catch((error) => {
    views.delete(name);
    throw error;
  });
  if (route.view !== name) return;
  view = made;
  await made.show(parts.slice(1));
}

// What the views share.
const desk = {
  checks, hear, rules, brought, link, player,
  go: (parts, options) => route.go(parts, options),
  shown: (name) => route.view === name,
  keys: (...more) => table.add(...more),
};

by("check").addEventListener("click", () => check());
by("all").addEventListener("click", () => folder.list.all(true));
by("none").addEventListener("click", () => none());
by("dont-wait").addEventListener("click", () => {
  waits = false;
  draw();
});

function none() {
  chosen.clear();
  waits = false;
  changed();
}

const table = keys(
  [
    ["f", "add files", () => by("add-files").click(), inFiles],
    ["l", "to the list of files", () => folder.settle(), inFiles],
    ["u", "to the folder above", () => folder.up(), inFiles],
    ["a", "choose all files of the folder", () => folder.list.all(true), inFiles],
    ["x", "choose none", () => none(), inFiles],
    ["r", "choose what to judge it as", () => rules.choose(), inFiles],
    ["c", "check what is chosen", () => check(), inFiles],
    ["n", "check what is new in the folder", () => checkFresh(), inFiles],
    ["s", "stop the check", () => checks.stop()],
    ["h", "to the checks so far", () => by("ledger").querySelector("button[tabindex='0']")?.focus(), withSheets],
    ["o", "to the sheet; Shift and Tab lead back", () => checks.one.toSheet(), withSheets],
    ["t", "to the places of the sheet that can be heard", () => hear.focus(), withSheets],
    ["p", "play the place once more, or stop", () => player.toggle()],
    ["w", "to the ways to listen", () => player.bar.toWays()],
  ],
  [
    ["Space", "choose or leave the file you are on", inFiles],
    ["Shift and arrows", "choose a row of files", inFiles],
    ["Enter", "check, from a list of files", inFiles],
    ["Delete", "take away a file you added", inFiles],
  ],
  () => {
    const aid = by("keys");
    if (!aid.open) return closeNewest();
    aid.open = false;
    aid.querySelector("summary").focus();
    return true;
  },
);
addEventListener("pointerdown", (event) => event.target.closest("#keys") || (by("keys").open = false));

draw();
route.take(false);
link.poll();
