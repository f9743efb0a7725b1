// The console in a real browser: what people do at it, whether everybody can, and how it looks.
//
//   node tests/browser/run.mjs [--only WORD] [--pictures FOLDER]
//
// BOLSTER_BIN names the program (else target/release/bolster), CHROMIUM the browser (else chromium on the path), AXE the
// accessibility checker's script. --pictures keeps a picture of every page at 360, 1280 and 1920 px to be looked at.
import { existsSync, mkdirSync } from "node:fs";

import { Chromium } from "./chromium.mjs";
import { Console, ENGINEER, OTHER_ENGINEER, clearUp, engineer, folder, run, sample } from "./consoles.mjs";
import { change } from "./change.mjs";
import { follow } from "./follow.mjs";
import { look } from "./look.mjs";
import { held, stroke } from "./stroke.mjs";
import { wear } from "./wear.mjs";

const option = (name) => {
  const at = process.argv.indexOf(name);
  return at < 0 ? undefined : process.argv[at + 1];
};
const only = option("--only");
const pictures = option("--pictures");
if (pictures) mkdirSync(pictures, { recursive: true });
const path = process.env.CHROMIUM ?? ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"].find(existsSync);

const failed = [];
let passed = 0;

/** One claim about the console; `work` gets a fresh visitor. */
async function claim(browser, name, work) {
  if (only && !name.includes(only)) return;
  const began = Date.now();
  const visitor = await browser.visitor();
  try {
    await work(visitor);
    passed += 1;
    console.log(`ok      ${((Date.now() - began) / 1000).toFixed(1).padStart(6)} s  ${name}`);
  } catch (why) {
    failed.push(name);
    console.log(`FAILED  ${((Date.now() - began) / 1000).toFixed(1).padStart(6)} s  ${name}\n${why.stack}`);
  } finally {
    await visitor.leave().catch(() => {});
  }
}

/** An invented shift with faults, replayed to a console of which two engineers have a password. */
async function replayed() {
  const data = folder();
  const shift = folder();
  run(["simulate", "five-station-faults", "--strokes", "1500", "--out", shift]);
  engineer(data, ENGINEER);
  engineer(data, OTHER_ENGINEER);
  const cards = ["--press", sample("presses/five-station.toml"), "--die", sample("dies/five-station.toml")];
  // The day before a punch broke: strokes that were held are there from the beginning.
  const before = await Console.start(data, ["--replay", sample("faulty/five-station-broken.csv"), ...cards, "--pace", "0"]);
  await held(before);
  await before.stop();
  const args = ["--replay", `${shift}/recording.csv`, ...cards, "--pace", "4"];
  return { shop: await Console.start(data, args), args };
}

const began = Date.now();
const browser = await Chromium.launch(path);
try {
  console.log(browser.version);
  const { shop, args } = await replayed();
  const tell = (name, work) => claim(browser, name, work);
  await follow(tell, shop, args);
  await stroke(tell, shop);
  await change(tell, shop);
  await wear(tell);
  await look(tell, shop, pictures);
} finally {
  await browser.close();
  await clearUp();
}
console.log(`${passed} passed, ${failed.length} failed in ${((Date.now() - began) / 1000).toFixed(0)} s`);
process.exit(failed.length ? 1 : 0);
