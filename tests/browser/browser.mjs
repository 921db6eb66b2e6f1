// A real browser for the tests, and what every page must keep to. Modules come from $BROWSER_MODULES, where
// tests/support/setup.sh put them.
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const require = createRequire(process.env.BROWSER_MODULES + "/");
const { chromium } = require("playwright-core");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

export const sizes = {
  desktop: { width: 1280, height: 900 },
  phone: { width: 390, height: 844 },
};

let failures = 0;

export function check(holds, what) {
  if (!holds) {
    failures++;
    console.log("FAILED: " + what);
  }
}

export function finish() {
  process.exit(failures ? 1 : 0);
}

export async function launch() {
  return chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox", "--disable-gpu"] });
}

// A page that keeps what it complained of, and the addresses that it asked for, in page.complaints and page.asked.
export async function open(browser, url, options = {}) {
  const context = await browser.newContext({ viewport: sizes.desktop, ...options });
  const page = await context.newPage();
  page.complaints = [];
  page.asked = [];
  page.on("console", (message) => {
    if (message.type() === "error" || message.type() === "warning") page.complaints.push(message.text());
  });
  page.on("pageerror", (error) => page.complaints.push(String(error)));
  page.on("request", (request) => page.asked.push(request.url()));
  await page.goto(url);
  return page;
}

// What axe-core finds and calls serious or critical, one line each.
export async function faults(page) {
  await page.evaluate(axe);
  const found = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ["violations"] }));
  return found.violations
    .filter((rule) => rule.impact === "serious" || rule.impact === "critical")
    .map((rule) => `${rule.id} (${rule.impact}): ${rule.nodes[0].html.slice(0, 160)} [${rule.nodes.length}]`);
}

// Whether something sticks out to the right of the window.
export async function sticksOut(page) {
  return page.evaluate(() => document.documentElement.scrollWidth > window.innerWidth + 1);
}
