// Drives Chromium over its debugging pipe: pages, keys, pointer, pictures, print; nothing but Node is needed.
import { spawn } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";

const FLAGS = [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars", "--mute-audio",
  "--force-color-profile=srgb", "--remote-debugging-pipe",
];
/** Longest wait for anything on a page, ms: pages take well under a second, a loaded test machine is given room. */
export const PATIENCE = 30_000;

export class Chromium {
  #process;
  #folder;
  #next = 1;
  #waiting = new Map();
  #listeners = new Map();
  #rest = Buffer.alloc(0);

  /** Starts the browser at `path` with a user folder of its own. */
  static async launch(path) {
    const browser = new Chromium();
    browser.#folder = mkdtempSync(join(tmpdir(), "bolster-chromium-"));
    browser.#process = spawn(path, [...FLAGS, `--user-data-dir=${browser.#folder}`, "about:blank"], {
      stdio: ["ignore", "ignore", "ignore", "pipe", "pipe"],
    });
    browser.#process.on("exit", (code) => {
      for (const { reject } of browser.#waiting.values()) reject(new Error(`the browser ended (${code})`));
      browser.#waiting.clear();
    });
    browser.#process.stdio[4].on("data", (data) => browser.#read(data));
    browser.#process.stdio[3].on("error", () => {});
    browser.version = (await browser.send("Browser.getVersion")).product;
    return browser;
  }

  #read(data) {
    this.#rest = Buffer.concat([this.#rest, data]);
    for (let end = this.#rest.indexOf(0); end >= 0; end = this.#rest.indexOf(0)) {
      const message = JSON.parse(this.#rest.subarray(0, end).toString("utf8"));
      this.#rest = this.#rest.subarray(end + 1);
      const waiting = this.#waiting.get(message.id);
      if (waiting) {
        this.#waiting.delete(message.id);
        if (message.error) waiting.reject(new Error(`${waiting.method}: ${message.error.message}`));
        else waiting.resolve(message.result);
      } else if (message.method) {
        this.#listeners.get(message.sessionId)?.(message.method, message.params);
      }
    }
  }

  send(method, params = {}, sessionId = undefined) {
    const id = this.#next++;
    return new Promise((resolve, reject) => {
      this.#waiting.set(id, { resolve, reject, method });
      this.#process.stdio[3].write(JSON.stringify({ id, method, params, sessionId }) + "\0");
    });
  }

  listen(sessionId, listener) { this.#listeners.set(sessionId, listener); }

  /** A visitor with cookies of their own. */
  async visitor() {
    const { browserContextId } = await this.send("Target.createBrowserContext");
    return new Visitor(this, browserContextId);
  }

  async close() {
    const ended = new Promise((resolve) => this.#process.on("exit", resolve));
    await Promise.race([this.send("Browser.close").catch(() => {}), sleep(3000)]);
    await Promise.race([ended, sleep(3000)]);
    this.#process.kill("SIGKILL");
    rmSync(this.#folder, { recursive: true, force: true, maxRetries: 5 });
  }
}

class Visitor {
  constructor(browser, context) { this.browser = browser; this.context = context; }

  async page({ width = 1280, height = 800 } = {}) {
    const { targetId } = await this.browser.send("Target.createTarget", { url: "about:blank", browserContextId: this.context });
    const { sessionId } = await this.browser.send("Target.attachToTarget", { targetId, flatten: true });
    const page = new Page(this.browser, targetId, sessionId);
    await page.begin(width, height);
    return page;
  }

  async leave() { await this.browser.send("Target.disposeBrowserContext", { browserContextId: this.context }); }
}

const KEYS = {
  Enter: ["Enter", 13, "\r"], Tab: ["Tab", 9], Escape: ["Escape", 27], Home: ["Home", 36], End: ["End", 35],
  ArrowLeft: ["ArrowLeft", 37], ArrowUp: ["ArrowUp", 38], ArrowRight: ["ArrowRight", 39], ArrowDown: ["ArrowDown", 40],
};

export class Page {
  /** What the page's scripts threw, the content policy refused, or a dialog said. */
  problems = [];
  #loaded = () => {};

  constructor(browser, targetId, sessionId) { this.browser = browser; this.targetId = targetId; this.sessionId = sessionId; }

  send(method, params) { return this.browser.send(method, params, this.sessionId); }

  async begin(width, height) {
    this.browser.listen(this.sessionId, (method, params) => {
      if (method === "Page.loadEventFired") this.#loaded();
      if (method === "Runtime.exceptionThrown") this.problems.push(`thrown: ${params.exceptionDetails.exception?.description ?? params.exceptionDetails.text}`);
      if (method === "Log.entryAdded" && params.entry.level === "error" && params.entry.source !== "network") {
        this.problems.push(`${params.entry.source}: ${params.entry.text} ${params.entry.url ?? ""}`);
      }
      if (method === "Page.javascriptDialogOpening") {
        this.problems.push(`dialog: ${params.message}`);
        this.send("Page.handleJavaScriptDialog", { accept: false }).catch(() => {});
      }
    });
    for (const domain of ["Page", "Runtime", "Log"]) await this.send(`${domain}.enable`);
    await this.size(width, height);
  }

  size(width, height) {
    return this.send("Emulation.setDeviceMetricsOverride", { width, height, deviceScaleFactor: 1, mobile: width < 600 });
  }

  media(media, dark = false) {
    return this.send("Emulation.setEmulatedMedia", { media, features: [{ name: "prefers-color-scheme", value: dark ? "dark" : "light" }] });
  }

  /** Goes to an address and waits until the page is loaded. */
  async go(url) {
    const loaded = new Promise((resolve) => { this.#loaded = resolve; });
    const { errorText } = await this.send("Page.navigate", { url });
    if (errorText) throw new Error(`${url}: ${errorText}`);
    await within(loaded, `the loading of ${url}`);
  }

  /** Does `work`, which leads to another page, and waits until that is loaded. */
  async leads(work) {
    const loaded = new Promise((resolve) => { this.#loaded = resolve; });
    await work();
    await within(loaded, "another page");
  }

  /** Value of a function of the page, called there with these plain values. */
  async ask(of, ...values) {
    const expression = `(${of})(${values.map((value) => JSON.stringify(value)).join(",")})`;
    const { result, exceptionDetails } = await this.send("Runtime.evaluate", { expression, awaitPromise: true, returnByValue: true });
    if (exceptionDetails) throw new Error(exceptionDetails.exception?.description ?? exceptionDetails.text);
    return result.value;
  }

  /** Runs a library's text in the page. */
  async add(source) {
    const { exceptionDetails } = await this.send("Runtime.evaluate", { expression: source });
    if (exceptionDetails) throw new Error(exceptionDetails.text);
  }

  /** Waits until a function of the page gives something true; gives that. */
  async until(what, of, ...values) {
    const end = Date.now() + PATIENCE;
    for (;;) {
      const value = await this.ask(of, ...values);
      if (value) return value;
      if (Date.now() > end) throw new Error(`waited in vain for ${what} on ${await this.ask(() => location.href)}`);
      await sleep(50);
    }
  }

  text(selector = "body") { return this.ask((selector) => document.querySelector(selector)?.innerText ?? "", selector); }

  /** Middle of an element, scrolled into view. */
  async place(selector) {
    const place = await this.ask((selector) => {
      const found = document.querySelector(selector);
      if (!found) return null;
      found.scrollIntoView({ block: "center", inline: "center" });
      const box = found.getBoundingClientRect();
      return { x: box.left + box.width / 2, y: box.top + box.height / 2, left: box.left, top: box.top, width: box.width, height: box.height };
    }, selector);
    if (!place) throw new Error(`${selector} is not on ${await this.ask(() => location.href)}`);
    return place;
  }

  mouse(type, x, y, more = {}) { return this.send("Input.dispatchMouseEvent", { type, x, y, ...more }); }

  async click(selector) {
    const { x, y } = await this.place(selector);
    await this.mouse("mouseMoved", x, y);
    await this.mouse("mousePressed", x, y, { button: "left", clickCount: 1 });
    await this.mouse("mouseReleased", x, y, { button: "left", clickCount: 1 });
  }

  /** Puts the caret into a field by a click and types over what is there. */
  async type(selector, text) {
    await this.click(selector);
    await this.ask((selector) => document.querySelector(selector).select(), selector);
    await this.send("Input.insertText", { text });
  }

  async press(key, modifiers = 0) {
    const [code, number, text] = KEYS[key] ?? [key, key.toUpperCase().charCodeAt(0), key];
    const event = { key, code, windowsVirtualKeyCode: number, modifiers };
    await this.send("Input.dispatchKeyEvent", { type: text ? "keyDown" : "rawKeyDown", text, ...event });
    await this.send("Input.dispatchKeyEvent", { type: "keyUp", ...event });
  }

  async picture(path, { whole = false } = {}) {
    const { data } = await this.send("Page.captureScreenshot", { format: "png", captureBeyondViewport: whole });
    writeFileSync(path, Buffer.from(data, "base64"));
  }

  /** The page as PDF, as the print dialog would make it. */
  async print(paper) {
    const [paperWidth, paperHeight] = paper === "A4" ? [8.27, 11.69] : [8.5, 11];
    const { data } = await this.send("Page.printToPDF", { paperWidth, paperHeight, printBackground: false });
    return Buffer.from(data, "base64");
  }

  async leave() { await this.browser.send("Target.closeTarget", { targetId: this.targetId }); }
}

async function within(promise, what) {
  let timer;
  const late = new Promise((_, reject) => { timer = setTimeout(() => reject(new Error(`waited in vain for ${what}`)), PATIENCE); });
  try { return await Promise.race([promise, late]); } finally { clearTimeout(timer); }
}
