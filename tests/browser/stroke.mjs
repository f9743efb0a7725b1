// One stroke: opened from the list, its values read with pointer and keys, printed.
import assert from "node:assert/strict";

import { DIE } from "./consoles.mjs";

/** Number of a held stroke whose readings are kept. */
export async function held(shop) {
  for (let n = 0; n < 300; n += 1) {
    const [stroke] = await shop.json("/api/strokes?verdict=hold");
    if (stroke) return stroke.id;
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  throw new Error("no stroke was held");
}

const ready = () => document.querySelector(".reads")?.dataset.ready === "yes";
const values = () => ({ ...document.querySelector("[data-values]").dataset, says: document.querySelector("[data-values]").innerText });

/** What is wider than the paper. */
const tooWide = () => [...document.querySelectorAll("body *")]
  .filter((one) => one.getClientRects().length > 0 && one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((one) => `${one.tagName} ${one.className?.baseVal ?? one.className} ${(one.textContent ?? "").slice(0, 30)}`);

export async function stroke(tell, shop) {
  await tell("a held stroke is opened from the list and says why", async (visitor) => {
    await held(shop);
    const page = await visitor.page();
    await page.go(shop.url + "/strokes?verdict=hold");
    const verdicts = await page.ask(() => [...document.querySelectorAll("tbody .word")].map((word) => word.textContent));
    assert.ok(verdicts.length > 0 && verdicts.every((word) => ["hold", "trip"].includes(word)), `${verdicts}`);
    await page.leads(() => page.click("tbody a"));
    assert.match(await page.text("h1"), /Stroke \d+ of press P3\s+(hold|trip)/);
    const id = await page.ask(() => Number(location.pathname.split("/").pop()));
    const { outcome } = await shop.json(`/api/strokes/${id}`);
    assert.ok(outcome.findings.length > 0);
    const text = await page.text("main");
    for (const finding of outcome.findings) assert.ok(text.includes(finding.says), finding.says);
    assert.deepEqual(page.problems, []);
  });

  await tell("values are read under the pointer and by keys, and a closer look is taken", async (visitor) => {
    const id = await held(shop);
    const readings = await shop.json(`/api/strokes/${id}/readings`);
    const page = await visitor.page();
    await page.go(`${shop.url}/stroke/${id}`);
    await page.until("the readings", ready);
    const box = await page.place("[data-surface] svg");
    const scale = await page.ask(() => document.querySelector("[data-surface] svg").getBoundingClientRect().width / Number(document.querySelector("[data-surface] svg").getAttribute("width")));
    const areas = await page.ask(() => document.querySelector("[data-surface] svg").dataset.areas.split(" ").map((one) => one.split(",").map(Number)));
    const [left, , right, , from, to] = areas[0];
    for (const share of [0.3, 0.5, 0.62]) {
      const px = left + share * (right - left);
      await page.mouse("mouseMoved", box.left + px * scale, box.top + box.height / 3);
      const shown = await page.ask(values);
      // The nearest reading to that place of the axis, by the readings the program gives.
      const wanted = from + share * (to - from);
      const nearest = readings.position.reduce((best, at, n) => (Math.abs(at - wanted) < Math.abs(readings.position[best] - wanted) ? n : best), 0);
      const pixel = (to - from) / (right - left) / scale;
      assert.ok(Math.abs(Number(shown.at) - wanted) <= pixel + Math.abs(readings.position[nearest] - wanted) + 0.01, `${shown.says} at ${wanted}`);
      const n = readings.position.indexOf(Number(shown.at));
      assert.ok(n >= 0, `${shown.at} is a reading's place`);
      assert.equal(Number(shown.total), readings.total_kn[n]);
      const printed = Number(shown.says.match(/total (-?[\d.]+) kN/)[1]);
      assert.ok(Math.abs(printed - readings.total_kn[n]) <= 0.05, shown.says);
    }
    // By keys, one reading on and back.
    await page.ask(() => document.querySelector("[data-surface]").focus());
    const start = Number((await page.ask(values)).at);
    await page.press("ArrowRight");
    const next = Number((await page.ask(values)).at);
    assert.equal(readings.position.indexOf(next), readings.position.indexOf(start) + 1);
    await page.press("ArrowLeft");
    assert.equal(Number((await page.ask(values)).at), start);
    // Closer, and the whole again.
    const span = () => { const [area] = document.querySelector("[data-surface] svg").dataset.areas.split(" "); const n = area.split(",").map(Number); return n[5] - n[4]; };
    const whole = await page.ask(span);
    await page.press("+");
    await page.until("a closer look", (whole) => { const n = document.querySelector("[data-surface] svg").dataset.areas.split(" ")[0].split(",").map(Number); return n[5] - n[4] < 0.7 * whole; }, whole);
    await page.press("0");
    await page.until("the whole", (whole) => { const n = document.querySelector("[data-surface] svg").dataset.areas.split(" ")[0].split(",").map(Number); return n[5] - n[4] > 0.99 * whole; }, whole);
    // Dragging over a part looks closer at that part.
    const at = await page.place("[data-surface] svg");
    const [x0, x1, y] = [at.left + (left + 0.4 * (right - left)) * scale, at.left + (left + 0.7 * (right - left)) * scale, at.top + at.height / 3];
    await page.mouse("mouseMoved", x0, y);
    await page.mouse("mousePressed", x0, y, { button: "left", clickCount: 1 });
    await page.mouse("mouseMoved", (x0 + x1) / 2, y, { button: "left", buttons: 1 });
    await page.mouse("mouseMoved", x1, y, { button: "left", buttons: 1 });
    await page.mouse("mouseReleased", x1, y, { button: "left", clickCount: 1 });
    await page.until("the dragged part", (whole) => { const n = document.querySelector("[data-surface] svg").dataset.areas.split(" ")[0].split(",").map(Number); return n[5] - n[4] < 0.4 * whole; }, whole);
    assert.match(await page.ask(() => location.search), /from=.*to=/, "the closer look can be sent on");
    assert.deepEqual(page.problems, []);
  });

  await tell("a finger reads values by a tap and looks closer by buttons", async (visitor) => {
    const id = await held(shop);
    const readings = await shop.json(`/api/strokes/${id}/readings`);
    const page = await visitor.page({ width: 800, height: 1000 });
    await page.send("Emulation.setTouchEmulationEnabled", { enabled: true });
    await page.go(`${shop.url}/stroke/${id}`);
    await page.until("the readings", ready);
    const { x, y } = await page.place("[data-surface] svg");
    await page.send("Input.dispatchTouchEvent", { type: "touchStart", touchPoints: [{ x, y }] });
    await page.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] });
    const shown = await page.until("a value", () => ({ ...document.querySelector("[data-values]").dataset }).at && { ...document.querySelector("[data-values]").dataset });
    const n = readings.position.indexOf(Number(shown.at));
    assert.ok(n >= 0 && Number(shown.total) === readings.total_kn[n], JSON.stringify(shown));
    await page.click("[data-do=on]");
    assert.equal(readings.position.indexOf(Number((await page.ask(values)).at)), n + 20);
    const span = () => { const n = document.querySelector("[data-surface] svg").dataset.areas.split(" ")[0].split(",").map(Number); return n[5] - n[4]; };
    const whole = await page.ask(span);
    await page.click("[data-do=closer]");
    await page.until("a closer look", (whole) => { const n = document.querySelector("[data-surface] svg").dataset.areas.split(" ")[0].split(",").map(Number); return n[5] - n[4] < 0.7 * whole; }, whole);
    assert.deepEqual(page.problems, []);
  });

  await tell("keys lead from stroke to stroke and a field takes letters as letters", async (visitor) => {
    const id = await held(shop);
    const page = await visitor.page();
    await page.go(`${shop.url}/stroke/${id}`);
    await page.leads(() => page.press("b"));
    assert.equal(await page.ask(() => Number(location.pathname.split("/").pop())), id - 1);
    await page.leads(() => page.press("n"));
    assert.equal(await page.ask(() => Number(location.pathname.split("/").pop())), id);
    await page.click("input[name=from]");
    await page.press("b");
    assert.equal(await page.ask(() => document.querySelector("input[name=from]").value), "b");
  });

  await tell("a stroke prints on A4 and Letter, pictures and cautions with it", async (visitor) => {
    const id = await held(shop);
    const page = await visitor.page();
    await page.go(`${shop.url}/stroke/${id}`);
    await page.until("the readings", ready);
    for (const paper of ["A4", "Letter"]) {
      const pdf = await page.print(paper);
      assert.equal(pdf.subarray(0, 5).toString(), "%PDF-");
      const pages = pdf.toString("latin1").match(/\/Type\s*\/Page\b/g).length;
      assert.ok(pages >= 1 && pages <= 6, `${pages} pages`);
    }
    await page.media("print");
    const shown = (selector) => page.ask((selector) => { const found = document.querySelector(selector); return !!found && found.getClientRects().length > 0; }, selector);
    for (const there of ["h1", "[data-surface] svg", "table", "footer"]) assert.ok(await shown(there), `${there} is printed`);
    for (const away of ["header nav", ".ask", ".steps"]) assert.ok(!(await shown(away)), `${away} is not printed`);
    // Nothing is wider than an A4 page between its margins: 190 mm at 96 px an inch.
    await page.size(718, 1000);
    assert.deepEqual(await page.ask(tooWide), []);
  });

  await tell("reports of a shift, a stroke and a die are opened from their pages and print whole, without any script", async (visitor) => {
    const id = await held(shop);
    const page = await visitor.page();
    for (const [from, link] of [["/press/P3", "a[href^='/report/shift/']"], [`/stroke/${id}`, "a[href^='/report/stroke/']"], [DIE, "a[href^='/report/die/']"]]) {
      await page.go(shop.url + from);
      await page.leads(() => page.click(link));
      assert.match(await page.text("body"), /replaces no guard/);
      assert.doesNotMatch(await page.text("body"), /No picture/);
      assert.ok(await page.ask(() => document.querySelectorAll("figure svg").length) >= 1, link);
      assert.equal(await page.ask(() => document.scripts.length + document.querySelectorAll("img, link, iframe, object").length), 0);
      for (const paper of ["A4", "Letter"]) {
        const pdf = await page.print(paper);
        assert.equal(pdf.subarray(0, 5).toString(), "%PDF-");
        assert.ok(pdf.length > 10_000, `${link}: ${pdf.length} bytes`);
      }
      await page.media("print");
      await page.size(718, 1000);
      assert.deepEqual(await page.ask(tooWide), [], `${link}: wider than the paper`);
      await page.media("screen");
      await page.size(1280, 900);
      assert.deepEqual(page.problems, []);
    }
  });
}
