// A simulated rig, the program over it, and a browser on its page.
import { spawn } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as pause } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const ROOT = fileURLToPath(new URL("../..", import.meta.url));
const PROGRAM = join(ROOT, process.env.HINGEWRIGHT_PROGRAM ?? "target/debug/hingewright");
// Where pictures are left to be looked at.
const PICTURES = process.env.HINGEWRIGHT_PICTURES;
export const BROWSER = ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"].find(existsSync);
export const PHONE = { width: 360, height: 740 };
export const DESK = { width: 1200, height: 850 };
const QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

// Words of a program until they match.
async function until(child, pattern) {
  let said = "";
  child.stdout.on("data", (data) => { said += data; });
  for (const began = Date.now(); Date.now() - began < 30_000;) {
    const found = said.match(pattern);
    if (found) return found;
    await pause(20);
  }
  throw new Error(`it does not say ${pattern}: ${said}`);
}

export class Bench {
  // `aircraft`: the logbook's file to begin with; without one the page asks.
  static async start(simulate = [], more = ["--aircraft", "samples/aircraft.toml"]) {
    const bench = new Bench();
    bench.folder = mkdtempSync(join(tmpdir(), "bench-"));
    const at = (name) => join(bench.folder, name);
    bench.logbook = at("logbook");
    const run = (words) => spawn(PROGRAM, words, { cwd: ROOT, stdio: ["ignore", "pipe", "inherit"] });
    bench.rig = run(["simulate", "--aircraft", "samples/aircraft.toml", "--surface", "left elevator", "--link", at("rig"), "--events", at("events"), ...simulate]);
    await until(bench.rig, /linked at/);
    bench.program = run(["bench", "--port", at("rig"), "--logbook", bench.logbook, "--page-port", "0", ...more]);
    bench.address = (await until(bench.program, /http:\S+/))[0];
    return bench;
  }

  events() {
    return readFileSync(join(this.folder, "events"), "utf8").trim().split("\n").map((line) => JSON.parse(line));
  }

  // When the rig noted this first after a moment, milliseconds since 1970.
  async noted(what, after_ms, within_ms = 5000) {
    for (const began = Date.now(); Date.now() - began < within_ms; await pause(5)) {
      const event = this.events().find((e) => e.what === what && e.t_wall_ms >= after_ms);
      if (event) return event.t_wall_ms;
    }
    throw new Error(`the rig did not note ${what}: ${JSON.stringify(this.events())}`);
  }

  async end() {
    const gone = new Promise((done) => this.program.on("exit", done));
    this.program.kill("SIGINT");
    await Promise.race([gone, pause(5000)]);
    this.program.kill("SIGKILL");
    this.rig.kill("SIGKILL");
    rmSync(this.folder, { recursive: true, force: true });
  }
}

export const browser = () => chromium.launch({ executablePath: BROWSER, args: QUIET });

// A page that fails the test by any error of its own.
export async function open(browser, bench, options = {}) {
  const context = await browser.newContext({ viewport: PHONE, deviceScaleFactor: 2, hasTouch: true, ...options });
  const page = await context.newPage();
  page.faults = [];
  page.on("pageerror", (error) => page.faults.push(error.message));
  page.on("console", (message) => { if (message.type() === "error" && !/WebSocket|ERR_CONNECTION/.test(message.text())) page.faults.push(message.text()); });
  await page.goto(bench.address);
  return page;
}

export async function ready(page, surface = "left elevator") {
  await page.locator("#rig", { hasText: "drives the servo" }).waitFor();
  await page.getByRole("button", { name: new RegExp(`^${surface}`) }).click();
  await page.locator("#confirm").click();
  await page.locator("#starts").waitFor();
}

export async function cycling(page, number = 1) {
  await page.locator("#sweep").click();
  await page.locator("#phase", { hasText: new RegExp(`cycle (${number}|[${number + 1}-9]) `) }).waitFor({ timeout: 60_000 });
}

export async function picture(page, name, whole = false) {
  if (!PICTURES) return;
  mkdirSync(PICTURES, { recursive: true });
  await page.screenshot({ path: join(PICTURES, `${name}.png`), fullPage: whole });
}

export { PROGRAM, ROOT };
