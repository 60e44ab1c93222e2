"use strict";
const rows = [...document.querySelectorAll("tbody tr")];
const body = document.querySelector("tbody");
const typed = document.querySelector("input");
const count = document.getElementById("count");
const order = document.getElementById("order");
const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").replaceAll("♭", "b").replaceAll("♯", "#").toLowerCase();
const cell = (row, name) => row.querySelector("td." + name).textContent;
const compare = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" }).compare;
const texts = new Map(rows.map((row) => [row, plain(["title", "by", "style", "key"].map((n) => cell(row, n)).join(" "))]));

function search() {
  const words = plain(typed.value).split(/\s+/).filter(Boolean);
  let shown = 0;
  for (const row of rows) {
    row.hidden = !words.every((word) => texts.get(row).includes(word));
    shown += row.hidden ? 0 : 1;
  }
  count.textContent = shown === 1 ? "1 tune" : `${shown} tunes`;
}

function sort(head) {
  const heads = document.querySelectorAll("th[data-of]");
  const down = head !== null && head.getAttribute("aria-sort") === "ascending";
  for (const other of heads) other.removeAttribute("aria-sort");
  const place = (row) => Number(row.dataset.place);
  const name = head && head.dataset.of;
  const by = (a, b) => (name ? compare(cell(a, name), cell(b, name)) * (down ? -1 : 1) : 0) || place(a) - place(b);
  if (head) head.setAttribute("aria-sort", down ? "descending" : "ascending");
  body.append(...rows.sort(by));
}

function play(button) {
  const player = document.getElementById("player");
  const sound = player.querySelector("audio") || player.appendChild(document.createElement("audio"));
  sound.controls = true;
  sound.src = button.dataset.sound;
  sound.setAttribute("aria-label", button.getAttribute("aria-label"));
  sound.play();
}

document.querySelector(".tools").hidden = false;
typed.addEventListener("input", search);
order.addEventListener("click", () => sort(null));
for (const head of document.querySelectorAll("th[data-of]")) head.addEventListener("click", () => sort(head));
for (const button of document.querySelectorAll(".play")) {
  button.hidden = false;
  button.addEventListener("click", () => play(button));
}
search();
