// The players, scheduled on the audio clock. Spans are planned ahead; workers fill them chunk by chunk.
import { clicksOf, countOf, countedBars, indexAt, placeIn, rateOf, spanAt } from "./time.js";

export const RATE = 48000;
const HORIZON = 4; // seconds of sound planned and asked for ahead
const EARLY = 0.03; // a player may strike a little before the bar line: sound is cut this long before it
const FADE = 0.006;
const CHUNKS = [0.25, 0.5, 1]; // seconds, the last one again and again
const MARGIN = 0.06;
const SEEN = 0.012; // what is drawn is seen about this much later
const QUIET = ["manner", "countIn", "firstOnly", "step", "top"]; // what changes without a new sound

export function openContext() {
  return new AudioContext({ sampleRate: RATE, latencyHint: "interactive" });
}

const toFrame = (t) => Math.round(t * RATE) / RATE;

function stroke(context, high) {
  // A short knock: a decaying tone with a hard start, strong ones higher.
  const length = Math.round(0.05 * context.sampleRate);
  const buffer = context.createBuffer(1, length, context.sampleRate);
  const samples = buffer.getChannelData(0);
  const pitch = high ? 1760 : 1175;
  for (let i = 0; i < length; i++) {
    const t = i / context.sampleRate;
    samples[i] = 0.5 * Math.cos(2 * Math.PI * pitch * t) * Math.exp(-t * 90);
  }
  return buffer;
}

export class Sound {
  constructor(data, studio, context) {
    this._data = data;
    this._studio = studio;
    this._spans = [];
    this._wish = null; // how to go on: see `play`
    this._resting = new Set(); // players that are silent
    this._slowest = studio.took; // seconds that a first chunk took lately
    this._strong = stroke(context, true);
    this._weak = stroke(context, false);
    this.context = context;
    this.onend = () => {};
    this.levels = new Map();
    this.master = context.createGain();
    this.master.connect(context.destination);
    for (const role of [...data.players.map((p) => p.role), "click"]) {
      const gain = context.createGain();
      gain.connect(this.master);
      this.levels.set(role, gain);
    }
  }

  spans() {
    return this._spans;
  }

  playing() {
    return this._spans.length > 0;
  }

  // A silent player is not stretched at all; one that comes back joins where the music is.
  level(role, gain) {
    this.levels.get(role).gain.setTargetAtTime(gain, this.context.currentTime, 0.015);
    if (gain === 0) this._resting.add(role);
    else if (this._resting.delete(role)) {
      const now = toFrame(this.context.currentTime + this._lead());
      for (const span of this._spans.filter((s) => s.kind === "music" && s.end > now)) {
        const old = span.streams.find((s) => s.role === role);
        if (old) this._rejoin(span, old, now);
      }
      this.tick();
    }
  }

  // `wish`: { bar, first, last, loop, rate, step, top, shift, countIn (bars), firstOnly, manner (of the click) }.
  play(wanted) {
    this.stop();
    this._wish = { ...wanted };
    this._begin(this.context.currentTime + (wanted.countIn ? MARGIN : this._lead()), wanted.bar, 0);
    this.tick();
  }

  stop() {
    this._cut(this.context.currentTime + 0.005);
    this._spans = [];
    this._wish = null;
  }

  // Another tempo, key, loop or click while playing: what is heard goes on until the new sound is ready.
  change(changes) {
    if (!this._wish) return;
    const before = this._wish;
    this._wish = { ...before, ...changes };
    if (Object.keys(changes).every((k) => QUIET.includes(k))) this._reclick();
    else this._again(changes, before);
  }

  _again(changes, before) {
    const wish = this._wish;
    const now = toFrame(this.context.currentTime + this._lead());
    const span = spanAt(this._spans, now);
    if (!span) return;
    const pass = "rate" in changes ? 0 : span.pass;
    const place = placeIn(span, now);
    this._cut(now);
    if (span.kind === "count") this._begin(now, wish.first !== before.first ? wish.first : span.bar, pass);
    else {
      const { start, end } = this._edges();
      if (wish.loop && (place < start - 0.05 || place >= end)) this._begin(now, wish.first, pass);
      else this._music(now, place, pass, rateOf(pass, wish.rate, wish.step, wish.top));
    }
    this.tick();
  }

  _lead() {
    return Math.min(1.5, Math.max(0.12, this._slowest * 1.4 + MARGIN));
  }

  _edges() {
    const { bars } = this._data;
    return { start: bars[this._wish.first].start, end: bars[this._wish.last].end };
  }

