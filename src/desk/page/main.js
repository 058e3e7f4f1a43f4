// The local page: files, what they are meant to be, the check, the sheet.
import {get} from "./api.js";
import {Brought} from "./brought.js";
import {Checks} from "./checks.js";
import {Folder} from "./folder.js";
import {Hear} from "./hear.js";
import {keys} from "./keys.js";
import {Link} from "./link.js";
import {Player} from "./player.js";
import {Rules} from "./rules.js";
import {closeNewest, say} from "./say.js";
import {by, many, put} from "./words.js";

// What is chosen, wherever it lies: key → {key, name, asked, …}.
const chosen = new Map();
let waits = false, starting = false;

const changed = () => {
  // The lists share what is chosen.
  folder.list.show();
  brought.list.show();
  // Whoever takes everything away again waits for nothing.
  waits = waits && chosen.size > 0;
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
}, (item) => brought.forget(item));
const brought = new Brought(chosen, {changed: () => changed(), enter: () => check()});
const folder = new Folder(chosen, {changed: () => changed(), enter: () => check(), went: (query) => went(query), fresh: () => checkFresh()});
const went = (query) => {
  link.watch(query);
  draw();
};
const link = new Link({
  check: (data) => checks.take(data),
  removed: (data) => checks.gone(data.check),
  folder: (data) => data.path === folder.path && folder.again(),
  look: () => folder.again(),
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
  await Promise.all([player.know(state), folder.again(), checks.again()]);
  document.body.classList.remove("asking");
}

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

keys(
  [
    ["f", "add files", () => by("add-files").click()],
    ["l", "to the list of files", () => folder.settle()],
    ["u", "to the folder above", () => folder.up()],
    ["a", "choose all files of the folder", () => folder.list.all(true)],
    ["x", "choose none", () => none()],
    ["r", "choose what to judge it as", () => rules.choose()],
    ["c", "check what is chosen", () => check()],
    ["n", "check what is new in the folder", () => checkFresh()],
    ["s", "stop the check", () => checks.stop()],
    ["h", "to the checks of this session", () => by("ledger").querySelector("button[tabindex='0']")?.focus()],
    ["o", "to the sheet; Shift and Tab lead back", () => checks.one.toSheet()],
    ["t", "to the places of the sheet that can be heard", () => hear.focus()],
    ["p", "play the place once more, or stop", () => player.toggle()],
    ["w", "to the ways to listen", () => player.toWays()],
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
link.poll();
