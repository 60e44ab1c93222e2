// The page: one state, what changes it, and what it is shown and sounded by.
import { createRuler, element, pieces } from "./type.js";
import { Sheet } from "./sheet.js";
import { Controls } from "./controls.js";
import { Sound } from "./sound.js";
import { openStudio } from "./workers.js";
import { Transport } from "./transport.js";
import { helpDialog, listen } from "./keyboard.js";
import { Hand } from "./grips.js";
import { FASTEST, SLOWEST, fresh, keep, kept, understood, written } from "./settings.js";
import { barAt, countAt, wordAt } from "./time.js";
import { barName, lineWords } from "./speak.js";

const byId = (id) => document.getElementById(id);
const data = JSON.parse(byId("data").textContent);
const roles = [...data.players.map((p) => p.role), "click"];
const storage = () => window.localStorage;
const state = understood(location.hash.slice(1), data) ?? understood(kept(data, storage), data) ?? fresh(data);

let sheet, controls, hand, transport, dialog, frame = 0, later = 0, saving = 0;

function show() {
  byId("title").replaceChildren(...pieces(data.title));
  byId("by").textContent = data.by;
  byId("by").hidden = !data.by;
  byId("notes").textContent = data.notes;
  byId("notes").hidden = !data.notes;
  byId("still").remove();
  byId("controls").hidden = false;
  dialog = helpDialog();
  transport = new Transport(data, state, {
    wish, started, stopped, message, levels: () => roles.forEach(applyLevel), changed: () => controls.update(),
  });
  hand = new Hand(data, state, byId("grips"));
  sheet = new Sheet(data, createRuler(), { stage: byId("stage"), whole: byId("sheet"), form: byId("form") }, { jump, tap, choose, chords: (n, sounds) => hand.show(n, sounds), room }, state);
  controls = new Controls(data, state, { sentence: byId("sentence"), drawer: byId("drawer") }, {
    toggle: () => transport.toggle(), choose, wholeTune, thisSection, tempo, key, mute, only, level, click, count, firstOnly, step, top, shown, resized,
  });
  foot();
  sheet.setCursor(state.bar);
  sheet.choose(...chosen());
  sheet.lay();
  head();
  let width = innerWidth, height = innerHeight;
  addEventListener("resize", () => {
    if (innerWidth === width && Math.abs(innerHeight - height) < 120) return; // a phone's address bar comes and goes
    [width, height] = [innerWidth, innerHeight];
    sheet.lay();
    resized();
  });
  addEventListener("beforeprint", () => sheet.print());
  addEventListener("afterprint", () => sheet.lay());
  addEventListener("hashchange", followLink);
  addEventListener("pagehide", save);
  resized();
}

function decoded(id) {
  const text = atob(byId(id).textContent);
  return Uint8Array.from(text, (c) => c.charCodeAt(0));
}

// The workers are made once the whole file has been read; until then nothing but the look is there.
function load() {
  const line = new TextEncoder().encode("\n");
  const early = new TextEncoder().encode("self.Worker ??= class {};\n");
  const parts = [early, decoded("decoder"), line, decoded("stretch"), line, decoded("studio")];
  const code = new Uint8Array(parts.reduce((sum, p) => sum + p.length, 0));
  let at = 0;
  for (const part of parts) {
    code.set(part, at);
    at += part.length;
  }
  const studio = openStudio(data, {
    code,
    stem: (number) => {
      const node = byId(`stem-${number}`);
      const found = { base64: node.textContent, sizes: JSON.parse(node.dataset.sizes) };
      node.remove();
      return found;
    },
  });
  studio.onfault = (text) => message(`The sound could not be made: ${text}`);
  studio.warm();
  transport.loaded(studio);
}

function wish() {
  return {
    bar: state.loop ? state.first : state.bar, first: state.first, last: state.last, loop: state.loop,
    rate: state.percent / 100, step: state.step / 100, top: Math.max(state.top, state.percent) / 100,
    shift: state.shift, countIn: state.countIn, firstOnly: state.firstOnly, manner: state.manner,
  };
}

// The height of the window that the controls leave, drawers closed.
const room = () => innerHeight - (byId("controls").offsetHeight - byId("drawer").offsetHeight) - 30;

function started() {
  document.body.classList.add("playing");
  resized(); // the sentence may be shorter while it plays
  const stage = byId("stage").getBoundingClientRect();
  const seen = byId(state.shown.grips && data.grips ? "grips" : "stage").getBoundingClientRect();
  const room = innerHeight - byId("controls").offsetHeight;
  if (stage.top < 0 || stage.top > innerHeight / 3 || seen.bottom > room) byId("stage").scrollIntoView({ block: "start" });
  cancelAnimationFrame(frame);
  draw();
}

