// Uses the local page as a person would, in Chromium, and writes down what happened, as JSON on standard output.
//   node desk.mjs MODULES PICTURES ADDRESS PROCESS ROOM BESIDE
// MODULES: the folder with playwright-core and axe-core. PICTURES: where screenshots go. ADDRESS: what the program printed; PROCESS:
// its number, which is ended last. ROOM: the folder it opened. BESIDE: a folder with files to drop: "song.wav", "no audio.txt" and
// the folder "dropped".
import { copyFileSync, readFileSync, renameSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";

const [modules, pictures, address, process_id, room, beside] = process.argv.slice(2);
const require = createRequire(join(modules, "here.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const origin = new URL(address).origin;
const kLong = 60000;

const browser = await chromium.launch({
  executablePath: process.env.SENDWORTHY_CHROMIUM || "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
});
const seen = { elsewhere: [], messages: [] };

/** A page that notes requests to anybody else, every message and every error, and how much moved by itself. */
async function open(options = {}, context = null) {
  context ||= await browser.newContext({ viewport: { width: 1280, height: 900 }, colorScheme: "light", acceptDownloads: true, ...options });
  const page = await context.newPage();
  page.on("request", (request) => request.url().startsWith(`${origin}/`) || seen.elsewhere.push(request.url()));
  page.on("console", (message) => seen.messages.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => seen.messages.push(`error: ${error.message}`));
  page.on("dialog", (dialog) => {
    seen.messages.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  await page.addInitScript(() => {
    if (window !== window.top) return;
    window.moved = 0;
    new PerformanceObserver((list) => list.getEntries().forEach((one) => one.hadRecentInput || (window.moved += one.value))).observe({ type: "layout-shift", buffered: true });
    window.said = [];
    addEventListener("DOMContentLoaded", () => new MutationObserver(() => {
      const text = document.getElementById("said").textContent;
      if (text) window.said.push(text);
    }).observe(document.getElementById("said"), { childList: true, characterData: true, subtree: true }));
  });
  await page.goto(address, { waitUntil: "load" });
  await page.waitForSelector("body:not(.asking)");
  return { page, context };
}

/** Presses what starts a check, and waits until that check is there. */
async function start(page, press) {
  const newest = () => document.querySelector("#ledger li")?.dataset.number ?? "0";
  const before = await page.evaluate(newest);
  await press();
  await page.waitForFunction((old) => Number(document.querySelector("#ledger li")?.dataset.number ?? 0) > Number(old) && document.querySelector("#ledger li:first-child [aria-current=true]"), before, { timeout: kLong });
}
const over = (page) => page.waitForFunction(() => document.getElementById("running").hidden && !document.getElementById("one").hidden, null, { timeout: kLong });
const sheetOf = async (page) => {
  await page.waitForSelector("#frame iframe", { timeout: kLong });
  const frame = await (await page.$("#frame iframe")).contentFrame();
  await frame.waitForSelector("footer", { timeout: kLong });
  return frame;
};
const text = (page, selector) => page.locator(selector).innerText();
const rows = (page, list) => page.locator(`#${list} [role=option] .name`).allInnerTexts();
const at = (page) =>
  page.evaluate(() => {
    const one = document.activeElement, style = getComputedStyle(one), active = one.getAttribute("aria-activedescendant");
    const shown = active ? getComputedStyle(document.getElementById(active)) : style;
    const box = one.getBoundingClientRect();
    return {
      id: one.id || one.closest("[id]")?.id || "",
      name: (one.getAttribute("aria-label") || one.innerText || one.value || "").trim().slice(0, 60),
      kind: one.localName,
      shows: [style, shown].some((each) => each.outlineStyle !== "none" && parseFloat(each.outlineWidth) >= 2),
      width: box.width,
      height: box.height,
      covered: (() => {
        // What has the focus is not under something that stays.
        const middle = document.elementFromPoint(box.left + Math.min(box.width / 2, 20), box.top + Math.min(box.height / 2, 12));
        return Boolean(middle) && !one.contains(middle) && !middle.contains(one);
      })(),
    };
  });

async function faults(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(() =>
    axe.run(document, { iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }),
  );
  return { kept: found.passes.map((one) => one.id), broken: found.violations.map((one) => `${one.impact} ${one.id}: ${one.nodes[0].html.slice(0, 160)}`) };
}

/** Real files and folders, let go over the page as a file manager does. */
async function drop(page, paths) {
  const line = await page.context().newCDPSession(page);
  const data = { items: [], files: paths, dragOperationsMask: 1 };
  for (const type of ["dragEnter", "dragOver"]) await line.send("Input.dispatchDragEvent", { type, x: 700, y: 500, data });
  const veil = await page.locator("#drop").isVisible();
  await line.send("Input.dispatchDragEvent", { type: "drop", x: 700, y: 500, data });
  await line.detach();
  return veil;
}

const report = {};
const scenes = {
  /** From the address to the sheet and back without a pointing device and without the single letters. */
  async keyboard() {
    const { page, context } = await open();
    const press = (key) => page.keyboard.press(key), stops = [];
    const until = async (found) => {
      for (let i = 0; i < 60; ++i) {
        await press("Tab");
        const stop = await at(page);
        stops.push(stop);
        if (found(stop)) return stop;
      }
      throw new Error(`not reached: ${found}; ${stops.map((stop) => stop.name).join(" | ")}`);
    };
    await until((stop) => stop.name === "Audio files in this folder");
    await press("End");
    await press("Home");
    await press("ArrowDown");
    await press("Space");
    await press("Shift+ArrowDown");
    const chosen = await page.locator("[aria-selected=true] .name").allInnerTexts();
    await until((stop) => stop.kind === "summary" && stop.name.startsWith("Choose what"));
    await press("Enter");
    await until((stop) => stop.kind === "input");
    const ticked = (await at(page)).id;
    await press("ArrowDown");
    const next = (await at(page)).id;
    await press("Space");
    const judged = await page.locator("#chosen-rules b").allInnerTexts();
    await press("Space");
    await press("Escape");
    const closed = { open: await page.locator("#rules").evaluate((one) => one.open), kind: (await at(page)).kind };
    await until((stop) => stop.id === "check");
    await start(page, () => press("Enter"));
    await over(page);
    const still = (await at(page)).id;
    await page.waitForFunction(() => said.some((words) => words.startsWith("Checked")));
    await until((stop) => stop.id === "to-sheet");
    const frame = await sheetOf(page);
    await press("Enter");
    await press("Tab");
    const inside = await frame.evaluate(() => document.activeElement.localName);
    const sheet = await frame.locator("body").innerText();
    await press("Shift+Tab");
    await press("Shift+Tab");
    const out = await at(page);
    report.keyboard = { chosen, ticked, next, judged, closed, still, inside, sheet, out: out.id, stops, said: await page.evaluate(() => said), moved: await page.evaluate(() => moved) };
    await page.screenshot({ path: join(pictures, "desk-keyboard.png") });
    await context.close();
  },

  /** Into a folder and back, all by letters; letters that are put off do nothing. */
  async letters() {
    const { page, context } = await open();
    const top = await rows(page, "folder-list");
    await page.locator("#folders button", { hasText: "deeper" }).focus();
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => document.querySelector("#crumbs [aria-current=true]").textContent === "deeper");
    const focus = (await at(page)).name;
    const below = await rows(page, "folder-list");
    await page.keyboard.press("a");
    const words = await text(page, "#go-text");
    await page.keyboard.press("u");
    await page.waitForFunction(() => !document.querySelector("#crumbs .up"));
    const elsewhere = await text(page, "#go-text");
    await start(page, () => page.keyboard.press("c"));
    await over(page);
    const one = await text(page, "#one-name");
    const verdicts = await page.locator("#verdicts .entry").allInnerTexts();
    const frame = await sheetOf(page);
    await page.locator("#verdicts .entry").last().focus();
    await page.keyboard.press("Enter");
    await page.waitForTimeout(500);
    const there = await frame.evaluate(() => location.hash + " " + document.querySelector(location.hash || "body").querySelector("h2").textContent);
    await page.keyboard.press("x");
    await page.locator("#keys summary").focus();
    await page.keyboard.press("Enter");
    await page.keyboard.press("Tab");
    await page.keyboard.press("Space");
    await page.keyboard.press("a");
    const off = await text(page, "#go-text");
    const shown = await page.locator("button kbd:visible").count();
    report.letters = { top, focus, below, words, elsewhere, one, verdicts, there, off, shown };
    await context.close();
  },

  /** Every form of the sheet to disk. */
  async saves() {
    const { page, context } = await open();
    await over(page);
    report.saves = {};
    for (const link of await page.locator("#saves a").all()) {
      const [file] = await Promise.all([page.waitForEvent("download"), link.press("Enter")]);
      report.saves[file.suggestedFilename()] = readFileSync(await file.path(), "utf8").slice(0, 4e6);
    }
    await context.close();
  },

  async drops() {
    const { page, context } = await open();
    // Over a sheet, which is a page of its own; another window was in front.
    await sheetOf(page);
    const veil = await drop(page, [join(beside, "song.wav"), join(beside, "no audio.txt"), join(beside, "dropped")]);
    await page.waitForFunction(() => /\d+ files here/.test(document.getElementById("brought-state").textContent), null, { timeout: kLong });
    // Rows come once the list has a height.
    await page.waitForFunction(() => document.querySelectorAll("#brought-list .name").length >= 4, null, { timeout: kLong });
    const names = await rows(page, "brought-list");
    const told = await page.locator("#notices").innerText();
    await page.keyboard.press("Escape");
    const closed = await page.locator(".notice").count();
    await page.screenshot({ path: join(pictures, "desk-dropped.png") });
    await start(page, () => page.keyboard.press("c"));
    await over(page);
    const verdicts = await page.locator("#verdicts .entry").allInnerTexts();
    const sheet = await (await sheetOf(page)).locator("body").innerText();
    const tags = await page.locator("#brought-list .tag").allInnerTexts();
    // Loaded again, the page still has what was added, what came of it and what was chosen.
    await page.evaluate(() => document.querySelectorAll("#rule-list input")[2].click());
    const held = () => page.evaluate(() => ({
      // They arrive three at a time, in any order.
      added: [...document.querySelectorAll("#brought-list li")].map((one) => [".name", ".tag"].map((part) => one.querySelector(part).textContent).join(" ")).sort(),
      chosen: document.querySelectorAll("[aria-selected=true]").length, rules: [...document.querySelectorAll("#chosen-rules b")].map((one) => one.textContent), words: document.getElementById("go-text").textContent,
      again: document.getElementById("again").checkVisibility(), about: document.querySelector("#ledger .detail").textContent,
    }));
    const before = await held();
    await page.reload();
    await page.waitForSelector("body:not(.asking)");
    await over(page);
    const reloaded = { before, after: await held() };
    await page.evaluate(() => document.querySelectorAll("#rule-list input")[2].click());
    // Added by the button, taken away by a key.
    await page.locator("#pick-files").setInputFiles([join(beside, "song.wav")]);
    await page.waitForFunction(() => document.querySelectorAll("#brought-list [role=option]").length === 5);
    await page.locator("#brought-list [role=listbox]").focus();
    await page.keyboard.press("End");
    await page.keyboard.press("Delete");
    const left = (await rows(page, "brought-list")).length;
    // Once its check is removed the program has deleted what was dropped, and the page says so by leaving it away.
    await page.locator("#remove").press("Enter");
    await page.waitForFunction(() => document.getElementById("brought").hidden);
    report.drops = { reloaded, veil, names, told, closed, verdicts, sheet, tags, left };
    await context.close();
  },

  /** 530 files at once: three on their way at a time, 500 taken, the rest said; all of it can be cancelled. */
  async flood() {
    const { page, context } = await open();
    let sent = 0, deleted = 0;
    page.on("request", (request) => request.url().includes("api/upload") && request.method() === "DELETE" && ++deleted);
    page.on("response", (response) => response.url().includes("api/upload") && response.request().method() === "POST" && ++sent);
    await page.evaluate(() => {
      window.going = window.most = 0;
      const send = XMLHttpRequest.prototype.send;
      XMLHttpRequest.prototype.send = function (body) {
        most = Math.max(most, ++going);
        // Before the page's own handler, which sends the next one.
        for (const end of ["load", "error", "abort"]) this.addEventListener(end, () => --going, { capture: true, once: true });
        const kept = this.onload;
        this.onload = null;
        this.onload = kept;
        return send.call(this, body);
      };
    });
    const began = Date.now();
    await page.evaluate(() => {
      const transfer = new DataTransfer();
      for (let i = 0; i < 530; ++i) transfer.items.add(new File([new Uint8Array(2e5)], `take ${i}.wav`));
      window.dispatchEvent(new DragEvent("drop", { dataTransfer: transfer, bubbles: true, cancelable: true }));
    });
    await page.waitForSelector("#brought-list [role=option]");
    const count = await page.locator("#brought-list [role=option]").count();
    const told = await page.locator("#notices").innerText();
    await page.waitForTimeout(300);
    const answered = await page.evaluate(() => {
      const start = performance.now();
      return new Promise((answer) => requestAnimationFrame(() => requestAnimationFrame(() => answer(performance.now() - start))));
    });
    const busy = await text(page, "#brought-state");
    await page.keyboard.press("c");
    const waits = await text(page, "#go-text");
    await page.locator("#brought-clear").press("Enter");
    const after = { notices: await page.locator(".notice").count(), rows: await page.locator("#brought-list [role=option]").count(), words: await text(page, "#go-text"), focus: (await at(page)).id };
    await page.waitForTimeout(500);
    report.flood = { count, told, busy, waits, most: await page.evaluate(() => most), sent, deleted, after, answered, took: Date.now() - began };
    await context.close();
  },

  /** A long check that is stopped, in one page; the other page sees it. */
  async stops() {
    const { page, context } = await open();
    const other = (await open({}, context)).page;
    await page.bringToFront();
    await page.locator("#folders button", { hasText: "long" }).click();
    await page.waitForFunction(() => document.querySelectorAll("#folder-list [role=option]").length === 4);
    await page.keyboard.press("a");
    await start(page, () => page.keyboard.press("c"));
    await page.waitForFunction(() => !document.getElementById("running").hidden && document.getElementById("bar").value > 0, null, { timeout: kLong });
    const running = await text(page, "#running-text");
    const title = await page.title();
    await page.screenshot({ path: join(pictures, "desk-running.png") });
    await page.keyboard.press("s");
    await over(page);
    const words = await text(page, "#one-text");
    const badge = await page.locator("#ledger .badge").first().innerText();
    await other.bringToFront();
    await other.waitForFunction(() => document.querySelector("#ledger .badge")?.textContent === "stopped", null, { timeout: kLong });
    const before = await other.locator("#ledger .entry").count();
    // Its row first: a page shows what it was asked to show, not what another page does.
    await other.locator("#ledger .entry").first().click();
    await other.locator("#remove").press("Enter");
    await page.bringToFront();
    await page.waitForFunction((count) => document.querySelectorAll("#ledger .entry").length === count, before - 1, { timeout: kLong });
    report.stops = { running, title, words, badge, focus: (await at(page)).id };
    await context.close();
  },

  /** A bounce that is saved while the page is open. */
  async bounces() {
    const { page, context } = await open();
    const before = await rows(page, "folder-list");
    copyFileSync(join(beside, "song.wav"), join(room, "bounce 08.wav"));
    await page.waitForFunction(() => document.getElementById("fresh").classList.contains("some"), null, { timeout: kLong });
    // The file is written in one go, but may have been seen half written.
    await page.waitForTimeout(1500);
    const told = await text(page, "#fresh-text");
    const tag = await page.locator(".fresh-row .tag").innerText();
    await page.screenshot({ path: join(pictures, "desk-bounce.png") });
    await page.keyboard.press("n");
    await page.waitForFunction(() => document.getElementById("one-name").textContent.includes("bounce 08"));
    await over(page);
    const verdict = await page.locator("#ledger .badge").first().innerText();
    const quiet = await text(page, "#fresh-text"), about = await page.locator("#ledger .detail").first().innerText();
    report.bounces = { before, after: await rows(page, "folder-list"), told, tag, verdict, quiet, about, said: await page.evaluate(() => said), moved: await page.evaluate(() => moved) };
    await context.close();
  },

  /** So many pages that the program has no line left for this one: it asks instead, and is told again once there is one. */
  async crowd() {
    const before = seen.messages.length;
    const others = new AbortController();
    const lines = [];
    const ask = async () => lines.push(await fetch(`${address}api/events`, { signal: others.signal }));
    for (let i = 0; i < 20; ++i) await ask();
    // The line of a page that has just gone is another's only once the program has noticed.
    while (lines.filter((one) => one.status === 200).length < 16) {
      await new Promise((done) => setTimeout(done, 200));
      await ask();
    }
    const context = await browser.newContext();
    // Before the page is there: it may be refused sooner than this looks.
    const refused = context.waitForEvent("response", { predicate: (response) => response.url().includes("api/events"), timeout: kLong });
    const { page } = await open({}, context);
    const lost = (await refused).status();
    const check = await (await fetch(`${address}api/checks`, { method: "POST", body: JSON.stringify({ files: [{ path: "mix 06.wav" }], rules: ["cd"] }) })).json();
    const row = page.locator("#ledger .entry").first();
    await page.waitForFunction(() => /^(FAIL|WARN|PASS)/.test(document.querySelector("#ledger .entry").textContent) && document.querySelector("#ledger .entry").textContent.includes("audio CD"), null, { timeout: kLong });
    const asked = await row.innerText();
    const line = page.waitForResponse((response) => response.url().includes("api/events") && response.status() === 200, { timeout: kLong });
    others.abort();
    await line;
    report.crowd = { full: lines.filter((one) => one.status === 503).length, lost, check, asked, notices: await page.locator(".notice").count() };
    // The browser itself writes down every refusal.
    seen.messages.splice(before, seen.messages.length, ...seen.messages.slice(before).filter((one) => !one.includes("503")));
    await context.close();
  },

  /** What a reader meets at every size, in both lights, before and after a check and with everything open. */
  async looks() {
    report.looks = {};
    for (const [width, height, colorScheme] of [[320, 640, "light"], [768, 1024, "light"], [1280, 900, "light"], [1920, 1080, "light"], [1280, 900, "dark"]]) {
      const { page, context } = await open({ viewport: { width, height }, colorScheme, reducedMotion: "reduce" });
      const name = `desk-${width}${colorScheme === "dark" ? "-dark" : ""}`;
      const look = async (state) => {
        await page.screenshot({ path: join(pictures, `${name}-${state}.png`) });
        const about = await page.evaluate(() => ({
          wider: document.scrollingElement.scrollWidth - document.scrollingElement.clientWidth,
          cut: [...document.querySelectorAll("button, label, summary, h1, h2, h3, p")].filter((one) => one.checkVisibility() && !one.closest(".hidden") && one.scrollWidth > one.clientWidth + 2 && getComputedStyle(one).display !== "inline").map((one) => one.textContent.slice(0, 60)),
          small: [...document.querySelectorAll("button, summary, select, input, a")].filter((one) => one.checkVisibility() && !one.classList.contains("skip") && Math.min(one.getBoundingClientRect().width, one.getBoundingClientRect().height) < (one.localName === "input" ? 16 : 24)).map((one) => `${one.localName} ${one.textContent.slice(0, 40)}`),
          ground: getComputedStyle(document.body).backgroundColor,
        }));
        report.looks[`${name} ${state}`] = { ...about, axe: await faults(page) };
      };
      await page.waitForSelector("#folder-list [role=option]");
      await look("start");
      await page.keyboard.press("l");
      await page.keyboard.press("a");
      await start(page, () => page.keyboard.press("c"));
      await over(page);
      await sheetOf(page);
      await look("sheet");
      await page.keyboard.press("r");
      await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
      const focus = await at(page);
      await look("rules");
      await page.locator("#keys summary").click();
      await look("keys");
      report.looks[`${name} rules`].focus = focus;
      report.looks[`${name} start`].moved = await page.evaluate(() => moved);
      await context.close();
    }
  },

  async hostile() {
    const { page, context } = await open();
    await page.keyboard.press("a");
    await start(page, () => page.keyboard.press("c"));
    await over(page);
    const frame = await sheetOf(page);
    report.hostile = {
      body: await text(page, "body"),
      names: await rows(page, "folder-list"),
      folders: await page.locator("#folders button").allInnerTexts(),
      sheet: await frame.locator("body").innerText(),
      scripts: await page.evaluate(() => document.querySelectorAll("script, img").length),
      // The sheet can look at nothing of the page, and ask the program nothing.
      reach: await frame.evaluate(async () => {
        const tried = { origin: window.origin };
        try {
          tried.parent = String(parent.document.title);
        } catch (error) {
          tried.parent = error.name;
        }
        return tried;
      }),
      sandbox: await page.locator("#frame iframe").getAttribute("sandbox"),
    };
    await context.close();
  },

  /** The program goes; the page says so, and keeps what it shows. */
  async gone() {
    const { page, context } = await open();
    await sheetOf(page);
    const quiet = { elsewhere: [...seen.elsewhere], messages: [...seen.messages] };
    // The folder goes, and comes back.
    renameSync(room, `${room} away`);
    await page.waitForSelector(".notice", { timeout: kLong });
    const away = await page.locator("#notices").innerText();
    renameSync(`${room} away`, room);
    await page.waitForSelector(".notice", { state: "detached", timeout: kLong });
    // Off and on again: the line comes back by itself.
    process.kill(Number(process_id), "SIGTERM");
    await page.waitForSelector(".notice", { timeout: kLong });
    const told = await page.locator("#notices").innerText();
    await page.screenshot({ path: join(pictures, "desk-gone.png") });
    const broken = await faults(page);
    await page.locator("#check").focus();
    await page.keyboard.press("a");
    await page.keyboard.press("Enter");
    await page.waitForTimeout(3000);
    report.gone = { away, told, broken, after: await page.locator("#notices").innerText(), rows: (await rows(page, "folder-list")).length, sheet: await page.locator("#frame iframe").count(), errors: seen.messages.slice(quiet.messages.length).filter((one) => !one.includes("Failed to load resource") && !one.includes("net::ERR")) };
    Object.assign(seen, quiet);
    await context.close();
  },
};

const wanted = process.env.SENDWORTHY_SCENES?.split(",") || Object.keys(scenes);
for (const name of wanted) {
  try {
    await scenes[name]();
  } catch (error) {
    report[name] = { failed: `${name}: ${error.stack}` };
  }
}
report.seen = seen;
await browser.close();
process.stdout.write(JSON.stringify(report));
