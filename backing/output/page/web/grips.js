// Grips: the chord that sounds and the one that comes, as a guitarist reads them. Px; the lowest string on the left.
import { svgOf } from "./staff.js";
import { element } from "./type.js";

const STRING = 15;
const FRET = 19;
const FRETS = 4;
const TOP = 16;
const LEFT = 20;

// The fret that is the first of a diagram, and how many are shown.
export function windowOf(frets) {
  const held = frets.filter((f) => f > 0);
  const first = !held.length || Math.max(...held) <= FRETS ? 1 : Math.min(...held);
  return { first, rows: Math.max(FRETS, Math.max(0, ...held) - first + 1) };
}

export function gripMarks(frets) {
  const { first, rows } = windowOf(frets);
  const right = LEFT + 5 * STRING, bottom = TOP + rows * FRET;
  const line = (x1, y1, x2, y2, width = 1.2) => ({ kind: "line", x1, y1, x2, y2, width });
  const marks = [];
  for (let s = 0; s < 6; s++) marks.push(line(LEFT + s * STRING, TOP, LEFT + s * STRING, bottom));
  for (let f = 0; f <= rows; f++) marks.push(line(LEFT - 0.6, TOP + f * FRET, right + 0.6, TOP + f * FRET, f === 0 && first === 1 ? 3.5 : 1.2));
  if (first > 1) marks.push({ kind: "number", x: LEFT - 11, y: TOP + FRET / 2 + 5, size: 14, text: String(first) });
  frets.forEach((fret, s) => {
    const x = LEFT + s * STRING;
    if (fret < 0) marks.push(line(x - 3.5, TOP - 12, x + 3.5, TOP - 5), line(x - 3.5, TOP - 5, x + 3.5, TOP - 12));
    else if (fret === 0) marks.push({ kind: "path", d: `M${x - 4},${TOP - 8.5}a4,4 0 1,0 8,0a4,4 0 1,0 -8,0Z`, width: 1.2 });
    else marks.push({ kind: "dot", x, y: TOP + (fret - first + 0.5) * FRET, r: 5.6 });
  });
  return marks;
}

// A grip in words, string by string from the lowest: `x, 3, 2, open, 1, open`.
export function gripSaid(frets) {
  return frets.map((f) => (f < 0 ? "x" : f === 0 ? "open" : String(f))).join(", ");
}

export function gripNode(frets) {
  const { rows } = windowOf(frets);
  const made = svgOf(gripMarks(frets), LEFT + 5 * STRING + 8, TOP + rows * FRET + 2, "grip");
  made.removeAttribute("aria-hidden");
  made.setAttribute("role", "img");
  made.setAttribute("aria-label", `grip ${gripSaid(frets)}, from the lowest string`);
  return made;
}

// The grip of the chord that sounds (or comes first) and of the next that differs; a press takes its next shape.
export class Hand {
  constructor(data, state, place) {
    Object.assign(this, { data, state, place, _shapes: new Map(), _now: -1, _seen: [0, false] });
  }

  show(n, sounds) {
    const { data, state, place } = this;
    this._seen = [n, sounds];
    place.hidden = !(state.shown.grips && data.grips);
    if (place.hidden) return;
    const partOf = (chord) => (chord && chord.symbol >= 0 ? data.symbols[chord.symbol][state.shift + 6] : -1);
    const first = (this._now = partOf(data.chords[n]));
    const next = data.chords.slice(n + 1).map(partOf).find((part) => part >= 0 && part !== first);
    const held = place.contains(document.activeElement) ? document.activeElement.dataset.part : null;
    place.replaceChildren(this._figure(first, sounds ? "now" : "first"), ...(next === undefined ? [] : [this._figure(next, "next")]));
    if (held) (place.querySelector(`[data-part="${held}"]`) ?? place.querySelector("button"))?.focus({ preventScroll: true });
  }

  // The next shape of a chord, of the one that sounds where none is named; after the last the first again.
  next(part = this._now) {
    const shapes = this.data.grips?.[part] ?? [];
    if (shapes.length < 2) return;
    this._shapes.set(part, ((this._shapes.get(part) ?? 0) + 1) % shapes.length);
    this.show(...this._seen);
  }

  _figure(part, words) {
    const name = part >= 0 ? this.data.parts[part].said : "no chord";
    const shapes = part >= 0 ? this.data.grips[part] : [];
    const caption = element("figcaption", {}, `${words}: ${name}`);
    if (!shapes.length) return element("figure", {}, caption, element("p", { class: "hint" }, "no grip"));
    const at = this._shapes.get(part) ?? 0;
    const count = shapes.length > 1 ? element("span", { class: "hint" }, `${at + 1} of ${shapes.length}`) : "";
    const inside = [gripNode(shapes[at]), count];
    if (shapes.length < 2) return element("figure", {}, caption, ...inside);
    const says = `${name}, grip ${at + 1} of ${shapes.length}: ${gripSaid(shapes[at])}, from the lowest string; press for the next`;
    return element("figure", {}, caption, element("button", { type: "button", class: "shape", "data-part": part, "aria-label": says, onclick: () => this.next(part) }, ...inside));
  }
}
