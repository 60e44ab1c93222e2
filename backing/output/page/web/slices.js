// Drums at another tempo: cut before every stroke, each stroke copied as it is and moved to its new place. When the
// music is slower, what rings after a stroke is drawn out by overlapping grains; when faster, it is cut off by the next.
// Frames throughout. `read(from, count)` gives an array of channels.

const BEFORE = 240; // the cut lies 5 ms before a stroke
const JOIN = 144; // frames over which one slice gives way to the next
const NEAREST = 1920; // strokes nearer than 40 ms are one
const HOLD = 2880; // at least 60 ms of a stroke are copied
const GRAIN = 1024;
const SEARCH = 480; // how far a grain may be moved to fit what it follows
const LONGEST = 96000; // a slice without strokes is cut all the same

// Where slices begin, from `from` on.
export function cuts(onsets, from, end) {
  const found = [from];
  for (const onset of onsets) {
    const cut = Math.round(onset * 48000) - BEFORE;
    while (cut - found[found.length - 1] > LONGEST) found.push(found[found.length - 1] + LONGEST);
    if (cut - found[found.length - 1] >= NEAREST && cut < end) found.push(cut);
  }
  while (end - found[found.length - 1] > LONGEST) found.push(found[found.length - 1] + LONGEST);
  return found;
}

// Arrays of channels, one after the other, that make up the sound from `from` on at `rate`.
export function* sliced(read, onsets, from, end, rate) {
  const starts = cuts(onsets, from, end);
  let made = 0; // frames given so far
  let tail = null; // how the slice before would have gone on
  for (let i = 0; i < starts.length; i++) {
    const next = i + 1 < starts.length ? starts[i + 1] : starts[i] + LONGEST;
    // It is the stroke that has to come in time, not the cut before it.
    const length = Math.round((next + BEFORE - from) / rate) - BEFORE - made;
    const slice = drawn(read, starts[i], next - starts[i], length + JOIN);
    if (tail) blend(slice, tail);
    tail = slice.map((channel) => channel.slice(length));
    made += length;
    yield slice.map((channel) => channel.subarray(0, length));
  }
}

function blend(slice, tail) {
  slice.forEach((channel, c) => {
    for (let i = 0; i < Math.min(JOIN, channel.length); i++) {
      const share = (i + 0.5) / JOIN;
      channel[i] = channel[i] * share + tail[c][i] * (1 - share);
    }
  });
}

// `wanted` frames made of the `length` frames that begin at `start`.
function drawn(read, start, length, wanted) {
  if (wanted <= length) return read(start, wanted);
  const source = read(start, length);
  const out = source.map(() => new Float32Array(wanted));
  const held = Math.min(length, Math.max(HOLD, Math.round(length * 0.35)));
  const grain = Math.min(GRAIN, Math.floor((length - held) / 4));
  out.forEach((channel, c) => channel.set(source[c].subarray(0, grain < 64 ? length : held)));
  if (grain < 64) return out;
  const slope = (length - held - 2 * grain) / Math.max(1, wanted - held);
  let goesOn = held; // in the source: what would follow naturally
  for (let at = held; at < wanted; at += grain) {
    const ideal = Math.round(held + (at - held) * slope);
    const reach = Math.min(SEARCH, grain);
    const low = Math.max(0, ideal - reach), high = Math.min(length - 2 * grain, ideal + reach);
    const { place, likeness } = closest(source, goesOn, low, high, grain);
    const count = Math.min(grain, wanted - at);
    out.forEach((channel, c) => {
      const from = source[c];
      for (let i = 0; i < count; i++) {
        const b = (i + 0.5) / grain, a = 1 - b;
        channel[at + i] = (a * from[goesOn + i] + b * from[place + i]) / Math.sqrt(a * a + b * b + 2 * a * b * likeness);
      }
    });
    goesOn = place + grain;
  }
  return out;
}

// The place from `low` to `high` whose sound is most like what begins at `model`.
function closest(source, model, low, high, grain) {
  let best = -2, place = Math.max(0, Math.min(low, high));
  for (let candidate = low; candidate <= high; candidate += 6) {
    let dot = 0, one = 1e-9, two = 1e-9;
    for (let i = 0; i < grain; i += 8) {
      const x = source[0][model + i], y = source[0][candidate + i];
      dot += x * y;
      one += x * x;
      two += y * y;
    }
    const likeness = dot / Math.sqrt(one * two);
    if (likeness > best) {
      best = likeness;
      place = candidate;
    }
  }
  return { place, likeness: Math.max(0, Math.min(1, best)) };
}
