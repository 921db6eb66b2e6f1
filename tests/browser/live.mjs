// The live page in a real browser: live.mjs BENCH. Starts the engine on $PERDURE_LOGBOOK itself, because it also
// has to come and go. The logbook holds: run 1 on S1, runs 2 and 3 of asking.lua on H1 and H2, a study (run 4).
import { execFileSync, spawn } from "node:child_process";
import { createServer } from "node:http";
import { check, faults, finish, launch, open, sizes, sticksOut } from "./browser.mjs";

const bench = process.argv[2];
const perdure = process.env.PERDURE;
const PATIENCE_MS = 60000; // for what never comes: a busy machine may take long

// --- the engine and the logbook ----------------------------------------------------------------------------------

// Resolves to {url, token, end()} once the engine says where its page is.
function beginEngine(port) {
  const words = ["engine", "--bench", bench, "--commit-every", "0.2s", "--page", `127.0.0.1:${port}`];
  const child = spawn(perdure, words, { stdio: ["ignore", "pipe", "inherit"] });
  const ended = new Promise((resolve) => child.on("exit", resolve));
  process.on("exit", () => child.kill("SIGKILL"));
  return new Promise((resolve, reject) => {
    let said = "";
    child.stdout.on("data", (bytes) => {
      said += bytes;
      const found = /^page: (http:\/\/[^/]*)\/#token=(\w+)$/m.exec(said);
      if (found) {
        resolve({ url: found[1], token: found[2], end: () => (child.kill("SIGTERM"), ended) });
      }
    });
    ended.then((status) => reject(new Error(`the engine ended with ${status}: ${said}`)));
  });
}

const records = (...words) => JSON.parse(execFileSync(perdure, ["--json", ...words], { encoding: "utf8" }));
const answersOf = (run) => records("runs", String(run)).questions.filter((question) => question.answer !== null);

