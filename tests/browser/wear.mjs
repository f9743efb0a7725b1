// Wear and strokes left: the page agrees with the JSON, its picture follows what is asked for, and few strokes are said to be few.
import assert from "node:assert/strict";

import { Console, altered, folder, run, sample } from "./consoles.mjs";

/** A week of a die that wears, in time-lapse: an invented press, a few strokes of each coil, edges sharpened once. */
async function worn() {
  const made = folder();
  const scenario = altered("../sim/scenarios/five-station-wear.toml", [
    ["strokes = 100000", "strokes = 900"], ["strokes_per_coil = 400", "strokes_per_coil = 10"],
    ["wear_per_100k = 0.9", "wear_per_100k = 100.0"], ["regrind_every = 60000", "regrind_every = 450"],
  ]);
  run(["simulate", scenario, "--out", made]);
  const cards = ["--press", sample("presses/five-station.toml"), "--die", sample("dies/five-station.toml")];
  const shop = await Console.start(folder(), ["--replay", `${made}/recording.csv`, ...cards, "--pace", "0"]);
  for (let n = 0; ; n += 1) {
    const [press] = await shop.json("/api/presses");
    if (press.feed.state === "ended") break;
    assert.ok(n < 600, "the recording does not end");
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  return shop;
}

export async function wear(tell) {
  await tell("wear of a die is told with its trend, its regrind and the strokes left before a limit", async (visitor) => {
    const week = await worn();
    const page = await visitor.page();
    await page.go(week.url + "/");
    await page.leads(() => page.click("nav a[href='/wear']"));
    assert.match(await page.text("h1"), /Wear and strokes left, press P3/);
    // By keys alone: another quantity, with a limit of its own.
    await page.ask(() => { document.querySelector("select[name=quantity]").value = "wear-work"; });
    await page.type("input[name=limit]", "90");
    await page.leads(() => page.press("Enter"));
    const told = await week.json("/api/wear/P3?quantity=wear-work&limit=90");
    const work = told.trend.quantities.find((one) => one.quantity === "wear-work");
    assert.equal(work.limit, 90);
    assert.equal(work.state, "rising", work.says);
    assert.ok(told.trend.changes.some((change) => change.kind === "regrind"), JSON.stringify(told.trend.changes));
    const row = await page.text("tr[data-quantity=wear-work]");
    assert.match(row, /rises/);
    const main = await page.text("main");
    const soonest = Math.min(...told.trend.quantities.filter((one) => one.strokes_left).map((one) => one.strokes_left.likely));
    const words = (count) => Math.round(count).toLocaleString("en-US");
    assert.ok(main.includes(`About ${words(soonest)} strokes left`), main);
    assert.ok(row.includes(`about ${words(work.strokes_left.likely)} (`), row);
    assert.match(main, /regrind at stroke \d+/);
    assert.match(main, /an estimate, no promise/);
    const drawn = await page.until("the picture", () => {
      const img = document.querySelector("img[src*='trend.svg']");
      return img.complete && img.naturalWidth > 0 && img.getAttribute("src");
    });
    assert.match(drawn, /quantity=wear-work&limit=90/);
    // The stroke at which it changed is a page of its own.
    const id = told.change_ids.at(-1);
    await page.leads(() => page.click(`main li a[href='/stroke/${id}']`));
    assert.match(await page.text("h1"), /Stroke \d+ of press P3/);
    assert.deepEqual(page.problems, []);
    await week.stop();
  });

  await tell("a die of few strokes is said to have too few to tell wear", async (visitor) => {
    const data = folder();
    const cards = ["--press", sample("presses/five-station.toml"), "--die", sample("dies/five-station.toml")];
    const few = await Console.start(data, ["--replay", sample("faulty/five-station-broken.csv"), ...cards, "--pace", "0"]);
    const page = await visitor.page();
    for (let n = 0; n < 100 && !(await few.json("/api/strokes")).length; n += 1) await new Promise((resolve) => setTimeout(resolve, 100));
    await page.go(few.url + "/wear");
    assert.match(await page.text("main"), /Too few strokes to tell wear/);
    assert.deepEqual(page.problems, []);
    await few.stop();
  });
}
