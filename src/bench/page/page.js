// The page at the bench. It shows what the program says and passes on what is wished; it judges and remembers nothing.
"use strict";

const $ = (id) => document.getElementById(id);
const KEY = document.querySelector("meta[name=key]").content;
const ALIVE_EVERY_MS = 150;
const AGAIN_AFTER_MS = 400;

// A name of its own, kept over a reload; a copied tab gets another one.
const PAGE = (() => {
  const reloaded = performance.getEntriesByType("navigation")[0]?.type === "reload";
  const known = reloaded && sessionStorage.getItem("page");
  const name = known || Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
  sessionStorage.setItem("page", name);
  return name;
})();

let socket = null;
let told = null;            // the last state
let dismissed = 0;          // number of a finished run that gave way to the next
let gone = false;           // the program has ended
let wanted = null;          // the wish that a button stands for, until the state answers

// ---- the line to the program ------------------------------------------------------------------------------------------

function connect() {
  socket = new WebSocket(`ws://${location.host}/live?key=${KEY}`);
  socket.onopen = () => wish({ ask: "hello", page: PAGE });
  socket.onmessage = (message) => {
    const said = JSON.parse(message.data);
    if (said.kind === "state") show(said);
    else if (said.kind === "live") live(said);
    else if (said.kind === "no") refuse(said.words);
    else if (said.kind === "gone") leave();
  };
  socket.onclose = () => {
    socket = null;
    if (gone) return;
    if (told) alertOf("lost", "The connection to the program is lost.", isBusy() ? "It stops the rig by itself within a second. Keep your hands clear; if in doubt switch the supply off." : "Trying again …");
    $("rig").textContent = "No connection to the program. Trying again …";
    setTimeout(connect, AGAIN_AFTER_MS);
  };
}

// The program has ended in good order: everything is stopped and kept, and there is nothing to come back to.
function leave() {
  gone = true;
  for (const button of document.querySelectorAll("button")) button.disabled = true;
  say($("rig"), "The program has ended; the rig is disarmed and what was recorded is kept.");
  alertOf("gone", "The program has ended.", "Nothing moves any more, and Stop has nothing to stop. Start hingewright bench again, and open its new address.");
}

function wish(ask) {
  if (socket?.readyState !== WebSocket.OPEN) return false;
  socket.send(JSON.stringify(ask));
  return true;
}

setInterval(() => wish({ ask: "alive" }), ALIVE_EVERY_MS);

// ---- stop -------------------------------------------------------------------------------------------------------------

function stop() {
  const sent = wish({ ask: "stop" });
  figures.stopped_ms = now();
  if (!sent) alertOf("stop", "Stop could not be sent: there is no connection.", "The program stops the rig by itself within a second of losing this page. If anything still moves, switch the supply off.");
  else if (!isBusy()) {
    alertOf("idle", "Stop is heard: nothing was moving.");
    setTimeout(() => clearAlert("idle"), 4000);
  }
}
$("stop").addEventListener("pointerdown", (event) => { event.preventDefault(); stop(); });
$("stop").addEventListener("click", (event) => { if (event.detail === 0) stop(); });
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" && !(event.code === "Space" && isBusy())) return;
  event.preventDefault();
  event.stopPropagation();
  if (!event.repeat) stop();
}, true);
// A button under the focus must not take the release of the space bar for a press.
document.addEventListener("keyup", (event) => { if (event.code === "Space" && now() - figures.stopped_ms < 1500) event.preventDefault(); }, true);

// ---- what is wished ---------------------------------------------------------------------------------------------------

const surfaceName = () => told.state.surfaces[told.state.picked].name;
$("drive").onclick = () => wish({ ask: "drive" });
$("confirm").onclick = () => wish({ ask: "confirm" });
$("sweep").onclick = () => begin({ ask: "sweep", surface: surfaceName() });
$("listen").onclick = () => begin({ ask: "listen", surface: surfaceName() });
$("break-in").onclick = () => begin({ ask: "break-in", surface: surfaceName(), after_stop: $("after-stop").checked });
$("enough").onclick = () => wish({ ask: "enough" });
$("another").onclick = () => { dismissed = told.state.run.number; render(); $("pick-head").scrollIntoView(); };

