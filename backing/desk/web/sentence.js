// The sentence of controls: what is played, how, and by whom; each word opens what it changes.
import { element } from "../page/type.js";
import { plain } from "./drawers.js";

const SLOWEST = 50, FASTEST = 130, QUIETEST = -24, LOUDEST = 12;
const PRESETS = [60, 70, 80, 90, 100];
const KEYS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const SIGNS = { b: "♭", "#": "♯" };
export const signed = (key) => key.replace(/^([A-G])([b#])/, (_, letter, sign) => letter + SIGNS[sign]);
const CAUTION = "Keep headphones low enough to talk over, rest your ears and your hands now and then, and stop if something rings or hurts; if that does not pass, see a doctor.";

// What is asked of the track beside its chart.
export class Wish {
  constructor() {
    this.percent = 100;
    this.key = null; // null for the chart's own
    this.seed = 1;
    this.levels = new Map(); // player: dB, where it is not 0
    this.silent = new Set();
    this.repeat = false; // what is selected, again and again
  }

  // As options of a command are typed.
  options() {
    const found = {};
    if (this.percent !== 100) found.tempo = `${this.percent}%`;
    if (this.key) found.key = this.key;
    if (this.seed !== 1) found.seed = String(this.seed);
    const levels = [...this.levels].filter(([player, db]) => db && !this.silent.has(player)).map(([player, db]) => `${player}=${db > 0 ? "+" : ""}${db}`);
    if (levels.length) found.level = levels;
    if (this.silent.size) found.without = [...this.silent];
    return found;
  }
}

export function whoWords(players, { silent, levels }) {
  const gone = players.filter((player) => silent.has(player));
  if (gone.length) return `without ${gone.join(", ")}`;
  return players.some((player) => levels.get(player)) ? "everyone, balanced anew" : "everyone";
}

export function slider(label, low, high, value, said, change) {
  const input = element("input", { type: "range", min: low, max: high, step: 1, value, "aria-label": label, "aria-valuetext": said(value) });
  input.addEventListener("input", () => {
    input.setAttribute("aria-valuetext", said(Number(input.value)));
    change(Number(input.value));
  });
  return input;
}

export function fillTempo(node, track, wish, change) {
  const said = (percent) => `${percent} %, ${Math.round((track.bpm * percent) / 100)} beats a minute`;
  const figure = element("output", { class: "figure" }, said(wish.percent));
  const input = slider("Tempo in percent", SLOWEST, FASTEST, wish.percent, said, (percent) => set(percent));
  const set = (percent) => {
    wish.percent = percent;
    input.value = String(percent);
    figure.textContent = said(percent);
    change();
  };
  node.replaceChildren(element("p", { class: "row-of" }, input, figure), element("p", { class: "row-of" }, ...PRESETS.map((percent) => plain(`${percent} %`, () => set(percent)))));
}

export function fillKey(node, track, wish, change) {
  const mode = track.key.replace(/^[A-G][b#]?\s*/, "");
  const set = element("fieldset", { class: "choices" }, element("legend", {}, "Play it in"));
  const own = track.key.match(/^[A-G][b#]?/)[0];
  for (const tonic of [own, ...KEYS.filter((key) => key !== own)]) {
    const value = tonic === own ? null : `${tonic} ${mode}`.trim();
    const input = element("input", { type: "radio", name: "key", checked: wish.key === value, onchange: () => {
      wish.key = value;
      change();
    } });
    set.append(element("label", {}, input, element("span", {}, `${signed(tonic)}${tonic === own ? ", as written" : ""}`)));
  }
  node.replaceChildren(set, element("p", { class: "hint" }, "The text stays as it is; the band plays, and what you take away stands, in this key."));
}

// `loud`: { share, set } of the volume of this page, in per cent.
export function fillWho(node, track, wish, change, loud) {
  const rows = track.players.filter((player) => player !== "click").map((player) => {
    const plays = element("input", { type: "checkbox", checked: !wish.silent.has(player), onchange: () => {
      if (plays.checked) wish.silent.delete(player);
      else wish.silent.add(player);
      change();
    } });
    const said = (db) => `${db > 0 ? "+" : ""}${db} decibels`;
    const figure = element("output", { class: "figure" }, `${wish.levels.get(player) ?? 0} dB`);
    const level = slider(`Level of ${player}`, QUIETEST, LOUDEST, wish.levels.get(player) ?? 0, said, (db) => {
      wish.levels.set(player, db);
      figure.textContent = `${db > 0 ? "+" : ""}${db} dB`;
      change();
    });
    return element("div", { class: "player" }, element("label", {}, plays, player), level, figure);
  });
  node.replaceChildren(...rows, ...(loud ? [volumeRow(loud)] : []), element("p", { class: "hint" }, CAUTION));
}

function volumeRow({ share, set }) {
  const said = (percent) => `${percent} %`;
  const figure = element("output", { class: "figure" }, said(share));
  const level = slider("Volume of this page", 0, 100, share, said, (percent) => {
    figure.textContent = said(percent);
    set(percent);
  });
  return element("div", { class: "player" }, element("span", {}, "all, on this page"), level, figure);
}

export function fillTaking(node, wish, change) {
  const told = element("output", {}, `take ${wish.seed}`);
  const set = (seed) => {
    wish.seed = Math.max(1, seed);
    told.textContent = `take ${wish.seed}`;
    change();
  };
  node.replaceChildren(element("p", { class: "row-of" }, told, plain("another take", () => set(wish.seed + 1)), plain("the one before", () => set(wish.seed - 1))), element("p", { class: "hint" }, "The same chart, played by the same band on another day. The same number is the same take for ever."));
}

export function fillFrom(node, wish, change) {
  const box = element("input", { type: "checkbox", checked: wish.repeat, onchange: () => {
    wish.repeat = box.checked;
    change();
  } });
  node.replaceChildren(element("p", {}, element("label", {}, box, element("span", {}, "Repeat the bars that are selected in the text"))), element("p", { class: "hint" }, "It plays from the bar in which the cursor stands. Ctrl-Enter in the text plays and stops."));
}