function stopped(place) {
  const { bars } = data;
  cancelAnimationFrame(frame);
  const ended = place !== null && place >= bars[bars.length - 1].end - 0.01;
  if (!state.loop && place !== null) state.bar = ended ? 0 : barAt(bars, place);
  sheet.setCursor(state.bar);
  sheet.show(bars[state.loop ? state.first : state.bar].start, false);
  sheet.count("");
  document.body.classList.remove("playing");
  resized();
  state.pace = 0;
  head();
}

function draw() {
  frame = requestAnimationFrame(draw);
  transport.tick();
  const now = state.playing ? transport.sound.now() : null;
  if (!now) return;
  const sounds = now.kind === "music" && now.at >= now.span.at;
  sheet.show(now.place, sounds);
  if (now.kind === "count") sheet.count(countAt(now.span, now.at), true);
  else sheet.count(state.shown.beats && sounds ? wordAt(data.bars[barAt(data.bars, now.place)], now.place) : "", false);
  const percent = Math.round(now.span.rate * 100);
  if (state.loop && state.step && percent !== state.pace) {
    state.pace = percent;
    controls.update();
    head();
    say(`${percent} %`);
  }
}

// What was chosen is kept once the hand rests.
function changed() {
  controls.update();
  head();
  clearTimeout(saving);
  saving = setTimeout(save, 300);
}

function save() {
  clearTimeout(saving);
  const text = written(state, data);
  keep(text, data, storage);
  if (text === location.hash.slice(1)) return;
  try {
    history.replaceState(null, "", text ? `#${text}` : location.href.split("#")[0]);
  } catch (refused) {
    // some browsers forbid it to files, or so often; what is kept is kept
  }
}

function followLink() {
  const asked = understood(location.hash.slice(1), data);
  if (!asked) return;
  transport.stop();
  Object.assign(state, asked);
  roles.forEach(applyLevel);
  sheet.setCursor(state.bar);
  sheet.choose(...chosen());
  sheet.place = data.bars[state.bar].start;
  sheet.lay();
  changed();
}

function head() {
  byId("line").replaceChildren(...pieces(lineWords(data, state.pace || state.percent, state.shift)));
}

const chosen = () => (state.loop ? [state.first, state.last] : [0, -1]);

// To a bar: while it plays at once, otherwise to begin there.
function jump(bar) {
  goTo(bar);
  if (state.playing) transport.again({ ...wish(), bar, countIn: 0 });
  else sheet.show(data.bars[bar].start, false);
}

// A tap plays from there, with a count.
function tap(bar) {
  goTo(bar);
  sheet.show(data.bars[bar].start, false);
  if (state.playing) transport.again({ ...wish(), bar });
  else if (!state.waiting) transport.play();
}

function goTo(bar) {
  if (state.loop && (bar < state.first || bar > state.last)) state.loop = false;
  sheet.choose(...chosen());
  state.bar = bar;
  sheet.setCursor(bar);
  if (document.activeElement?.matches(".zone")) document.querySelector(`#sheet .zone[data-bar="${bar}"]`).focus();
  changed();
}

function choose(first, last) {
  Object.assign(state, { loop: true, first, last, bar: first });
  sheet.setCursor(first);
  sheet.choose(first, last);
  changed();
  if (state.playing) transport.sound.change({ first, last, loop: true });
  else sheet.show(data.bars[first].start, false);
  say(first === last ? `Bar ${barName(data, first)} again and again` : `Bars ${barName(data, first)} to ${barName(data, last)} again and again`);
}

function wholeTune() {
  state.loop = false;
  state.bar = 0;
  sheet.setCursor(0);
  sheet.choose(0, -1);
  changed();
  if (state.playing) transport.sound.change({ loop: false });
  else sheet.show(data.bars[0].start, false);
}

function thisSection() {
  const section = data.sections[data.bars[transport.here()].section];
  choose(section.first, section.last);
}

// Moving a slider changes the sound once the hand rests.
function soon(changes) {
  clearTimeout(later);
  later = setTimeout(() => state.playing && transport.sound.change(changes()), 120);
}

function sounding() {
  return { rate: state.percent / 100, top: Math.max(state.top, state.percent) / 100, shift: state.shift };
}

function tempo(percent) {
  state.percent = Math.min(FASTEST, Math.max(SLOWEST, Math.round(percent)));
  state.pace = 0;
  changed();
  soon(sounding);
}

