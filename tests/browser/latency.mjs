// Measures how late an open page shows strokes: from a stroke's judging to its mark being on the page.
//
//   node tests/browser/latency.mjs http://127.0.0.1:PORT [SECONDS]
//
// CHROMIUM names the browser. For a console under load, such as the example console_load serves.
import { Chromium } from "./chromium.mjs";

const [url, seconds = "60"] = process.argv.slice(2);
const browser = await Chromium.launch(process.env.CHROMIUM ?? "/usr/bin/chromium");
try {
  const page = await (await browser.visitor()).page();
  await page.go(url + "/");
  await page.ask(() => {
    window.shown = [];
    const note = (changes) => {
      const now = Date.now();
      for (const change of changes) {
        for (const one of change.addedNodes) {
          const link = one.querySelector?.("a");
          if (link) window.shown.push([Number(link.getAttribute("href").split("/").pop()), now]);
        }
      }
    };
    for (const row of document.querySelectorAll("[data-row]")) new MutationObserver(note).observe(row, { childList: true });
  });
  await new Promise((resolve) => setTimeout(resolve, Number(seconds) * 1000));
  const shown = new Map(await page.ask(() => window.shown));
  const late = [];
  for (let after = Math.min(...shown.keys()) - 1; ;) {
    const strokes = await (await fetch(`${url}/api/strokes?after=${after}`)).json();
    for (const stroke of strokes) if (shown.has(stroke.id)) late.push(shown.get(stroke.id) - stroke.at_ms);
    if (strokes.length < 1000) break;
    after = strokes.at(-1).id;
  }
  late.sort((a, b) => a - b);
  const at = (share) => late[Math.floor((late.length - 1) * share)];
  console.log(`${late.length} strokes on an open page: half within ${at(0.5)} ms, 99 % within ${at(0.99)} ms, longest ${at(1)} ms`);
} finally {
  await browser.close();
}
