// Consoles to look at: the program as a user starts it, and a line to it that can be cut.
import { spawn, spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { connect, createServer } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";

export const ENGINEER = "A. Engineer";
export const OTHER_ENGINEER = "B. Engineer";
export const PASSWORD = "correct horse battery";
/** Address of the die's page. */
export const DIE = "/die/P3/five-station%20%28invented%29";
const root = new URL("../..", import.meta.url).pathname;
const program = process.env.BOLSTER_BIN ?? join(root, "target/release/bolster");
const folders = mkdtempSync(join(tmpdir(), "bolster-browser-"));
const running = new Set();
let made = 0;

export const sample = (path) => join(root, "sample-signatures", path);

/** Runs the program to its end; gives what it printed. */
export function run(args, input = "") {
  const done = spawnSync(program, args, { input, encoding: "utf8", maxBuffer: 1 << 26 });
  if (done.status !== 0) throw new Error(`bolster ${args.join(" ")}: ${done.error ?? done.stderr}`);
  return done.stdout;
}

export const folder = () => {
  const path = join(folders, String(made++));
  mkdirSync(path);
  return path;
};

/** Sets an engineer's password in a console's folder. */
export const engineer = (data, name) => run(["password", "--name", name, "--data", data], PASSWORD + "\n");

/** Writes a copy of a sample with some texts replaced; gives its path. */
export function altered(path, changes) {
  let text = readFileSync(sample(path), "utf8");
  for (const [from, to] of changes) {
    if (!text.includes(from)) throw new Error(`${path} holds no ${from}`);
    text = text.replaceAll(from, to);
  }
  const to = join(folder(), path.split("/").pop());
  writeFileSync(to, text);
  return to;
}

/** A console being served. */
export class Console {
  /** Starts one over this folder; `port` 0 takes a free one. */
  static start(data, args, port = 0) {
    const child = spawn(program, ["serve", "--listen", `127.0.0.1:${port}`, "--data", data, ...args], { stdio: ["ignore", "pipe", "pipe"] });
    const console_ = new Console();
    console_.child = child;
    console_.data = data;
    running.add(child);
    let said = "";
    child.stderr.on("data", (text) => { said += text; });
    console_.ended = new Promise((resolve) => child.on("exit", (code) => { running.delete(child); resolve(code); }));
    return new Promise((resolve, reject) => {
      let out = "";
      child.stdout.on("data", (text) => {
        out += text;
        const found = out.match(/console: (http:\/\/127\.0\.0\.1:(\d+))\//);
        if (found && !console_.url) {
          console_.url = found[1];
          console_.port = Number(found[2]);
          resolve(console_);
        }
      });
      child.on("exit", (code) => reject(new Error(`bolster serve ended (${code}): ${said}`)));
    });
  }

  async json(path) {
    const answer = await fetch(this.url + path);
    if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
    return answer.json();
  }

  async stop(signal = "SIGTERM") {
    this.child.kill(signal);
    return this.ended;
  }
}

/** A line to a console that can be cut and joined again. */
export class Line {
  #sockets = new Set();
  #server = null;

  constructor(port) { this.to = port; }

  join(port = 0) {
    this.#server = createServer((near) => {
      const far = connect(this.to, "127.0.0.1");
      for (const [one, other] of [[near, far], [far, near]]) {
        this.#sockets.add(one);
        one.on("error", () => other.destroy());
        one.on("close", () => { this.#sockets.delete(one); other.destroy(); });
        one.pipe(other);
      }
    });
    return new Promise((resolve) => this.#server.listen(port, "127.0.0.1", () => {
      this.port = this.#server.address().port;
      this.url = `http://127.0.0.1:${this.port}`;
      resolve();
    }));
  }

  /** Breaks every connection and takes no more until joined again. */
  cut() {
    const closed = new Promise((resolve) => this.#server.close(resolve));
    for (const socket of this.#sockets) socket.destroy();
    return closed;
  }
}

/** Ends every console and removes what they wrote. */
export async function clearUp() {
  for (const child of running) child.kill("SIGKILL");
  rmSync(folders, { recursive: true, force: true, maxRetries: 5 });
}