async function until(holds, what, patience = PATIENCE_MS) {
  const last = Date.now() + patience;
  while (Date.now() < last) {
    if (await holds()) return true;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  check(false, `not within ${patience / 1000} s: ${what}`);
  return false;
}

// --- the page ----------------------------------------------------------------------------------------------------

const text = (page, selector) => page.locator(selector).first().textContent({ timeout: PATIENCE_MS });

// What the console said but for what the test provoked itself: a browser reports every refusal as an error.
function listened(page, where, ...provoked) {
  const rest = page.complaints.filter((words) => !provoked.some((known) => known.test(words)));
  check(rest.length === 0, `${where}: the console says ${rest.join(" | ")}`);
}

async function looksRight(page, where) {
  for (const fault of await faults(page)) check(false, `${where}: ${fault}`);
  check(!(await sticksOut(page)), `${where}: is wider than the window`);
}

// The question that run now asks, with these words in it; a locator.
async function asked(page, words) {
  const question = page.locator("#question-list li", { hasText: words });
  await question.waitFor({ timeout: PATIENCE_MS });
  return question;
}

async function submit(question, value) {
  await question.locator("input[name=answer]").fill(value);
  await question.locator("button:not([name])").click();
}

async function problem(question) {
  await question.locator(".problem:not(:empty)").waitFor({ timeout: PATIENCE_MS });
  return question.locator(".problem").textContent();
}

// A wrong value is refused beside its field, which keeps it and can be corrected.
async function refused(question, value, why) {
  await submit(question, value);
  check((await problem(question)).includes(why), `"${value}" is refused by: ${await problem(question)}`);
  const field = question.locator("input[name=answer]");
  check((await field.inputValue()) === value, `what was typed is gone: "${value}"`);
  check((await field.getAttribute("aria-invalid")) === "true", `the field does not say that it is wrong: "${value}"`);
  check(await field.evaluate((input) => input === document.activeElement), `the field has lost the focus: "${value}"`);
  check(await field.isEnabled(), `the field cannot be corrected: "${value}"`);
}

// --- what is shown -----------------------------------------------------------------------------------------------

async function showsTheLogbook(page) {
  const cards = await page.$$eval("#channel-list article", (all) => all.map((card) => card.id));
  check(cards.sort().join() === "channel-H1,channel-H2,channel-S1", `the channels are ${cards}`);
  const shown = await page.$$eval("#run-table tbody tr", (rows) =>
    rows.map((row) => ({
      run: Number(row.id.replace("run-", "")),
      state: row.dataset.state,
      script: row.querySelector(".script").textContent,
      cell: row.querySelector(".cell").textContent,
      channel: row.querySelector(".channel").textContent,
    })),
  );
  const kept = records("runs")
    .filter((row) => row.ended_at === null)
    .map((row) => ({ run: row.run, state: row.state, script: row.script, cell: row.cell ?? "", channel: row.channel }));
  const inOrder = (rows) => JSON.stringify(rows.sort((one, other) => one.run - other.run));
  check(kept.length >= 4 && inOrder(shown) === inOrder(kept), `runs shown ${inOrder(shown)}, kept ${inOrder(kept)}`);
  const open = records("overview");
  check(open.runs[0].run === 1 && (await page.locator("#run-1 .end time").getAttribute("datetime")) === open.runs[0].expected_end_at,
    "run 1 is expected to end at another time than perdure overview says");
  check((await page.locator("#agenda-going-on tr").count()) > 1, "the agenda does not show the study that goes on");
  const latest = await page.$$eval('#agenda-planned td[data-label="At latest"]', (all) => all.map((cell) => cell.textContent));
  check(latest.length === 1 && latest[0] === "", `a check that is never too late is to be done by ${latest}`);
  check((await text(page, "#question-count")).startsWith(`${open.questions.length} questions`), "another number of questions");
}

async function moves(page) {
  const card = page.locator("#channel-S1");
  const before = { voltage: await text(page, "#channel-S1 .voltage"), time: await text(page, "#engine-time") };
  check(/^\d\.\d{4} V$/.test(before.voltage), `the voltage is shown as ${before.voltage}`);
  check((await card.getAttribute("data-step")) === "charge", "S1 does not charge");
  await until(async () => (await text(page, "#channel-S1 .voltage")) !== before.voltage, "another voltage");
  await until(async () => (await text(page, "#engine-time")) !== before.time, "a later time");
  await until(() => card.locator("svg polyline[points]").isVisible(), "a curve");
  const curve = await card.locator("svg").evaluate((svg) => [svg.getAttribute("role"), svg.querySelector("title").textContent]);
  check(curve[0] === "img" && /^Voltage in this step: \d\.\d+ V to \d\.\d+ V over .*, now \d\.\d+ V$/.test(curve[1]),
    `the curve is described as ${curve}`);
}

// --- answers -----------------------------------------------------------------------------------------------------

// Run 2 asks for one of each kind; it ends, and every answer is on record under the name given.
async function answersAll(page) {
  await page.locator("#who").fill("Ada");
  const label = await asked(page, "Put T-02 into slot 1");
  await refused(label, "T-03", "T-02");
  await submit(label, "T-02");

  const display = await asked(page, "type what the display says");
  check((await display.locator(".hint").textContent()).includes("ended 18:30"), "the hint does not say how to type when it ended");
  await page.setViewportSize(sizes.phone);
  await looksRight(page, "a display's question on a phone");
  await page.setViewportSize(sizes.desktop);
  await refused(display, "full", "mAh");
  await submit(display, "1950 mAh");

  const number = await asked(page, "the display</b> say?");
  check((await number.locator(".asked b").count()) === 0, "a question's text is taken as markup");
  await refused(number, "many", "a number in mAh");
  await refused(number, "", "nothing in the field");
  await submit(number, "1.875 Ah");

  await (await asked(page, "Which way")).locator('button[value="by hand"]').click();
  await submit(await asked(page, "What else"), "a <i>warm</i> cell");
  await (await asked(page, "Take it out")).locator('button[value="done"]').click();

  await page.locator("#over-2").waitFor({ state: "attached", timeout: PATIENCE_MS });
  await page.locator("#run-2").waitFor({ state: "detached", timeout: PATIENCE_MS });
  const run = records("runs", "2");
  check(run.state === "done", `run 2 is ${run.state}: ${run.why}`);
  check(run.questions.map((question) => question.who).join() === "Ada,Ada,Ada,Ada,Ada,Ada", "not all were answered by Ada");
  check(run.questions[3]?.answer === "by hand" && run.questions[4]?.answer === "a <i>warm</i> cell", "other answers are on record");
  const results = Object.fromEntries(run.results.map((result) => [result.name, result.value]));
  check(results.charged === 1.95 && results.typed === 1.875, `the results are ${JSON.stringify(results)}`);
}

// --- who may not -------------------------------------------------------------------------------------------------

async function readsOnly(page, where, words) {
  await until(async () => (await text(page, "#session")).includes(words), `${where} says: ${words}`);
  const question = await asked(page, "Put T-03 into slot 2");
  check((await question.locator("input:enabled, button:enabled").count()) === 0, `${where}: a question can be answered`);
  check(await page.locator("#token-form").isVisible(), `${where}: no token can be given`);
  check(!(await page.locator("#who-line").isVisible()), `${where}: asks for a name`);
}

// Even who forces the field open, or has another token, is refused by the engine.
async function forces(page, where) {
  const status = await page.evaluate(async () => {
    const headers = { "Content-Type": "application/json", Authorization: "Bearer " + "0".repeat(64) };
    const body = JSON.stringify({ question: 2, answer: "yes", who: "Eve" });
    return (await fetch("answer", { method: "POST", headers, body })).status;
  });
  check(status === 403, `${where}: a forced answer comes back with ${status}`);
}

// What a page at hand gets of the engine's page: the stream, the text, an answer taken in two ways.
async function reaches(page, url, token, question) {
  return page.evaluate(
    async ([target, secret, id]) => {
      const headers = { "Content-Type": "application/json", Authorization: "Bearer " + secret };
      const body = JSON.stringify({ question: id, answer: "yes", who: "Eve" });
      const attempt = (options) => fetch(target + "/answer", { method: "POST", body, headers, ...options }).then(
        (response) => `${response.type} ${response.status}`,
        () => "failed",
      );
      const heard = await new Promise((resolve) => {
        const source = new EventSource(target + "/events");
        const end = (what) => (source.close(), resolve(what));
        source.addEventListener("live", () => end("live"));
        source.addEventListener("error", () => end("failed"));
      });
      const read = await fetch(target + "/").then((response) => response.text(), () => "failed");
      return { heard, read: read.includes("<title>Perdure</title>"), answer: await attempt({}), blind: await attempt({ mode: "no-cors" }) };
    },
    [url, token, question],
  );
}

// A page of another origin that even knows the token.
async function stranger(browser, url, token) {
  const server = createServer((request, response) => {
    response.setHeader("Content-Type", "text/html");
    response.end("<!doctype html><title>Elsewhere</title>");
  });
  await new Promise((resolve) => server.listen(0, "127.0.0.1", resolve));
  const page = await open(browser, `http://127.0.0.1:${server.address().port}/`);
  const got = await reaches(page, url, token, 2);
  await page.context().close();
  server.close();
  return got;
}

// --- all of it ---------------------------------------------------------------------------------------------------

const REFUSAL = /Failed to load resource: the server responded with a status of (403|422)/;
const AWAY = /Failed to load resource: net::ERR_(CONNECTION_|INCOMPLETE_|EMPTY_)|ERR_INCOMPLETE_CHUNKED_ENCODING/;

const browser = await launch();
let engine = await beginEngine(0);
const address = `${engine.url}/#token=${engine.token}`;

const page = await open(browser, address);
await asked(page, "Put T-02 into slot 1");
await asked(page, "Put T-03 into slot 2");
await page.locator("#run-1 .end time").waitFor({ timeout: PATIENCE_MS });
check(!page.url().includes(engine.token), "the token stays in the address");
check(page.asked.every((wanted) => wanted.startsWith(engine.url) || wanted.startsWith("data:")), `asks for ${page.asked}`);
await showsTheLogbook(page);
await moves(page);
await looksRight(page, "light");
await page.emulateMedia({ colorScheme: "dark" });
await looksRight(page, "dark");
listened(page, "with the token");

// A phone, for which nobody has the token.
const phone = await open(browser, engine.url, { viewport: sizes.phone, isMobile: true, hasTouch: true });
await readsOnly(phone, "without the token", "can only be read");
await phone.locator("#channel-S1 .voltage").waitFor({ timeout: PATIENCE_MS });
await looksRight(phone, "phone");
listened(phone, "phone");
await forces(phone, "without the token");
await phone.locator("#token").fill("0".repeat(64));
await phone.locator("#token-form button").click();
await readsOnly(phone, "with a wrong token", "not the one");
await phone.context().close();

// The same attempts from the page itself get through: to a question that there is not.
const own = await reaches(page, engine.url, engine.token, 999);
check(own.heard === "live" && own.read && own.answer === "basic 422", `the page itself gets ${JSON.stringify(own)}`);
const got = await stranger(browser, engine.url, engine.token);
check(got.heard === "failed", "another origin hears the stream");
check(!got.read, "another origin reads the page");
check(got.answer === "failed", `another origin answers: ${got.answer}`);
check(["failed", "opaque 0"].includes(got.blind), `another origin answers blindly: ${got.blind}`);
check(answersOf(3).length === 0, "somebody answered who may not");

await answersAll(page);
listened(page, "while answering", REFUSAL);

// The engine goes and comes back on the same port, with another token.
const port = new URL(engine.url).port;
const old = await text(page, "#engine-time");
await engine.end();
await until(async () => (await text(page, "#notice")).includes("No word from the engine"), "that the engine is gone", 12000);
engine = await beginEngine(port);
await until(async () => (await text(page, "#engine-time")) > old && (await text(page, "#notice")) === "", "the stream again", 15000);
await readsOnly(page, "with the token of before", "not the one");
await forces(page, "with the token of before");
await page.locator("#token").fill(engine.token);
await page.locator("#token-form button").click();
const last = await asked(page, "Put T-03 into slot 2");
await last.locator('button[value="yes"]').click();
await asked(page, "T-03 in slot 2 of the charger: charge");
check(answersOf(3).map((question) => question.who).join() === "Ada", "the answer under the new token is not on record");
listened(page, "in the end", REFUSAL, AWAY);
await engine.end();
await browser.close();
finish();