function begin(ask) {
  clearAlert();
  wanted = ask;
  keepAwake();
  wish(ask);
}
function pick(surface) {
  clearAlert();
  scrollTo = "chosen";
  wish({ ask: "pick", surface });
}
let scrollTo = null;
for (const shape of document.querySelectorAll("#plan .surface")) {
  shape.addEventListener("click", () => pick(Number(shape.dataset.surface)));
}

let lock = null;
async function keepAwake() {
  // Only where the browser lets it: over the network it does not, and the phone's own setting counts.
  try { lock = await navigator.wakeLock?.request("screen"); } catch { lock = null; }
}

function refuse(words) {
  alertOf("no", `Not done: ${words}.`);
  wanted = null;
}

// ---- words ------------------------------------------------------------------------------------------------------------

let alertKind = null;
let alertBefore = null;     // what a lost connection covered up
function alertOf(kind, ...lines) {
  if (kind === "lost" && alertKind !== "lost") alertBefore = alertKind;
  alertKind = kind;
  fill($("alert"), lines.filter(Boolean).map((line) => el("p", {}, line)));
  $("alert").hidden = false;
}
function clearAlert(kind) {
  if (kind && alertKind !== kind) return;
  $("alert").hidden = true;
  alertKind = null;
}
function el(name, attributes, ...content) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...content);
  return made;
}
const fill = (parent, children) => parent.replaceChildren(...children);
function say(element, text) { if (element.textContent !== text) element.textContent = text; }
const fixed = (value, digits) => value.toFixed(digits).replace("-", "−");
const capital = (words) => words[0].toUpperCase() + words.slice(1);
const sentence = (words) => capital(words).replace(/\.?$/, ".");
const isBusy = () => Boolean(told?.state.run && told.state.run.doing !== "over");
const now = () => performance.timeOrigin + performance.now();

// ---- the state --------------------------------------------------------------------------------------------------------

let rigWasAway = false;
function show(said) {
  const before = told?.state.run;
  const run = said.state.run;
  if (run && run.number !== plot.run) plot.begin(run, Boolean(told));
  told = said;
  if (alertKind === "lost") {
    clearAlert();
    // Why a run was stopped is not forgotten over a connection that was away for a moment.
    if (alertBefore === "ended" && run?.ended && run.number === before?.number) ended(run);
  }
  if (run && wanted) wanted = null;
  // Back again, it is no trouble any more; why a run was stopped stays until the next one begins.
  if (told.state.rig.there && rigWasAway && run?.ended?.how === "failed") clearAlert("ended");
  rigWasAway = !told.state.rig.there;
  if (run?.doing === "over" && (before?.doing !== "over" || before.number !== run.number)) ended(run);
  if (!isBusy() && lock) { lock.release(); lock = null; }
  render();
  if (scrollTo && !$("chosen").hidden) { $(scrollTo).scrollIntoView({ block: "start" }); scrollTo = null; }
  if (run && before?.number !== run.number && isBusy()) $("run-head").focus({ preventScroll: false });
}

function ended(run) {
  const { how, what, hint, disarmed, at_ms } = run.ended;
  if (how === "whole") { clearAlert(); return; }
  // Told again to a page that was away, with its time.
  const ago = Math.round((Date.now() - at_ms) / 1000);
  const when = ago > 3 ? ` (${ago < 120 ? `${ago} s` : `${Math.round(ago / 60)} min`} ago)` : "";
  const safe = disarmed ? "The rig is disarmed." : "The rig did not confirm that it is disarmed: it disarms itself within half a second of silence. Switch its supply off before you touch the surface.";
  alertOf("ended", sentence(what + when), safe, hint && sentence(hint));
}

