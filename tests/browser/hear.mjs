// Plays places of sheets on the local page as a person would, in Chromium; renders what would sound by the page's own graph without
// a clock, and holds it against the samples of the files. Writes what it found, as JSON, on standard output.
//   node hear.mjs MODULES PICTURES ADDRESS ROOM FACTS
// MODULES, PICTURES, ADDRESS, ROOM: as for desk.mjs. FACTS: a JSON file that says what the sounds of the room are made of.
import { readFileSync, unlinkSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";

const [modules, pictures, address, room, facts_path] = process.argv.slice(2);
const require = createRequire(join(modules, "here.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const facts = JSON.parse(readFileSync(facts_path, "utf8"));
const origin = new URL(address).origin;
const kLong = 60000, kCeiling = 10 ** (-1 / 20);

const browser = await chromium.launch({
  executablePath: process.env.SENDWORTHY_CHROMIUM || "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
});
const seen = { elsewhere: [], messages: [] };

async function open(options = {}, context = null) {
  context ||= await browser.newContext({ viewport: { width: 1280, height: 900 }, colorScheme: "light", ...options });
  const page = await context.newPage();
  page.on("request", (request) => request.url().startsWith(`${origin}/`) || seen.elsewhere.push(request.url()));
  page.on("console", (message) => seen.messages.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => seen.messages.push(`error: ${error.message}`));
  page.on("dialog", (dialog) => (seen.messages.push(`dialog: ${dialog.message()}`), dialog.dismiss()));
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
  await page.evaluate(async () => {
    const of = async (name) => Object.assign(window, await import(new URL(`page/${name}.js`, document.baseURI)));
    for (const name of ["main", "chain", "sound", "two"]) await of(name);
    const samples = async (buffer) => {
      const bytes = (row) => new Promise((done) => {
        const reader = new FileReader();
        reader.onload = () => done(reader.result.split(",")[1] ?? "");
        reader.readAsDataURL(new Blob([row]));
      });
      return Promise.all(Array.from({ length: buffer.numberOfChannels }, (_, c) => bytes(buffer.getChannelData(c))));
    };
    /** What a plan sounds like, by the page's own graph in a context without a clock. `at`: before it, at [seconds, which]. */
    window.rendered = async (plan, { rate = plan.rate, hear } = {}) => {
      const context = new OfflineAudioContext(2, Math.round((plan.seconds + 0.02) * rate), rate), acts = [];
      const chain = await Chain.in(context, (db) => acts.push(db));
      const { feed, lanes } = await layOut(chain, plan, Infinity);
      chain.open(feed.start, feed.end);
      if (hear) lanes.hear(hear[1], hear[0]);
      const rows = await samples(await context.startRendering());
      return { rate, acts, rows };
    };
    /** Rows of samples through the guard alone. */
    window.guarded = async (rows, rate) => {
      const context = new OfflineAudioContext(2, rows[0].length, rate), acts = [];
      await context.audioWorklet.addModule(new URL("page/guard-worklet.js", document.baseURI));
      const guard = new AudioWorkletNode(context, "peak-guard", { outputChannelCount: [2], channelCount: 2, channelCountMode: "explicit" });
      guard.port.onmessage = (event) => acts.push(event.data.down_db);
      const buffer = context.createBuffer(2, rows[0].length, rate);
      rows.forEach((row, c) => buffer.copyToChannel(row, c));
      const source = new AudioBufferSourceNode(context, { buffer });
      source.connect(guard).connect(context.destination);
      source.start();
      const made = await samples(await context.startRendering());
      await new Promise((done) => setTimeout(done, 100));
      return { acts, rows: made };
    };
  });
  return { page, context };
}

const floats = (text) => {
  const bytes = Buffer.from(text, "base64");
  return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
};
const rows = (made) => ({ ...made, rows: made.rows.map(floats) });

/** The samples of a WAV file as this test reads them: {rate, rows}. */
function wave(name) {
  const bytes = readFileSync(join(room, name));
  let rate, channels, bits, data;
  for (let at = 12; at + 8 <= bytes.length;) {
    const id = bytes.toString("latin1", at, at + 4), size = bytes.readUInt32LE(at + 4);
    if (id === "fmt ") [channels, rate, bits] = [bytes.readUInt16LE(at + 10), bytes.readUInt32LE(at + 12), bytes.readUInt16LE(at + 22)];
    if (id === "data") data = bytes.subarray(at + 8, at + 8 + size);
    at += 8 + size + (size & 1);
  }
  const width = bits / 8, frames = data.length / width / channels;
  const read = (i) => (bits === 32 ? data.readFloatLE(4 * i) : data.readIntLE(width * i, width) / 2 ** (bits - 1));
  return { rate, rows: Array.from({ length: channels }, (_, c) => Float32Array.from({ length: frames }, (_, i) => read(i * channels + c))) };
}

/** The level of a tone of `hz` in `count` samples from `at`, as an amplitude. A whole number of periods, or a window, is the caller's business. */
function tone(row, rate, hz, at, count) {
  let re = 0, im = 0, all = 0;
  for (let i = 0; i < count; ++i) {
    // A Hann window: what other tones leave here is nothing.
    const w = 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / count), phase = (2 * Math.PI * hz * (at + i)) / rate;
    re += w * row[at + i] * Math.cos(phase);
    im += w * row[at + i] * Math.sin(phase);
    all += w;
  }
  return (2 * Math.hypot(re, im)) / all;
}

/** Where `piece` lies in `row`: the offset of the highest normalised cross-correlation within `from` … `to`. */
function found(row, piece, from, to) {
  let best = -2, at = null;
  const power = piece.reduce((sum, x) => sum + x * x, 0);
  for (let lag = from; lag <= to; ++lag) {
    let sum = 0, own = 0;
    for (let i = 0; i < piece.length; ++i) {
      const x = row[lag + i] ?? 0;
      sum += x * piece[i];
      own += x * x;
    }
    const likeness = sum / Math.sqrt(own * power || 1);
    if (likeness > best) [best, at] = [likeness, lag];
  }
  return { at, likeness: best };
}

const text = (page, selector) => page.locator(selector).innerText();
const db = (x) => 20 * Math.log10(x);
const decibels = (row, from, count) => db(Math.sqrt(row.subarray(from, from + count).reduce((sum, x) => sum + x * x, 0) / count));
const most = (row) => row.reduce((highest, x) => Math.max(highest, Math.abs(x)), 0);
const delayOf = (rate) => Math.round(0.005 * rate) - 1;
const playing = (page) => page.waitForFunction(() => player.state === "playing", null, { timeout: kLong });
const idle = (page) => page.waitForFunction(() => player.state === "idle", null, { timeout: kLong });
const level = (page, value) => page.evaluate((to) => {
  const one = document.getElementById("level");
  one.value = String(to);
  one.dispatchEvent(new Event("input", { bubbles: true }));
}, value);
/** Plays so much of a file of the room from its beginning in a way, at a level; gives the plan's figures. */
const play = (page, path, { way, from = 0, to = 3 } = {}) =>
  page.evaluate((request) => player.play(request).then(() => player.state), { source: { path }, name: path, place: "here", from_s: from, to_s: to, way });
const placesThere = (page) => page.waitForFunction(() => !document.getElementById("hear").hidden && document.querySelector("#hear-list .place"), null, { timeout: kLong });

/** Has files of the room checked, and looks at that check. */
async function check(page, names) {
  const number = await page.evaluate(async (files) => {
    const answer = await fetch("api/checks", { method: "POST", body: JSON.stringify({ files: files.map((path) => ({ path })), rules: [] }) });
    return (await answer.json()).check.replace(/\D/g, "");
  }, names);
  await page.locator(`#ledger li[data-number="${number}"] .entry`).click();
  await page.waitForFunction(() => document.getElementById("running").hidden && !document.getElementById("after").hidden, null, { timeout: kLong });
}

const at = (page) =>
  page.evaluate(() => {
    const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
    const middle = document.elementFromPoint(box.left + Math.min(box.width / 2, 20), box.top + Math.min(box.height / 2, 12));
    return {
      id: one.id || one.closest("[id]")?.id || "", name: (one.getAttribute("aria-label") || one.innerText || one.value || "").trim().slice(0, 60), kind: one.localName,
      shows: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2, covered: Boolean(middle) && !one.contains(middle) && !middle.contains(one),
    };
  });

// What of left and right each side has, in ways that filter nothing.
const kShares = {
  "as-it-is": [[1, 0], [0, 1]], quiet: [[0.1, 0], [0, 0.1]], mono: [[0.5, 0.5], [0.5, 0.5]],
  left: [[1, 0], [1, 0]], right: [[0, 1], [0, 1]], side: [[0.5, -0.5], [0.5, -0.5]],
};

const report = {};
const scenes = {
  /** A place of a sheet is pressed; what then sounds is held against the file. At several rates. */
  async places() {
    const { page, context } = await open();
    await check(page, facts.noises.map((one) => one.name));
    await placesThere(page);
    report.places = { list: await text(page, "#hear-list"), text: await text(page, "#hear-text"), known: await page.evaluate(() => player.known) };
    report.places.each = {};
    for (const { name, rate, frame } of facts.noises) {
      const file = wave(name), clock = `0:${(frame / rate).toFixed(3).padStart(6, "0")}`;
      await page.locator("#hear-list .place", { hasText: clock }).first().click();
      await playing(page);
      const plan = await page.evaluate(() => ({ name: player.request.name, at: player.plan.lanes[0].at, rate: player.context.sampleRate, seconds: player.plan.seconds, way: player.plan.way, db: player.plan.db }));
      report.places.counted ??= await text(page, "#played");
      const sentence = await text(page, "#heard"), what = await text(page, "#what");
      const pressed = await page.locator("#hear-list [aria-pressed=true]").allInnerTexts();
      // That something sounds now, and not only in the rendering.
      const live = await page.evaluate(async () => {
        const tap = new AnalyserNode(player.context, { fftSize: 2048 }), row = new Float32Array(2048);
        player.chain.guard.connect(tap);
        await new Promise((done) => setTimeout(done, 700));
        tap.getFloatTimeDomainData(row);
        player.chain.guard.disconnect(tap);
        return Math.sqrt(row.reduce((sum, x) => sum + x * x, 0) / row.length);
      });
      const made = rows(await page.evaluate(() => rendered(player.plan)));
      const delay = delayOf(rate), past = Math.round(0.3 * rate), piece = made.rows[0].slice(past, past + 4096);
      const where = found(file.rows[0], piece, plan.at + past - 3000, plan.at + past + 3000);
      let worst = 0;
      for (let c = 0; c < 2; ++c) for (let i = past; i < Math.round(1.2 * rate); ++i) worst = Math.max(worst, Math.abs(made.rows[c][i] / 10 ** (plan.db / 20) - file.rows[c][plan.at + i - delay]));
      const risen = (s) => decibels(made.rows[0], Math.round(s * rate) + delay, Math.round(0.005 * rate)) - decibels(file.rows[0], plan.at + Math.round(s * rate), Math.round(0.005 * rate));
      report.places.each[name] = {
        plan, sentence, what, pressed, live, worst, likeness: where.likeness, off: where.at - (plan.at + past - delay), frame, first: Math.abs(made.rows[0][delay]),
        gain: decibels(made.rows[0], past + delay, 8192) - decibels(file.rows[0], plan.at + past, 8192), ramp: [0.005, 0.025, 0.05, 0.12].map(risen),
        last: Math.max(...made.rows.map((row) => most(row.slice(Math.round(plan.seconds * rate) + delay + 1)))),
      };
      // Pressed again, it stops.
      await page.locator("#hear-list .place[aria-pressed=true]").click();
      await idle(page);
    }
    await page.screenshot({ path: join(pictures, "hear-places.png") });
    report.places.moved = await page.evaluate(() => moved);
    await context.close();
  },

  /** What stands on the list: the numbers of the sheet, the names of the program, every place; and a sheet made up for the rest. */
  async lists() {
    const { page, context } = await open();
    await check(page, ["full.wav"]);
    await placesThere(page);
    const full = { list: await text(page, "#hear-list"), text: await text(page, "#hear-text") };
    await check(page, ["many.wav", facts.noises[0].name]);
    await placesThere(page);
    const listed = await page.evaluate(() => [...document.querySelectorAll("#hear-list h4")].map((title) => [title.textContent, [...title.nextElementSibling.children].map((one) => [one.querySelector(".number").textContent, one.querySelector(".head").textContent])]));
    const frame = await (await page.waitForSelector("#frame iframe")).contentFrame();
    await frame.waitForSelector("footer", { timeout: kLong });
    const sheet = await frame.evaluate(() => [...document.querySelectorAll("section.file")].map((file) => [file.querySelector("h2").textContent, [...file.querySelectorAll("ol.findings li")].map((one) => [one.querySelector(".number").textContent, one.querySelector(".head").textContent])]));
    const more = page.locator("#hear-list .more").first(), before = await page.locator("#hear-list .place").count(), words = await more.innerText();
    await more.focus();
    await page.keyboard.press("Enter");
    report.lists = { full, listed, sheet, before, words, after: await page.locator("#hear-list .place").count(), focus: await at(page) };
    report.lists.made = await page.evaluate(async ([song, pair, known]) => {
      const { placesOf } = await import(new URL("page/hear.js", document.baseURI));
      return [placesOf(song, "c7", known), placesOf(pair, "c8", known)];
    }, [facts.song, facts.compared, { before_s: 1.5, after_s: 1, quiet_db: 20, heard: { "low-end": "below-100", true_peak: "quiet" }, by_channel: ["silent_channels"], titles: { true_peak: "True peak" } }]);
    await context.close();
  },

  /** Every way, by tones of which each stands in one channel; and at another rate than the file's. */
  async ways() {
    const { page, context } = await open();
    report.ways = { menu: await page.locator("#listen-as option").allInnerTexts(), each: {} };
    for (const { name, rate, left, right } of facts.tones) {
      for (const way of ["as-it-is", "quiet", "mono", "below-100", "below-120", "small-speaker", "left", "right", "side"]) {
        await play(page, name, { way, from: 0.5, to: 2.5 });
        const sentence = await text(page, "#heard");
        for (const other of way === "as-it-is" || way === "below-100" ? [rate, 48000] : [rate]) {
          const made = rows(await page.evaluate((to) => rendered(player.plan, { rate: to }), other));
          const tones = [...left, ...right].map(({ hz, amplitude }) => made.rows.map((row) => db(tone(row, other, hz, Math.round(0.6 * other), other) / amplitude) + 20));
          const about = { sentence, tones };
          if (kShares[way]) {
            // By the formula of the tones, each sample at its own time.
            about.worst = 0;
            for (let i = Math.round(0.3 * other); i < 1.5 * other; ++i) {
              const t = 0.5 + (i - delayOf(other)) / other;
              const now = [left, right].map((list) => list.reduce((sum, one) => sum + one.amplitude * Math.sin(2 * Math.PI * one.hz * t), 0));
              kShares[way].forEach(([l, r], c) => (about.worst = Math.max(about.worst, Math.abs(10 * made.rows[c][i] - l * now[0] - r * now[1]))));
            }
          }
          report.ways.each[`${name} ${way} ${other}`] = about;
        }
      }
    }
    // The sentence while it plays, whatever is moved.
    await play(page, facts.tones[0].name, { to: 20 });
    report.ways.said = [await text(page, "#heard")];
    for (const [way, to] of [["below-100", -20], ["below-100", 0], ["quiet", 0], ["side", -7]]) {
      await page.locator("#listen-as").selectOption(way);
      await level(page, to);
      await page.waitForTimeout(200);
      report.ways.said.push([await text(page, "#heard"), await page.evaluate(() => [player.chain.way.name, player.chain.level.gain.value])]);
    }
    await page.keyboard.press("Escape");
    await context.close();
  },

  /** One channel, and more than two. */
  async channels() {
    const { page, context } = await open();
    report.channels = {};
    const tones = (made, count) => facts.coded.slice(0, count).map((hz) => made.rows.map((row) => 10 * tone(row, 48000, hz, 14400, 24000)));
    for (const { name, of, channels } of facts.channels) {
      for (const way of ["as-it-is", "mono", "left", "side", ...(channels > 2 ? ["channel-4"] : [])]) {
        await play(page, name, { way, from: 0, to: 1 });
        const made = rows(await page.evaluate(() => rendered(player.plan)));
        report.channels[`${of} ${way}`] = { sentence: await text(page, "#heard"), tones: tones(made, channels) };
      }
    }
    report.channels.menu = await page.locator("#listen-as option").allInnerTexts();
    await page.evaluate((pair) => player.play({ two: { older: { path: "surround.wav" }, newer: { path: "channels 1.wav" }, pair }, name: "two", place: "both", from_s: 0, to_s: 1 }), { offset_s: 0, speed: 1, old_gain_db: 0, new_gain_db: 0 });
    const [older, newer] = [rows(await page.evaluate(() => rendered(player.plan))), rows(await page.evaluate(() => rendered({ ...player.plan, first: 1 })))];
    report.channels.two = { sentence: await text(page, "#heard"), tones: tones(older, 6), other: tones(newer, 1)[0][0] };
    // A place that only the LFE has, pressed; and then among all others.
    await check(page, ["low effects.wav"]);
    await placesThere(page);
    const place = page.locator("#hear-list .place", { hasText: "channel 4" }).first(), low = (report.channels.low = { place: await place.innerText(), said: [], most: [] });
    await place.click();
    await playing(page);
    low.chosen = await page.locator("#listen-as option:checked").innerText();
    for (const way of ["", "as-it-is"]) {
      if (way) await page.locator("#listen-as").selectOption(way);
      low.said.push(await text(page, "#heard"));
      low.most.push(most(rows(await page.evaluate((name) => rendered({ ...player.plan, way: name || player.plan.way }), way)).rows[0]));
    }
    await page.evaluate(() => player.stop());
    await page.locator("#remove").click();
    await context.close();
  },

  async guard() {
    const { page, context } = await open();
    report.guard = { quiet: {}, hot: {} };
    for (const rate of [44100, 96000]) {
      const delay = delayOf(rate), count = 6 * rate;
      const shapes = {
        quiet: (i) => 0.8912 * Math.sin(i * i * 0.37) * (i % 7 ? 0.6 : 1),
        sine: (i) => 4 * Math.sin((2 * Math.PI * 997 * i) / rate),
        clicks: (i) => (i % 4801 === 4800 ? 30 : 0.3 * Math.sin(i * 0.1)),
        step: (i) => (i < rate ? 0.5 : i < 2 * rate ? 2 : 0.5),
        turns: (i) => (i % 2 ? 1.5 : -1.5),
        swells: (i) => 3 * Math.sin(i * 0.3) * Math.sin(i * 0.0007),
        broken: (i) => (i % 1000 === 7 ? NaN : i % 1000 === 9 ? Infinity : 1.1 * Math.sin(i * 0.21)),
        justover: (i) => (i < rate ? 0.9 : 0.85) * (i % 2 ? 1 : -1),
      };
      for (const [name, shape] of Object.entries(shapes)) {
        const left = Float32Array.from({ length: count }, (_, i) => shape(i)), right = left.map((x, i) => (name === "quiet" || name === "step" ? -x : 0.5 * left[count - 1 - i]));
        const given = [left, right].map((row) => Buffer.from(row.buffer).toString("base64"));
        const made = rows(await page.evaluate(async ([texts, to]) => guarded(texts.map((text) => new Float32Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer)), to), [given, rate]));
        const odd = made.rows.some((row) => row.some((x) => !Number.isFinite(x)));
        let unlike = 0;
        for (const [c, row] of [left, right].entries()) for (let i = 0; i + delay < count; ++i) if (made.rows[c][i + delay] !== row[i]) ++unlike;
        report.guard[name === "quiet" ? "quiet" : "hot"][`${name} ${rate}`] = { most: Math.max(...made.rows.map(most)), odd, unlike, acts: made.acts.length, down: Math.max(0, ...made.acts) };
        if (name !== "step") continue;
        // The gain goes down before the step, smoothly, and is back at exactly 1 in time.
        const gain = made.rows[0].map((x, i) => (i >= delay ? x / left[i - delay] : 1));
        let jump = 0;
        for (let i = delay + 1; i < count; ++i) jump = Math.max(jump, Math.abs(gain[i] - gain[i - 1]));
        report.guard[`step ${rate}`] = { jump, end: made.rows[0][count - 1], before: made.rows[0][rate / 2] };
      }
    }
    // The lamp, by a file that is too hot, at full level; and at the level the page starts with.
    await play(page, "hot.wav", { to: 30 });
    await page.waitForTimeout(800);
    report.guard.rest = await text(page, "#guard");
    await level(page, 0);
    await page.waitForFunction(() => document.getElementById("guard").classList.contains("lit"), null, { timeout: kLong });
    report.guard.lit = await text(page, "#guard");
    await page.screenshot({ path: join(pictures, "hear-guard.png") });
    await page.evaluate(() => player.stop());
    await page.waitForFunction(() => !document.getElementById("guard").classList.contains("lit"), null, { timeout: kLong });
    report.guard.after = await text(page, "#guard");
    report.guard.said = await page.evaluate(() => said);
    await context.close();
  },

  /** Two bounces in step. */
  async two() {
    const { page, context } = await open();
    report.two = {};
    for (const { older, newer, pair } of facts.pairs) {
      const asked = { two: { older: { path: older }, newer: { path: newer }, pair }, name: newer, place: "both", from_s: 2, to_s: 8 };
      await page.evaluate((request) => player.play(request), asked);
      await playing(page);
      const rate = await page.evaluate(() => player.plan.rate);
      const made = [];
      for (const [which, hear] of [[0], [1], [0, [1.5, 1]]]) made.push(rows(await page.evaluate(([lane, change]) => rendered({ ...player.plan, seconds: 3, first: lane, db: -6 }, { hear: change }), [which, hear])));
      const from = Math.round(0.5 * rate), [old, fresh, both] = made.map((one) => one.rows[0]);
      const lag = found(fresh, old.slice(from, from + 4096), from - 600, from + 600);
      // Where a stretch is the same in both, switching is not heard: not even while it happens.
      let worst = 0, worstOwn = 0;
      for (let i = from; i < 2.8 * rate; ++i) {
        worst = Math.max(worst, Math.abs(both[i] - old[i]));
        worstOwn = Math.max(worstOwn, Math.abs(fresh[i] - old[i]));
      }
      const edge = Math.round(1.5 * rate) + delayOf(rate);
      let before = 0, after = 0;
      for (let i = from; i < edge - 200; ++i) before = Math.max(before, Math.abs(both[i] - old[i]));
      for (let i = edge + Math.round(0.005 * rate) + 200; i < 2.8 * rate; ++i) after = Math.max(after, Math.abs(both[i] - fresh[i]));
      // And as it plays: no time goes by. The rendering may have taken longer than there was to play.
      await page.evaluate((request) => player.play(request), asked);
      await page.waitForFunction(() => player.feed?.elapsed() > 0.1, null, { timeout: kLong });
      const live = await page.evaluate(async () => {
        const look = () => [player.context.currentTime, player.feed.elapsed() + player.feed.waited, player.lanes.parts.map((part) => part.gain.value), document.getElementById("heard").textContent];
        const told = [look()];
        for (const which of [1, 0, 1]) {
          player.hear(which);
          await new Promise((done) => setTimeout(done, 150));
          told.push(look());
        }
        return told;
      });
      report.two[`${older}, ${newer}`] = { rate, lag: lag.at - from, likeness: lag.likeness, matched: decibels(fresh, from, rate) - decibels(old, from, rate), worst, worstOwn, before, after, live, waited: await page.evaluate(() => player.feed?.waited) };
      await page.evaluate(() => player.stop());
    }
    await context.close();
  },

  /** No pointing device: to the places, through them, play, another way, stop. */
  async keyboard() {
    const { page, context } = await open();
    const press = (key) => page.keyboard.press(key), stops = [];
    await page.waitForSelector("#ledger .entry");
    await placesThere(page);
    await press("t");
    stops.push(await at(page));
    await press("ArrowDown");
    stops.push(await at(page));
    await press("Enter");
    await playing(page);
    const what = await text(page, "#what");
    await press("w");
    stops.push(await at(page));
    await press("ArrowDown");
    await press("ArrowDown");
    const way = await text(page, "#heard");
    await press("Tab");
    stops.push(await at(page));
    await press("ArrowRight");
    const louder = await text(page, "#heard");
    await press("Shift+Tab");
    await press("Shift+Tab");
    stops.push(await at(page));
    await press("Enter");
    await idle(page);
    const stopped = await text(page, "#play");
    await press("p");
    await playing(page);
    const again = await text(page, "#heard");
    await press("p");
    await idle(page);
    await page.locator("#keys summary").click();
    report.keyboard = { stops, what, way, louder, stopped, again, keys: await text(page, "#key-list"), said: await page.evaluate(() => said) };
    await context.close();
  },

  /** The file goes, or becomes another, while it plays. */
  async gone() {
    report.gone = {};
    for (const [how, act] of [["deleted", (path) => unlinkSync(path)], ["changed", (path) => writeFileSync(path, readFileSync(join(room, facts.tones[0].name)))]]) {
      const { page, context } = await open();
      const before = seen.messages.length;
      // All of it is in the page's memory long before the end.
      await play(page, `${how}.wav`, { to: 8.5 });
      await playing(page);
      await page.waitForTimeout(500);
      act(join(room, `${how}.wav`));
      await idle(page);
      await page.waitForSelector(".notice");
      const told = await text(page, "#notices");
      const button = await text(page, "#play");
      // Asked for once more, it says so again.
      await page.keyboard.press("Escape");
      await page.keyboard.press("p");
      await page.waitForTimeout(1500);
      const again = { state: await page.evaluate(() => player.state), told: await page.locator("#notices").innerText() };
      // The browser itself writes down every refusal.
      const errors = seen.messages.splice(before).filter((one) => !/Failed to load resource.*(404|409)/.test(one));
      report.gone[how] = { told, button, again, errors };
      await context.close();
    }
  },

  /** What has sounded is told to the program, whole and once. */
  async played() {
    const { page, context } = await open();
    const bodies = [];
    page.on("request", (request) => request.url().endsWith("api/played") && request.method() === "POST" && bodies.push(JSON.parse(request.postData())));
    const seconds = () => page.evaluate(async () => (await (await fetch("api/played")).json()).seconds);
    const before = await seconds();
    await play(page, facts.tones[0].name, { from: 1, to: 3.5 });
    await playing(page);
    await idle(page);
    await play(page, facts.tones[0].name, { from: 1, to: 20, way: "quiet" });
    await playing(page);
    await page.waitForTimeout(1000);
    await page.locator("#play").click();
    await idle(page);
    await page.waitForTimeout(500);
    const shown = await text(page, "#played"), after = await seconds();
    // As the program tells it once some minutes have sounded.
    const minutes = await page.evaluate(() => {
      const was = player.counted;
      player.count({ seconds: 174, exposure: null, time: "Played: 2.9 min.", rest: "Of 1.5 it is not known. It is.", text: "" });
      const now = ["played", "player-without"].map((id) => document.getElementById(id).textContent);
      player.count(was);
      return now;
    });
    await play(page, facts.tones[0].name, { from: 1, to: 20 });
    await playing(page);
    await page.waitForTimeout(1000);
    // Closed while it plays.
    await page.close({ runBeforeUnload: true });
    const other = (await open({}, context)).page;
    await other.waitForTimeout(500);
    const closed = await other.evaluate(async () => (await (await fetch("api/played")).json()).seconds);
    report.played = { before, after, closed, bodies, shown, minutes, caution: await text(other, "#player-caution"), bar: await text(other, "#player") };
    await context.close();
  },

  /** In one tab only. */
  async tabs() {
    const { page, context } = await open();
    const other = (await open({}, context)).page;
    await play(page, facts.tones[0].name, { to: 30 });
    await playing(page);
    await play(other, facts.tones[0].name, { to: 30 });
    await playing(other);
    await idle(page);
    report.tabs = { first: await text(page, "#what"), second: await other.evaluate(() => player.state) };
    await context.close();
  },

  /** Every size, in both lights, while something plays. */
  async looks() {
    report.looks = {};
    for (const [width, height, colorScheme] of [[320, 640, "light"], [768, 1024, "light"], [1280, 900, "light"], [1920, 1080, "light"], [1280, 900, "dark"]]) {
      const { page, context } = await open({ viewport: { width, height }, colorScheme, reducedMotion: "reduce" });
      await placesThere(page);
      const look = async (state) => {
        await page.screenshot({ path: join(pictures, `hear-${width}${colorScheme === "dark" ? "-dark" : ""}-${state}.png`) });
        await page.evaluate(axe);
        const broken = await page.evaluate(() => axe.run(document, { iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((found) => found.violations.map((one) => `${one.impact} ${one.id}: ${one.nodes[0].html.slice(0, 160)}`)));
        report.looks[`${width} ${colorScheme} ${state}`] = await page.evaluate((faults) => ({
          broken: faults,
          wider: document.scrollingElement.scrollWidth - document.scrollingElement.clientWidth,
          cut: [...document.querySelectorAll("button, label, summary, h1, h2, h3, h4, p, .head")].filter((one) => one.checkVisibility() && !one.closest(".hidden") && one.scrollWidth > one.clientWidth + 2 && getComputedStyle(one).display !== "inline").map((one) => one.textContent.slice(0, 60)),
          small: [...document.querySelectorAll("button, summary, select, input, a")].filter((one) => one.checkVisibility() && !one.classList.contains("skip") && Math.min(one.getBoundingClientRect().width, one.getBoundingClientRect().height) < (one.localName === "input" ? 16 : 24)).map((one) => `${one.localName} ${one.textContent.slice(0, 40)}`),
          bar: document.getElementById("player").getBoundingClientRect().height / innerHeight,
        }), broken);
      };
      await look("rest");
      await page.keyboard.press("t");
      const focus = await at(page);
      await page.keyboard.press("Enter");
      await playing(page);
      await page.keyboard.press("w");
      const menu = await at(page);
      await look("playing");
      Object.assign(report.looks[`${width} ${colorScheme} playing`], { focus, menu });
      await context.close();
    }
  },

  async hostile() {
    const { page, context } = await open();
    await check(page, facts.hostile);
    await page.waitForFunction(() => document.querySelector("#hear-list .place"), null, { timeout: kLong });
    await page.locator("#hear-list .place").first().click();
    await playing(page);
    report.hostile = { list: await text(page, "#hear-list"), bar: await text(page, "#player"), scripts: await page.evaluate(() => document.querySelectorAll("script, img").length) };
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
