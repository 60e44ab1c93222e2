// The players, scheduled on the audio clock. Spans are planned ahead; workers fill them chunk by chunk.
import { spanAt, placeIn, countOf, clicksOf, indexAt, rateOf } from "./time.js";

export const RATE = 48000;
const HORIZON = 4; // seconds of sound planned and asked for ahead
const EARLY = 0.03; // a player may strike a little before the bar line: sound is cut this long before it
const FADE = 0.006;
const CHUNKS = [0.25, 0.5, 1]; // seconds, the last one again and again
const MARGIN = 0.06;
const SEEN = 0.012; // what is drawn is seen about this much later

export function openContext() {
  return new AudioContext({ sampleRate: RATE, latencyHint: "interactive" });
}

// `workers` answer for their players; `made` is called once every player is loaded.
export function openStudio(data, sources) {
  const url = URL.createObjectURL(new Blob([sources.code], { type: "text/javascript" }));
  const count = Math.max(1, Math.min(data.players.length, 3, (navigator.hardwareConcurrency || 2) - 1));
  const workers = Array.from({ length: count }, () => new Worker(url));
  const by = new Map();
  const waiting = new Map();
  let number = 0;
  const studio = { fault: null, onfault: () => {} };
  const faulty = (text) => {
    studio.fault = text;
    studio.onfault(text);
  };
  workers.forEach((worker) => {
    worker.onerror = (event) => faulty(event.message);
    worker.onmessage = ({ data: answer }) => {
      if (answer.error) return faulty(answer.error);
      const [resolve] = waiting.get(answer.stream)?.splice(0, 1) ?? [];
      return resolve?.(answer.channels);
    };
  });
  data.players.forEach((player, i) => {
    const worker = workers[i % count];
    by.set(player.role, worker);
    const { base64, sizes } = sources.stem(player.role);
    worker.postMessage({ add: { ...player, base64, sizes } });
  });
  studio.open = (role, from, rate, shift) => {
    const stream = ++number;
    waiting.set(stream, []);
    by.get(role).postMessage({ open: { stream, role, from, rate, shift } });
    return stream;
  };
  studio.pull = (role, stream, frames) =>
    new Promise((resolve) => {
      waiting.get(stream).push(resolve);
      by.get(role).postMessage({ stream, frames });
    });
  // The first sound of every player takes longest: have it made before it is wanted.
  studio.took = 0.35;
  studio.warm = async () => {
    for (const { role } of data.players) {
      const stream = studio.open(role, 0, 1, 0);
      await studio.pull(role, stream, 4800);
      studio.close(role, stream);
    }
    studio.took = 0.12;
  };
  studio.close = (role, stream) => {
    waiting.delete(stream);
    by.get(role).postMessage({ close: stream });
  };
  return studio;
}

function stroke(context, strength, high) {
  // A short knock: a decaying tone with a hard start, strong ones higher.
  const length = Math.round(0.05 * context.sampleRate);
  const buffer = context.createBuffer(1, length, context.sampleRate);
  const samples = buffer.getChannelData(0);
  const pitch = high ? 1760 : 1175;
  for (let i = 0; i < length; i++) {
    const t = i / context.sampleRate;
    samples[i] = strength * 0.5 * Math.cos(2 * Math.PI * pitch * t) * Math.exp(-t * 90);
  }
  return buffer;
}