function render() {
  const { state, drives, driven } = told;
  const { rig, run, picked } = state;
  const busy = isBusy();
  const shown = run && run.number !== dismissed;
  document.title = `${busy ? "moving · " : ""}${state.aircraft} · at the bench`;
  say($("aircraft"), state.aircraft);
  say($("rig"), rigWords(rig));
  $("rig").className = rig.trouble ? "trouble" : "quiet";
  $("watches").hidden = drives;
  say($("who"), driven ? "This page watches: another one drives." : "No page drives now.");
  $("drive").disabled = busy;
  $("pick").hidden = Boolean(shown);
  $("chosen").hidden = Boolean(shown) || picked === null;
  $("run").hidden = !shown;
  renderPlan(state);
  if (picked !== null) renderChosen(told);
  if (shown) renderRun(state, run);
}

function rigWords(rig) {
  if (rig.trouble) return sentence(rig.trouble.what) + (rig.trouble.hint ? ` ${sentence(rig.trouble.hint)}` : "");
  if (!rig.there) return "Asking the rig …";
  const does = rig.drives ? "drives the servo" : "only measures: you move the surface";
  return `Rig ${rig.name} at ${rig.port}: ${does}; it reads ${rig.effort ? rig.effort.name : "no torque and no current"}.`;
}

function renderPlan(state) {
  for (const shape of document.querySelectorAll("#plan .surface")) {
    const i = Number(shape.dataset.surface);
    shape.classList.toggle("picked", state.picked === i);
    shape.dataset.verdict = state.surfaces[i].last?.verdict ?? "";
  }
  // Made anew only where it has changed: a focus must not be lost.
  const key = JSON.stringify([state.surfaces.map((s) => [s.name, s.last]), state.picked]);
  if ($("others").dataset.of === key) return;
  const focused = $("others").contains(document.activeElement) ? [...$("others").querySelectorAll("button")].indexOf(document.activeElement) : -1;
  $("others").dataset.of = key;
  fill($("others"), state.surfaces.map((surface, i) => {
    const last = surface.last ? `${surface.last.words}, ${surface.last.day}` : "not swept yet";
    const button = el("button", { type: "button", "aria-pressed": String(state.picked === i), "aria-label": `${surface.name}, ${last}` }, surface.name, el("span", {}, last));
    button.onclick = () => pick(i);
    return el("li", {}, button);
  }));
  if (focused >= 0) $("others").querySelectorAll("button")[focused]?.focus({ preventScroll: true });
}

function renderChosen({ state, drives, confirmed, wired }) {
  const surface = state.surfaces[state.picked];
  const { rig } = state;
  say($("chosen-name"), surface.name);
  const throws = surface.throws.map((t) => `${t.name} ${fixed(t.asked_mm, 1)} mm (${fixed(Math.abs(t.asked_deg), 1)}°)`).join(", ");
  const last = surface.last ? `Swept last on ${surface.last.day}: ${surface.last.words}.` : "Not swept yet.";
  say($("chosen-facts"), `Servo ${surface.servo}. Throws asked: ${throws || "none"}. ${last}`);
  $("cautions").hidden = confirmed;
  $("no-scale").hidden = surface.calibrated || !rig.there || !rig.drives;
  $("no-heat").hidden = !rig.there || !rig.drives || rig.measures_heat;
  const ready = confirmed && wired;
  const { sweep } = surface;
  const moves = rig.drives ? `It will move from ${fixed(sweep.from_deg, 1)}° to ${fixed(sweep.to_deg, 1)}°, ${sweep.cycles} cycles, about ${Math.round(sweep.takes_s / 5) * 5} s.` : "You will move it.";
  say($("wire-words"), `Is the rig on the ${surface.name}: servo ${surface.servo} plugged into it, and its sensors on this surface? ${moves} If anything else moves, press STOP.`);
  say($("confirm"), confirmed ? `Yes, the rig is on the ${surface.name}, and everything is clear` : `Read; the rig is on the ${surface.name}, and everything is clear`);
  $("wire").hidden = ready || !rig.there;
  $("confirm").disabled = !drives;
  $("starts").hidden = !ready;
  say($("sweep"), `Sweep the ${surface.name}`);
  say($("listen"), `Record while I move the ${surface.name}`);
  say($("break-in"), "Work its hinge in");
  $("sweep").hidden = rig.there && !rig.drives;
  $("break-in").hidden = rig.there && !rig.drives;
  $("listen").hidden = !rig.there || rig.drives;
  for (const id of ["sweep", "listen", "break-in"]) $(id).disabled = !drives || !rig.there;
  const run = state.run;
  const stiffer = run?.what === "break-in" && run.surface === state.picked && run.ended?.how === "rose";
  $("after-stop-row").hidden = !stiffer;
  if (!stiffer) $("after-stop").checked = false;
}

