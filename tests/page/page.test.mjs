// The live page in a real browser, as its user meets it.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { setTimeout as pause } from "node:timers/promises";
import { BROWSER, Bench, DESK, PHONE, PROGRAM, browser, cycling, open, picture, ready } from "./bench.mjs";

const skip = BROWSER ? false : "no Chromium on this computer";
let chrome;
before(async () => { if (BROWSER) chrome = await browser(); });
after(async () => chrome?.close());

// What stood on the page, and what the rig noted: the next to read of a failure need not guess.
const tell = async (page, bench) => console.log(`  the page at its failure:\n${await page.locator("body").innerText().catch(String)}\n  the rig's last events: ${JSON.stringify(bench.events().slice(-6))}`);

const on = (name, options, simulate, work) => test(name, { skip, timeout: 180_000 }, async () => {
  const bench = await Bench.start(simulate);
  const page = await open(chrome, bench, options);
  try {
    await work(page, bench);
    assert.deepEqual(page.faults, []);
  } catch (error) {
    await tell(page, bench);
    throw error;
  } finally {
    await page.context().close();
    await bench.end();
  }
});

on("from pick to verdict, and what is shown is what check says of the recording kept", {}, ["--fast", "8", "--tight-spot", "-11:6"], async (page, bench) => {
  await page.locator("#rig", { hasText: "drives the servo" }).waitFor();
  await picture(page, "1-pick");
  await page.getByRole("button", { name: /^left elevator/ }).click();
  await page.locator("#cautions").waitFor();
  assert.match(await page.locator("#wire-words").textContent(), /servo E1 plugged into it/);
  assert.equal(await page.locator("#sweep").isVisible(), false, "nothing to start before the cautions are confirmed");
  await picture(page, "2-cautions", true);
  await page.locator("#confirm").click();
  assert.match(await page.locator("#sweep").textContent(), /left elevator/);
  await picture(page, "3-ready", true);
  await cycling(page, 3);
  await picture(page, "4-moving");
  await page.locator("#findings li[data-kind=tight-spot]").waitFor();
  assert.match(await page.locator("#found-head").textContent(), /so far/);
  await picture(page, "5-found", true);
  await page.locator("#verdict").waitFor({ timeout: 60_000 });
  await page.locator("#verdict-picture").evaluate((image) => image.decode());
  await picture(page, "6-verdict");
  await picture(page, "7-verdict-whole", true);

  const recording = (await page.locator("#kept").textContent()).replace("Recording: ", "");
  let said;
  try {
    said = execFileSync(PROGRAM, ["check", recording, "--aircraft", "aircraft.toml", "--json"], { cwd: bench.logbook });
  } catch (error) {
    assert.equal(error.status, 1);
    said = error.stdout;
  }
  const check = JSON.parse(said);
  assert.equal((await page.locator("#verdict-word").getAttribute("class")).split(" ")[1], check.verdict);
  const shown = await page.locator("#findings li").evaluateAll((items) => items.map((i) => [i.dataset.kind, i.lastChild.textContent]));
  assert.deepEqual(shown, check.findings.map((f) => [f.kind, f.text]));
  const number = async (name) => Number((await page.locator("#rows tr", { has: page.locator(`th:text-is("${name}")`) }).locator("td").textContent()).replace("−", "-").split(" ")[0]);
  for (const [name, value] of [["stiffness", check.curve.stiffness_ncm_per_deg.value], ["friction", check.curve.friction_ncm.value]]) {
    assert.ok(Math.abs(await number(name) - value) <= 0.01 * Math.abs(value), `${name}: ${await number(name)} for ${value}`);
  }
  assert.equal(await page.locator("#throws tr").count(), check.throws.length);

  const [report] = await Promise.all([page.context().waitForEvent("page"), page.locator("#report").click()]);
  await report.waitForLoadState();
  assert.match(await report.title(), /Dunlin/);
  assert.ok(await report.locator("svg").count() > 0);
  const styled = await report.evaluate(() => getComputedStyle(document.body).maxWidth);
  assert.notEqual(styled, "none", "the report's style is let in");
  await report.close();
  await page.bringToFront();
  // Again: the last session stands behind in grey.
  await page.locator("#another").click();
  assert.match(await page.getByRole("button", { name: /^left elevator/ }).getAttribute("aria-label"), /work needed/);
  await cycling(page, 2);
  assert.match(await page.locator("#loop-caption").textContent(), /Grey: last session/);
  await picture(page, "8-behind");
  await page.locator("#stop").tap();
  await page.locator("#alert", { hasText: "Stop was pressed" }).waitFor();
});

