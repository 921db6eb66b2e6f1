// A report in a real browser: report.mjs FILE [CHART=SERIES ...]. No complaint on the console, nothing asked for
// from outside, no serious accessibility fault, nothing that sticks out, and in each chart as many series as named.
import { pathToFileURL } from "node:url";
import { check, faults, finish, launch, open, sizes, sticksOut } from "./browser.mjs";

const [file, ...charts] = process.argv.slice(2);
const url = pathToFileURL(file).href;
const browser = await launch();

for (const [name, options] of Object.entries({
  desktop: {},
  dark: { colorScheme: "dark" },
  phone: { viewport: sizes.phone, isMobile: true, hasTouch: true },
})) {
  const page = await open(browser, url, { ...options, offline: true });
  check(page.complaints.length === 0, `${file}, ${name}: the console says ${page.complaints}`);
  check(page.asked.length === 1, `${file}, ${name}: asks for ${page.asked.slice(1)}`);
  check((await page.title()).length > 0, `${file}, ${name}: has no title`);
  for (const fault of await faults(page)) check(false, `${file}, ${name}: ${fault}`);
  check(!(await sticksOut(page)), `${file}, ${name}: is wider than the window`);

  // One drawing of each chart is seen, the wide or the narrow one, with a name and a description for a reader.
  for (const chart of charts) {
    const [id, series] = chart.split("=");
    const seen = await page.$$eval(`svg[aria-labelledby^="${id}-"]`, (drawings) =>
      drawings
        .filter((svg) => svg.getBoundingClientRect().width > 0)
        .map((svg) => ({
          series: new Set([...svg.querySelectorAll("g.series")].map((g) => g.dataset.series)).size,
          alike: [...svg.querySelectorAll("text > title")]
            .map((title) => [title.textContent, title.previousSibling?.textContent])
            .filter(([whole, shown], i, all) => all.some(([other, form], j) => j < i && form === shown && other !== whole)).length,
          named: svg.getAttribute("aria-labelledby").split(" ").every((part) => document.getElementById(part)?.textContent),
        })),
    );
    check(seen.length === 1, `${file}, ${name}: chart ${id} is seen ${seen.length} times`);
    check(seen[0]?.series === Number(series), `${file}, ${name}: chart ${id} has ${seen[0]?.series} series, not ${series}`);
    check(seen[0]?.alike === 0, `${file}, ${name}: chart ${id} shows ${seen[0]?.alike} names as another's`);
    check(seen[0]?.named, `${file}, ${name}: chart ${id} has no text for those who do not see it`);
  }
  await page.context().close();
}

// On paper: a page is as wide as the paper, and what is drawn stays on it.
const page = await open(browser, url);
await page.emulateMedia({ media: "print" });
for (const format of ["A4", "Letter"]) {
  const paper = await page.pdf({ format, path: process.env.KEEP_PAPER ? `${file}-${format}.pdf` : undefined });
  check(paper.subarray(0, 5).toString() === "%PDF-", `${file}: cannot be printed on ${format}`);
}
await page.setViewportSize({ width: 700, height: 990 }); // A4 less usual margins, in CSS pixels
check(!(await sticksOut(page)), `${file}: is wider than the paper`);
await browser.close();
finish();
