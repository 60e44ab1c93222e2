// The tab of a row: six lines under the chords, figures where the solo guitar plays. No page: lists of marks.
// Conventions: px, y down; string 1 is the highest and the top line; frets count from the capo; an event is
// [quarters from the bar line, [[string, fret], …]].

const TAB_LEAST = 12; // px between the lines, so that figures can be read on a phone
const TAB_SHARE = 0.17; // of the size of the chords
const HIGHEST_FRET = 19; // the highest fret there is

export const gapOf = (size) => Math.max(TAB_LEAST, TAB_SHARE * size);

// The events of a bar in another key; null where the hand runs out of neck: open strings cannot be moved down.
export function movedBy(events, shift) {
  const moved = events.map(([q, held]) => [q, held.map(([string, fret]) => [string, fret + shift])]);
  return moved.every(([, held]) => held.every(([, fret]) => fret >= 0 && fret <= HIGHEST_FRET)) ? moved : null;
}

// `x` gives the place of quarters from the bar line; `top` is the first line.
export function tabMarks(events, x, top, gap) {
  const marks = [];
  for (const [q, held] of events) {
    for (const [string, fret] of held) {
      const text = String(fret), size = gap * 1.12, wide = size * (0.3 + 0.34 * text.length);
      marks.push({ kind: "fret", x: x(q) + 0.3 * gap + wide / 2, y: top + (string - 1) * gap, size, wide, text });
    }
  }
  return marks;
}

export function stringsMarks(width, top, gap) {
  return [0, 1, 2, 3, 4, 5].map((n) => ({ kind: "line", x1: 0, y1: top + n * gap, x2: width, y2: top + n * gap, width: 0.8 }));
}