for (const [by, press] of [
  ["a tap", (page) => page.locator("#stop").tap()],
  ["the space bar", (page) => page.keyboard.press("Space")],
  ["Escape", (page) => page.keyboard.press("Escape")],
]) {
  on(`stopped by ${by} in mid-sweep, the rig is disarmed within 200 ms`, {}, ["--fast", "4"], async (page, bench) => {
    await ready(page);
    await cycling(page);
    const asked = Date.now();
    await press(page);
    const took = await bench.noted("disarmed", asked) - asked;
    assert.ok(took < 200, `${took} ms`);
    await page.locator("#alert", { hasText: "The rig is disarmed" }).waitFor();
    await picture(page, `stopped-by-${by.replaceAll(" ", "-")}`);
    console.log(`  disarmed ${took.toFixed(0)} ms after ${by}`);
  });
}

on("closed in mid-sweep, it is stopped within a second, and says why when it is back", {}, ["--fast", "4"], async (page, bench) => {
  await ready(page);
  await cycling(page);
  const gone = Date.now();
  await page.goto("about:blank");
  const took = await bench.noted("disarmed", gone) - gone;
  assert.ok(took < 1000, `${took} ms`);
  await page.goto(bench.address);
  // A browser slow to let go of the page has it fall silent before it is closed: then that is what is said.
  await page.locator("#alert", { hasText: /was closed|nothing was heard/ }).waitFor();
  await picture(page, "back");
});

on("its script standing still in mid-sweep, it is stopped within a second and says why", {}, ["--fast", "4"], async (page, bench) => {
  await ready(page);
  await cycling(page);
  // The page's own script stands still: as a phone in a pocket does.
  const gone = Date.now();
  const still = page.evaluate(() => { for (const end = Date.now() + 2500; Date.now() < end;); });
  const took = await bench.noted("disarmed", gone) - gone;
  assert.ok(took < 1000, `${took} ms`);
  await still;
  await page.locator("#alert", { hasText: "nothing was heard" }).waitFor();
});

on("two pages: one drives, the other watches and can stop", {}, ["--fast", "4"], async (page, bench) => {
  await ready(page);
  const other = await open(chrome, bench);
  await other.locator("#watches", { hasText: "watches" }).waitFor();
  await picture(other, "watching", true);
  await cycling(page, 2);
  await other.locator("#phase", { hasText: "cycle" }).waitFor();
  const asked = Date.now();
  await other.locator("#stop").tap();
  assert.ok(await bench.noted("disarmed", asked) - asked < 200);
  await other.locator("#drive").click();
  await page.locator("#watches").waitFor();
  await other.context().close();
});

on("the hinge worked in shows its curve falling", {}, ["--fast", "10", "--cycles-worked", "0"], async (page) => {
  await ready(page);
  await page.locator("#break-in").click();
  await page.locator("#fall-rows tr").nth(2).waitFor({ timeout: 120_000 });
  await page.locator("#fall-picture").evaluate((image) => image.decode());
  const worth = (await page.locator("#fall-rows td[data-name=Stiffness]").allTextContents()).reverse().map((t) => Number(t.split(" ")[0]));
  assert.ok(worth[1] < worth[0], worth.join());
  await picture(page, "working-in", true);
  await page.locator("#stop").tap();
  await page.locator("#alert").waitFor();
});