function key(shift) {
  state.shift = Math.min(6, Math.max(-6, shift));
  sheet.lay();
  changed();
  soon(state.step ? () => ({ shift: state.shift }) : sounding);
}

// What a chart asks for is in the sound of the players already; the click is struck here.
function applyLevel(role) {
  const { db, silent } = state.players[role];
  const sounding = role === "click" ? 0 : data.levels[role] ?? 0;
  transport.sound?.level(role, silent ? 0 : 10 ** ((db - sounding) / 20));
}

function mute(role, silent) {
  state.players[role].silent = silent;
  applyLevel(role);
  changed();
}

function only(role) {
  const others = data.players.map((p) => p.role).filter((r) => r !== role);
  const alone = !state.players[role].silent && others.every((r) => state.players[r].silent);
  state.players[role].silent = false;
  for (const other of others) state.players[other].silent = !alone;
  roles.forEach(applyLevel);
  changed();
}

function level(role, db) {
  state.players[role].db = db;
  applyLevel(role);
  changed();
}

function quiet(part, changes) {
  Object.assign(state, part);
  changed();
  if (state.playing) transport.sound.change(changes);
}
const click = (manner) => quiet({ manner }, { manner });
const count = (countIn) => quiet({ countIn }, { countIn });
const firstOnly = (once) => quiet({ firstOnly: once }, { firstOnly: once });
const step = (by) => quiet({ step: by }, { step: by / 100 });
const top = (to) => quiet({ top: to }, { top: Math.max(to, state.percent) / 100 });

function shown(name, value) {
  state.shown[name] = value;
  sheet.lay();
  changed();
}

function say(text) {
  byId("status").textContent = text;
}

function message(text) {
  byId("message").textContent = text;
  byId("message").hidden = !text;
  resized();
}

function resized() {
  document.body.style.setProperty("--controls", `${byId("controls").offsetHeight}px`);
}

function foot() {
  const button = (text, act) => element("button", { type: "button", class: "plain", onclick: act }, text);
  byId("foot").append(
    element("p", { class: "row-of" }, button("Swap ink and paper", swapPaper), button("Print", () => window.print()), button("Keys", () => dialog.showModal()), button("As it came", asItCame)),
    element("p", { class: "hint" }, "What you choose is kept in this browser, and stands in the address: a link brings another player to the same tempo, key and bars. Press ? for the keys."),
    element("p", { class: "hint" }, "Keep headphones low enough to talk over, and rest. Stop when something hurts."),
    element("details", {}, element("summary", {}, "Licences"), element("pre", {}, byId("licences").textContent)),
  );
}

// Everything as in a page that nobody has touched.
function asItCame() {
  transport.stop();
  Object.assign(state, fresh(data));
  roles.forEach(applyLevel);
  sheet.setCursor(0);
  sheet.choose(0, -1);
  sheet.place = data.bars[0].start;
  sheet.lay();
  changed();
}

function swapPaper() {
  const dark = document.documentElement.dataset.paper ? document.documentElement.dataset.paper === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.paper = dark ? "light" : "dark";
}

const here = () => transport.here();
const keys = {
  " ": () => transport.toggle(),
  k: () => transport.toggle(),
  ArrowLeft: () => jump(Math.max(0, here() - 1)),
  ArrowRight: () => jump(Math.min(data.bars.length - 1, here() + 1)),
  ArrowUp: () => tempo(state.percent + 5),
  ArrowDown: () => tempo(state.percent - 5),
  Home: () => jump(state.loop ? state.first : 0),
  "+": () => key(state.shift + 1),
  "=": () => key(state.shift + 1),
  "-": () => key(state.shift - 1),
  "[": () => choose(here(), Math.max(here(), state.loop ? state.last : here())),
  "]": () => choose(Math.min(here(), state.loop ? state.first : state.bar), here()),
  0: () => wholeTune(),
  c: () => click(state.manner === "off" ? "beats" : "off"),
  m: () => data.staff && shown("melody", !state.shown.melody),
  g: () => data.grips && shown("grips", !state.shown.grips),
  h: () => state.shown.grips && hand.next(),
  f: () => data.tab && shown("tab", !state.shown.tab),
  d: swapPaper,
  "?": () => dialog.showModal(),
};
roles.slice(0, 9).forEach((role, i) => (keys[i + 1] = () => mute(role, !state.players[role].silent)));

show();
listen(keys);
// For tests, and for who wants to look.
window.practice = {
  data, state,
  get sound() { return transport.sound; },
  get studio() { return transport.studio; },
  wake: () => transport.wake(),
  openSound: (context) => new Sound(data, transport.studio, context),
};
if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", load);
else load();
