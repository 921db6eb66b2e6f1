// Channels whose instruments are missing, on the live page: missing.mjs ADDRESS EMULATOR CONTROL. Meter 2 is gone
// when it begins; long.lua rests, then discharges.
import { execFileSync } from "node:child_process";
import { check, faults, finish, launch, open, sizes, sticksOut } from "./browser.mjs";

const [address, emulator, control] = process.argv.slice(2);
const PATIENCE_MS = 30000;
const tell = (who, order) => execFileSync(emulator, ["--tell", control, who, order]);

const browser = await launch();
const page = await open(browser, address);

const card = (channel, part) => page.locator(`#channel-${channel} ${part}`);
const words = (channel, part) => card(channel, part).textContent({ timeout: PATIENCE_MS });
const isMarked = async (channel) => (await page.locator(`#channel-${channel}`).getAttribute("data-missing")) !== null;

async function until(channel, wanted) {
  const last = Date.now() + PATIENCE_MS;
  let said = "";
  while (Date.now() < last) {
    said = await words(channel, ".step");
    if (wanted.test(said)) return;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  check(false, `${channel} says "${said}" and not ${wanted}`);
}

async function looksRight(where) {
  for (const fault of await faults(page)) check(false, `${where}: ${fault}`);
  check(!(await sticksOut(page)), `${where}: is wider than the window`);
}

// 1. One is missing from the start; the other rests: nothing is driven, and there is no thermometer.
await until("E2", /^not used until meter-2 answers: .+/);
check(await isMarked("E2"), "E2 is not marked");
await until("E1", /^free$/);
execFileSync(process.env.PERDURE, ["start", "long.lua", "--cells", "T-01", "--channel", "E1"]); // now: its rest is short
await until("E1", /^resting/);
check(!(await isMarked("E1")), "E1 is marked");
await page.locator("#channel-E1 .range:not(:empty)").waitFor({ timeout: PATIENCE_MS });
check(/^\d\.\d{3} V to \d\.\d{3} V over \d+ (s|min)$/.test(await words("E1", ".range")), `the curve is of ${await words("E1", ".range")}`);
check(await card("E1", ".voltage").isVisible(), "no voltage is shown");
check(!(await card("E1", ".temperature").isVisible()), "a temperature is shown where none is measured");
check(!(await page.locator("#channel-E1 dt", { hasText: "temperature" }).isVisible()), "the word temperature is shown");
check((await words("E1", ".charge")) === "", `a rest shows ${await words("E1", ".charge")}`);
await looksRight("with a meter missing");

// 2. The other's goes away in the middle of a discharge; the card keeps its run and its cell.
await until("E1", /^discharging/);
check(/^\d\.\d{4} Ah, \d\.\d{4} Wh in this step$/.test(await words("E1", ".charge")), `a discharge shows ${await words("E1", ".charge")}`);
tell("meter-1", "hangup");
await until("E1", /^waits for meter-1: .+/);
check(await isMarked("E1"), "E1 is not marked");
check((await words("E1", ".how")).endsWith(", run 1"), `E1's run is ${await words("E1", ".how")}`);
check((await words("E1", ".cell")) === "T-01", `E1's cell is ${await words("E1", ".cell")}`);
check(/^running: waits for meter-1: /.test(await page.locator("#run-1 .state").textContent()),
  `run 1 is ${await page.locator("#run-1 .state").textContent()}`);
await looksRight("with a run that waits");
await page.setViewportSize(sizes.phone);
await looksRight("with a run that waits, on a phone");

// 3. Both are back.
tell("meter-1", "return");
tell("meter-2", "return");
await until("E1", /^discharging/);
await until("E2", /^free$/);
check(!(await isMarked("E1")) && !(await isMarked("E2")), "a card is marked though all is there");
check(page.complaints.length === 0, `the console says ${page.complaints.join(" | ")}`);
await browser.close();
finish();