on("with the keyboard alone, and by the names a screen reader says", { viewport: DESK, hasTouch: false }, ["--fast", "8"], async (page) => {
  await page.locator("#rig", { hasText: "drives the servo" }).waitFor();
  const focused = () => page.evaluate(() => { const e = document.activeElement; return e === document.body ? "" : e.getAttribute("aria-label") ?? e.textContent.trim(); });
  const tabTo = async (pattern) => {
    for (let i = 0; i < 40; i++) {
      await page.keyboard.press("Tab");
      if (pattern.test(await focused())) return;
    }
    assert.fail(`Tab does not come to ${pattern}`);
  };
  await tabTo(/^left elevator/);
  await page.keyboard.press("Enter");
  await tabTo(/everything is clear/);
  await page.keyboard.press("Enter");
  await page.locator("#starts").waitFor();
  await tabTo(/^Sweep the left elevator/);
  await page.keyboard.press("Enter");
  await page.locator("#phase", { hasText: "cycle" }).waitFor({ timeout: 60_000 });
  await picture(page, "desk-moving");
  await page.keyboard.press("Escape");
  await page.locator("#alert", { hasText: "stopped" }).waitFor();
  // Everything that can be pressed has a name, and each picture a word for it.
  const nameless = await page.evaluate(() => [...document.querySelectorAll("button, a, [role=button], canvas, img, input")]
    .filter((e) => e.checkVisibility() && !(e.getAttribute("aria-label") || e.textContent.trim() || e.alt || e.labels?.length)).map((e) => e.outerHTML));
  assert.deepEqual(nameless, []);
  assert.equal(await page.locator("[role=alert]").count(), 1);
});

