// A row as a node: chords over ticks on one thin rule that bar lines cross, hits above, notes and words below.
import { quartersInto } from "./time.js";
import { chordNode, element } from "./type.js";
import { barMarks, clefMarks, clefWidth, figureOf, linesMarks, rhythmMarks, staffMarks, svgOf } from "./staff.js";
import { wordsSize } from "./rows.js";
import { movedBy, stringsMarks, tabMarks } from "./tab.js";

function at(node, left) {
  node.style.left = left;
  return node;
}

export function ordinal(n) {
  const ending = n % 100 > 10 && n % 100 < 14 ? "th" : (["th", "st", "nd", "rd"][n % 10] ?? "th");
  return `${n}${ending}`;
}

const struck = (row, data) => row.pieces.some((p) => data.bars[p.bar].hits >= 0 || data.bars[p.bar].kicks >= 0);

// `look`: { data, ruler, width (px of the line), size, plain and hit (geometry without and with hits), shift, shown,
// named (bar → words) }.
export function rowNode(row, given) {
  const look = { ...given, shape: given.shown.hits && struck(row, given.data) ? given.hit : given.plain };
  const { size, shape, data } = look;
  const node = element("div", { class: "row" });
  node.style.setProperty("--size", `${size}px`);
  node.style.height = `${shape.height}px`;
  const line = element("div", { class: "line" });
  line.style.setProperty("--top", `${shape.pad}px`);
  line.style.setProperty("--at", `${shape.rule}px`);
  const gone = element("div", { class: "gone" });
  line.append(element("div", { class: "rule" }), gone);
  const marks = [];
  let offset = 0;
  for (const piece of row.pieces) {
    line.append(...beatNodes(row, piece, offset, data), ...wordNodes(row, piece, offset, look));
    marks.push(...chordNodes(row, piece, offset, look, line));
    line.append(zoneNode(row, piece, offset, look));
    offset += piece.to - piece.from;
  }
  line.append(...noteNodes(row, look));
  const last = row.pieces[row.pieces.length - 1];
  if (last.to >= data.bars[last.bar].q) line.append(element("i", { class: last.bar === data.bars.length - 1 ? "bar-line end final" : "bar-line end" }));
  node.append(marginNode(row, data, shape), line);
  return { node, row, marks, light: (place) => (gone.style.transform = `scaleX(${shareGone(row, data, place).toFixed(5)})`) };
}

// How far the rule has thickened at a place of the tune.
export function shareGone(row, data, place) {
  let q = 0;
  for (const p of row.pieces) {
    const bar = data.bars[p.bar];
    if (place >= bar.start) q += Math.max(0, Math.min(quartersInto(bar, place), p.to) - p.from);
  }
  return q / row.q;
}

const share = (row, q) => `${((100 * q) / row.q).toFixed(4)}%`;

function beatNodes(row, piece, offset, data) {
  const bar = data.bars[piece.bar];
  const nodes = piece.from === 0 ? [at(element("i", { class: "bar-line" }), share(row, offset))] : [];
  for (let b = 0; b < bar.beats.length; b++) {
    const q = b * bar.beatQ - piece.from;
    if (q > 0 && q < piece.to - piece.from) nodes.push(at(element("i", { class: bar.groups.includes(b) ? "tick group" : "tick" }), share(row, offset + q)));
  }
  return nodes;
}

function wordNodes(row, piece, offset, { data, shape, size }) {
  const { words } = data.bars[piece.bar];
  if (!words || piece.from > 0) return [];
  const node = at(element("span", { class: "sung-words", dir: "auto", lang: data.language }, words), share(row, offset));
  node.style.width = share(row, piece.to - piece.from);
  node.style.top = `${shape.words}px`;
  node.style.fontSize = `${wordsSize(size)}px`;
  return [node];
}

function chordNodes(row, piece, offset, { ruler, width, size }, line) {
  return piece.chords.map((c, i) => {
    const node = at(chordNode(c.part), share(row, offset + c.q - piece.from));
    const next = i + 1 < piece.chords.length ? piece.chords[i + 1].q : piece.to;
    const room = ((next - c.q) / row.q) * width - 0.1 * size;
    const wide = ruler.width(c.part) * size;
    if (wide > room) node.style.setProperty("--squeeze", Math.max(0.4, room / wide).toFixed(3));
    line.append(node);
    return { n: c.n, node };
  });
}

