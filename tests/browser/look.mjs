// Opens pages in Chromium and writes down what a reader would meet, as JSON on standard output.
//   node look.mjs MODULES PICTURES PAGE...
// MODULES: the folder with playwright-core and axe-core. PICTURES: where screenshots go. PAGE: paths of HTML files.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, join } from "node:path";
import { pathToFileURL } from "node:url";

const [modules, pictures, ...pages] = process.argv.slice(2);
const require = createRequire(join(modules, "here.js"));
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const widths = [320, 480, 768, 1280, 1920];
const browser = await chromium.launch({
  executablePath: process.env.SENDWORTHY_CHROMIUM || "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
});

/** A page that notes every request but the first, every message and every error. */
async function open(path, options) {
  const address = pathToFileURL(path).href;
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const seen = { requests: [], messages: [] };
  page.on("request", (request) => request.url().split("#")[0] === address || seen.requests.push(request.url()));
  page.on("console", (message) => seen.messages.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => seen.messages.push(`error: ${error.message}`));
  page.on("dialog", (dialog) => {
    seen.messages.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  await page.goto(address, { waitUntil: "load" });
  return { page, context, seen };
}

/** What axe finds, with how grave it is. The rules are the ones for WCAG 2.2, A and AA, and its own good practice. */
async function faults(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(() =>
    axe.run(document, {
      runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    }),
  );
  return {
    kept: found.passes.map((one) => one.id),
    broken: found.violations.map((one) => `${one.impact} ${one.id}: ${one.nodes[0].html.slice(0, 160)}`),
  };
}

/** What the page measures on a screen of this size. */
const layout = () => {
  const root = document.scrollingElement;
  const cut = [];
  for (const text of document.querySelectorAll("svg.plot text")) {
    const box = text.getBoundingClientRect(), frame = text.closest("svg.plot").getBoundingClientRect();
    if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1)
      cut.push(text.textContent);
  }
  const plots = [...document.querySelectorAll("svg.plot")].map((svg) => svg.getBoundingClientRect());
  return {
    wider: root.scrollWidth - root.clientWidth,
    height: root.scrollHeight,
    plots: plots.length,
    empty: plots.filter((box) => box.width < 200 || box.height < 60).length,
    cut,
    letters: Math.min(...[...document.querySelectorAll("svg.plot text")].map((text) => text.getBoundingClientRect().height)),
    ground: getComputedStyle(document.body).backgroundColor,
    ink: getComputedStyle(document.body).color,
  };
};

/** Everything the Tab key reaches, in order, with whether the focus shows. */
async function walk(page) {
  const stops = [];
  await page.evaluate(() => document.activeElement.blur());
  for (let i = 0; i < 400; ++i) {
    await page.keyboard.press("Tab");
    const stop = await page.evaluate(() => {
      const at = document.activeElement;
      if (!at || at === document.body) return null;
      const all = [...document.querySelectorAll("*")], style = getComputedStyle(at), box = at.getBoundingClientRect();
      return {
        index: all.indexOf(at),
        name: at.getAttribute("aria-label") || at.textContent.trim().slice(0, 60),
        kind: at.localName,
        shows: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
        width: box.width,
        height: box.height,
      };
    });
    if (!stop) break;
    stops.push(stop);
  }
  return stops;
}

/** How light both edges of what scrolls are, 0 … 255, the median down the edge, scrolled to its start and to its end. */
async function edges(page) {
  const found = [];
  for (const box of (await page.locator(".scroll").all()).slice(0, 4)) {
    for (const at of ["start", "end"]) {
      await box.evaluate((one, where) => (one.scrollLeft = where === "end" ? one.scrollWidth : 0), at);
      const picture = (await box.screenshot()).toString("base64");
      found.push(
        await box.evaluate(
          async (one, [shot, where]) => {
            const image = await createImageBitmap(new Blob([Uint8Array.from(atob(shot), (c) => c.charCodeAt(0))], { type: "image/png" }));
            const canvas = new OffscreenCanvas(image.width, image.height), ink = canvas.getContext("2d");
            ink.drawImage(image, 0, 0);
            const data = ink.getImageData(0, 0, image.width, image.height).data;
            const light = (x) => {
              const down = Array.from({ length: image.height }, (_, y) => 4 * (y * image.width + x)).map((i) => (data[i] + data[i + 1] + data[i + 2]) / 3);
              return down.sort((a, b) => a - b)[image.height >> 1];
            };
            return { at: where, more: one.scrollWidth > one.clientWidth, left: light(1), right: light(image.width - 2) };
          },
          [picture, at],
        ),
      );
      await box.evaluate((one) => (one.scrollLeft = 0));
    }
  }
  return found;
}

/** The script at work: looking closer moves all pictures over time, and goes back. */
async function zoom(page) {
  const state = () =>
    page.evaluate(() =>
      [...document.querySelectorAll("section.file")[0].querySelectorAll("svg.time")].map((svg) => ({
        box: svg.querySelector("svg.data").getAttribute("viewBox"),
        ticks: [...svg.querySelectorAll(".xticks text")].map((text) => text.textContent),
        cut: [...svg.querySelectorAll(".xticks text")].filter((text) => text.getBoundingClientRect().right > svg.getBoundingClientRect().right + 1).length,
      })),
    );
  if (!(await page.locator("section.file .tools.on").count())) return null;
  const steps = { whole: await state() };
  const press = async (name) => {
    await page.locator(`section.file >> nth=0`).locator(`button[data-move="${name}"]`).focus();
    await page.keyboard.press("Enter");
  };
  await press("closer");
  steps.closer = await state();
  await press("later");
  steps.later = await state();
  await press("all");
  steps.back = await state();
  const place = page.locator("section.file >> nth=0").locator("button[data-place]").first();
  if (await place.count()) {
    await place.click();
    steps.there = await state();
    steps.place = Number(await place.getAttribute("data-place"));
    const said = page.locator("section.file >> nth=0").locator(".shown");
    const focus = () => page.evaluate(() => document.activeElement.getAttribute("aria-label") || document.activeElement.textContent);
    steps.said_there = await said.textContent();
    steps.focus_there = await focus();
    await page.evaluate(() => dispatchEvent(new Event("beforeprint")));
    steps.printed = (await state())[0].box;
    await page.evaluate(() => dispatchEvent(new Event("afterprint")));
    steps.there = await state();
    steps.visible = await page.evaluate(() => {
      const box = document.querySelector("figure.picture").getBoundingClientRect();
      return box.top < innerHeight && box.bottom > 0;
    });
    await press("back");
    steps.focus_back = await focus();
    steps.said = await said.textContent();
  }
  return steps;
}

const sheets = (pdf) => (pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g) || []).length;

