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

// A count-in of more bars than these is offered where the band counts more.
export const COUNTS = [
  [0, "nothing counted in", "None"],
  [1, "a bar counted in", "One bar"],
  [2, "two bars counted in", "Two bars"],
];

export function stepWords(state) {
  return state.step ? `${state.step} % faster each time` : "never faster";
}