function zoneNode(row, piece, offset, { named }) {
  const zone = element("button", { type: "button", class: "zone", tabindex: "-1", "data-bar": piece.bar, "aria-label": named(piece.bar) });
  zone.style.left = share(row, offset);
  zone.style.width = share(row, piece.to - piece.from);
  if (piece.from > 0) zone.setAttribute("aria-hidden", "true");
  return zone;
}

// Hits, kicks and melody of a row, cut to what lies in it.
function noteNodes(row, look) {
  const { data, width, shape, shown } = look;
  const marks = [];
  let offset = 0, staffed = false;
  for (const piece of row.pieces) {
    const bar = data.bars[piece.bar];
    const from = offset;
    const x = (q) => ((from + q - piece.from) / row.q) * width;
    const inside = (n) => data.figures[n].map((f) => figureOf(f, look.shift + 6)).filter((f) => f.start >= piece.from && f.start < piece.to);
    for (const [name, slashes] of [["hits", true], ["kicks", false]]) {
      if (shown.hits && bar[name] >= 0) marks.push(...rhythmMarks(inside(bar[name]), x, shape.hits.y, shape.hits.u, slashes));
    }
    if (shape.staff && bar.melody >= 0) {
      const { u, bottom } = shape.staff;
      marks.push(...staffMarks(inside(bar.melody), (q) => x(q) + 0.3 * u, bottom, u));
      staffed = true;
    }
    if (shape.tab) {
      const { gap, top } = shape.tab;
      const events = movedBy(bar.tab, look.shift) ?? [];
      marks.push(...tabMarks(events.filter(([q]) => q >= piece.from && q < piece.to), x, top, gap));
    }
    offset += piece.to - piece.from;
  }
  if (shape.tab) marks.unshift(...tabLines(row, look));
  if (staffed) marks.push(...staffOf(row, look));
  return marks.length ? [svgOf(marks, width, shape.height, "notes")] : [];
}

// The strings of a row and its bar lines.
function tabLines(row, { data, width, shape: { tab } }) {
  const bar = (x) => ({ kind: "line", x1: x, y1: tab.top, x2: x, y2: tab.top + 5 * tab.gap, width: 1 });
  const marks = [...stringsMarks(width, tab.top, tab.gap), bar(0)];
  let offset = 0;
  for (const piece of row.pieces) {
    offset += piece.to - piece.from;
    if (piece.to >= data.bars[piece.bar].q) marks.push(bar((offset / row.q) * width));
  }
  return marks;
}

// The staff of a row with its clef, signature and bar lines.
function staffOf(row, { data, width, shape, shift }) {
  const { u, bottom } = shape.staff;
  const fifths = data.signatures[data.bars[row.pieces[0].bar].signature][shift + 6];
  const left = -clefWidth(fifths, u);
  const marks = [...linesMarks(left, width, bottom, u), ...clefMarks(data.staff.low, fifths, left + 2, bottom, u)];
  let offset = 0;
  for (const piece of row.pieces) {
    offset += piece.to - piece.from;
    if (piece.to >= data.bars[piece.bar].q) marks.push(barMarks((offset / row.q) * width, bottom, u));
  }
  return marks;
}

function marginNode(row, data, shape) {
  const first = data.bars[row.pieces[0].bar];
  const margin = element("div", { class: "margin" });
  const section = data.sections[first.section];
  if (row.opens && section.named) {
    margin.append(element("span", { class: "box", dir: "auto" }, section.name));
    if (section.time > 1) margin.append(element("span", { class: "time" }, ordinal(section.time)));
  }
  if (first.number && row.pieces[0].from === 0) {
    const number = element("span", { class: "number" }, String(first.number));
    if (!shape.narrow) number.style.top = `${shape.rule - shape.pad - 8}px`;
    margin.append(number);
  }
  if (!shape.narrow) margin.style.top = `${shape.pad}px`;
  return margin;
}
