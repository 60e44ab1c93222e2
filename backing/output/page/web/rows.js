// Chord symbols set in type, and bars cut into rows that fit a width.
import { quartersInto } from "./time.js";

export const LEAST = 26; // px: a root capital of 5 mm
const WORDS = 0.34; // size of sung words as a share of the chords'
const WORDS_LEAST = 14; // px

export function element(name, properties = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (key === "class") node.className = value;
    else if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (value === true) node.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) node.setAttribute(key, value);
  }
  node.append(...children);
  return node;
}

const SIGN = /([♭♯♮𝄫𝄪])/u;
const SIGNS = { "♭": "flat", "♯": "sharp", "♮": "natural", "𝄫": "flat", "𝄪": "cross" };

// Text with its accidentals in the music face.
export function pieces(text) {
  return text.split(SIGN).filter(Boolean).map((t) => (SIGNS[t] ? element("span", { class: `sign ${SIGNS[t]}` }, t) : t));
}

// Root bold, quality on its line, extensions at the height of capitals, alterations in brackets, the bass lower.
export function chordNode(part) {
  if (!part) return element("span", { class: "chord" }, element("span", { class: "quality" }, "N.C."));
  const node = element("span", { class: "chord" }, element("b", {}, part.root));
  const add = (name, ...inside) => node.append(element("span", { class: name }, ...inside));
  if (part.sign) add("root-sign", ...pieces(part.sign));
  if (part.quality) add("quality", ...pieces(part.quality));
  if (part.high) add("high", ...pieces(part.high));
  if (part.alter.length > 2) {
    add("bracket tall", "(");
    add("stack", ...part.alter.map((a) => element("span", {}, ...pieces(a))));
    add("bracket tall", ")");
  } else if (part.alter.length) {
    add("high", "(", ...part.alter.flatMap((a, i) => [...(i ? [" "] : []), ...pieces(a)]), ")");
  }
  if (part.bass) {
    add("stroke", "/");
    add("bass", part.bass, ...pieces(part.bassSign));
  }
  return node;
}

// Widths of symbols in em, measured once each.
export function createRuler() {
  const box = element("div", { class: "ruler", "aria-hidden": "true" });
  document.body.append(box);
  const known = new Map();
  const place = (list) => {
    const nodes = list.map((part) => chordNode(part));
    box.replaceChildren(...nodes);
    nodes.forEach((node, i) => known.set(list[i], node.getBoundingClientRect().width / 100));
    box.replaceChildren();
  };
  const pen = document.createElement("canvas").getContext("2d");
  return {
    words(text, size) {
      pen.font = `${size}px ${getComputedStyle(document.body).fontFamily}`;
      return pen.measureText(text).width;
    },
    learn: (parts) => place(parts.filter((p) => !known.has(p))),
    width(part) {
      if (!known.has(part)) place([part]);
      return known.get(part);
    },
  };
}

// Lines as typed: runs of bars of one section and one line of the chart.
export function linesOf(bars) {
  const lines = [];
  bars.forEach((bar, i) => {
    const last = bars[i - 1];
    const goesOn = last && last.section === bar.section && last.line === bar.line && bar.number > last.number;
    if (goesOn) lines[lines.length - 1].push(i);
    else lines.push([i]);
  });
  return lines;
}

export function secondsAt(bar, q) {
  const i = Math.min(bar.beats.length - 1, Math.floor(q / bar.beatQ + 1e-9));
  const next = i + 1 < bar.beats.length ? bar.beats[i + 1] : bar.end;
  const from = i * bar.beatQ;
  const to = Math.min(bar.q, from + bar.beatQ);
  return bar.beats[i] + ((q - from) / (to - from)) * (next - bar.beats[i]);
}

// Chords by bar, each { n, q, part }; `part` is null for N.C.
export function chordsByBar(data, shift) {
  const by = data.bars.map(() => []);
  data.chords.forEach((chord, n) => {
    const part = chord.symbol < 0 ? null : data.parts[data.symbols[chord.symbol][shift + 6]];
    by[chord.bar].push({ n, q: chord.q, part });
  });
  return by;
}

// Rows for all lines at `size` px in `width` px. A row is { pieces, q, start, end, line, opens }.
export function layRows(data, chords, ruler, width, size) {
  const gap = 0.3 * size;
  const fits = (some) => {
    const q = some.reduce((sum, p) => sum + p.to - p.from, 0);
    const at = [];
    let offset = 0;
    for (const p of some) {
      for (const c of p.chords) at.push([offset + c.q - p.from, ruler.width(c.part) * size]);
      offset += p.to - p.from;
    }
    const sung = some.every((p) => {
      const words = p.from === 0 && data.bars[p.bar].words;
      return !words || ((p.to - p.from) / q) * width >= ruler.words(words, Math.max(WORDS_LEAST, WORDS * size)) + WORDS_LEAST / 2;
    });
    return sung && at.every(([place, wide], i) => {
      const next = i + 1 < at.length ? at[i + 1][0] : q;
      return ((next - place) / q) * width >= wide + (i + 1 < at.length ? gap : gap / 2);
    });
  };
  const shared = (items, count) => {
    const made = [];
    let from = 0;
    for (let i = 0; i < count; i++) {
      const to = Math.round(((i + 1) * items.length) / count);
      made.push(items.slice(from, to));
      from = to;
    }
    return made;
  };
  const rows = [];
  let number = -1;
  const push = (some, opens) => {
    const head = data.bars[some[0].bar], tail = some[some.length - 1];
    rows.push({
      pieces: some, opens, line: number, q: some.reduce((sum, p) => sum + p.to - p.from, 0),
      start: secondsAt(head, some[0].from), end: tail.to >= data.bars[tail.bar].q ? data.bars[tail.bar].end : secondsAt(data.bars[tail.bar], tail.to),
    });
  };
  for (const line of linesOf(data.bars)) {
    number++;
    const whole = line.map((bar) => ({ bar, from: 0, to: data.bars[bar].q, chords: chords[bar] }));
    let groups = [whole];
    for (let count = 2; count <= whole.length && !groups.every(fits); count++) groups = shared(whole, count);
    let opens = line[0] === data.sections[data.bars[line[0]].section].first;
    for (const group of groups) {
      if (group.length > 1 || fits(group)) push(group, opens);
      else cutBar(group[0], fits).forEach((piece, i) => push([piece], opens && i === 0));
      opens = false;
    }
  }
  return rows;
}

