// Notes drawn: a melody on a small staff, and the rhythm of hits and kicks. No page: lists of marks, and one function
// that makes them into SVG.
// Conventions: px, y down; `u` is the height of a staff of five lines; a step is u / 8, counted upwards from the lowest
// line. A figure is [start, length, value (quarters), dotted, rest, flags, beam, tied, tuplet, number, steps, signs];
// steps and signs have one entry a key, -6 to 6 semitones. The proportions are those of the printed sheet.

const STEM = 0.85;
const HEAD = 0.297;
const SLASH = 0.4;
const RESTS = { 4: "𝄻", 2: "𝄼", 1: "𝄽", 0.5: "𝄾", 0.25: "𝄿", 0.125: "𝅀" };
const SCALE = { "♭": [1, 0.125], "♯": [0.86, 0.153], "♮": [0.95, 0.09], "𝄫": [0.9, 0.125], "𝄪": [1, 0.131] };
const SHARP_STEPS = [8, 5, 9, 6, 3, 7, 4]; // of signatures in the treble
const FLAT_STEPS = [4, 7, 3, 6, 2, 5, 1];
const FLAG = "M0,0C.03,.2 .36,.28 .2,.66C.27,.42 .1,.28 0,.25Z"; // outwards and back, in heights of a staff

const glyph = (x, y, size, text) => ({ kind: "text", x, y, size, text });
const line = (x1, y1, x2, y2, width) => ({ kind: "line", x1, y1, x2, y2, width });
const shape = (d, width = 0) => ({ kind: "path", d, width });

export function figureOf(row, key) {
  const [start, length, value, dotted, rest, flags, beam, tied, tuplet, number, steps, signs] = row;
  return { start, length, value, dotted, rest, flags, beam, tied, tuplet, number, step: steps?.[key], sign: signs?.[key] ?? "" };
}

// The x of each figure; the rest of a whole bar stands in its middle.
export function placesOf(figures, at, u) {
  if (figures.length === 1 && figures[0].rest) return [(at(figures[0].start) + at(figures[0].start + figures[0].length)) / 2 - 0.45 * u];
  return figures.map((f) => at(f.start));
}

function headMarks(f, x, y, u, slashes) {
  const marks = [];
  if (slashes) {
    const h = 0.19 * u, w = SLASH * u, t = 0.17 * u;
    marks.push(shape(`M${x},${y + h}L${x + t},${y + h}L${x + w},${y - h}L${x + w - t},${y - h}Z`, f.value >= 2 ? 0.05 * u : 0));
  } else marks.push(glyph(x - 0.05 * u, y + 0.134 * u, u, f.value >= 4 ? "𝅝" : f.value >= 2 ? "𝅗" : "𝅘"));
  if (f.dotted) marks.push({ kind: "dot", x: x + ((slashes ? SLASH : HEAD) + 0.12) * u, y: y - 0.06 * u, r: 0.045 * u });
  return marks;
}

function restMarks(f, x, y, u) {
  const lift = f.value >= 2 ? 0.25 * u : 0; // a half rest lies on the middle line, a whole one hangs above
  const marks = [glyph(x - 0.05 * u, y + 0.5 * u - lift, u, RESTS[f.value] ?? "𝅀")];
  if (f.dotted) marks.push({ kind: "dot", x: x + (f.value >= 2 ? 0.75 : 0.4) * u, y: y - 0.12 * u, r: 0.045 * u });
  return marks;
}

// Level beams: one over all, the next over neighbours that share it, stubs where one stands alone.
function beamMarks(ends, group, u) {
  const marks = [];
  for (let level = 1; level <= Math.max(...group.map((f) => f.flags)); level++) {
    for (let i = 0; i < group.length; i++) {
      if (group[i].flags < level) continue;
      let j = i;
      while (j + 1 < group.length && group[j + 1].flags >= level) j++;
      const { up } = ends[i];
      const y = ends[i].y + (level - 1) * 0.19 * u * (up ? 1 : -1);
      let x0 = ends[i].x, x1 = ends[j].x;
      if (i === j) [x0, x1] = i === 0 ? [x0, x0 + 0.25 * u] : [x0 - 0.25 * u, x0];
      const low = up ? y + 0.12 * u : y - 0.12 * u;
      marks.push(shape(`M${x0},${y}L${x1},${y}L${x1},${low}L${x0},${low}Z`));
      i = j;
    }
  }
  return marks;
}