for (const scheme of ["light", "dark"]) {
  on(`texts stand out by WCAG AA in the ${scheme}, at 360 px nothing runs over, and all that is tapped is large enough`, { colorScheme: scheme }, ["--fast", "10", "--tight-spot", "-11:6"], async (page) => {
    const look = async (where) => {
      const seen = await page.evaluate(() => {
        const parse = (text) => (text.match(/[\d.]+/g) ?? [0, 0, 0, 0]).map(Number);
        const light = (rgb) => { const [r, g, b] = rgb.slice(0, 3).map((v) => (v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4)); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
        const ground = (e) => { for (let at = e; at; at = at.parentElement) { const c = parse(getComputedStyle(at).backgroundColor); if (c.length < 4 || c[3] > 0) return c; } return [255, 255, 255]; };
        const faint = [];
        for (const e of document.querySelectorAll("body *")) {
          const words = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
          if (!words || !e.checkVisibility() || e.closest("noscript, svg, :disabled")) continue;
          const [a, b] = [light(parse(getComputedStyle(e).color)), light(ground(e))];
          const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
          if (ratio < 4.5) faint.push(`${e.tagName} ${e.textContent.trim().slice(0, 40)} ${ratio.toFixed(2)}`);
        }
        // WCAG 2.2, 2.5.8: 24 px.
        const small = [...document.querySelectorAll("button, a, input, #plan .surface")].filter((e) => e.checkVisibility())
          .map((e) => [e.getAttribute("aria-label") ?? e.id, e.getBoundingClientRect()]).filter(([, r]) => Math.min(r.width, r.height) < 24).map(([n, r]) => `${n} ${r.width}x${r.height}`);
        const stop = document.getElementById("stop").getBoundingClientRect();
        return { faint, small, over: document.documentElement.scrollWidth - innerWidth, stop: [stop.top >= 0, stop.bottom <= innerHeight, stop.width > 300] };
      });
      assert.deepEqual(seen, { faint: [], small: [], over: 0, stop: [true, true, true] }, where);
    };
    await page.locator("#rig", { hasText: "drives the servo" }).waitFor();
    await look("pick");
    await page.getByRole("button", { name: /^left elevator/ }).click();
    await page.locator("#cautions").waitFor();
    await look("cautions");
    await page.locator("#confirm").click();
    await look("ready");
    await cycling(page, 2);
    await look("moving");
    await picture(page, `${scheme}-moving`);
    await page.locator("#verdict").waitFor({ timeout: 60_000 });
    await look("verdict");
    await picture(page, `${scheme}-verdict`, true);
  });
}

on("a thousand samples a second are drawn as they come", {}, ["--rate", "1000", "--fast", "1"], async (page) => {
  await ready(page);
  await cycling(page);
  await pause(12_000);
  const told = await page.evaluate(() => ({ ...benchFigures, seconds: (performance.now() - benchFigures.since_ms) / 1000 }));
  await page.locator("#stop").tap();
  const ages = told.ages_ms.sort((a, b) => a - b);
  const at = (share) => ages[Math.min(ages.length - 1, Math.floor(share * ages.length))];
  const fps = told.frames / told.seconds;
  console.log(`  ${told.points} points in ${told.seconds.toFixed(1)} s, ${fps.toFixed(1)} frames/s, longest gap ${told.longest_gap_ms.toFixed(0)} ms; sample to screen ${at(0.5).toFixed(0)} ms median, ${at(0.99).toFixed(0)} ms p99, ${ages.at(-1).toFixed(0)} ms worst`);
  assert.ok(told.points / told.seconds > 700, "it does not fall behind");
  assert.ok(fps >= 30, `${fps} frames/s`);
  assert.ok(at(0.99) < 150, `${at(0.99)} ms`);
});

// Answers as a builder gives them, one wrong among them; the rest is what is usual.
const ANSWERS = ["My jet", "one-rudder", "yes", "E1", "metal gear", "21 kg·cm", "7.4", "0.15", "0.09", "5800", "58", "straight", "24", "22", "1", "18", "22", "97", "95", "unknown", "E2", "metal gear", "yes", "no", "no", "no", "yes"];

test("without an aircraft the page asks for it, and goes on as the bench", { skip, timeout: 180_000 }, async () => {
  const bench = await Bench.start([], []);
  const page = await open(chrome, bench);
  try {
    for (const [i, answer] of ANSWERS.entries()) {
      await page.locator("#ask").waitFor();
      const question = await page.locator("#question").textContent();
      if (i === 9) await picture(page, "new-1-chord");
      const text = await page.locator("#said").textContent();
      await page.getByLabel(question).fill(answer);
      await page.locator("#give").tap();
      // Answered: its words are there, and the next question.
      await page.waitForFunction(([before, given]) => document.querySelector("#pick") || (document.querySelector("#said").textContent.length > before && document.querySelector("#said").textContent.includes(given)), [text.length, answer]);
      if (i === 9) assert.match(await page.locator("#said").textContent(), /5800 mm is not plausible/);
      if (i === 14) await picture(page, "new-2-linkage", true);
      if (i === 13) {
        // Taken back, the same question comes again, and what was answered before it stands.
        await page.locator("#question", { hasText: "how far off" }).waitFor();
        await page.locator("#back").tap();
        await page.locator("#question", { hasText: "throw down" }).waitFor();
        await page.getByLabel(await page.locator("#question").textContent()).fill("22");
        await page.locator("#give").tap();
        await page.locator("#question", { hasText: "how far off" }).waitFor();
      }
      if (i === ANSWERS.length - 2) {
        await page.locator("#question", { hasText: "all of it right" }).waitFor();
        assert.match(await page.locator("#said").textContent(), /left elevator: servo E1; chord 58 mm; throws up 24 mm, down 22 mm/);
        await picture(page, "new-3-read-back");
      }
    }
    await page.locator("#pick").waitFor();
    await page.locator("#aircraft", { hasText: "My jet" }).waitFor();
    assert.equal(await page.getByRole("button", { name: /elevator/ }).count() >= 2, true);
    await picture(page, "new-4-bench");
    assert.match(readFileSync(join(bench.logbook, "aircraft.toml"), "utf8"), /name = "My jet"/);
    assert.deepEqual(page.faults, []);
  } catch (error) {
    await tell(page, bench);
    throw error;
  } finally {
    await page.context().close();
    await bench.end();
  }
});