// Rows of one line that are shown together, at most `most` of them: { rows, start }.
export function together(rows, most) {
  const groups = [];
  for (let i = 0; i < rows.length; ) {
    let end = i;
    while (end < rows.length && rows[end].line === rows[i].line) end++;
    const count = Math.ceil((end - i) / most);
    for (let part = 0; part < count; part++) {
      const some = rows.slice(i + Math.round((part * (end - i)) / count), i + Math.round(((part + 1) * (end - i)) / count));
      groups.push({ rows: some, start: some[0].start });
    }
    i = end;
  }
  return groups;
}

// A bar too full for one row, cut before chords into parts that fit, or one chord each.
function cutBar(piece, fits) {
  const anchors = piece.chords.map((c) => c.q);
  let parts = [piece];
  for (let count = 2; count <= anchors.length && !parts.every((p) => fits([p])); count++) {
    const cuts = [piece.from];
    for (let i = 1; i < count; i++) cuts.push(anchors[Math.round((i * anchors.length) / count)]);
    cuts.push(piece.to);
    parts = cuts.slice(0, -1).map((from, i) => ({
      bar: piece.bar, from, to: cuts[i + 1], chords: piece.chords.filter((c) => c.q >= from && c.q < cuts[i + 1]),
    }));
  }
  return parts;
}

// A row as a node: chords over ticks on one thin rule that bar lines cross.
export function rowNode(row, data, ruler, width, size, named) {
  const node = element("div", { class: "row" });
  node.style.setProperty("--size", `${size}px`);
  const line = element("div", { class: "line" });
  const x = (q) => `${((100 * q) / row.q).toFixed(4)}%`;
  line.append(element("div", { class: "rule" }), element("div", { class: "gone" }));
  const marks = [];
  let offset = 0;
  row.pieces.forEach((p) => {
    const bar = data.bars[p.bar];
    if (p.from === 0) line.append(at(element("i", { class: "bar-line" }), x(offset)));
    for (let b = 0; b < bar.beats.length; b++) {
      const q = b * bar.beatQ - p.from;
      if (q > 0 && q < p.to - p.from) line.append(at(element("i", { class: bar.groups.includes(b) ? "tick group" : "tick" }), x(offset + q)));
    }
    if (bar.words && p.from === 0) {
      const words = at(element("span", { class: "sung-words" }, bar.words), x(offset));
      words.style.width = x(p.to - p.from);
      line.append(words);
    }
    p.chords.forEach((c, i) => {
      const chord = at(chordNode(c.part), x(offset + c.q - p.from));
      const next = i + 1 < p.chords.length ? p.chords[i + 1].q : p.to;
      const room = ((next - c.q) / row.q) * width - 0.1 * size;
      const wide = ruler.width(c.part) * size;
      if (wide > room) chord.style.setProperty("--squeeze", Math.max(0.4, room / wide).toFixed(3));
      marks.push({ n: c.n, node: chord });
      line.append(chord);
    });
    const zone = element("button", { type: "button", class: "zone", tabindex: "-1", "data-bar": p.bar, "aria-label": named(p.bar) });
    zone.style.left = x(offset);
    zone.style.width = x(p.to - p.from);
    if (p.from > 0) zone.setAttribute("aria-hidden", "true");
    line.append(zone);
    offset += p.to - p.from;
  });
  const last = row.pieces[row.pieces.length - 1];
  if (last.to >= data.bars[last.bar].q) line.append(element("i", { class: last.bar === data.bars.length - 1 ? "bar-line end final" : "bar-line end" }));
  const first = data.bars[row.pieces[0].bar];
  const margin = element("div", { class: "margin" });
  if (row.opens) {
    const section = data.sections[first.section];
    if (section.named) margin.append(element("span", { class: "box" }, section.name));
    if (section.time > 1 && section.named) margin.append(element("span", { class: "time" }, ordinal(section.time)));
  }
  if (first.number && row.pieces[0].from === 0) margin.append(element("span", { class: "number" }, String(first.number)));
  node.append(margin, line);
  const gone = line.querySelector(".gone");
  return {
    node, row, marks,
    // How far the rule has thickened at a place of the tune.
    light(place) {
      let q = 0;
      for (const p of row.pieces) {
        const bar = data.bars[p.bar];
        if (place >= bar.start) q += Math.max(0, Math.min(quartersInto(bar, place), p.to) - p.from);
      }
      gone.style.transform = `scaleX(${(q / row.q).toFixed(5)})`;
    },
  };
}

function ordinal(n) {
  const ending = n % 100 > 10 && n % 100 < 14 ? "th" : (["th", "st", "nd", "rd"][n % 10] ?? "th");
  return `${n}${ending}`;
}

function at(node, left) {
  node.style.left = left;
  return node;
}
