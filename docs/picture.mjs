// Makes docs/page.png, the picture in README.md, from a page that the program wrote:
//   node docs/picture.mjs MODULES PAGE PICTURE
// MODULES: the folder with playwright-core, build/browser/node_modules once the tests have run.
import { createRequire } from "node:module";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const [modules, source, picture] = process.argv.slice(2);
const { chromium } = createRequire(join(resolve(modules), "here.js"))("playwright-core");

const browser = await chromium.launch({
  executablePath: process.env.SENDWORTHY_CHROMIUM || "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu"],
});
const page = await browser.newPage({ viewport: { width: 1120, height: 900 }, colorScheme: "light" });
await page.goto(pathToFileURL(resolve(source)).href);
// Down to the end of the pictures.
const end = await page.evaluate(() => document.querySelector(".pictures").getBoundingClientRect().bottom + scrollY);
await page.screenshot({ path: picture, fullPage: true, clip: { x: 0, y: 0, width: 1120, height: Math.ceil(end) + 16 } });
await browser.close();
