// Uses the views of the local page besides files as a person would, in Chromium, and writes down what happened, as JSON on standard
// output.
//   node song.mjs MODULES PICTURES ADDRESS ROOM BESIDE PROGRAM
// MODULES: the folder with playwright-core and axe-core. PICTURES: where screenshots go. ADDRESS: what the program printed. ROOM: the
// folder it opened; BESIDE: a folder with what comes into it later. PROGRAM: for what a terminal says of the same plan.
import { spawnSync } from "node:child_process";
import { copyFileSync, readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";

const [modules, pictures, address, room, beside, program] = process.argv.slice(2);
const require = createRequire(join(modules, "here.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const origin = new URL(address).origin;
const kLong = 60000;
const kLamps = "#/song/songs%2Flamps.plan.toml";
const plan = join(room, "songs/lamps.plan.toml"), mix = join(room, "songs/bounces/mix.wav");

const browser = await chromium.launch({
  executablePath: process.env.SENDWORTHY_CHROMIUM || "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
});
const seen = { elsewhere: [], messages: [] };

/** A page that notes requests to anybody else, every message and every error, and how much moved by itself. */
async function open(hash = "", options = {}, context = null) {
  context ||= await browser.newContext({ viewport: { width: 1280, height: 900 }, colorScheme: "light", acceptDownloads: true, ...options });
  const page = await context.newPage();
  page.on("request", (request) => request.url().startsWith(`${origin}/`) || seen.elsewhere.push(request.url()));
  page.on("console", (message) => message.text().includes("status of 409") || seen.messages.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => seen.messages.push(`error: ${error.message}`));
  await page.addInitScript(() => {
    if (window !== window.top) return;
    window.moved = 0;
    new PerformanceObserver((list) => list.getEntries().forEach((one) => one.hadRecentInput || (window.moved += one.value))).observe({ type: "layout-shift", buffered: true });
  });
  await page.goto(address + hash, { waitUntil: "load" });
  await page.waitForSelector("body:not(.asking)", { timeout: kLong });
  return { page, context };
}

const text = (page, selector) => page.locator(selector).innerText();
const focusText = (page) => page.evaluate(() => document.activeElement.innerText.trim());
const press = async (page, ...keys) => {
  for (const key of keys) await page.keyboard.press(key);
};
const until = (page, found, about) => page.waitForFunction(found, about, { timeout: kLong });
/** Until the plan is on the page, and its shape drawn. */
const planThere = async (page) => {
  await page.waitForSelector("#song-plan .plan", { timeout: kLong });
  await until(page, () => Number(document.querySelector("#song-plan canvas").dataset.drawn) > 0 && document.querySelector("#song-plan canvas").dataset.waits === "0");
};
const over = (page) => until(page, () => document.getElementById("running").hidden && !document.getElementById("one").hidden);
const sheetOf = async (page) => {
  await page.waitForSelector("#frame iframe", { timeout: kLong });
  const frame = await (await page.$("#frame iframe")).contentFrame();
  await frame.waitForSelector("footer", { timeout: kLong });
  return frame.locator("body").innerText();
};
const forms = (page) => page.locator("#saves a").evaluateAll((links) => links.map((link) => link.href.match(/sheet\.(\w+)/)[1]));
/** A button, link or field by its name, pressed or reached by the keyboard alone. */
const reach = async (page, name, most = 90) => {
  for (let i = 0; i < most; ++i) {
    const at = await page.evaluate(() => {
      const one = document.activeElement;
      return (one.getAttribute("aria-label") || one.labels?.[0]?.innerText || one.innerText || "").trim();
    });
    if (typeof name === "string" ? at.startsWith(name) : name.test(at)) return at;
    await page.keyboard.press("Tab");
  }
  throw new Error(`not reached with Tab: ${name}`);
};
const status = () => spawnSync(program, ["listen", plan, "--status", "-f", "json"], { encoding: "utf8" }).stdout;
const question = () => [document.getElementById("listen-count")?.innerText, document.querySelector(".asked .head")?.innerText].join(" ");

async function faults(page) {
  if (!(await page.evaluate(() => Boolean(window.axe)))) await page.evaluate(axe);
  const found = await page.evaluate(() =>
    axe.run(document, { iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }),
  );
  return { kept: found.passes.map((one) => one.id), broken: found.violations.map((one) => `${one.impact} ${one.id}: ${one.nodes[0].html.slice(0, 160)}`) };
}

async function drop(page, paths) {
  const line = await page.context().newCDPSession(page);
  const data = { items: [], files: paths, dragOperationsMask: 1 };
  for (const type of ["dragEnter", "dragOver", "drop"]) await line.send("Input.dispatchDragEvent", { type, x: 700, y: 500, data });
  await line.detach();
}

const report = {};
const scenes = {
  async views() {
    const { page, context } = await open();
    const names = await page.locator("#views a").allInnerTexts(), each = {};
    for (const name of [...names.slice(1), names[0]]) {
      await page.locator("#views a", { hasText: name }).focus();
      await press(page, "Enter");
      await until(page, (wanted) => document.querySelector("#views [aria-current]")?.innerText === wanted && !document.querySelector(`[data-heading=${document.body.dataset.view}]`).closest("[hidden]") && document.activeElement.matches("[data-heading]"), name);
      await until(page, () => [...document.querySelectorAll("main p")].filter((one) => one.checkVisibility()).map((one) => one.innerText).join(" ").length > 60);
      const about = await page.evaluate(() => ({
        current: document.querySelector("#views [aria-current]").innerText,
        focus: document.activeElement.innerText,
        heading: document.querySelector(`[data-heading=${document.body.dataset.view}]`).innerText,
        shows: parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 2,
        words: [...document.querySelectorAll("main p")].filter((one) => one.checkVisibility()).map((one) => one.innerText).join(" "),
      }));
      await page.reload();
      await page.waitForSelector("body:not(.asking)");
      each[name] = { ...about, after: await text(page, "#views [aria-current]") };
    }
    await page.locator("#views a", { hasText: "Song" }).click();
    await page.locator("#views a", { hasText: "Delivery" }).click();
    await page.goBack();
    await until(page, () => document.body.dataset.view === "song");
    report.views = { names, each, back: await text(page, "#views [aria-current]") };
    await context.close();
  },

  /** A plan begun by keys alone. */
  async start() {
    const { page, context } = await open("#/song");
    await reach(page, "Start a plan");
    await press(page, "Enter");
    await until(page, () => document.querySelectorAll("#song-start .folders button").length > 2);
    await page.locator("#song-start .folders").first().locator("button", { hasText: "songs" }).press("Enter");
    await page.locator("#song-start .folders").first().locator("button", { hasText: "bounces" }).press("Enter");
    await page.locator("#song-start button[aria-label='This one as the mix: mix.wav']").press("Enter");
    const suggested = await page.locator("#start-name").inputValue();
    const folders = page.locator("#song-start .folders").last();
    await folders.locator("button", { hasText: "songs" }).press("Enter");
    await folders.locator("button", { hasText: "stems" }).press("Enter");
    await page.locator("button", { hasText: "Start the plan" }).press("Enter");
    const without = await text(page, "#song-start .go");
    await page.locator("button", { hasText: "Take the stems in songs/stems" }).press("Enter");
    await page.screenshot({ path: join(pictures, "song-start.png") });
    await page.locator("button", { hasText: "Start the plan" }).press("Enter");
    await planThere(page);
    const heading = await text(page, "#song-name");
    const sections = await page.locator("#song-plan tbody tr").count();
    // The same name once more: nothing is replaced.
    const answer = await page.evaluate(async () => (await fetch("api/plans", { method: "POST", body: JSON.stringify({ mix: "songs/bounces/mix.wav", plan: "songs/bounces/mix.plan.toml" }) })).json());
    // What was measured stands beside its field, and is taken over by keys.
    const noted = (await page.locator("#song-plan .noted:visible").allInnerTexts()).filter(Boolean);
    for (const name of [/^Take over the ranks/, /^Take over .* %: Covered/, /^Take over .*: The biggest section/]) {
      await page.getByRole("button", { name }).press("Enter");
    }
    const taken = await page.evaluate(() => ({ most: document.getElementById("wanted-masking-most").value, biggest: document.getElementById("flag-biggest").selectedOptions[0].text }));
    await page.screenshot({ path: join(pictures, "song-taken.png"), fullPage: true });
    await page.locator("#song-name").focus();
    await press(page, "k");
    await until(page, () => document.getElementById("plan-state").innerText === "Everything is saved.");
    report.start = { without, suggested, heading, sections, noted, taken, refused: answer.error?.text ?? "" };
    await context.close();
  },

  async edit() {
    const { page, context } = await open(kLamps);
    await planThere(page);
    // Borders by keys: 10 ms, with Shift 100 ms, then a second on and back by 1 s and 100 ms.
    const border = page.locator("[role=slider][aria-label='Start of chorus']");
    const arrows = [];
    await border.focus();
    for (const key of ["ArrowRight", "Shift+ArrowRight", "PageUp", "PageDown"]) {
      await press(page, key);
      arrows.push((await page.locator("[data-border]:focus .time").innerText()).padEnd(8, "0"));
    }
    // What plays is shown over the shape, and its button stops it.
    const plays = { ticks: await page.locator("#song-plan .ruler span").allInnerTexts() };
    await page.locator("button[aria-label='Play: chorus']").press("Enter");
    await page.waitForSelector("button[aria-label='Stop: chorus']");
    const headAt = () => page.evaluate(() => new DOMMatrix(document.querySelector("#song-plan .playhead").style.transform).e);
    await until(page, () => !document.querySelector("#song-plan .playhead").hidden);
    plays.first = await headAt();
    await page.waitForTimeout(400);
    plays.later = await headAt();
    plays.border = await page.evaluate(() => parseFloat(document.querySelector("[role=slider][aria-label='Start of chorus']").style.left));
    await page.locator("button[aria-label='Stop: chorus']").press("Enter");
    await page.waitForSelector("button[aria-label='Play: chorus']");
    plays.away = await page.locator("#song-plan .playhead").isHidden();
    // No grip is cut off by the edge of the shape.
    plays.cut = await page.evaluate(() => {
      const frame = document.querySelector("#song-plan .shape").getBoundingClientRect();
      return [...document.querySelectorAll("#song-plan .border")].filter((one) => one.getBoundingClientRect().left < frame.left - 0.5 || one.getBoundingClientRect().right > frame.right + 0.5).length;
    });
    // By mouse.
    const verse = page.locator("[role=slider][aria-label='Start of verse']");
    await page.locator("#song-plan .shape").evaluate((one) => one.scrollIntoView({ block: "center" }));
    const box = await verse.boundingBox();
    await page.mouse.move(box.x + box.width / 2, box.y + 60);
    await page.mouse.down();
    await page.mouse.move(box.x + box.width / 2 + 40, box.y + 60, { steps: 4 });
    await page.mouse.up();
    const dragged = Number(await verse.getAttribute("aria-valuenow"));
    // By typing: another name, a time that is none.
    await page.locator("input[aria-label='Name of section 2']").fill("big chorus");
    await press(page, "Tab");
    await page.locator("input[aria-label='Start of end']").fill("8:xx");
    await press(page, "Enter");
    const wrong = [await text(page, "#sections-fault"), await page.locator("input[aria-label='Start of end']").inputValue()];
    for (const [end, value] of [["from", "-2"], ["to", "1.5"]]) await page.locator(`input[aria-label^='Lead vocal over the rest in big chorus, ${end}']`).fill(value);
    await page.locator("input[aria-label='Start of end']").fill("0:07.9");
    await press(page, "Enter");
    await page.locator("#flag-biggest").selectOption({ label: "big chorus" });
    await page.locator("button[aria-label='Remove: verse']").press("Enter");
    const refused = await text(page, "#sections-fault");
    await page.locator("button[aria-label='Split: end']").press("Enter");
    await page.keyboard.type("coda");
    await press(page, "Tab");
    // Stems: the drums first, the pads as much as the lead.
    await page.locator("[data-stem=drums]").focus();
    await press(page, "Shift+ArrowUp");
    const order = () => page.locator(".stem .name").allInnerTexts();
    await page.locator("[data-stem=drums]").evaluate((one) => one.scrollIntoView({ block: "center" }));
    const [from, to] = [await page.locator("[data-stem=pads]").boundingBox(), await page.locator("[data-stem=drums]").boundingBox()];
    await page.mouse.move(from.x + 120, from.y + 12);
    await page.mouse.down();
    await page.mouse.move(to.x + 120, to.y + 4, { steps: 5 });
    await page.mouse.up();
    const pulled = await order();
    await page.locator("[data-stem=pads]").focus();
    await press(page, "Delete");
    const dropped = await order();
    await press(page, "=");
    const ranks = await page.evaluate(() => ["drums", "lead", "pads"].map((name) => Number(document.querySelector(`[data-stem=${name}] .rank`).textContent.replace(/\D/g, ""))));
    await page.locator("#intent-feeling").fill("coming home late, and the light is on");
    await page.locator("#wanted-dynamics-quiet_to_loud").fill("2.5");
    await page.locator("#wanted-vocal-above_band").fill("-1");
    await page.locator("#wanted-vocal-above_band-to").fill("2");
    await page.locator("button", { hasText: "Add a question" }).press("Enter");
    await page.keyboard.type("Does the room stay dry?");
    await press(page, "Tab");
    await page.screenshot({ path: join(pictures, "song-plan.png") });
    // Another view and back.
    await page.locator("#views a", { hasText: "Files" }).click();
    await page.locator("#views a", { hasText: "Song" }).click();
    await page.goBack();
    await page.goBack();
    await page.waitForSelector("#song-plan .plan");
    const kept = await page.locator("#intent-feeling").inputValue(), state = await text(page, "#plan-state");
    let asks = false;
    page.once("dialog", (dialog) => {
      asks = dialog.type() === "beforeunload";
      dialog.dismiss();
    });
    await page.evaluate(() => location.reload());
    await page.waitForTimeout(500);
    await page.locator("#song-name").focus();
    await press(page, "k");
    await until(page, () => document.getElementById("plan-state").innerText === "Everything is saved.");
    report.edit = { plays, arrows, dragged, pulled, dropped, wrong, refused, ranks, kept, state, asks, after: await text(page, "#plan-state"), saved: readFileSync(plan, "utf8") };
    await context.close();
  },

  /** Somebody else writes to the plan. */
  async clash() {
    const { page, context } = await open(kLamps);
    await planThere(page);
    writeFileSync(plan, readFileSync(plan, "utf8").replace('"Lamps" ', '"Lamps, elsewhere" '));
    await page.locator("#intent-approach").fill("wide awake");
    await page.locator("button", { hasText: "Save the plan" }).press("Enter");
    await page.waitForSelector(".clash:not([hidden])");
    const told = await text(page, ".clash");
    await page.screenshot({ path: join(pictures, "song-clash.png") });
    await page.locator("button", { hasText: "with my changes on top" }).press("Enter");
    await until(page, () => document.getElementById("intent-title").value === "Lamps, elsewhere" && document.getElementById("plan-state").innerText.includes("1 change"));
    await page.locator("button", { hasText: "Save the plan" }).press("Enter");
    await until(page, () => document.getElementById("plan-state").innerText === "Everything is saved.");
    report.clash = { told, text: readFileSync(plan, "utf8") };
    await context.close();
  },

  async sheet() {
    const { page, context } = await open(kLamps);
    await planThere(page);
    await page.locator("#plan-rules").check();
    await page.locator("#song-name").focus();
    await press(page, "c");
    await until(page, () => document.body.dataset.part === "sheet");
    await over(page);
    const sheet = await sheetOf(page);
    await page.screenshot({ path: join(pictures, "song-sheet.png") });
    const [file] = await Promise.all([page.waitForEvent("download"), page.locator("#saves a", { hasText: "everything" }).or(page.locator("#saves a[href*='sheet.json?']")).first().press("Enter")]);
    // The link of the navigation leads back to what was open, after a reload too.
    await page.locator("#views a", { hasText: "Files" }).click();
    await page.reload();
    await page.waitForSelector("body:not(.asking)");
    await page.locator("#views a", { hasText: "Song" }).click();
    const again = await until(page, () => document.body.dataset.part === "sheet" && document.getElementById("song-about").innerText.includes("lamps.plan.toml")).then(() => true);
    report.sheet = { again, sheet, forms: await forms(page), json: readFileSync(await file.path(), "utf8") };
    await context.close();
  },

  /** A whole pass, by keys. */
  async listen() {
    const { page, context } = await open(kLamps);
    await planThere(page);
    await page.locator("#song-name").focus();
    await press(page, "3");
    await until(page, () => document.body.innerText.includes("Before the first question"));
    const before = await text(page, ".asked");
    await page.screenshot({ path: join(pictures, "song-before.png") });
    await page.locator("#listen-by").fill("");
    await reach(page, "Begin");
    await press(page, "Enter");
    const missing = await text(page, "#listen-missing");
    // The fault leads to the field.
    await page.keyboard.type("KB");
    const ears = page.locator("#loaded-no");
    await reach(page, "yes");
    await press(page, "ArrowRight");
    const answered = await ears.isChecked();
    await reach(page, "Begin");
    await press(page, "Enter");
    const questions = [], played = [], bar = [];
    let typed = "", open_ = "";
    for (let i = 0; i < 5; ++i) {
      await until(page, (number) => document.getElementById("listen-count")?.innerText.startsWith(`Question ${number} `), i + 1);
      questions.push({
        count: await text(page, "#listen-count"), text: await text(page, ".asked .head"), focus: await focusText(page), intent: await text(page, ".intent"),
        inView: await page.evaluate(() => {
          const box = document.querySelector(".intent").getBoundingClientRect();
          return box.top >= 0 && box.top < innerHeight - 100;
        }),
      });
      if (i === 0) {
        // What is asked lies ready in the bar: its button, the question's and the key play the same.
        bar.push(await text(page, "#what"), await text(page, "#listen-played"));
        await page.locator("#play").press("Enter");
        await until(page, () => document.getElementById("listen-play").innerText.startsWith("Stop"));
        await page.waitForTimeout(900);
        await page.screenshot({ path: join(pictures, "song-question.png") });
        bar.push(await page.locator(".places [aria-pressed=true]").innerText());
        await press(page, "p");
        await until(page, () => document.getElementById("listen-played").innerText.startsWith("Played"));
      }
      await page.waitForTimeout(450);
      if (i === 2) {
        await press(page, "t");
        await page.waitForSelector("#listen-tweak");
        await page.keyboard.type("hsbt p");
        typed = await page.locator("#listen-tweak").inputValue();
        await press(page, "Enter");
      } else {
        await press(page, i === 3 ? "s" : "h");
      }
    }
    await until(page, () => document.querySelector(".asked .head").innerText.startsWith("Pass 1"));
    open_ = await text(page, ".asked");
    await page.screenshot({ path: join(pictures, "song-open.png") });
    // What is open is asked again: both hold now. Each is heard in its way.
    await reach(page, "Go through what is open");
    await press(page, "Enter");
    for (let i = 0; i < 2; ++i) {
      await until(page, (number) => document.getElementById("listen-count")?.innerText.startsWith(`Question ${number} `), i + 1);
      await page.waitForTimeout(450);
      await press(page, "h");
    }
    await until(page, () => document.querySelector(".asked .head").innerText.includes("is complete"));
    const end = await text(page, ".asked");
    await page.screenshot({ path: join(pictures, "song-complete.png") });
    report.listen = { before, missing, answered, questions, typed, open: open_, end, status: status(), passes: readFileSync(`${plan}.passes.jsonl`, "utf8"), played, bar };
    // Another pass, for the ways only: nothing of it is answered. It is gone through from the end.
    await reach(page, "Listen again");
    await press(page, "Enter");
    await page.locator("#loaded-yes").check();
    await page.locator("#quiet-first-yes").check();
    await page.locator(".asked button.main").press("Enter");
    const request = () => page.evaluate(async () => {
      const { player } = await import(new URL("page/main.js", location.href));
      return player.request;
    });
    await until(page, () => document.getElementById("listen-count")?.innerText.startsWith("Question 1 "));
    played.push({ text: await text(page, ".asked .head"), how: await text(page, ".how") });
    await press(page, "p");
    await until(page, () => document.getElementById("listen-play").innerText.startsWith("Stop"));
    played[0].request = await request();
    await until(page, () => document.getElementById("heard").innerText.length > 8);
    played[0].heard = await text(page, "#heard");
    await press(page, "p");
    // What the page does by itself, nobody is asked to do.
    report.listen.ways = await page.evaluate(async () => {
      const { howWords, levelWords } = await import(new URL("page/listen-words.js", location.href));
      return ["full", "quiet", "mono", "lows", "small speaker"].map((heard) => [heard, howWords({ heard, how: "As the terminal says." }, { quietDb: 20, belowHz: 90 }), levelWords(heard, -20)]);
    });
    await context.close();
    // The plan as it stands, each question asked alone.
    report.listen.left = status();
  },

  /** Two tabs of one pass: what one answers holds in the other. */
  async tabs() {
    writeFileSync(mix, readFileSync(join(beside, "softer.wav")));
    const { page, context } = await open(`${kLamps}/listen`);
    // The bounce is another one than the one that was measured.
    await page.locator(".asked button", { hasText: "Measure" }).press("Enter");
    await until(page, () => document.querySelector(".asked .head")?.innerText === "Before the first question");
    const before_ = await text(page, ".asked");
    const begin = async (tab) => {
      await until(tab, () => document.querySelector(".asked .head")?.innerText === "Before the first question");
      await tab.locator("#listen-by").fill("QV");
      await tab.locator("#loaded-no").check();
      await tab.locator(".asked button.main").press("Enter");
      await until(tab, () => document.getElementById("listen-count"));
    };
    const other = (await open(`${kLamps}/listen`, {}, context)).page, waiting = (await open(`${kLamps}/listen`, {}, context)).page;
    await until(waiting, () => document.querySelector(".asked .head")?.innerText === "Before the first question");
    await waiting.locator("#listen-by").fill("WX");
    await waiting.locator("#loaded-no").check();
    const standing = await text(waiting, ".asked");
    await other.bringToFront();
    await begin(other);
    const first = await other.evaluate(question);
    await page.bringToFront();
    await begin(page);
    await page.waitForTimeout(450);
    await press(page, "h");
    await until(page, () => document.getElementById("listen-count").innerText.startsWith("Question 2"));
    await other.bringToFront();
    await until(other, (old) => [document.getElementById("listen-count")?.innerText, document.querySelector(".asked .head")?.innerText].join(" ") !== old, first);
    report.tabs = { prelude: before_, first, before: first, after: await other.evaluate(question), told: await text(other, "#notices") };
    // Whoever has not begun sees it, too, and nothing of what was typed goes.
    await waiting.bringToFront();
    await until(waiting, (old) => document.querySelector(".asked").innerText !== old, standing);
    report.tabs.waiting = { before: standing, after: await text(waiting, ".asked"), by: await waiting.locator("#listen-by").inputValue(), rested: await waiting.locator("#loaded-no").isChecked() };
    await waiting.locator(".asked button.main").press("Enter");
    await until(waiting, () => document.getElementById("listen-count"));
    report.tabs.waiting.begun = await waiting.evaluate(question);
    await context.close();
  },

  /** A new bounce while somebody listens. */
  async stale() {
    const { page, context } = await open(`${kLamps}/listen`);
    await until(page, () => document.querySelector(".asked .head")?.innerText === "Before the first question");
    await page.locator("#loaded-no").check();
    await page.locator(".asked button.main").press("Enter");
    await until(page, () => document.getElementById("listen-count"));
    await page.waitForTimeout(450);
    await press(page, "t");
    await page.waitForSelector("#listen-tweak");
    await page.keyboard.type("make it warmer");
    // Nobody tells the page: the answer comes before the news.
    await page.route("**/api/folder?*", (route) => route.abort());
    await page.route("**/listening", (route) => route.abort());
    writeFileSync(mix, readFileSync(join(beside, "again.wav")));
    const [answer] = await Promise.all([page.waitForResponse((response) => response.url().endsWith("/answers")), press(page, "Enter")]);
    await until(page, () => document.querySelector(".asked .head").innerText.includes("not kept"));
    const words = await text(page, ".asked");
    await page.screenshot({ path: join(pictures, "song-refused.png") });
    await page.unroute("**/api/folder?*");
    await page.unroute("**/listening");
    await page.locator(".asked button", { hasText: "Measure again" }).press("Enter");
    await until(page, () => document.querySelector(".asked .head").innerText === "Before the first question");
    const before = await text(page, ".asked");
    // And once more, told by the folder.
    const begin = async () => {
      await page.locator("#loaded-no").check();
      await page.locator(".asked button.main").press("Enter");
      await until(page, () => document.getElementById("listen-count"));
    };
    await begin();
    writeFileSync(mix, readFileSync(join(beside, "softer.wav")));
    await until(page, () => !document.querySelector(".news").hidden);
    const told = await text(page, ".news");
    await until(page, () => document.querySelector(".asked .head").innerText === "This is a new bounce");
    await page.locator(".asked button", { hasText: "Measure the new bounce" }).press("Enter");
    await until(page, () => document.querySelector(".asked .head").innerText === "Before the first question");
    // Another file takes the place of the mix: what was asked of the one before goes at once.
    await begin();
    copyFileSync(join(beside, "again.wav"), join(room, "songs/bounces/mix 2.wav"));
    await until(page, () => document.querySelector(".news").innerText.includes("mix 2.wav"));
    await page.locator(".news button", { hasText: "Make it the mix" }).press("Enter");
    await until(page, () => document.getElementById("song-about").innerText.includes("mix 2.wav"));
    await until(page, () => document.querySelector(".asked .head").innerText === "This is a new bounce");
    const swapped = await text(page, ".asked");
    const status_ = spawnSync(program, ["listen", plan, "--status"], { encoding: "utf8" }).stdout;
    // The browser itself writes down what was held back.
    seen.messages = seen.messages.filter((one) => !one.includes("net::ERR_FAILED"));
    report.stale = { refused: answer.status(), words, before, told, swapped, status: status_, plan: readFileSync(plan, "utf8") };
    await context.close();
  },

  async compare() {
    copyFileSync(join(beside, "edited.wav"), join(room, "songs/bounces/mix 2.wav"));
    const { page, context } = await open("#/two");
    await page.locator("#bench-two .folders button", { hasText: "songs" }).press("Enter");
    // What changes in the folder that is being left must not lead back to it.
    await page.route("**/api/folder?*bounces*", async (route) => {
      await new Promise((resolve) => setTimeout(resolve, 2500));
      await route.continue();
    });
    await page.locator("#bench-two .folders button", { hasText: "bounces" }).press("Enter");
    copyFileSync(join(beside, "again.wav"), join(room, "songs/came.wav"));
    await until(page, () => document.querySelector("#bench-two .walked").innerText.includes("mix 2.wav"));
    await page.unroute("**/api/folder?*bounces*");
    await page.locator("button[aria-label='Old bounce: mix 2.wav']").press("Enter");
    await page.locator("button[aria-label='New bounce: mix.wav']").press("Enter");
    await page.locator("#two-name").focus();
    await press(page, "c");
    await over(page);
    const sheet = await sheetOf(page);
    await page.waitForSelector("#one section:not([hidden]) #two-which");
    const pressed = () => page.locator("#bench-two .walked [aria-pressed=true]").evaluateAll((all) => all.map((one) => one.getAttribute("aria-label")));
    const pair = { pressed: await pressed(), level: await text(page, "#two-level"), ticks: await page.locator("#one .ruler span").allInnerTexts(), marks: await page.locator("#one .mark.differs").count(), first: await text(page, "#two-difference") };
    await page.locator("#two-name").focus();
    await press(page, "n");
    await until(page, () => document.getElementById("two-difference").innerText.startsWith("Difference 1"));
    pair.difference = await text(page, "#two-difference");
    const which = [await text(page, "#two-which")], lanes = [];
    const heard = () => page.evaluate(async () => {
      const { player } = await import(new URL("page/main.js", location.href));
      return player.lanes?.heard ?? null;
    });
    await page.locator("#two-name").focus();
    await press(page, "p");
    await until(page, () => document.getElementById("two-which").innerText.startsWith("You hear"));
    await page.waitForTimeout(600);
    lanes.push(await heard());
    pair.head = await page.evaluate(() => ({ hidden: document.querySelector("#one .playhead").hidden, moved: document.querySelector("#one .playhead").style.transform }));
    await press(page, "v");
    lanes.push(await heard());
    which.push(await text(page, "#two-which"));
    await page.screenshot({ path: join(pictures, "song-two.png") });
    await press(page, "p");
    // Another choice, and what was of the pair before is not shown for it; chosen back, it is.
    await page.locator("button[aria-label='New bounce: mix 2.wav']").press("Enter");
    pair.aside = { one: await page.locator("#one").isVisible(), told: await text(page, "#nothing-text"), pressed: await pressed() };
    await page.locator("button[aria-label='New bounce: mix.wav']").press("Enter");
    pair.back = await page.locator("#one").isVisible();
    // Two that are dropped fill what nobody chose since the page was loaded; until then the pair stays.
    await page.reload();
    await page.waitForSelector("body:not(.asking)");
    await page.waitForSelector("#one section:not([hidden]) #two-which");
    pair.reloaded = [await text(page, "#two-old"), await text(page, "#two-new")];
    await drop(page, [join(beside, "softer.wav"), join(beside, "again.wav")]);
    await until(page, () => document.getElementById("two-new").innerText.endsWith(".wav") && document.getElementById("two-old").innerText.endsWith(".wav"));
    report.compare = { pair, sheet, forms: await forms(page), which, lanes, dropped: (await text(page, "#two-old")) !== (await text(page, "#two-new")) };
    await context.close();
  },

  async delivery() {
    const { page, context } = await open("#/delivery");
    await page.locator("#bench-delivery .folders button", { hasText: "delivery" }).press("Enter");
    await until(page, () => document.getElementById("order-about").innerText.includes("“delivery”"));
    await page.locator("button", { hasText: "Start an order" }).press("Enter");
    await until(page, () => document.getElementById("order-chosen").innerText.endsWith("order.toml"));
    const chosen = await text(page, "#order-chosen");
    const path = join(room, "delivery/order.toml"), started = readFileSync(path, "utf8"), area = () => page.locator("#order-text").inputValue();
    // By fields and by keys alone; each change is one of the text, and nothing is in the file yet.
    const listed = await page.locator(".ordered summary").allInnerTexts();
    await reach(page, "For whom");
    await page.keyboard.type("A <b>label");
    await press(page, "Tab");
    await until(page, () => document.getElementById("order-text").value.includes('client = "A <b>label"'));
    await reach(page, "main");
    await press(page, "Enter");
    await page.waitForSelector(".item-of");
    const asks = await text(page, ".ordered details[open] p");
    await page.locator("[data-field='item 0 required']").press("Space");
    await until(page, () => document.querySelector(".ordered summary").innerText.includes("may be missing"));
    const focus = await page.evaluate(() => document.activeElement.dataset.field);
    await page.locator("#ordered-order-sample_rate").selectOption("48000");
    await until(page, () => document.getElementById("order-text").value.includes('expect = "sample_rate=48000"'));
    await page.locator("#ordered-order-bit_depth").selectOption("24");
    await until(page, () => document.querySelector(".ordered details[open] p").innerText.startsWith("Wanted: Sample rate: 48000 Hz, Bit depth: 24 bits"));
    const edited = { text: await area(), file: readFileSync(path, "utf8"), about: await text(page, "#order-chosen") };
    // What is wrong is told with its place while it is typed.
    await page.locator("summary", { hasText: "The order’s text" }).press("Enter");
    await page.locator("#order-text").fill(edited.text.replace('version = "main"', 'version = "mane"'));
    await until(page, () => /line \d+/.test(document.getElementById("order-state").innerText));
    const wrong = { told: await text(page, "#order-state"), line: edited.text.split("\n").findIndex((line) => line.includes('version = "main"')) + 1, saves: await page.locator("button", { hasText: "Save the order" }).getAttribute("aria-disabled") };
    await page.screenshot({ path: join(pictures, "song-order.png") });
    await page.locator("button", { hasText: "To that line" }).press("Enter");
    wrong.marked = await page.evaluate(() => document.activeElement.value.slice(document.activeElement.selectionStart, document.activeElement.selectionEnd));
    await page.locator("#order-text").fill(edited.text);
    await until(page, () => document.querySelector(".ordered summary")?.checkVisibility());
    // Somebody else was quicker.
    writeFileSync(path, `${started}# by hand\n`);
    await page.locator("#delivery-name").focus();
    await press(page, "k");
    await page.waitForSelector("#bench-delivery .clash:not([hidden])");
    const clash = { told: await text(page, "#bench-delivery .clash"), file: readFileSync(path, "utf8"), mine: await area() };
    await page.locator("button", { hasText: "Save mine in its place" }).press("Enter");
    await until(page, () => document.getElementById("order-state").innerText.startsWith("This is what"));
    const saved = readFileSync(path, "utf8");
    // What was typed a moment before counts.
    await page.locator("#ordered-client").fill("A <b>label in haste");
    await page.locator("#bench-delivery button.main").click();
    await over(page);
    const haste = readFileSync(path, "utf8");
    const sheet = await sheetOf(page);
    await page.screenshot({ path: join(pictures, "song-delivery.png") });
    // What is still being read of an order that was left does not come over the one that is open.
    writeFileSync(join(room, "delivery/other.toml"), `${saved.replace('client = "A <b>label"', 'client = "Somebody else"')}\n[[item]]\nversion = "tv mix"\nfile = "tv.wav"\n`);
    await page.waitForSelector("button[aria-label='Open other.toml']");
    let late = false;
    await page.route("**/api/order?*order.toml", async (route) => {
      late ||= route.request().method() === "GET";
      await new Promise((resolve) => setTimeout(resolve, 1500));
      await route.continue();
    });
    const asks_ = page.waitForRequest((request) => /api\/order\?.*order\.toml$/.test(request.url()));
    writeFileSync(path, `${saved}# once more\n`);
    await asks_;
    const answered = page.waitForResponse((response) => /api\/order\?.*order\.toml$/.test(response.url()));
    await page.locator("button[aria-label='Open other.toml']").press("Enter");
    await until(page, () => document.getElementById("order-chosen").innerText.includes("other.toml"));
    await answered;
    await page.waitForTimeout(100);
    const other = { late, text: await area() };
    const complete = { forms: await forms(page), files: await page.locator("#verdicts .entry").allInnerTexts() };
    // What is missing is of no file, and is counted and listed beside them.
    await page.locator("#delivery-name").focus();
    await press(page, "c");
    await page.waitForFunction(() => document.getElementById("one-name").innerText.startsWith("other.toml: "));
    const lacking = { head: await text(page, "#one-name"), files: await page.locator("#verdicts .entry").allInnerTexts(), first: await page.locator("#verdicts li:first-child button").count() };
    // The browser itself writes down every refusal.
    seen.messages = seen.messages.filter((one) => !/Failed to load resource.*409/.test(one));
    report.delivery = { chosen, started, other, haste, listed, asks, focus, edited, wrong, clash, saved, sheet, ...complete, lacking };
    await context.close();
  },

  /** The shape of an hour: each step of zooming and scrolling, and what it cost. */
  async hour() {
    const { page, context } = await open("#/song/hour.plan.toml");
    await planThere(page);
    const cost = () => page.evaluate(() => {
      const { drawn, fetched, lookedAt, steps } = document.querySelector("#song-plan canvas").dataset;
      return { drawn: Number(drawn), fetched: Number(fetched), lookedAt: Number(lookedAt), steps: Number(steps), handles: document.querySelectorAll("[data-border]").length };
    });
    const settled = () => until(page, () => document.querySelector("#song-plan canvas").dataset.waits === "0");
    const steps = [];
    let before = await cost();
    const step = async (name, key, times = 1) => {
      for (let i = 0; i < times; ++i) {
        await page.keyboard.press(key);
        await page.waitForTimeout(60);
        await settled();
        const now = await cost();
        steps.push({ name, drawn: now.drawn, fetched: now.fetched - before.fetched, lookedAt: now.lookedAt - before.lookedAt, handles: now.handles });
        before = now;
      }
    };
    await page.locator("#song-plan .pointer").focus();
    await step("closer", "+", 10);
    await step("later", "PageUp", 6);
    await step("farther", "-", 3);
    await page.screenshot({ path: join(pictures, "song-hour.png") });
    await step("back", "+", 3);
    const duration = Number(await page.locator("#song-plan .pointer").getAttribute("aria-valuemax"));
    const width = await page.evaluate(() => document.querySelector("#song-plan .shape").clientWidth);
    report.hour = { steps: steps.slice(0, -3), back: { fetched: steps.slice(-3).reduce((sum, one) => sum + one.fetched, 0) }, duration, width };
    await context.close();
  },

  async hostile() {
    const { page, context } = await open("#/song/hostile.toml");
    await planThere(page);
    await page.locator("summary", { hasText: "The plan’s text" }).click();
    const body = await text(page, "body"), fields = { feeling: await page.locator("#intent-feeling").inputValue() };
    await press(page, "c");
    await until(page, () => document.body.dataset.part === "sheet");
    await over(page);
    await page.goto(`${address}#/song/hostile.toml/listen`);
    await until(page, () => document.querySelector(".asked .head")?.innerText === "Before the first question");
    await page.locator("#listen-by").fill("<b>");
    await page.locator(".asked button.main").press("Enter");
    await until(page, () => document.getElementById("listen-count"));
    const absent = await text(page, ".asked");
    await page.locator(".asked button", { hasText: "Not in this song" }).press("Enter");
    await until(page, () => document.querySelector(".asked .head").innerText.startsWith("<iframe"));
    const elements = await page.evaluate(() => document.querySelectorAll("img, script:not([src]), iframe:not([sandbox]), svg, .asked b b, dd b").length);
    const asked = await text(page, "body");
    // In another view the bar belongs to what is played there, and not to the question that waits.
    const ready = async (set) => page.evaluate(async (key) => {
      const { player } = await import(new URL("page/main.js", location.href));
      if (key) player.request = { ...player.request, key };
      player.dispatchEvent(new Event("change"));
      return player.request.key;
    }, set);
    const bar = [await ready(), ""];
    await page.locator("#views a", { hasText: "Files" }).click();
    bar[1] = await ready("files 1");
    await page.goto(`${address}#/song/no%20plan.toml`);
    await page.waitForSelector(".plan-fault:not([hidden])");
    report.hostile = { body: body + asked, bar, fields, elements, absent, fault: await text(page, ".plan-fault") };
    await context.close();
  },

  /** What a reader meets at every size, in both lights. */
  async looks() {
    report.looks = {};
    {
      const { page, context } = await open(`${kLamps}/listen`);
      await page.locator(".asked button", { hasText: "Measure" }).press("Enter");
      await page.waitForSelector("#listen-by", { timeout: kLong });
      await context.close();
    }
    for (const [width, height, colorScheme] of [[320, 640, "light"], [768, 1024, "light"], [1280, 900, "light"], [1920, 1080, "light"], [1280, 900, "dark"]]) {
      const name = `song-${width}${colorScheme === "dark" ? "-dark" : ""}`;
      const { page, context } = await open("#/files", { viewport: { width, height }, colorScheme, reducedMotion: "reduce" });
      for (const [state, hash, there] of [
        ["two", "#/two", () => document.querySelector("#bench-two .walked li")], ["delivery", "#/delivery", () => document.querySelector("#bench-delivery .folders li")],
        ["choose", "#/song", () => document.querySelector("#song-choose .walked li")], ["start", "#/song//start", () => document.querySelector("#song-start .walked li")],
        ["plan", kLamps, () => document.querySelector("#song-plan canvas")?.dataset.waits === "0"], ["sheet", `${kLamps}/sheet`, () => document.querySelector("#frame iframe")],
        ["listen", `${kLamps}/listen`, () => document.querySelector(".asked .head")],
      ]) {
        // Between the narrowest and the widest only what has most on it.
        if ([768, 1920].includes(width) && ["delivery", "choose", "start"].includes(state)) continue;
        await page.goto(`${address}${hash}`);
        await until(page, there);
        if (state === "listen") {
          await page.waitForSelector("#listen-by");
          await page.locator("#listen-by").fill("KB");
          if (await page.locator("#loaded-no").count()) await page.locator("#loaded-no").check();
          await page.locator(".asked button.main").press("Enter");
          await until(page, () => document.getElementById("listen-count"));
          await page.waitForTimeout(450);
          await press(page, "t");
          await page.waitForSelector("#listen-tweak");
        }
        await page.waitForTimeout(200);
        await page.screenshot({ path: join(pictures, `${name}-${state}.png`) });
        const about = await page.evaluate(() => ({
          wider: document.scrollingElement.scrollWidth - document.scrollingElement.clientWidth,
          cut: [...document.querySelectorAll("button, label, summary, h1, h2, h3, h4, p")].filter((one) => one.checkVisibility() && !one.closest(".hidden") && one.scrollWidth > one.clientWidth + 2 && getComputedStyle(one).display !== "inline").map((one) => one.textContent.slice(0, 60)),
          small: [...document.querySelectorAll("button, summary, select, input, a, [role=slider]")].filter((one) => one.checkVisibility() && !one.classList.contains("skip") && Math.min(one.getBoundingClientRect().width, one.getBoundingClientRect().height) < (one.localName === "input" ? 16 : 23.9)).map((one) => `${one.localName} ${one.textContent.slice(0, 40)}`),
          moved,
        }));
        report.looks[`${name} ${state}`] = { ...about, axe: await faults(page) };
      }
      await context.close();
    }
    // Borders closer to each other, and to the place, than they are wide.
    report.close = {};
    for (const width of [320, 1280]) {
      const { page, context } = await open(kLamps, { viewport: { width, height: 900 } });
      await planThere(page);
      const near = 12 / width;
      for (const [i, times] of [1, 2.5, 4].entries()) {
        await page.locator("input[aria-label^='Start of ']").nth(i).fill((near * times * 8).toFixed(3));
        await press(page, "Enter");
      }
      await page.screenshot({ path: join(pictures, `song-close-${width}.png`) });
      report.close[width] = await page.evaluate(() => {
        const boxes = [...document.querySelectorAll("#song-plan .shape [role=slider]")].map((one) => one.getBoundingClientRect());
        return { lefts: boxes.map((one) => Math.round(one.left)), heights: boxes.map((one) => one.height), overlaps: boxes.flatMap((a, i) => boxes.slice(i + 1).filter((b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 0.1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.1)).length };
      });
      report.close[width].axe = (await faults(page)).broken;
      report.close[width].rows = await page.evaluate(async () => {
        const { rowsOf } = await import(new URL("page/borders.js", location.href));
        return [[0, 50, 74], [0, 12, 24, 36, 90], [0, 1, 2, 3, 4, 5, 6]].map(rowsOf);
      });
      await context.close();
    }
  },
};

const wanted = process.env.SENDWORTHY_SCENES?.split(",") || Object.keys(scenes);
const took = {};
for (const name of wanted) {
  const began = Date.now();
  try {
    await scenes[name]();
  } catch (error) {
    report[name] = { failed: `${name}: ${error.stack}` };
  }
  took[name] = (Date.now() - began) / 1000;
}
if (process.env.SENDWORTHY_SCENES) process.stderr.write(`${JSON.stringify(took)}\n`);
report.seen = seen;
await browser.close();
process.stdout.write(JSON.stringify(report));
