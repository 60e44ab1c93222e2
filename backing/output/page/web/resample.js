// Sound read at another speed, which moves its pitch: a windowed sinc, cut off below the new half rate. Stretching
// alone keeps partials exactly in place, so a key is made of a stretch and of this, not of shifted spectra.

export const HALF = 24; // frames of the source on either side of a frame that is made
const PHASES = 256;

function kernels(factor) {
  const cutoff = 0.97 * Math.min(1, 1 / factor);
  const table = [];
  for (let phase = 0; phase <= PHASES; phase++) {
    const taps = new Float32Array(2 * HALF);
    let sum = 0;
    for (let i = 0; i < 2 * HALF; i++) {
      const x = i - HALF + 1 - phase / PHASES;
      const sinc = x === 0 ? 1 : Math.sin(Math.PI * cutoff * x) / (Math.PI * cutoff * x);
      const turn = (Math.PI * x) / HALF;
      taps[i] = Math.abs(x) >= HALF ? 0 : sinc * (0.42 + 0.5 * Math.cos(turn) + 0.08 * Math.cos(2 * turn)); // Blackman
      sum += taps[i];
    }
    table.push(taps.map((t) => t / sum));
  }
  return table;
}

// Gives frames of `more(count)` read `factor` times as fast. The first frame made is frame HALF of the source.
export function resampled(more, channels, factor) {
  const table = kernels(factor);
  let held = Array.from({ length: channels }, () => new Float32Array(0));
  let start = 0; // frame of the source that is first in `held`
  let made = 0;
  return (frames) => {
    const first = HALF + made * factor;
    const end = Math.floor(HALF + (made + frames - 1) * factor) + HALF + 1;
    const dropped = Math.max(0, Math.floor(first) - HALF + 1 - start);
    const missing = end - start - held[0].length;
    const fresh = missing > 0 ? more(missing) : null;
    held = held.map((old, c) => {
      const kept = old.subarray(dropped);
      const all = new Float32Array(kept.length + Math.max(0, missing));
      all.set(kept);
      if (fresh) all.set(fresh[c], kept.length);
      return all;
    });
    start += dropped;
    const result = held.map(() => new Float32Array(frames));
    for (let k = 0; k < frames; k++) {
      const place = first + k * factor;
      const whole = Math.floor(place);
      const fine = (place - whole) * PHASES;
      const phase = Math.floor(fine);
      const b = fine - phase, a = 1 - b;
      const low = table[phase], high = table[phase + 1];
      const base = whole - HALF + 1 - start;
      for (let c = 0; c < channels; c++) {
        const source = held[c];
        let sum = 0;
        for (let i = 0; i < 2 * HALF; i++) sum += source[base + i] * (a * low[i] + b * high[i]);
        result[c][k] = sum;
      }
    }
    made += frames;
    return result;
  };
}