const NAMES = { sweep: "sweep", "break-in": "working in", "by-hand": "moved by hand" };

function renderRun(state, run) {
  const surface = state.surfaces[run.surface];
  say($("run-head"), `${surface.name}: ${NAMES[run.what]}`);
  $("enough").hidden = run.what !== "by-hand" || run.doing !== "moving";
  $("enough").disabled = !told.drives;
  renderPhase();
  renderFindings(run);
  renderFall(run);
  renderVerdict(run);
  $("notes").hidden = run.notes.length === 0;
  fill($("notes"), run.notes.map((note) => el("li", {}, note)));
  $("kept").hidden = !run.recording;
  say($("kept"), run.recording ? `Recording: ${run.recording}` : "");
  $("onward").hidden = run.doing !== "over";
  $("report").href = `/report?key=${KEY}`;
  const effort = state.rig.effort;
  plot.of(surface, effort, run);
}

let phaseSaid = 0;
function renderPhase(force) {
  const run = told?.state.run;
  if (!run) return;
  const moment = plot.moment;
  let words;
  if (run.doing === "beginning") words = "Asking the rig …";
  else if (run.doing === "judging") words = "Disarmed. Measuring what was recorded …";
  else if (run.doing === "over") words = run.ended.how !== "whole" ? "Ended before its time." : run.what === "by-hand" ? "Done." : "Done; the rig is disarmed.";
  else {
    const coverage = moment?.coverage;
    const at = !moment ? "" : moment.of ? `${moment.phase} ${moment.number} of ${moment.of}` : moment.phase;
    const left = moment && run.what !== "by-hand" ? `, ${Math.max(0, Math.ceil(moment.left_s))} s left${run.what === "break-in" ? " of this batch" : ""}` : "";
    words = coverage
      ? `${coverage.enough ? "Enough: rest a second, then end it. " : "Move it slowly from end to end and back. "}${coverage.up} strokes one way and ${coverage.down} the other, ${coverage.wanted} of each are enough; ${Math.round(100 * coverage.share)} % of the travel`
      : `${run.stage ? `${run.stage}: ` : ""}${at}${left}`;
  }
  // A listener is not told every second.
  const quiet = run.doing === "moving" && !force && now() - phaseSaid < 1000;
  if (!quiet) { say($("phase"), words); phaseSaid = now(); }
}

function renderFindings(run) {
  $("found").hidden = run.findings.length === 0;
  say($("found-head"), run.verdict ? "Found, worst first" : "Found so far");
  const key = JSON.stringify(run.findings);
  if ($("findings").dataset.of === key) return;
  $("findings").dataset.of = key;
  fill($("findings"), run.findings.map((f) => el("li", { class: f.level, "data-kind": f.kind }, el("strong", {}, f.meaning), f.text)));
}

function renderFall(run) {
  $("fall").hidden = !run.fall;
  if (!run.fall) return;
  const { state, stands } = run.fall;
  say($("fall-stands"), sentence(stands.startsWith(state) ? stands : `${state}: ${stands}`));
  const cell = (name, text) => el("td", { "data-name": name }, text ?? "not measured");
  fill($("fall-rows"), run.fall.batches.toReversed().map((b) => el("tr", {},
    cell("Worked", `${Math.round(b.cycles)} cycles${b.stage_deg === null ? "" : `, ${b.stage_deg}°`}`),
    cell("Stiffness", b.stiffness), cell("Friction", b.friction), cell("Knee", b.knees))));
  const picture = $("fall-picture");
  picture.hidden = run.fall.batches.length === 0;
  const address = `/fall.svg?key=${KEY}&run=${run.number}&picture=${run.fall.picture}`;
  if (!picture.hidden && picture.getAttribute("src") !== address) {
    picture.src = address;
    picture.alt = `Stiffness and friction against cycles worked. ${run.fall.stands}`;
  }
}

