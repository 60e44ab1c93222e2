// The words of the page: names of bars, keys and players, and the sentence that the controls make.

export function barName(data, index) {
  const bar = data.bars[index];
  if (bar.number) return String(bar.number);
  return index === 0 ? "the pickup" : "the ending";
}

export function barSaid(data, chords, index) {
  const section = data.sections[data.bars[index].section];
  const inside = chords[index].map((c) => (c.part ? c.part.said : "no chord"));
  const where = [section.named ? section.name : "", data.choruses > 1 && section.chorus ? `chorus ${section.chorus}` : ""].filter(Boolean).join(", ");
  const number = data.bars[index].number;
  return `${number ? `Bar ${number}` : barName(data, index)}${where ? `, ${where}` : ""}: ${inside.join(", ") || "as before"}`;
}

export function sectionSaid(data, section) {
  const times = section.time > 1 ? `, time ${section.time}` : "";
  const chorus = data.choruses > 1 && section.chorus ? `, chorus ${section.chorus}` : "";
  return `${section.named ? section.name : "the tune"}${times}${chorus}`;
}

export function rangeWords(data, state) {
  const chorusOf = (bar) => {
    const { chorus } = data.sections[data.bars[bar].section];
    return chorus > 1 ? ` of chorus ${chorus}` : "";
  };
  if (!state.loop) {
    const from = `from bar ${barName(data, state.bar)}`.replace("bar the", "the");
    return state.bar > 0 ? from + chorusOf(state.bar) : "the whole tune";
  }
  if (state.first === 0 && state.last === data.bars.length - 1) return "the whole tune again and again";
  const [a, b] = [barName(data, state.first), barName(data, state.last)];
  const which = chorusOf(state.first);
  if (state.first === state.last) return (a.startsWith("the") ? a : `bar ${a}`) + which;
  if (a.startsWith("the") || b.startsWith("the")) return `${a} to ${b}${which}`;
  return `bars ${a}–${b}${which}`;
}

export function listed(words) {
  if (words.length < 2) return words.join("");
  return `${words.slice(0, -1).join(", ")} and ${words[words.length - 1]}`;
}

export function bandWords(data, state) {
  const silent = data.players.map((p) => p.role).filter((role) => state.players[role].silent);
  if (!silent.length) return "everyone";
  if (silent.length === data.players.length) return "nobody";
  if (silent.length > 2 && silent.length >= data.players.length - 2) {
    return `only ${listed(data.players.map((p) => p.role).filter((r) => !silent.includes(r)))}`;
  }
  return `without ${listed(silent)}`;
}

export const CLICKS = [
  ["off", "no click", "Off"],
  ["beats", "a click on every beat", "Every beat"],
  ["downbeats", "a click on one", "The first of the bar"],
  ["backbeats", "a click on two and four", "Two and four"],
  ["offbeats", "a click between the beats", "Between the beats"],
];

const COUNTED = ["nothing", "a bar", "two bars"];

// What is counted in, for the sentence; `short` for a list.
export function countWords(bars, once) {
  return `${COUNTED[bars] ?? `${bars} bars`} counted in${once && bars ? " the first time" : ""}`;
}
export function countShort(bars) {
  return ["None", "One bar", "Two bars"][bars] ?? `${bars} bars`;
}

export function stepWords(state) {
  return state.step ? `${state.step} % faster each time` : "never faster";
}

export function bpmWords(data, percent) {
  return `${data.beat.sign} = ${Math.round((data.beat.bpm * percent) / 100)}`;
}

const withMode = (key) => (key.includes(" ") ? key : `${key} major`);

// The key that the hand plays, and the one that sounds where these differ.
export function keyWords(data, shift) {
  const sounds = withMode(data.keys[shift + 6]);
  return data.hand ? `${withMode(data.hand.keys[shift + 6])} (sounds in ${sounds})` : sounds;
}

// The same for the list of keys.
export function keyShort(data, shift) {
  const sounds = data.keys[shift + 6];
  return `${data.hand ? `${data.hand.keys[shift + 6]} (sounds in ${sounds})` : sounds}, ${shiftWords(shift)}`;
}

// The plain line under the title, in the key and tempo that are chosen.
export function lineWords(data, percent, shift) {
  const words = [data.style, bpmWords(data, percent)];
  const sounds = withMode(data.keys[shift + 6]);
  if (data.hand) words.push(withMode(data.hand.keys[shift + 6]), `${data.hand.how} (sounds in ${sounds})`);
  else words.push(sounds);
  return words.join(", ");
}

export function shiftWords(shift) {
  return shift ? `${Math.abs(shift)} ${shift > 0 ? "up" : "down"}` : "as written";
}
export function shiftSaid(shift) {
  if (!shift) return "as written";
  return `${Math.abs(shift)} semitone${Math.abs(shift) > 1 ? "s" : ""} ${shift > 0 ? "up" : "down"}`;
}

export function shownWords(shown, can) {
  const names = ["melody", "grips", "tab"].filter((name) => shown[name] && can[name]);
  return listed(["chords", ...names]);
}