const report = {};
for (const path of pages) {
  const name = basename(path, ".html");
  const about = (report[name] = { sizes: {}, axe: {}, edges: {} });
  {
    const { page, context, seen } = await open(path, { viewport: { width: 1280, height: 900 }, colorScheme: "light" });
    for (const width of widths) {
      await page.setViewportSize({ width, height: 900 });
      await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
      about.sizes[width] = await page.evaluate(layout);
      await page.screenshot({ path: join(pictures, `${name}-${width}.png`), fullPage: about.sizes[width].height < 12000 });
      if (width === 320 || width === 1280) about.axe[`light ${width}`] = await faults(page);
      if (width === 320 || width === 1280) about.edges[width] = await edges(page);
    }
    await page.setViewportSize({ width: 1280, height: 900 });
    about.text = await page.evaluate(() => document.body.innerText);
    about.stops = await walk(page);
    about.zoom = await zoom(page);
    await page.setViewportSize({ width: 320, height: 900 });
    about.narrow_stops = await walk(page);
    for (const format of ["A4", "Letter"]) {
      const pdf = await page.pdf({ format, path: join(pictures, `${name}-${format}.pdf`), printBackground: false });
      about[format] = sheets(pdf);
    }
    about.seen = seen;
    await context.close();
  }
  {
    const { page, context, seen } = await open(path, { viewport: { width: 1280, height: 900 }, colorScheme: "dark" });
    about.dark = await page.evaluate(layout);
    about.axe["dark 1280"] = await faults(page);
    await page.screenshot({ path: join(pictures, `${name}-dark.png`), fullPage: about.dark.height < 12000 });
    await page.emulateMedia({ media: "print", colorScheme: "dark" });
    about.print = await page.evaluate(layout);
    about.seen.messages.push(...seen.messages);
    about.seen.requests.push(...seen.requests);
    await context.close();
  }
  {
    const { page, context, seen } = await open(path, { viewport: { width: 1280, height: 900 }, javaScriptEnabled: false });
    about.bare_text = await page.locator("body").innerText();
    about.bare_buttons = await page.locator("button:visible").count();
    about.seen.requests.push(...seen.requests);
    await context.close();
  }
}
await browser.close();
process.stdout.write(JSON.stringify(report));