function renderVerdict(run) {
  const verdict = run.verdict;
  $("verdict").hidden = $("numbers").hidden = !verdict;
  if (!verdict || $("verdict").dataset.run === String(run.number)) return;
  $("verdict").dataset.run = String(run.number);
  $("verdict-word").className = `verdict ${verdict.word}`;
  say($("verdict-word"), verdict.words);
  say($("verdict-meaning"), verdict.meaning);
  const cell = (name, text, kind) => el("td", { "data-name": name, class: kind ?? "" }, text);
  fill($("throws"), verdict.throws.map((t) => el("tr", {}, cell("Throw", t.name), cell("Asked", t.asked), cell("Reached", t.reached), cell("State", t.state, t.word))));
  fill($("rows"), verdict.rows.map((r) => el("tr", { class: r.known ? "" : "unknown" }, el("th", { scope: "row" }, r.name), el("td", {}, r.value))));
  $("verdict-picture").hidden = false;
  $("verdict-picture").src = `/verdict.svg?key=${KEY}&run=${run.number}`;
  $("verdict-picture").alt = "Torque against deflection, with the fitted branches, the throws and what was found";
  $("verdict").scrollIntoView({ block: "start" });
}

// ---- the loop ---------------------------------------------------------------------------------------------------------

// A picture of deflection against effort whose axes grow in steps, so that most samples are added to what is drawn.
class Loop {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.clear();
    new ResizeObserver(() => { this.stale = true; }).observe(canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { this.stale = true; });
  }
  clear() {
    this.points = [];
    this.behind = [];
    this.throws = [];
    this.unit = "";
    this.dots = false;
    this.x = [-10, 10];
    this.y = [-1, 1];
    this.drawn = 0;
    this.stale = true;
  }
  of(throws, unit) {
    const key = JSON.stringify([throws, unit]);
    if (this.key === key) return;
    this.key = key;
    this.throws = throws;
    this.unit = unit;
    this.fit(throws.map((t) => [t.asked_deg * 1.12, 0]));
    this.stale = true;
  }
  setBehind(points) {
    if (this.behind === points) return;
    this.behind = points;
    this.fit(points);
    this.stale = true;
  }
  add(points) {
    this.fit(points);
    for (const point of points) this.points.push(point);
  }
  // Axes that hold all points, in steps of a fifth more.
  fit(points) {
    for (const [x, y] of points) {
      if (x < this.x[0] || x > this.x[1]) { grow(this.x, x); this.stale = true; }
      if (y < this.y[0] || y > this.y[1]) { grow(this.y, y); this.stale = true; }
    }
  }
  frame() {
    const ratio = Math.min(window.devicePixelRatio || 1, 3);
    const { clientWidth: width, clientHeight: height } = this.canvas;
    if (!width || (!this.stale && this.drawn === this.points.length)) return false;
    if (this.stale) {
      this.canvas.width = Math.round(width * ratio);
      this.canvas.height = Math.round(height * ratio);
      this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      this.box = { left: 46, right: width - 8, top: 40, bottom: height - 30 };
      this.ground(width, height);
      this.dotted(this.behind, "--behind", 1.6);
      this.drawn = 0;
      this.stale = false;
    }
    this.trace();
    this.drawn = this.points.length;
    return true;
  }
  px([x, y]) {
    const { left, right, top, bottom } = this.box;
    return [left + (right - left) * (x - this.x[0]) / (this.x[1] - this.x[0]), bottom - (bottom - top) * (y - this.y[0]) / (this.y[1] - this.y[0])];
  }
  ground(width, height) {
    const { pen, box } = this;
    pen.fillStyle = colour("--paper");
    pen.fillRect(0, 0, width, height);
    pen.font = "13px system-ui, sans-serif";
    pen.lineWidth = 1;
    for (const x of ticks(this.x, 6)) {
      const [px] = this.px([x, 0]);
      this.line([px, box.top], [px, box.bottom], x === 0 ? "--quiet" : "--line");
      this.text(`${fixed(x, 0)}°`, px, box.bottom + 17, "center", "--quiet");
    }
    for (const y of ticks(this.y, 6)) {
      const [, py] = this.px([0, y]);
      this.line([box.left, py], [box.right, py], y === 0 ? "--quiet" : "--line");
      this.text(fixed(y, Math.abs(this.y[1] - this.y[0]) < 5 ? 1 : 0), box.left - 5, py + 4, "right", "--quiet");
    }
    this.text(this.unit, 6, 14, "left", "--quiet");
    pen.setLineDash([7, 5]);
    pen.lineWidth = 2;
    const rows = [];
    for (const { name, asked_deg } of this.throws) {
      const [px] = this.px([asked_deg, 0]);
      this.line([px, box.top], [px, box.bottom], "--mark");
      // Names of throws that stand close take a row each.
      const row = rows.findIndex((end) => Math.abs(px - end) > 60);
      const at = row < 0 ? rows.length : row;
      rows[at] = px;
      this.text(name, Math.min(Math.max(px, box.left + 20), box.right - 22), box.top - 8 + (at ? 8 + 15 * at : 0), "center", "--mark");
    }
    pen.setLineDash([]);
  }
  line(from, to, ink) {
    this.pen.strokeStyle = colour(ink);
    this.pen.beginPath();
    this.pen.moveTo(...from);
    this.pen.lineTo(...to);
    this.pen.stroke();
  }
  text(words, x, y, align, ink) {
    this.pen.fillStyle = colour(ink);
    this.pen.textAlign = align;
    this.pen.fillText(words, x, y);
  }
  dotted(points, ink, size) {
    this.pen.fillStyle = colour(ink);
    for (const point of points) {
      const [x, y] = this.px(point);
      this.pen.fillRect(x - size / 2, y - size / 2, size, size);
    }
  }
  trace() {
    const { pen, points } = this;
    if (this.dots) return this.dotted(points.slice(this.drawn), "--trace", 3);
    pen.strokeStyle = colour("--trace");
    pen.lineWidth = 1.6;
    pen.lineJoin = "round";
    pen.beginPath();
    for (let i = Math.max(this.drawn, 1); i < points.length; i++) {
      // Between two batches, or where samples are missing, there is no way to be drawn.
      const gap = Math.abs(points[i][0] - points[i - 1][0]) > 0.08 * (this.x[1] - this.x[0]);
      if (i === Math.max(this.drawn, 1) || gap) pen.moveTo(...this.px(points[gap ? i : i - 1]));
      pen.lineTo(...this.px(points[i]));
    }
    pen.stroke();
  }
}

