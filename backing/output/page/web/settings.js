// What a student has chosen, as text: kept for each tune by the browser and written into the address, so that a link
// carries it. `tempo=80&key=2&bars=5-8`; what is as the page came is left out; what cannot be is passed over.

export const SLOWEST = 40;
export const FASTEST = 130;
export const QUIETEST = -24;
export const LOUDEST = 6;
const CLICK_NAMES = ["off", "beats", "downbeats", "backbeats", "offbeats"];
export const SHOWN = ["melody", "grips", "tab", "hits", "beats"];

// The state of a page that nobody has touched; bars count from 0.
export function fresh(data) {
  const roles = [...data.players.map((p) => p.role), "click"];
  return {
    playing: false, waiting: false, bar: 0, first: 0, last: data.bars.length - 1, loop: false,
    percent: 100, pace: 0, shift: 0, step: 0, top: 100, countIn: data.countInBars, firstOnly: false,
    manner: data.clicked ? "beats" : "off",
    players: Object.fromEntries(roles.map((role) => [role, { db: data.levels[role] ?? 0, silent: false }])),
    shown: Object.fromEntries(SHOWN.map((name) => [name, ["tab", "hits", "beats"].includes(name)])),
  };
}

// Counts that are offered: the band's own may be longer than the usual ones.
export const countsOffered = (data) => [...new Set([0, 1, 2, data.countInBars])];

// Numbers that the address may hold: name in the address, name in the state, least, most.
const NUMBERS = [
  ["tempo", "percent", SLOWEST, FASTEST],
  ["key", "shift", -6, 6],
  ["step", "step", 0, 10],
  ["top", "top", 80, FASTEST],
  ["count", "countIn", 0, 8],
];

export function written(state, data) {
  const usual = fresh(data);
  const text = new URLSearchParams();
  for (const [name, own] of NUMBERS) if (state[own] !== usual[own]) text.set(name, state[own]);
  if (state.loop) text.set("bars", `${state.first + 1}-${state.last + 1}`);
  if (state.firstOnly) text.set("once", "yes");
  if (state.manner !== usual.manner) text.set("click", state.manner);
  const levels = Object.entries(state.players).filter(([role, one]) => one.db !== usual.players[role].db);
  if (levels.length) text.set("levels", levels.map(([role, one]) => `${role}:${one.db}`).join(","));
  const silent = Object.entries(state.players).filter(([, one]) => one.silent);
  if (silent.length) text.set("silent", silent.map(([role]) => role).join(","));
  for (const name of SHOWN) if (state.shown[name] !== usual.shown[name]) text.set(name, state.shown[name] ? "on" : "off");
  return text.toString();
}

function whole(text, low, high) {
  if (!/^[+-]?\d{1,4}$/.test((text ?? "").trim())) return null;
  const value = Number(text);
  return value >= low && value <= high ? value : null;
}

// The state that a text asks for, over the usual one; null where the text says nothing that is understood.
export function understood(text, data) {
  const asked = new URLSearchParams(text);
  const state = fresh(data);
  let known = false;
  const take = (act) => {
    known = true;
    act();
  };
  for (const [name, own, low, high] of NUMBERS) {
    const value = whole(asked.get(name), low, high);
    if (value !== null && (own !== "countIn" || countsOffered(data).includes(value))) take(() => (state[own] = value));
  }
  const [, first, last] = /^(\d{1,5})-(\d{1,5})$/.exec(asked.get("bars") ?? "") ?? [];
  if (first >= 1 && Number(last) >= Number(first) && last <= data.bars.length) {
    take(() => Object.assign(state, { loop: true, first: first - 1, last: last - 1, bar: first - 1 }));
  }
  if (asked.get("once") === "yes") take(() => (state.firstOnly = true));
  if (CLICK_NAMES.includes(asked.get("click"))) take(() => (state.manner = asked.get("click")));
  for (const one of (asked.get("levels") ?? "").split(",")) {
    const [role, db] = one.split(":");
    const value = whole(db, QUIETEST, LOUDEST);
    if (Object.keys(state.players).includes(role) && value !== null) take(() => (state.players[role].db = value));
  }
  for (const role of (asked.get("silent") ?? "").split(",")) {
    if (Object.keys(state.players).includes(role)) take(() => (state.players[role].silent = true));
  }
  for (const name of SHOWN) {
    if (["on", "off"].includes(asked.get(name))) take(() => (state.shown[name] = asked.get(name) === "on"));
  }
  return known ? state : null;
}

// The browser may keep nothing (a private window, a preview); the page works all the same.
const place = (data) => `practice ${data.id}`;
export function kept(data, storage) {
  try {
    return storage().getItem(place(data)) ?? "";
  } catch (refused) {
    return "";
  }
}

export function keep(text, data, storage) {
  try {
    if (text) storage().setItem(place(data), text);
    else storage().removeItem(place(data));
  } catch (refused) {
    // nothing to do: there is no room, or it is forbidden
  }
}
