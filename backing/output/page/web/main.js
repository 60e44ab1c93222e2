// The page: one state, what changes it, and what it is shown and sounded by.
import { createRuler, element, pieces } from "./rows.js";
import { createSheet } from "./sheet.js";
import { createControls, FASTEST, SLOWEST } from "./controls.js";
import { createSound, openContext, openStudio } from "./sound.js";
import { barName } from "./speak.js";

const byId = (id) => document.getElementById(id);
const data = JSON.parse(byId("data").textContent);
const roles = [...data.players.map((p) => p.role), "click"];
const state = {
  playing: false, bar: 0, first: 0, last: data.bars.length - 1, loop: false,
  percent: 100, pace: 0, shift: 0, step: 0, top: 100, countIn: data.countInBars, manner: data.clicked ? "beats" : "off",
  players: Object.fromEntries(roles.map((role) => [role, { db: 0, silent: false }])),
};

let sound = null, studio = null, ruler, sheet, controls, frame = 0, later = 0;

function show() {
  byId("title").replaceChildren(...pieces(data.title));
  byId("by").textContent = data.by;
  byId("by").hidden = !data.by;
  byId("notes").textContent = data.notes;
  byId("notes").hidden = !data.notes;
  document.body.classList.toggle("sung", data.bars.some((bar) => bar.words));
  byId("line").replaceChildren(...pieces(data.line));
  ruler = createRuler();
  sheet = createSheet(data, ruler, { stage: byId("stage"), whole: byId("sheet"), form: byId("form") }, { jump, choose, choosing: (a, b) => sheet.choose(a, b) });
  controls = createControls(data, state, { sentence: byId("sentence"), drawer: byId("drawer") }, {
    toggle, choose, wholeTune, thisSection, tempo, key, mute, only, level, click, count, step, top, resized,
  });
  foot();
  sheet.lay(0);
  let width = innerWidth, height = innerHeight;
  addEventListener("resize", () => {
    if (innerWidth === width && Math.abs(innerHeight - height) < 120) return; // a phone's address bar comes and goes
    [width, height] = [innerWidth, innerHeight];
    sheet.lay(state.shift);
  });
  addEventListener("beforeprint", () => sheet.print());
  addEventListener("afterprint", () => sheet.lay(state.shift));
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
  studio = openStudio(data, {
    code,
    stem: (role) => {
      const node = byId(`stem-${role}`);
      const found = { base64: node.textContent, sizes: JSON.parse(node.dataset.sizes) };
      node.remove();
      return found;
    },
  });
  studio.onfault = (text) => say(`The sound could not be made: ${text}`);
  studio.warm();
  page.studio = studio;
}

// A browser gives sound only to who has pressed something, so it is asked for then.
function wake() {
  if (sound) return;
  if (navigator.audioSession) navigator.audioSession.type = "playback";
  sound = createSound(data, studio, openContext());
  sound.onend = stopped;
  for (const role of roles) applyLevel(role);
  page.sound = sound;
}

function wish() {
  return {
    bar: state.loop ? state.first : state.bar, first: state.first, last: state.last, loop: state.loop,
    rate: state.percent / 100, step: state.step / 100, top: Math.max(state.top, state.percent) / 100,
    shift: state.shift, countIn: state.countIn, manner: state.manner,
  };
}

async function toggle() {
  if (state.playing) return stopped();
  if (!studio) return undefined;
  wake();
  await sound.context.resume();
  start();
  return undefined;
}

function start() {
  sound.play(wish());
  state.playing = true;
  controls.update();
  const stage = byId("stage").getBoundingClientRect();
  if (stage.top < 0 || stage.top > innerHeight / 3) byId("stage").scrollIntoView({ block: "start" });
  cancelAnimationFrame(frame);
  draw();
  keepAwake();
}

function stopped() {
  if (!state.playing) return;
  const now = sound.now();
  sound.stop();
  state.playing = false;
  cancelAnimationFrame(frame);
  const place = now ? now.place : data.bars[0].start;
  const ended = place >= data.bars[data.bars.length - 1].end - 0.01;
  if (!state.loop) state.bar = ended ? 0 : barAt(place);
  sheet.cursor(state.bar);
  sheet.show(data.bars[state.loop ? state.first : state.bar].start, false);
  sheet.count(0);
  state.pace = 0;
  controls.update();
  awake?.release().catch(() => {});
  awake = null;
}

function barAt(place) {
  let found = 0;
  data.bars.forEach((bar, i) => (bar.start <= place + 1e-6 ? (found = i) : 0));
  return found;
}

function draw() {
  frame = requestAnimationFrame(draw);
  sound.tick();
  const now = sound.now();
  if (!now) return;
  sheet.show(now.place, now.kind === "music" && now.at >= now.span.at);
  sheet.count(now.kind === "count" ? now.span.beats.filter(([t]) => t <= now.at).length : 0);
  const percent = Math.round(now.span.rate * 100);
  if (state.loop && state.step && percent !== state.pace) {
    state.pace = percent;
    controls.update();
    say(`${percent} %`);
  }
}
// Hidden pages get no frames; the plan must go on.
setInterval(() => state.playing && sound.tick(), 500);