  _begin(at, bar, pass) {
    const wish = this._wish;
    const data = this._data;
    const rate = rateOf(pass, wish.rate, wish.step, wish.top);
    const first = data.bars[bar];
    const counted = countedBars(pass, wish.countIn, wish.firstOnly);
    if (counted) {
      const own = bar === 0 && counted === data.countInBars; // the band's own count, which knows of a pickup
      const { strokes, length } = own ? { strokes: data.clicks, length: data.countIn } : countOf(first, counted);
      at = this._count(at, strokes, length, rate, pass, bar).end;
    }
    this._music(at, first.start, pass, rate);
  }

  _count(at, strokes, length, rate, pass, bar) {
    at = toFrame(at);
    const span = {
      kind: "count", at, end: at + length / rate, to: this._data.bars[bar].start, rate, pass, bar, clicks: [],
      beats: strokes.map(([t, strength, word]) => [at + t / rate, strength, word]),
    };
    this._spans.push(span);
    for (const [t, strength] of span.beats) this._strike(span, t, strength);
    return span;
  }

  _music(at, from, pass, rate) {
    const wish = this._wish;
    const end = wish.loop ? this._edges().end : this._data.duration;
    const early = from > EARLY ? EARLY : 0;
    const tail = wish.loop ? EARLY : 0;
    const span = {
      kind: "music", at: toFrame(at), end: 0, rate, pass, from, to: end,
      shift: wish.shift, clicks: [], clicked: null, streams: [],
    };
    span.end = span.at + (end - from) / rate;
    const sounds = toFrame(span.at - early / rate);
    const frames = Math.round(((end - tail - from + early) / rate) * RATE);
    for (const player of this._data.players) span.streams.push(this._stream(player, sounds, from - early, frames, span));
    this._spans.push(span);
  }

  _stream(player, at, from, frames, span) {
    const gain = this.context.createGain();
    gain.connect(this.levels.get(player.role));
    const until = at + frames / RATE;
    gain.gain.setValueAtTime(1, Math.max(this.context.currentTime, until - FADE));
    gain.gain.linearRampToValueAtTime(0, until);
    return {
      role: player.role, gain, at, from, frames, done: 0, chunks: 0, sources: [],
      shift: player.pitched ? span.shift : 0, id: 0, busy: false, closed: false,
    };
  }

  // A player goes on in a stream of its own from `now` on, where the music will be then.
  _rejoin(span, old, now) {
    if (old.sources.length) this._leave(old, now);
    else closed(this._studio, old);
    const player = this._data.players.find((p) => p.role === old.role);
    const skipped = Math.max(0, Math.round((now - old.at) * RATE));
    const made = this._stream(player, old.at + skipped / RATE, old.from + (skipped / RATE) * span.rate, old.frames - skipped, span);
    span.streams[span.streams.indexOf(old)] = made;
    return made;
  }

  // Only what has been started is kept: a source that never was cannot be stopped.
  _strike(span, at, strength) {
    if (at < this.context.currentTime) return;
    const source = this.context.createBufferSource();
    source.buffer = strength > 0.85 ? this._strong : this._weak;
    const gain = this.context.createGain();
    gain.gain.value = strength;
    source.connect(gain).connect(this.levels.get("click"));
    source.start(at);
    span.clicks.push({ at, source });
  }

  _clicksUpTo(span, t) {
    if (span.kind !== "music" || !this._wish) return;
    const { bars } = this._data;
    const from = span.clicked ?? span.from - 1e-6;
    const to = Math.min(span.to - 1e-6, placeIn(span, Math.min(t, span.end)));
    if (to <= from) return;
    for (let i = indexAt(bars, from); i < bars.length && bars[i].start <= to; i++) {
      for (const [place, strength] of clicksOf(bars[i], this._wish.manner)) {
        if (place > from && place <= to) this._strike(span, span.at + (place - span.from) / span.rate, strength);
      }
    }
    span.clicked = to;
  }

  _reclick() {
    const now = this.context.currentTime + 0.02;
    for (const span of this._spans) {
      if (span.kind !== "music") continue;
      span.clicks = span.clicks.filter((c) => c.at < now || void c.source.stop(0));
      if (span.clicked !== null) span.clicked = Math.max(span.from - 1e-6, Math.min(span.clicked, placeIn(span, now)));
    }
    this.tick();
  }

  // Plan spans up to the horizon, ask for sound, let go of what is over.
  tick() {
    const wish = this._wish;
    if (!wish) return;
    const now = this.context.currentTime;
    const last = () => this._spans[this._spans.length - 1];
    while (this._spans.length && wish.loop && last().end < now + HORIZON) this._begin(last().end, wish.first, last().pass + 1);
    for (const span of this._spans) {
      this._clicksUpTo(span, now + HORIZON);
      for (const stream of span.streams ?? []) if (stream.at < now + HORIZON) this._feed(span, stream);
    }
    for (const span of this._spans) if (span.end < now - 1) this._release(span);
    this._spans = this._spans.filter((span) => span.end >= now - 1);
    if (!wish.loop && (!this._spans.length || now > last().end)) {
      this.stop();
      this.onend();
    }
  }

