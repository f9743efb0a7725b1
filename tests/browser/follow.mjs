// Strokes arrive on an open page, also after the connection was lost and after the console was killed.
import assert from "node:assert/strict";
import { setTimeout as sleep } from "node:timers/promises";

import { Console, Line } from "./consoles.mjs";

const last = () => Number(document.documentElement.dataset.lastStroke ?? 0);
const began = () => Number(document.querySelector("[data-live]").dataset.after);

/** The page holds every stroke since it was loaded: numbers of one console's strokes have no gaps. */
async function hasAll(page, of) {
  const first = await page.ask(began);
  const { newest, count, marks } = await page.ask(() => ({
    newest: Number(document.documentElement.dataset.lastStroke),
    count: Number(document.documentElement.dataset.strokesSeen),
    marks: [...document.querySelectorAll("[data-row] a")].map((a) => Number(a.getAttribute("href").split("/").pop())),
  }));
  const stored = await of.json(`/api/strokes?after=${first}&before=${newest + 1}`);
  assert.equal(count, stored.length, `after ${first} up to ${newest}`);
  assert.equal(stored.at(-1).id, newest);
  // And shows them: the marks are the store's latest strokes, each once, none left out.
  const latest = stored.map((one) => one.id).reverse().slice(0, marks.length);
  assert.deepEqual(marks.slice(0, latest.length), latest);
}

export async function follow(tell, shop, args) {
  await tell("strokes arrive on the first page of a replayed recording", async (visitor) => {
    const page = await visitor.page();
    await page.go(shop.url + "/");
    assert.match(await page.text("h1"), /Presses/);
    await page.until("five strokes", () => Number(document.documentElement.dataset.strokesSeen ?? 0) >= 5);
    await hasAll(page, shop);
    // What is shown belongs to one stroke, and is the store's.
    const shown = await page.ask(() => {
      const press = document.querySelector("article[data-press=P3]");
      const link = press.querySelector("[data-row] a");
      return {
        id: Number(link.getAttribute("href").split("/").pop()),
        word: press.querySelector("[data-lamp] .word").innerText,
        mark: press.querySelector("[data-lamp] use").getAttribute("href"),
        peak: press.querySelector("[data-peak]").innerText,
        percent: Number(press.querySelector("[data-percent]").innerText),
        says: press.querySelector("[data-says]").innerText,
      };
    });
    const [stroke] = await shop.json(`/api/strokes?after=${shown.id - 1}&before=${shown.id + 1}`);
    assert.equal(shown.word, stroke.verdict);
    assert.equal(shown.mark, `#mark-${stroke.verdict}`);
    assert.ok(Math.abs(Number(shown.peak) - stroke.peak_kn) <= 0.5, `${shown.peak} for ${stroke.peak_kn}`);
    assert.ok(Math.abs(shown.percent - stroke.peak_kn / 20) <= 0.5);
    assert.equal(shown.says, stroke.says);
    assert.deepEqual(page.problems, []);
  });

  await tell("the page of one press is kept as its strokes come", async (visitor) => {
    const page = await visitor.page();
    await page.go(shop.url + "/press/P3");
    await page.until("three strokes", () => Number(document.documentElement.dataset.strokesSeen ?? 0) >= 3);
    const rows = await page.ask(() => [...document.querySelectorAll("[data-strokes] tr td:first-child a")].map((a) => Number(a.getAttribute("href").split("/").pop())));
    assert.deepEqual(rows, [...rows].sort((a, b) => b - a), "newest first, none twice");
    assert.equal(rows[0], await page.ask(last));
    const picture = await page.until("the picture of a new stroke", () => {
      const img = document.querySelector("[data-latest]");
      return img.complete && img.naturalWidth > 0 && img.getAttribute("src");
    });
    assert.match(picture, /^\/stroke\/\d+\/signature\.svg$/);
    assert.deepEqual(page.problems, []);
  });

  await tell("a connection lost and found again loses no stroke, and the page says so", async (visitor) => {
    const line = new Line(shop.port);
    await line.join();
    const page = await visitor.page();
    await page.go(line.url + "/");
    await page.until("a stroke", () => Number(document.documentElement.dataset.strokesSeen ?? 0) >= 1);
    for (const away of [300, 2500]) {
      await line.cut();
      await page.until("word of the loss", () => document.querySelector("[data-live]").innerText.includes("lost"));
      // What came before the loss is drawn a moment later.
      await sleep(500);
      const before = await page.ask(last);
      await sleep(away);
      assert.equal(await page.ask(last), before, "nothing can have come");
      const made = (await shop.json("/api/strokes"))[0].id;
      await line.join(line.port);
      await page.until("what was made meanwhile", (made) => Number(document.documentElement.dataset.lastStroke) >= made, made);
      assert.ok(!(await page.text("[data-live]")).includes("lost"));
      await hasAll(page, shop);
    }
    await line.cut();
  });

  await tell("a console killed and started again goes on where the page is", async (visitor) => {
    const second = await Console.start(`${shop.data}-second`, args);
    const page = await visitor.page();
    await page.go(second.url + "/");
    await page.until("strokes", () => Number(document.documentElement.dataset.strokesSeen ?? 0) >= 3);
    const before = await page.ask(last);
    await second.stop("SIGKILL");
    await page.until("word of the loss", () => document.querySelector("[data-live]").innerText.includes("lost"));
    const again = await Console.start(second.data, args, second.port);
    await page.until("new strokes", (before) => Number(document.documentElement.dataset.lastStroke) >= before + 3, before);
    await hasAll(page, again);
    await again.stop();
  });
}
