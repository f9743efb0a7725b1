// Every page, light and dark: usable by everybody (axe-core), whole at every width, readable from afar, told without colour.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";

import { signIn } from "./change.mjs";
import { Console, DIE, folder } from "./consoles.mjs";
import { held } from "./stroke.mjs";

const AXE = process.env.AXE;
const WIDTHS = [360, 1280, 1920];

/** Every kind of page: name, address, whether an engineer looks. Ways that the pages themselves show are among them. */
async function pages(page, shop) {
  await page.go(shop.url + "/");
  const ways = await page.ask(() => [...document.querySelectorAll("nav a")].map((a) => a.getAttribute("href")));
  const stop = await held(shop);
  const list = ways.map((way) => [way === "/" ? "presses" : way.slice(1).replaceAll("/", "-"), way, false]);
  list.push(
    ["press", "/press/P3", false],
    ["stroke", `/stroke/${stop}`, false],
    ["stroke-closer", `/stroke/${stop}?from=160&to=185`, false],
    ["die", DIE, false],
    ["die-engineer", DIE, true],
    ["stops", "/strokes?verdict=hold", false],
    ["sign-in", "/sign-in", false],
    ["sign-out", "/sign-in", true],
    ["report-shift", "/report/shift/P3", false],
    ["report-stroke", `/report/stroke/${stop}`, false],
    ["report-die", DIE.replace("/die/", "/report/die/"), false],
    ["not-there", "/nothing", false],
    ["not-understood", "/strokes?from=yesterday", false],
  );
  return list;
}

/** What runs out of its place: the page wider than the window, or a text cut off by its own box. */
function broken() {
  const found = [];
  // Not innerWidth: on a phone that grows with what is too wide.
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > wide + 1) {
    for (const one of document.querySelectorAll("body *")) {
      if (one.closest(".scroll") && !one.matches(".scroll")) continue;
      if (one.getClientRects().length && one.getBoundingClientRect().right > wide + 1) found.push(`wider than the window: ${one.tagName} ${one.className?.baseVal ?? one.className}`);
    }
    found.push(`the page is ${document.documentElement.scrollWidth} px wide in ${wide}`);
  }
  for (const one of document.querySelectorAll("main *, header *, footer *")) {
    const style = getComputedStyle(one);
    if (one.closest(".word, .skip, svg") || style.overflowX === "visible" || style.overflowX === "auto") continue;
    if (["INPUT", "SELECT", "METER"].includes(one.tagName)) continue;
    if (one.scrollWidth > one.clientWidth + 1) found.push(`cut off: ${one.tagName} ${one.className}`);
  }
  // Texts that lie over each other: boxes of text that stand beside each other in one parent.
  const texts = [...document.querySelectorAll("h1, h2, h3, p, dt, dd, label, button, nav a, .set a, .set strong, .who a, legend, caption")]
    .filter((one) => one.getClientRects().length && !one.closest(".skip"));
  for (let n = 0; n < texts.length; n += 1) {
    for (let m = n + 1; m < texts.length; m += 1) {
      const [one, other] = [texts[n], texts[m]];
      if (one.contains(other) || other.contains(one)) continue;
      const [a, b] = [one.getBoundingClientRect(), other.getBoundingClientRect()];
      const over = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (over > 2 && down > 2) found.push(`"${one.innerText.slice(0, 30)}" lies over "${other.innerText.slice(0, 30)}"`);
    }
  }
  return found;
}

/** Runs the accessibility checker; gives what is serious or critical. */
async function barred() {
  const { violations } = await window.axe.run(document, { resultTypes: ["violations"] });
  return violations
    .filter((one) => one.impact === "serious" || one.impact === "critical")
    .map((one) => `${one.impact} ${one.id}: ${one.help}: ${one.nodes.slice(0, 3).map((node) => `${node.target} ${node.html.slice(0, 120)} (${node.failureSummary})`).join(" | ")}`);
}