export function createSound(data, studio, context) {
  const master = context.createGain();
  master.connect(context.destination);
  const levels = new Map();
  for (const role of [...data.players.map((p) => p.role), "click"]) {
    const gain = context.createGain();
    gain.connect(master);
    levels.set(role, gain);
  }
  const strong = stroke(context, 1, true);
  const weak = stroke(context, 1, false);
  let spans = [];
  let wish = null; // how to go on: see `play`
  const resting = new Set(); // players that are silent
  let slowest = studio.took; // seconds that a first chunk took lately

  const sound = { context, spans: () => spans, levels, master, onend: () => {} };
  const frame = (t) => Math.round(t * RATE) / RATE;

  // A silent player is not stretched at all; one that comes back joins where the music is.
  sound.level = (role, gain) => {
    levels.get(role).gain.setTargetAtTime(gain, context.currentTime, 0.015);
    if (gain > 0 && resting.delete(role)) {
      const player = data.players.find((p) => p.role === role);
      const now = frame(context.currentTime + lead());
      for (const span of spans.filter((s) => s.kind === "music" && s.end > now)) {
        const old = span.streams.find((s) => s.role === role);
        if (old.sources.length || old.done) leave(old, now);
        else closed(old);
        const skipped = Math.max(0, Math.round((now - old.at) * RATE));
        const made = streamOf(player, old.at + skipped / RATE, old.from + (skipped / RATE) * span.rate, old.frames - skipped, span);
        span.streams[span.streams.indexOf(old)] = made;
      }
      pump();
    } else if (gain === 0) {
      resting.add(role);
    }
  };
  sound.playing = () => spans.length > 0;

  // `wish`: { bar, first, last, loop, rate, step, top, shift, countIn (bars), manner (of the click) }.
  sound.play = (wanted) => {
    sound.stop();
    wish = { ...wanted };
    const at = context.currentTime + (wish.countIn ? MARGIN : lead());
    begin(at, wish.bar, 0);
    pump();
  };

  sound.stop = () => {
    cut(context.currentTime + 0.005);
    spans = [];
    wish = null;
  };

  // Another tempo, key, loop or click while playing: what is heard goes on until the new sound is ready.
  sound.change = (changes) => {
    if (!wish) return;
    const before = wish;
    wish = { ...wish, ...changes };
    if (onlyClick(changes)) return reclick();
    const now = frame(context.currentTime + lead());
    const span = spanAt(spans, now);
    if (!span) return;
    const pass = "rate" in changes ? 0 : span.pass;
    const rate = rateOf(pass, wish.rate, wish.step, wish.top);
    if (span.kind === "count") {
      cut(now);
      begin(now, wish.first !== before.first ? wish.first : span.bar, pass);
    } else {
      const place = placeIn(span, now);
      const { start, end } = edges();
      cut(now);
      if (wish.loop && (place < start - 0.05 || place >= end)) begin(now, wish.first, pass);
      else music(now, place, pass, rate);
    }
    pump();
  };

  const onlyClick = (changes) => Object.keys(changes).every((k) => ["manner", "countIn", "step", "top"].includes(k));
  const lead = () => Math.min(1.5, Math.max(0.12, slowest * 1.4 + MARGIN));
  const edges = () => ({ start: data.bars[wish.first].start, end: data.bars[wish.last].end });

  function begin(at, bar, pass) {
    const rate = rateOf(pass, wish.rate, wish.step, wish.top);
    const first = data.bars[bar];
    if (wish.countIn) {
      const own = bar === 0 && wish.countIn === data.countInBars; // the band's own count, which knows of a pickup
      const { strokes, length } = own ? { strokes: data.clicks, length: data.countIn } : countOf(first, wish.countIn);
      at = count(at, strokes, length, rate, pass, bar).end;
    }
    music(at, first.start, pass, rate);
  }

  function count(at, strokes, length, rate, pass, bar) {
    at = frame(at);
    const span = {
      kind: "count", at, end: at + length / rate, to: data.bars[bar].start, rate, pass, bar, clicks: [],
      beats: strokes.map(([t, s]) => [at + t / rate, s]),
    };
    spans.push(span);
    for (const [t, s] of span.beats) strike(span, t, s);
    return span;
  }

  function music(at, from, pass, rate) {
    const end = wish.loop ? edges().end : data.duration;
    const early = from > EARLY ? EARLY : 0;
    const tail = wish.loop ? EARLY : 0;
    const span = {
      kind: "music", at: frame(at), end: 0, rate, pass, from, to: end,
      shift: wish.shift, clicks: [], clicked: null, streams: [],
    };
    span.end = span.at + (end - from) / rate;
    const sounds = frame(span.at - early / rate);
    const frames = Math.round(((end - tail - from + early) / rate) * RATE);
    for (const player of data.players) span.streams.push(streamOf(player, sounds, from - early, frames, span));
    spans.push(span);
  }

  function streamOf(player, at, from, frames, span) {
    const gain = context.createGain();
    gain.connect(levels.get(player.role));
    const until = at + frames / RATE;
    gain.gain.setValueAtTime(1, Math.max(context.currentTime, until - FADE));
    gain.gain.linearRampToValueAtTime(0, until);
    return {
      role: player.role, gain, at, from, frames, done: 0, chunks: 0, sources: [],
      shift: player.pitched ? span.shift : 0, id: 0, busy: false, closed: false,
    };
  }

  function strike(span, at, strength) {
    const source = context.createBufferSource();
    source.buffer = strength > 0.85 ? strong : weak;
    const gain = context.createGain();
    gain.gain.value = strength;
    source.connect(gain).connect(levels.get("click"));
    if (at >= context.currentTime) source.start(at);
    span.clicks.push({ at, source });
  }

  function clicksUpTo(span, t) {
    if (span.kind !== "music" || !wish) return;
    let from = span.clicked ?? span.from - 1e-6;
    const to = Math.min(span.to - 1e-6, placeIn(span, Math.min(t, span.end)));
    if (to <= from) return;
    for (let i = indexAt(data.bars, from); i < data.bars.length && data.bars[i].start <= to; i++) {
      for (const [place, strength] of clicksOf(data.bars[i], wish.manner)) {
        if (place > from && place <= to) strike(span, span.at + (place - span.from) / span.rate, strength);
      }
    }
    span.clicked = to;
  }

  function reclick() {
    const now = context.currentTime + 0.02;
    for (const span of spans) {
      if (span.kind !== "music") continue;
      span.clicks = span.clicks.filter((c) => c.at < now || void c.source.stop(0));
      if (span.clicked !== null) span.clicked = Math.max(span.from - 1e-6, Math.min(span.clicked, placeIn(span, now)));
    }
    pump();
  }

  // Plan spans up to the horizon, ask for sound, let go of what is over.
  function pump() {
    if (!wish) return;
    const now = context.currentTime;
    const last = () => spans[spans.length - 1];
    while (spans.length && wish.loop && last().end < now + HORIZON) begin(last().end, wish.first, last().pass + 1);
    for (const span of spans) {
      clicksUpTo(span, now + HORIZON);
      for (const stream of span.streams ?? []) if (stream.at < now + HORIZON) feed(span, stream);
    }
    for (const span of spans) if (span.end < now - 1) release(span);
    spans = spans.filter((span) => span.end >= now - 1);
    if (!wish.loop && (!spans.length || now > last().end)) {
      sound.stop();
      sound.onend();
    }
  }

  async function feed(span, stream) {
    if (resting.has(stream.role) || stream.busy || stream.closed || stream.done >= stream.frames) return;
    if (stream.at + stream.done / RATE > context.currentTime + HORIZON) return;
    stream.busy = true;
    if (!stream.id) stream.id = studio.open(stream.role, stream.from, span.rate, stream.shift);
    const seconds = CHUNKS[Math.min(stream.chunks, CHUNKS.length - 1)];
    const frames = Math.min(Math.round(seconds * RATE), stream.frames - stream.done);
    const asked = performance.now();
    const channels = await studio.pull(stream.role, stream.id, frames);
    if (stream.closed) return;
    if (stream.chunks === 0) slowest = Math.max(slowest * 0.7, (performance.now() - asked) / 1000);
    schedule(stream, channels, frames);
    stream.busy = false;
    feed(span, stream);
  }

  function schedule(stream, channels, frames) {
    const buffer = context.createBuffer(channels.length, frames, RATE);
    channels.forEach((samples, c) => buffer.copyToChannel(samples, c));
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(stream.gain);
    const at = stream.at + stream.done / RATE;
    const late = context.currentTime - at;
    if (late < 0) source.start(at);
    else if (late < frames / RATE) source.start(0, late);
    stream.sources.push(source);
    if (stream.sources.length > 8) stream.sources.shift();
    stream.done += frames;
    stream.chunks++;
    if (stream.done >= stream.frames) closed(stream);
  }

  function closed(stream) {
    if (!stream.closed && stream.id) studio.close(stream.role, stream.id);
    stream.closed = true;
  }

  function release(span) {
    for (const stream of span.streams ?? []) {
      closed(stream);
      stream.gain.disconnect();
    }
  }

  function leave(stream, t) {
    closed(stream);
    const fades = Math.max(0, t - FADE);
    stream.gain.gain.cancelScheduledValues(fades);
    stream.gain.gain.setValueAtTime(1, fades);
    stream.gain.gain.linearRampToValueAtTime(0, t);
    for (const source of stream.sources) source.stop(t + 0.01);
  }

  // Nothing that is planned sounds after t.
  function cut(t) {
    for (const span of spans) {
      for (const click of span.clicks) if (click.at >= t) click.source.stop(0);
      for (const stream of span.streams ?? []) leave(stream, t);
      span.end = Math.min(span.end, t);
    }
    spans = spans.filter((span) => span.at < t && span.end > context.currentTime - 1);
  }

  // What is heard now, on the audio clock: the output's own report where it is sane, else its stated delay.
  sound.heard = () => {
    const stamp = context.getOutputTimestamp?.();
    const delay = context.outputLatency || context.baseLatency || 0;
    const told = context.currentTime - delay;
    if (stamp && stamp.contextTime > 0 && context.state === "running") {
      const t = stamp.contextTime + (performance.now() - stamp.performanceTime) / 1000;
      if (Math.abs(t - told) < 0.3) return t;
    }
    return told;
  };

  // { kind, place (seconds of the tune), span } of what is heard, null when nothing plays.
  sound.now = () => {
    const t = sound.heard() + SEEN;
    const span = spanAt(spans, t) ?? (spans.length && t < spans[0].at ? spans[0] : null);
    return span && { kind: span.kind, span, place: placeIn(span, Math.max(t, span.at)), at: t };
  };

  sound.tick = pump;

  // True when everything is there that will sound up to the horizon.
  sound.ready = () => {
    const end = context.currentTime + HORIZON;
    const due = (s) => !s.closed && !resting.has(s.role) && s.done < s.frames && s.at + s.done / RATE <= end;
    return !spans.some((span) => span.streams?.some(due));
  };
  return sound;
}