  async _feed(span, stream) {
    if (this._resting.has(stream.role) || stream.busy || stream.closed || stream.done >= stream.frames) return;
    if (stream.at + stream.done / RATE > this.context.currentTime + HORIZON) return;
    stream.busy = true;
    if (!stream.id) stream.id = this._studio.open(stream.role, stream.from, span.rate, stream.shift);
    const seconds = CHUNKS[Math.min(stream.chunks, CHUNKS.length - 1)];
    const frames = Math.min(Math.round(seconds * RATE), stream.frames - stream.done);
    const asked = performance.now();
    const channels = await this._studio.pull(stream.role, stream.id, frames);
    if (stream.closed || this.context.state === "closed") return;
    if (stream.chunks === 0) this._slowest = Math.max(this._slowest * 0.7, (performance.now() - asked) / 1000);
    const next = this._schedule(stream, channels, frames) ? stream : this._catchUp(span, stream);
    stream.busy = false;
    if (next) this._feed(span, next);
  }

  // Makes a chunk sound, in part where it comes late; false where its time is over.
  _schedule(stream, channels, frames) {
    const { context } = this;
    const at = stream.at + stream.done / RATE;
    const late = context.currentTime - at;
    const inTime = late < frames / RATE;
    if (inTime) {
      const buffer = context.createBuffer(channels.length, frames, RATE);
      channels.forEach((samples, c) => buffer.copyToChannel(samples, c));
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.connect(stream.gain);
      if (late < 0) source.start(at);
      else source.start(0, late);
      stream.sources.push(source);
      if (stream.sources.length > 8) stream.sources.shift();
    }
    stream.done += frames;
    stream.chunks++;
    if (stream.done >= stream.frames) closed(this._studio, stream);
    return inTime;
  }

  // On a machine that cannot follow, a player skips ahead rather than running after the music; null at the end of a span.
  _catchUp(span, stream) {
    const now = toFrame(this.context.currentTime + this._lead());
    const left = stream.frames - Math.round((now - stream.at) * RATE);
    if (left > 0) return this._rejoin(span, stream, now);
    closed(this._studio, stream);
    return null;
  }

  _release(span) {
    for (const stream of span.streams ?? []) {
      closed(this._studio, stream);
      stream.gain.disconnect();
    }
  }

  _leave(stream, t) {
    closed(this._studio, stream);
    const fades = Math.max(0, t - FADE);
    stream.gain.gain.cancelScheduledValues(fades);
    stream.gain.gain.setValueAtTime(1, fades);
    stream.gain.gain.linearRampToValueAtTime(0, t);
    for (const source of stream.sources) source.stop(t + 0.01);
  }

  // Nothing that is planned sounds after t.
  _cut(t) {
    for (const span of this._spans) {
      for (const click of span.clicks) if (click.at >= t) click.source.stop(0);
      for (const stream of span.streams ?? []) this._leave(stream, t);
      span.end = Math.min(span.end, t);
    }
    this._spans = this._spans.filter((span) => span.at < t && span.end > this.context.currentTime - 1);
  }

  // What is heard now, on the audio clock: the output's own report where it is sane, else its stated delay.
  heard() {
    const { context } = this;
    const stamp = context.getOutputTimestamp?.();
    const delay = context.outputLatency || context.baseLatency || 0;
    const told = context.currentTime - delay;
    if (stamp && stamp.contextTime > 0 && context.state === "running") {
      const t = stamp.contextTime + (performance.now() - stamp.performanceTime) / 1000;
      if (Math.abs(t - told) < 0.3) return t;
    }
    return told;
  }

  // { kind, place (seconds of the tune), span } of what is heard, null when nothing plays.
  now() {
    const t = this.heard() + SEEN;
    const span = spanAt(this._spans, t) ?? (this._spans.length && t < this._spans[0].at ? this._spans[0] : null);
    return span && { kind: span.kind, span, place: placeIn(span, Math.max(t, span.at)), at: t };
  }

  // True when everything is there that will sound up to the horizon.
  ready() {
    const end = this.context.currentTime + HORIZON;
    const due = (s) => !s.closed && !this._resting.has(s.role) && s.done < s.frames && s.at + s.done / RATE <= end;
    return !this._spans.some((span) => span.streams?.some(due));
  }
}

function closed(studio, stream) {
  if (!stream.closed && stream.id) studio.close(stream.role, stream.id);
  stream.closed = true;
}
