// Bars cut into rows that fit a width, and how tall a row is. No page but for what the ruler measures.
import { secondsAt } from "./time.js";
import { reachOf } from "./staff.js";
import { gapOf } from "./tab.js";

export const LEAST = 26; // px: a root capital of 5 mm
export const NARROW = 700; // px: below it the margin stands over the line
const WORDS = 0.34; // size of sung words as a share of the chords'
const WORDS_LEAST = 14; // px
const TARGET = 44; // px: the least width and height of what a finger has to meet (WCAG 2.2, 2.5.5)
const STAFF = 0.85; // height of a staff as a share of the chords' size
const STAFF_LEAST = 25; // px
const HITS = 0.62; // the same for hits and kicks
const HITS_LEAST = 22; // px

export const wordsSize = (size) => Math.max(WORDS_LEAST, WORDS * size);

const ADDED = 4; // bars a line of those that no line of the chart has

// Lines as typed: runs of bars of one section and one line of the chart; bars that were added stand in fours.
export function linesOf(bars) {
  const lines = [];
  bars.forEach((bar, i) => {
    const last = bars[i - 1];
    const line = lines[lines.length - 1];
    const follows = bar.line ? bar.number > last?.number : line?.length < ADDED;
    const goesOn = last && last.section === bar.section && last.line === bar.line && follows;
    if (goesOn) line.push(i);
    else lines.push([i]);
  });
  return lines;
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

// Where things stand in a row, px from its top: `has` says whether there are hits, words, a staff with its reach, and tab.
export function geometry(size, narrow, has) {
  const head = narrow ? 20 : 0;
  const hits = Math.max(HITS_LEAST, HITS * size);
  const pad = head + (has.hits ? 1.2 * hits : 0) + (narrow ? 0 : 0.4 * size);
  const rule = pad + 1.47 * size;
  let low = rule + 0.26 * size;
  const u = Math.max(STAFF_LEAST, STAFF * size);
  let staff = null;
  if (has.staff) {
    const bottom = low + 0.1 * size + (has.staff.over * u) / 8 + u;
    staff = { u, bottom };
    low = bottom + (has.staff.under * u) / 8 + 2;
  }
  let tab = null;
  if (has.tab) {
    const gap = gapOf(size);
    tab = { gap, top: low + 0.9 * gap };
    low = tab.top + 5.8 * gap;
  }
  const words = has.sung ? low + 0.06 * size : 0;
  if (words) low = words + wordsSize(size) * 1.25;
  const height = Math.max(low + 0.1 * size, pad + (narrow ? 2 : 1.9) * size, pad + TARGET);
  return { narrow, hits: { u: hits, y: head + 0.97 * hits }, pad, rule, staff, tab, words, height };
}

// The reach of the melody in a key, null without one.
export function staffReach(data, shift, figures) {
  if (!data.staff) return null;
  return reachOf(data.figures.map((_, n) => figures(n, shift)).flat());
}

function quartersOf(pieces) {
  return pieces.reduce((sum, p) => sum + p.to - p.from, 0);
}

// Whether pieces of bars fit in one row: chords, words, notes, and a finger on each.
function fitting(data, ruler, width, size, has) {
  const gap = 0.3 * size;
  return (some) => {
    const q = quartersOf(some);
    const px = (quarters) => (quarters / q) * width;
    const at = [];
    let offset = 0;
    for (const p of some) {
      for (const c of p.chords) at.push([offset + c.q - p.from, ruler.width(c.part) * size]);
      offset += p.to - p.from;
    }
    const sung = some.every((p) => {
      const words = has.sung && p.from === 0 && data.bars[p.bar].words;
      return !words || px(p.to - p.from) >= ruler.words(words, wordsSize(size)) + WORDS_LEAST / 2;
    });
    const met = some.every((p) => px(p.to - p.from) >= TARGET);
    const noted = !has.staff || some.every((p) => px(p.to - p.from) >= (data.bars[p.bar].notes ?? 0) * 0.5 * Math.max(STAFF_LEAST, STAFF * size));
    return sung && met && noted && at.every(([place, wide], i) => {
      const next = i + 1 < at.length ? at[i + 1][0] : q;
      return px(next - place) >= wide + (i + 1 < at.length ? gap : gap / 2);
    });
  };
}

function shared(items, count) {
  const made = [];
  let from = 0;
  for (let i = 0; i < count; i++) {
    const to = Math.round(((i + 1) * items.length) / count);
    made.push(items.slice(from, to));
    from = to;
  }
  return made;
}

function rowOf(data, pieces, line, opens) {
  const head = data.bars[pieces[0].bar], tail = pieces[pieces.length - 1], last = data.bars[tail.bar];
  return {
    pieces, opens, line, q: quartersOf(pieces),
    start: secondsAt(head, pieces[0].from), end: tail.to >= last.q ? last.end : secondsAt(last, tail.to),
  };
}

// Rows for all lines at `size` px in `width` px. A row is { pieces, q, start, end, line, opens }.
export function layRows(data, chords, ruler, width, size, has) {
  const fits = fitting(data, ruler, width, size, has);
  const rows = [];
  linesOf(data.bars).forEach((line, number) => {
    const whole = line.map((bar) => ({ bar, from: 0, to: data.bars[bar].q, chords: chords[bar] }));
    let groups = [whole];
    for (let count = 2; count <= whole.length && !groups.every(fits); count++) groups = shared(whole, count);
    let opens = line[0] === data.sections[data.bars[line[0]].section].first;
    for (const group of groups) {
      if (group.length > 1 || fits(group)) rows.push(rowOf(data, group, number, opens));
      else cutBar(group[0], fits).forEach((piece, i) => rows.push(rowOf(data, [piece], number, opens && i === 0)));
      opens = false;
    }
  });
  return rows;
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
