// Where things are: seconds of the tune, seconds of the audio clock, and what lies between them. No page, no sound.

// A span is a stretch of the audio clock, `at` to `end`. Music plays the tune from `from` to `to` at `rate`; a count-in
// strikes `beats` (audio clock) and leads to the place `to`.

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

// Strokes of counted-in bars before `bar`: seconds of the tune from the start of the count, and strength.
export function countOf(bar, bars) {
  const length = bar.end - bar.start;
  const strokes = [];
  for (let n = 0; n < bars; n++) bar.pulses.forEach((b, i) => strokes.push([n * length + b - bar.start, i ? 0.7 : 1]));
  return { strokes, length: bars * length };
}

// Strokes of the click inside one bar: seconds of the tune and strength.
export function clicksOf(bar, manner) {
  const all = bar.pulses.map((b, i) => [b, i ? 0.65 : 1]);
  if (manner === "beats") return all;
  if (manner === "downbeats") return all.slice(0, 1);
  if (manner === "backbeats") return all.filter((_, i) => i % 2 === 1);
  if (manner === "offbeats") return all.map(([b], i) => [(b + (bar.pulses[i + 1] ?? bar.end)) / 2, 0.7]);
  return [];
}

// The rate of a pass: each one faster by `step`, up to `top`; a start above the top stays.
export function rateOf(pass, rate, step, top) {
  return Math.max(rate, Math.min(top, rate + pass * step));
}