export async function look(tell, shop, pictures) {
  await tell("the accessibility checker and the look for broken layout find what is wrong", async (visitor) => {
    const page = await visitor.page({ width: 360, height: 740 });
    await page.go(shop.url + "/");
    await page.add(readFileSync(AXE, "utf8"));
    await page.ask(() => {
      const make = (parent, name, of) => { const one = document.createElement(name); Object.assign(one, of); parent.append(one); return one; };
      const main = document.querySelector("main");
      make(main, "img", { src: "/assets/none.svg" });
      make(main, "input", {});
      make(main, "div", {}).append(make(main, "p", { textContent: "W".repeat(200) }));
    });
    const found = await page.ask(barred);
    assert.ok(found.some((one) => one.includes("image-alt")) && found.some((one) => one.includes("label")), `${found}`);
    assert.ok((await page.ask(broken)).some((one) => one.includes("wide")));
  });

  for (const theme of ["light", "dark"]) {
    await tell(`every page is usable by everybody and whole at every width, ${theme}`, async (visitor) => {
      const engineer = await visitor.browser.visitor();
      const [plain, skilled] = [await visitor.page(), await engineer.page()];
      await signIn(skilled, shop);
      const source = readFileSync(AXE, "utf8");
      const wrong = [];
      for (const [name, path, asEngineer] of await pages(plain, shop)) {
        const page = asEngineer ? skilled : plain;
        await page.media("screen", theme === "dark");
        await page.size(1280, 900);
        await page.go(shop.url + path);
        await page.add(source);
        for (const width of WIDTHS) {
          await page.size(width, width < 600 ? 740 : 900);
          for (const one of await page.ask(broken)) wrong.push(`${name} at ${width} px: ${one}`);
          if (pictures && (theme === "light" || width === 1280)) await page.picture(join(pictures, `${name}-${width}-${theme}.png`), { whole: true });
          // What bars somebody does not depend on the width beyond narrow and wide.
          if (width !== 1920) for (const one of await page.ask(barred)) wrong.push(`${name} at ${width} px: ${one}`);
        }
        assert.deepEqual(page.problems, [], name);
      }
      await engineer.leave();
      assert.deepEqual(wrong, []);
    });
  }

  await tell("a chosen light or dark stands against the system's", async (visitor) => {
    const page = await visitor.page();
    const ground = () => getComputedStyle(document.documentElement).backgroundColor;
    await page.media("screen", true);
    await page.go(shop.url + "/");
    const dark = await page.ask(ground);
    await page.leads(() => page.click("[aria-label='Light or dark'] a[href*='theme=light']"));
    const light = await page.ask(ground);
    assert.notEqual(light, dark);
    await page.media("screen", false);
    assert.equal(await page.ask(ground), light);
  });

  await tell("a press can be read from three metres on a tablet", async (visitor) => {
    // A tablet of 10.1 inches, 1280 × 800: 217 mm wide, 0.17 mm a pixel. Letters for reading at a distance are a two-hundredth of it
    // high or more (common practice, no source): 15 mm at 3 m. Capitals of the fonts in use are 0.7 of the type size.
    const page = await visitor.page({ width: 1280, height: 800 });
    await page.go(shop.url + "/press/P3");
    const millimetres = 217 / 1280;
    for (const what of ["[data-lamp] .word", "[data-peak]"]) {
      const shown = await page.ask((what) => {
        const one = document.querySelector(what);
        const box = one.getBoundingClientRect();
        return { size: parseFloat(getComputedStyle(one).fontSize), bottom: box.bottom, right: box.right };
      }, what);
      assert.ok(shown.size * 0.7 * millimetres >= 15, `${what}: ${(shown.size * 0.7 * millimetres).toFixed(1)} mm`);
      assert.ok(shown.bottom <= 800 && shown.right <= 1280, `${what} is on the screen without scrolling`);
    }
  });

  await tell("a verdict is told by word and shape, not by colour alone", async (visitor) => {
    const page = await visitor.page();
    await page.go(shop.url + "/about");
    const marks = await page.ask(() => [...document.querySelectorAll("main .lamp")].map((lamp) => ({
      word: lamp.querySelector(".word").textContent,
      shape: document.querySelector(lamp.querySelector("use").getAttribute("href")).innerHTML,
    })));
    assert.deepEqual(marks.map((mark) => mark.word), ["pass", "note", "hold", "trip"]);
    assert.equal(new Set(marks.map((mark) => mark.shape)).size, 4, "four different shapes");
  });

  await tell("everything is reached by keys, and where they are is seen", async (visitor) => {
    const page = await visitor.page();
    await page.go(shop.url + "/press/P3");
    await page.press("Tab");
    assert.equal(await page.ask(() => document.activeElement.className), "skip");
    assert.ok(await page.ask(() => document.activeElement.getBoundingClientRect().left >= 0), "the way past the ways is seen once it has the keys");
    const reached = new Set();
    for (let n = 0; n < 200; n += 1) {
      await page.press("Tab");
      const at = await page.ask(() => {
        const one = document.activeElement;
        if (one === document.body) return null;
        const style = getComputedStyle(one);
        const all = [...document.querySelectorAll("a, button, input, select, [tabindex='0']")];
        return { n: all.indexOf(one), outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2, what: one.outerHTML.slice(0, 100) };
      });
      if (at === null) break;
      assert.ok(at.outline, `no outline on ${at.what}`);
      reached.add(at.what);
    }
    assert.ok(reached.size >= 12, `${reached.size} places`);
  });

  await tell("several presses stand side by side, each with its strokes", async (visitor) => {
    const hall = await Console.start(folder(), ["five-station-faults", "small-press", "forty-station"].flatMap((name) => ["--scenario", name]).concat("--pace", "3"));
    const page = await visitor.page();
    await page.go(hall.url + "/");
    await page.until("strokes of each", () => [...document.querySelectorAll("article[data-press]")].every((press) => press.querySelectorAll("[data-row] li").length >= 3));
    const names = await page.ask(() => [...document.querySelectorAll("article[data-press]")].map((press) => press.dataset.press));
    assert.equal(names.length, 3);
    for (const width of WIDTHS) {
      await page.size(width, width < 600 ? 740 : 900);
      assert.deepEqual(await page.ask(broken), [], `${width} px`);
      if (pictures) await page.picture(join(pictures, `hall-${width}-light.png`), { whole: true });
    }
    await hall.stop();
  });
}