function grow(range, to) {
  const span = range[1] - range[0];
  if (to < range[0]) range[0] = to - 0.15 * Math.max(span, Math.abs(to));
  else range[1] = to + 0.15 * Math.max(span, Math.abs(to));
}
function ticks([low, high], most) {
  const rough = (high - low) / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough);
  const all = [];
  for (let at = Math.ceil(low / step) * step; at <= high + 1e-9; at += step) all.push(Math.abs(at) < step / 1e6 ? 0 : at);
  return all;
}
let colours = {};
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { colours = {}; });
const colour = (name) => colours[name] ??= getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// Figures of the page itself, for whoever measures it: frames drawn, and how old the oldest sample of each message was when it
// stood on the screen.
const figures = { frames: 0, longest_gap_ms: 0, ages_ms: [], points: 0, stopped_ms: 0 };
window.benchFigures = figures;

const plot = {
  run: 0,
  moment: null,
  here: false,
  waits: [],
  loop: new Loop($("loop")),
  torque: new Loop($("torque")),
  begin(run, here) {
    // Samples of a run that began before this page came are old for no fault of its own.
    this.here = here;
    this.run = run.number;
    this.moment = null;
    this.waits = [];
    for (const one of [this.loop, this.torque]) { one.clear(); one.key = null; }
    Object.assign(figures, { frames: 0, longest_gap_ms: 0, ages_ms: [], points: 0 });
    lastFrame = 0;
  },
  of(surface, effort, run) {
    this.loop.of(surface.throws, effort ? `${effort.name}, ${effort.unit}` : "");
    if (run.behind) this.loop.setBehind(run.behind.points);
    say($("loop-caption"), `${effort ? capital(effort.name) : "Nothing"} against deflection, live. Dashed: the throws asked.${run.behind ? ` Grey: ${run.behind.words}.` : ""}`);
    $("torque-figure").hidden = !run.torque || (run.torque.points.length === 0 && run.torque.behind.length === 0);
    if (run.torque && !$("torque-figure").hidden) {
      const { torque } = this;
      torque.dots = true;
      torque.of(surface.throws, "torque, N·cm");
      torque.behind = run.torque.behind;
      torque.points = run.torque.points;
      torque.fit(torque.behind);
      torque.fit(torque.points);
      torque.stale = true;
      say($("torque-caption"), `Torque as measured so far from ${run.torque.from.replace("-", " ")}, after each cycle.${run.behind ? ` Grey: ${run.behind.words}.` : ""}`);
      $("torque").setAttribute("aria-label", `Torque against deflection from ${run.torque.from}, ${run.torque.points.length} points so far`);
    }
  },
};