function flagMarks(end, count, u) {
  const marks = [];
  for (let k = 0; k < count; k++) {
    const turn = end.up ? u : -u;
    marks.push({ ...shape(FLAG), move: [end.x - 0.016 * u, end.y + 0.2 * k * turn, u, turn] });
  }
  return marks;
}

function stemOf(f, x, y, beamY, up, wide, u, slashes) {
  const at = x + (up ? wide - 0.02 * u : 0.02 * u);
  const from = y - (up ? (slashes ? 0.17 : 0.04) * u : -0.04 * u);
  return { end: { x: at, y: beamY, up }, marks: [line(at, from, at, beamY, 0.032 * u)] };
}

// Ties on the side of the heads; one from the bar before begins a little left of its note.
function tieMarks(figures, xs, ys, u, wide, up) {
  return figures.flatMap((f, k) => {
    if (!f.tied) return [];
    const turn = up([ys[k]]) ? u : -u;
    const y = ys[k] + 0.2 * turn;
    const end = xs[k] + wide * 0.3;
    const start = k ? xs[k - 1] + wide * 0.7 : end - 0.7 * u;
    const bend = (by) => `Q${(start + end) / 2},${y + by * turn} `;
    return [shape(`M${start},${y}${bend(0.2)}${end},${y}${bend(0.12)}${start},${y}Z`)];
  });
}

function tupletMarks(figures, xs, ys, ends, u, wide) {
  const marks = [];
  for (const group of new Set(figures.map((f) => f.tuplet))) {
    if (!group) continue;
    const of = figures.map((f, k) => k).filter((k) => figures[k].tuplet === group);
    const y = Math.min(...of.map((k) => (ends[k]?.up ? ends[k].y : ys[k] - 0.3 * u))) - 0.14 * u;
    const x0 = xs[of[0]], x1 = xs[of[of.length - 1]] + wide;
    const middle = (x0 + x1) / 2;
    marks.push({ kind: "number", x: middle, y, size: 0.4 * u, text: String(figures[of[0]].number) });
    if (figures[of[0]].beam && new Set(of.map((k) => figures[k].beam)).size === 1) continue;
    const high = y - 0.14 * u, gap = 0.22 * u;
    marks.push(shape(`M${x0},${high + 0.12 * u}V${high}H${middle - gap}M${middle + gap},${high}H${x1}V${high + 0.12 * u}`, 0.03 * u));
  }
  return marks;
}

// Heads, rests, stems, flags, beams, ties and tuplets; `ys` are the centres of the heads.
export function voice(figures, xs, ys, u, slashes, up) {
  const marks = [];
  const wide = (slashes ? SLASH : HEAD) * u;
  const ends = {};
  for (let i = 0, j = 0; i < figures.length; i = j) {
    j = i + 1;
    while (figures[i].beam && j < figures.length && figures[j].beam === figures[i].beam) j++;
    const group = ys.slice(i, j);
    const upward = up(group);
    const beamY = upward ? Math.min(...group) - STEM * u : Math.max(...group) + STEM * u;
    for (let k = i; k < j; k++) {
      const f = figures[k];
      if (f.rest) marks.push(...restMarks(f, xs[k], ys[k], u));
      else marks.push(...headMarks(f, xs[k], ys[k], u, slashes));
      if (f.rest || f.value >= 4) continue;
      const stem = stemOf(f, xs[k], ys[k], beamY, upward, wide, u, slashes);
      ends[k] = stem.end;
      marks.push(...stem.marks);
      if (!f.beam) marks.push(...flagMarks(stem.end, f.flags, u));
    }
    if (j - i > 1) marks.push(...beamMarks(figures.slice(i, j).map((_, k) => ends[i + k]), figures.slice(i, j), u));
  }
  return [...marks, ...tieMarks(figures, xs, ys, u, wide, up), ...tupletMarks(figures, xs, ys, ends, u, wide)];
}

// A rhythm whose heads are centred on y; hits have slash heads, kicks round ones.
export function rhythmMarks(figures, at, y, u, slashes) {
  return voice(figures, placesOf(figures, at, u), figures.map(() => y), u, slashes, () => true);
}

function signMark(sign, x, y, u) {
  const [scale, middle] = SCALE[sign];
  return glyph(x - 0.05 * u, y + middle * u, u * scale, sign);
}

