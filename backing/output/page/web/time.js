// Where things are: seconds of the tune, seconds of the audio clock, and what lies between them. No page, no sound.

// A span is a stretch of the audio clock, `at` to `end`. Music plays the tune from `from` to `to` at `rate`; a count-in
// strikes `beats` (audio clock, strength, word) and leads to the place `to`.

export function spanAt(spans, t) {
  let found = null;
  for (const span of spans) if (span.at <= t) found = span;
  return found && t < found.end ? found : null;
}

export function placeIn(span, t) {
  return span.kind === "music" ? span.from + (t - span.at) * span.rate : span.to;
}

// The last of a rising list of objects whose `start` is not after t, 0 before the first.
export function indexAt(list, t) {
  let low = 0, high = list.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (list[middle].start <= t) low = middle + 1;
    else high = middle;
  }
  return Math.max(0, low - 1);
}

// The bar that sounds at a place; places come from divisions, so a hair before the bar line is the bar.
export function barAt(bars, place) {
  return indexAt(bars, place + 1e-6);
}

// How far a bar has gone in quarters; beats of a bar with changing tempo are not alike.
export function quartersInto(bar, t) {
  if (t <= bar.start) return 0;
  if (t >= bar.end) return bar.q;
  let i = bar.beats.length - 1;
  while (i > 0 && bar.beats[i] > t) i--;
  const next = i + 1 < bar.beats.length ? bar.beats[i + 1] : bar.end;
  const from = i * bar.beatQ;
  const to = Math.min(bar.q, from + bar.beatQ);
  return from + ((t - bar.beats[i]) / (next - bar.beats[i])) * (to - from);
}

// When a place of a bar sounds; the other way round.
export function secondsAt(bar, q) {
  const i = Math.min(bar.beats.length - 1, Math.floor(q / bar.beatQ + 1e-9));
  const next = i + 1 < bar.beats.length ? bar.beats[i + 1] : bar.end;
  const from = i * bar.beatQ;
  const to = Math.min(bar.q, from + bar.beatQ);
  return bar.beats[i] + ((q - from) / (to - from)) * (next - bar.beats[i]);
}

// Taps of a bar are [seconds, strength, word, number of the pulse]: 1 on the first of a bar, less on the other pulses,
// least between them.
const PULSE = 0.5;
export const pulsesOf = (bar) => bar.taps.filter(([, strength]) => strength > PULSE);

// What a player counts at a place of a bar, "" before the first tap.
export function wordAt(bar, place) {
  let word = "";
  for (const [at, , said] of bar.taps) if (at <= place + 1e-6) word = said;
  return word;
}

// The word of the count that is struck or still rings at `t`.
export function countAt(span, t) {
  let word = "";
  for (const [at, , said] of span.beats) if (at <= t) word = said;
  return word;
}

// Strokes of counted-in bars before `bar`: seconds of the tune from the start of the count, strength and word.
export function countOf(bar, bars) {
  const length = bar.end - bar.start;
  const strokes = [];
  for (let n = 0; n < bars; n++) {
    for (const [at, strength, word] of bar.taps) strokes.push([n * length + at - bar.start, strength, word]);
  }
  return { strokes, length: bars * length };
}

// Strokes of the click inside one bar: seconds of the tune and strength.
export function clicksOf(bar, manner) {
  const pulses = pulsesOf(bar);
  if (manner === "beats") return bar.taps.map(([at, strength]) => [at, strength]);
  if (manner === "downbeats") return pulses.filter(([, strength]) => strength === 1).map(([at]) => [at, 1]);
  if (manner === "backbeats") {
    const back = ([, , , number]) => (pulses.length === 3 ? number > 1 : number % 2 === 0);
    return pulses.filter(back).map(([at]) => [at, 0.65]);
  }
  if (manner === "offbeats") {
    const share = bar.beatQ === 1.5 ? 2 / 3 : 1 / 2; // the last of three, the second of two
    return pulses.map(([at], i) => [at + ((pulses[i + 1]?.[0] ?? bar.end) - at) * share, 0.7]);
  }
  return [];
}

// The rate of a pass: each one faster by `step`, up to `top`; a start above the top stays.
export function rateOf(pass, rate, step, top) {
  return Math.max(rate, Math.min(top, rate + pass * step));
}

// How many bars are counted before a pass.
export function countedBars(pass, countIn, firstOnly) {
  return pass > 0 && firstOnly ? 0 : countIn;
}