function live(said) {
  renderNow(said.now);
  if (said.run !== plot.run || !told?.state.run) return;
  plot.moment = said;
  const from = said.from - plot.loop.points.length;
  const points = from <= 0 ? said.points.slice(-from || 0) : [];
  if (points.length) {
    plot.loop.add(points);
    if (plot.here) plot.waits.push(said.first_ms);
  }
  renderPhase();
}

let nowShown = 0;
function renderNow(reading) {
  if (!reading) { $("now").replaceChildren(); return; }
  if (now() - nowShown < 150) return;
  nowShown = now();
  const all = [["deflection", reading.angle_deg, 1, "°"], ["torque", reading.torque_ncm, 1, " N·cm"], ["rod", reading.force_n, 1, " N"],
    ["current", reading.current_ma, 0, " mA"], ["supply", reading.supply_v, 2, " V"], ["case", reading.case_c, 0, " °C"]];
  const rows = all.filter(([, value]) => value !== null && value !== undefined);
  const list = $("now");
  if (list.children.length !== rows.length) fill(list, rows.map(([name]) => el("div", {}, el("dt", {}, name), el("dd", {}))));
  rows.forEach(([name, value, digits, unit], i) => {
    say(list.children[i].firstChild, name);
    say(list.children[i].lastChild, fixed(value, digits) + unit);
  });
}

let lastFrame = 0;
let labelled = 0;
function frame(at) {
  requestAnimationFrame(frame);
  const drew = plot.loop.frame();
  plot.torque.frame();
  const moving = told?.state.run?.doing === "moving" && plot.loop.points.length > 0;
  if (moving) {
    if (lastFrame) figures.longest_gap_ms = Math.max(figures.longest_gap_ms, at - lastFrame);
    lastFrame = at;
    figures.frames += 1;
    figures.since_ms ??= at;
  } else lastFrame = 0;
  if (!drew) return;
  figures.points = plot.loop.points.length;
  const shown = now();
  for (const heard of plot.waits) figures.ages_ms.push(shown - heard);
  plot.waits.length = 0;
  if (figures.points > 0 && shown - labelled > 2000) {
    labelled = shown;
    const [x, y] = plot.loop.points[plot.loop.points.length - 1];
    $("loop").setAttribute("aria-label", `${plot.loop.unit} against deflection, live: ${fixed(y, 1)} at ${fixed(x, 1)} degrees`);
  }
}
requestAnimationFrame(frame);
connect();