// The notes of a bar on a staff whose lowest line is `bottom`.
export function staffMarks(figures, at, bottom, u) {
  const steps = figures.map((f) => (f.rest ? 4 : f.step));
  const ys = steps.map((s) => bottom - (s * u) / 8);
  const xs = placesOf(figures, at, u);
  const middle = bottom - u / 2;
  const marks = voice(figures, xs, ys, u, false, (group) => group.reduce((a, b) => a + b, 0) / group.length > middle + 0.01);
  figures.forEach((f, k) => {
    if (f.rest) return;
    [...f.sign].reverse().forEach((sign, i) => marks.push(signMark(sign, xs[k] - (0.34 + 0.2 * i) * u, ys[k], u)));
    const ledger = (step) => marks.push(line(xs[k] - 0.1 * u, bottom - (step * u) / 8, xs[k] + (HEAD + 0.1) * u, bottom - (step * u) / 8, 0.03 * u));
    for (let step = -2; step >= steps[k]; step -= 2) ledger(step);
    for (let step = 10; step <= steps[k]; step += 2) ledger(step);
  });
  return marks;
}

export function linesMarks(from, to, bottom, u) {
  return [0, 1, 2, 3, 4].map((n) => line(from, bottom - (n * u) / 4, to, bottom - (n * u) / 4, Math.max(0.7, 0.025 * u)));
}

export function barMarks(x, bottom, u) {
  return line(x, bottom, x, bottom - u, Math.max(0.9, 0.04 * u));
}

export function clefWidth(fifths, u) {
  return (0.78 + Math.abs(fifths) * (fifths > 0 ? 0.27 : 0.22) + 0.2) * u;
}

// Clef and signature from x = `left`; the lowest line of the staff is y = `bottom`.
export function clefMarks(low, fifths, left, bottom, u) {
  const marks = [glyph(left, bottom, u, low ? "𝄢" : "𝄞")];
  const steps = fifths > 0 ? SHARP_STEPS : FLAT_STEPS;
  for (let k = 0; k < Math.abs(fifths); k++) {
    const x = left + (0.78 + k * (fifths > 0 ? 0.27 : 0.22)) * u;
    marks.push(signMark(fifths > 0 ? "♯" : "♭", x, bottom - ((steps[k] - (low ? 2 : 0)) * u) / 8, u));
  }
  return marks;
}

// How far the notes of these figures reach over and under the staff, in steps; stems and accidentals are counted in.
export function reachOf(figures) {
  const steps = figures.filter((f) => !f.rest && f.step !== undefined).map((f) => f.step);
  return { over: Math.max(3, ...steps.map((s) => s - 8 + 2)), under: Math.max(3, ...steps.map((s) => 1 - s)) };
}

const SVG = "http://www.w3.org/2000/svg";
const fine = (v) => Math.round(v * 100) / 100;

function node(name, properties, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(properties)) made.setAttribute(key, value);
  if (text) made.textContent = text;
  return made;
}

function drawn(mark) {
  if (mark.kind === "line") return node("line", { x1: fine(mark.x1), y1: fine(mark.y1), x2: fine(mark.x2), y2: fine(mark.y2), stroke: "currentColor", "stroke-width": fine(mark.width) });
  if (mark.kind === "dot") return node("circle", { cx: fine(mark.x), cy: fine(mark.y), r: fine(mark.r) });
  if (mark.kind === "path") {
    const made = node("path", mark.width ? { d: mark.d, fill: "none", stroke: "currentColor", "stroke-width": fine(mark.width) } : { d: mark.d });
    if (mark.move) made.setAttribute("transform", `translate(${fine(mark.move[0])} ${fine(mark.move[1])}) scale(${fine(mark.move[2])} ${fine(mark.move[3])})`);
    return made;
  }
  if (mark.kind === "fret") {
    const group = node("g", { class: "fret" });
    group.append(node("rect", { x: fine(mark.x - mark.wide / 2), y: fine(mark.y - mark.size / 2), width: fine(mark.wide), height: fine(mark.size) }));
    group.append(node("text", { x: fine(mark.x), y: fine(mark.y + 0.36 * mark.size), "font-size": fine(mark.size), "text-anchor": "middle" }, mark.text));
    return group;
  }
  const face = mark.kind === "number" ? { class: "figure-number", "text-anchor": "middle" } : { class: "glyph" };
  return node("text", { x: fine(mark.x), y: fine(mark.y), "font-size": fine(mark.size), ...face }, mark.text);
}

export function svgOf(marks, width, height, name) {
  const made = node("svg", { width: fine(width), height: fine(height), class: name, "aria-hidden": "true", fill: "currentColor" });
  made.append(...marks.map(drawn));
  return made;
}