let awake = null;
async function keepAwake() {
  try {
    awake = await navigator.wakeLock?.request("screen");
  } catch (refused) {
    awake = null; // a battery saver may say no; the page works all the same
  }
}

function jump(bar) {
  if (state.loop && (bar < state.first || bar > state.last)) state.loop = false;
  sheet.choose(state.loop ? state.first : 0, state.loop ? state.last : -1);
  state.bar = bar;
  sheet.cursor(bar);
  if (state.playing) sound.play({ ...wish(), bar, countIn: 0 });
  else sheet.show(data.bars[bar].start, false);
  if (document.activeElement?.matches(".zone")) document.querySelector(`#sheet .zone[data-bar="${bar}"]`).focus();
  controls.update();
}

function choose(first, last) {
  Object.assign(state, { loop: true, first, last, bar: first });
  sheet.cursor(first);
  sheet.choose(first, last);
  controls.update();
  if (state.playing) sound.change({ first, last, loop: true });
  else sheet.show(data.bars[first].start, false);
  say(first === last ? `Bar ${barName(data, first)} again and again` : `Bars ${barName(data, first)} to ${barName(data, last)} again and again`);
}

function wholeTune() {
  state.loop = false;
  state.bar = 0;
  sheet.cursor(0);
  sheet.choose(0, -1);
  controls.update();
  if (state.playing) sound.change({ loop: false });
  else sheet.show(data.bars[0].start, false);
}

function thisSection() {
  const place = sound?.now()?.place ?? data.bars[state.bar].start;
  const section = data.sections[data.bars[barAt(place)].section];
  choose(section.first, section.last);
}

// Moving a slider changes the sound once the hand rests.
function soon(changes) {
  clearTimeout(later);
  later = setTimeout(() => state.playing && sound.change(changes()), 120);
}

function tempo(percent) {
  state.percent = Math.min(FASTEST, Math.max(SLOWEST, Math.round(percent)));
  controls.update();
  soon(() => ({ rate: state.percent / 100, top: Math.max(state.top, state.percent) / 100 }));
}

function key(shift) {
  state.shift = Math.min(6, Math.max(-6, shift));
  sheet.lay(state.shift);
  controls.update();
  soon(() => ({ shift: state.shift }));
}

function applyLevel(role) {
  const { db, silent } = state.players[role];
  sound?.level(role, silent ? 0 : 10 ** (db / 20));
}

function mute(role, silent) {
  state.players[role].silent = silent;
  applyLevel(role);
  controls.update();
}

function only(role) {
  const others = data.players.map((p) => p.role).filter((r) => r !== role);
  const alone = !state.players[role].silent && others.every((r) => state.players[r].silent);
  state.players[role].silent = false;
  for (const other of others) state.players[other].silent = !alone;
  roles.forEach(applyLevel);
  controls.update();
}

function level(role, db) {
  state.players[role].db = db;
  applyLevel(role);
  controls.update();
}

function changed(part, changes) {
  Object.assign(state, part);
  controls.update();
  if (state.playing) sound.change(changes);
}
const click = (manner) => changed({ manner }, { manner });
const count = (countIn) => changed({ countIn }, { countIn });
const step = (by) => changed({ step: by }, { step: by / 100 });
const top = (to) => changed({ top: to }, { top: Math.max(to, state.percent) / 100 });

function say(text) {
  byId("status").textContent = text;
}

function resized() {
  document.body.style.setProperty("--controls", `${byId("controls").offsetHeight}px`);
}

function foot() {
  const paper = element("button", { type: "button", class: "plain", onclick: swapPaper }, "Swap ink and paper");
  const print = element("button", { type: "button", class: "plain", onclick: () => window.print() }, "Print");
  byId("foot").append(
    element("p", {}, paper, " ", print),
    element("p", { class: "hint" }, "Space plays and stops. ← → go a bar, ↑ ↓ change the tempo by 5 %, + − the key. [ and ] set the first and last bar, 0 clears them. 1 to 9 silence a player, C changes the click, D swaps ink and paper."),
    element("p", { class: "hint" }, "Keep headphones low enough to talk over, and rest. Stop when something hurts."),
    element("details", {}, element("summary", {}, "Licences"), element("pre", {}, byId("licences").textContent)),
  );
}

function swapPaper() {
  const dark = document.documentElement.dataset.paper ? document.documentElement.dataset.paper === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.paper = dark ? "light" : "dark";
}

function here() {
  return state.playing ? barAt(sound.now()?.place ?? 0) : state.bar;
}

const KEYS = {
  " ": toggle,
  k: toggle,
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
  d: swapPaper,
};
roles.slice(0, 9).forEach((role, i) => (KEYS[i + 1] = () => mute(role, !state.players[role].silent)));

addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const target = event.target;
  if (target.matches?.("select")) return;
  const moves = event.key === " " ? target.type !== "range" : event.key.startsWith("Arrow") || event.key === "Home";
  if (moves && target.matches?.("input")) return;
  if (event.key === " " && target.matches?.("button:not(.zone),summary")) return;
  const act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!act) return;
  event.preventDefault();
  act();
});

const page = { data, state, sound: null, studio: null, wake, openSound: (context) => createSound(data, studio, context) };
window.practice = page; // for tests, and for who wants to look
show();
if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", load);
else load();
