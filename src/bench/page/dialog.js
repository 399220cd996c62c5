// Questions about a new aircraft. The program asks and judges; this page shows and passes on.
"use strict";

const $ = (id) => document.getElementById(id);
const KEY = document.querySelector("meta[name=key]").content;
const AGAIN_AFTER_MS = 400;
let socket = null;
let over = false;
let sure = false;

function connect() {
  socket = new WebSocket(`ws://${location.host}/answers?key=${KEY}`);
  socket.onmessage = (message) => { $("alert").hidden = true; show(JSON.parse(message.data)); };
  socket.onclose = () => {
    $("ask").hidden = true;
    if (over) return;
    $("alert").textContent = "The connection to the program is lost. Trying again …";
    $("alert").hidden = false;
    setTimeout(connect, AGAIN_AFTER_MS);
  };
}

// The last line is the question, with what is usual in brackets.
function show({ text, waits, over: done }) {
  const at = waits ? text.lastIndexOf("\n") + 1 : text.length;
  $("said").replaceChildren(...text.slice(0, at).split("\n").map(line));
  const [, question, usual] = text.slice(at).trim().match(/^(.*?)(?: \[([^\]]*)\])?$/s);
  $("ask").hidden = !waits;
  $("question").textContent = question;
  $("usual").hidden = !usual || usual === "unknown";
  $("usual").textContent = { yes: "Yes", no: "No" }[usual] ?? `It is ${usual}`;
  $("unknown").hidden = usual !== "unknown";
  sure = false;
  $("anew").textContent = "Begin anew";
  if (waits) {
    $("answer").value = "";
    $("answer").focus({ preventScroll: true });
  }
  window.scrollTo(0, document.body.scrollHeight);
  if (done) {
    over = true;
    // The program turns to the bench at the same address.
    setTimeout(() => location.reload(), 700);
  }
}

// A drawing's lines keep their shape, however narrow the page; sentences are wrapped.
function line(text) {
  const row = document.createElement("span");
  row.className = /^ {3}|^ .*[\u2500-\u257f]|_\.-/.test(text) ? "drawn" : "";
  row.textContent = `${text}\n`;
  return row;
}

const answer = (line) => { if (socket?.readyState === WebSocket.OPEN) socket.send(line); };
$("ask").onsubmit = (event) => {
  event.preventDefault();
  // Typed or tapped, it is asked once more.
  if ($("answer").value.trim() === "quit") $("anew").click();
  else answer($("answer").value);
};
$("usual").onclick = () => answer("");
$("unknown").onclick = () => answer("unknown");
$("back").onclick = () => answer("back");
$("anew").onclick = () => {
  if (sure) { answer("quit"); return; }
  sure = true;
  $("anew").textContent = "Sure? All answers go";
};
connect();
