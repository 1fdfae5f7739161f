"use strict";
// Keys, playing and the line that runs along the sound. The page works without any of this.

const MARGIN_AROUND = 1500;
const SHORTEST = 5000;

const items = () => [...document.querySelectorAll(".item")];
const keysOn = document.getElementById("keys-on");

// The item with the focus, or the one that the address names, or nothing.
function current() {
  return document.activeElement.closest(".item") || document.querySelector(".item:target");
}

function show(item) {
  if (!item) return;
  item.focus({ preventScroll: true });
  item.scrollIntoView({ block: "center" });
}

function step(by) {
  const all = items();
  const here = all.indexOf(current());
  if (here < 0) return show(all.find((one) => "open" in one.dataset) || all[0]);
  show(all[Math.min(Math.max(here + by, 0), all.length - 1)]);
}

function play(item) {
  const sound = item && item.querySelector("audio");
  if (!sound) return;
  if (!sound.paused) return sound.pause();
  sound.currentTime = 0;
  sound.play();
}

function accept(item) {
  const form = item && item.querySelector("form.accept");
  if (form) form.requestSubmit();
}

function unfold(item, kinds) {
  const part = item && item.querySelector(kinds);
  if (!part) return;
  part.open = true;
  const first = part.querySelector("input:not([type=hidden]), select");
  first.focus();
  if (first.select) first.select();
}

const KEYS = {
  n: () => step(1),
  b: () => step(-1),
  p: () => play(current()),
  a: () => accept(current()),
  c: () => unfold(current(), "details.correct, details.read"),
  x: () => unfold(current(), "details.set_aside"),
};

function leave(event) {
  const part = event.target.closest("details[open]");
  if (part) part.open = false;
  show(event.target.closest(".item"));
}

document.addEventListener("keydown", (event) => {
  if (!keysOn || event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "Escape") return leave(event);
  if (!keysOn.checked || event.target.matches("input, select, textarea")) return;
  const act = KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  act();
});

// One sound at a time, with a line where it is.
function follow(part) {
  const sound = part.querySelector("audio");
  const line = document.createElement("span");
  const [from, start, end] = ["from", "start", "end"].map((name) => Number(part.dataset[name]));
  const spare = Math.max(MARGIN_AROUND, (SHORTEST - (end - start)) / 2);
  const left = Math.max(0, start - spare);
  line.className = "cursor";
  line.hidden = true;
  part.append(line);
  sound.addEventListener("timeupdate", () => {
    const share = (from + sound.currentTime * 1000 - left) / (end + spare - left);
    line.hidden = sound.paused;
    line.style.left = `${Math.min(Math.max(share, 0), 1) * 100}%`;
  });
  sound.addEventListener("play", () => {
    for (const other of document.querySelectorAll("audio")) if (other !== sound) other.pause();
  });
  sound.addEventListener("pause", () => { line.hidden = true; });
}

document.querySelectorAll(".sound").forEach(follow);
const help = document.querySelector(".keys");
if (help) help.hidden = false;
if (location.hash) show(document.querySelector(".item:target"));
